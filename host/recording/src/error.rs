//! Why a file gave no recording, or was not written. Each error is one readable line: file, cause,
//! place, remedy.

use pumpwitness_protocol::archive::HeaderError;

/// A file that could not be read or written.
#[derive(Debug, thiserror::Error)]
#[error("{file}: {problem}")]
pub struct FileError {
    /// The file, as it was named.
    pub file: String,
    /// What is wrong.
    pub problem: Problem,
}

/// What is wrong with a file.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum Problem {
    /// The file system refused.
    #[error("{0}")]
    Io(#[from] std::io::Error),
    /// No bytes in it.
    #[error("the file is empty")]
    Empty,
    /// Too long to be read at once.
    #[error("the file has {bytes} bytes, at most {max} are read: cut it into parts")]
    TooLong {
        /// Its length.
        bytes: u64,
        /// Most that is read.
        max: u64,
    },
    /// Neither an archive nor a table.
    #[error(
        "this is {found}, not an archive and not a table: give an archive of a logger, or a CSV or Parquet table"
    )]
    Foreign {
        /// What it looks like.
        found: &'static str,
    },
    /// The head of an archive does not pass.
    #[error("{0}: download it again")]
    ArchiveHead(#[from] HeaderError),
    /// This build has no reader for tables.
    #[error("this program was built without the reader for tables (feature `tables`)")]
    NoTableReader,
    /// The table library gave up.
    #[error("it cannot be read as {format}: {cause}")]
    Format {
        /// `Parquet` or `CSV`.
        format: &'static str,
        /// What the library said, in one line.
        cause: String,
    },
    /// Two columns carry the same name.
    #[error("two columns are called `{name}`: rename one of them")]
    DuplicateHeading {
        /// The name.
        name: String,
    },
    /// A mapping names a column the table does not have.
    #[error("there is no column `{column}` to map; the columns are {found}")]
    MappedColumnMissing {
        /// The name.
        column: String,
        /// The names there are.
        found: String,
    },
    /// A mapping names something that is no channel.
    #[error(
        "`{target}` is no channel: map a column to a name such as `time`, `voltage_v`, `current_max_a` or `pressure_psi`"
    )]
    MappingTarget {
        /// The name.
        target: String,
    },
    /// Two columns are the same channel.
    #[error(
        "the columns `{first}` and `{second}` both give {what}: keep one, or map the right one"
    )]
    SameChannel {
        /// One column.
        first: String,
        /// The other.
        second: String,
        /// The channel.
        what: String,
    },
    /// Two columns of one channel are in different units.
    #[error("the columns `{first}` and `{second}` give one channel in two units: keep one unit")]
    MixedUnits {
        /// One column.
        first: String,
        /// The other.
        second: String,
    },
    /// No column holds the time.
    #[error("no column holds the time: name one `time` or map it; the columns are {found}")]
    NoTime {
        /// The names there are.
        found: String,
    },
    /// No column holds anything measured.
    #[error(
        "no column holds a channel (voltage_v, current_a, pressure_bar or _kpa or _psi, loop_ma, power_w, frequency_hz): rename or map one; the columns are {found}"
    )]
    NoChannel {
        /// The names there are.
        found: String,
    },
    /// A cell that is no number.
    #[error(
        "row {row}, column `{column}`: {text:?} is not a number that can be kept; leave a cell empty where there is no value"
    )]
    Cell {
        /// Row below the heading, from 1.
        row: usize,
        /// Column.
        column: String,
        /// The cell's text, shortened.
        text: String,
    },
    /// A column whose type holds neither numbers nor text.
    #[error("column `{column}` holds {kind}, not numbers")]
    ColumnKind {
        /// Column.
        column: String,
        /// Its type as the table library names it.
        kind: String,
    },
    /// A cell that is no time.
    #[error("row {row}, column `{column}`: {text:?} is not a time that can be read{remedy}")]
    Time {
        /// Row below the heading, from 1.
        row: usize,
        /// Column.
        column: String,
        /// The cell's text, shortened.
        text: String,
        /// What to do, as the rest of a sentence.
        remedy: &'static str,
    },
    /// A time zone that the time zone table does not have.
    #[error("there is no time zone {zone:?}: use an IANA name such as \"Europe/Lisbon\"")]
    Zone {
        /// As written.
        zone: String,
    },
    /// No row carries a time.
    #[error("no row carries a time")]
    NoRows,
    /// More rows than are read.
    #[error("the table has {rows} rows, at most {max} are read: cut it into parts")]
    TooManyRows {
        /// Rows.
        rows: usize,
        /// Most that is read.
        max: usize,
    },
}

/// At most 40 characters of a cell, for a message.
pub(crate) fn shortened(text: &str) -> String {
    text.chars().take(40).collect()
}
