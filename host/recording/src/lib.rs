//! Archives and imported tables as columns; export.
//!
//! [`columns`] is what everything after this crate works on. [`archive`] makes columns of a
//! downloaded archive, `tables` (feature `tables`, the one place for polars) of CSV and Parquet by
//! way of [`table`]. [`read_any`] tells them apart by their first bytes.

pub mod archive;
mod batch;
pub mod clock;
pub mod columns;
mod error;
mod file;
mod rows;
pub mod table;
#[cfg(feature = "tables")]
pub mod tables;
mod transducer;

pub use columns::{Channel, Columns};
pub use error::{FileError, Problem};
pub use file::{FILE_BYTES_MAX, read_any};
pub use rows::from_records;
pub use table::ImportOptions;
#[cfg(feature = "tables")]
pub use tables::{Format, read_table, write_marks, write_table};

use pumpwitness_protocol::record::{CaptureBlock, TimedMark};

/// A whole recording in memory: rows, marks, captures and what is known about the source.
#[derive(Clone, Debug, Default)]
pub struct Recording {
    /// The rows.
    pub columns: Columns,
    /// Marks of the logger, in time order; empty for imported tables.
    pub marks: Vec<TimedMark>,
    /// Captures of the logger, block by block; empty for imported tables.
    pub captures: Vec<CaptureBlock>,
    /// Where it came from and how whole it is.
    pub source: Source,
}

/// Where a recording came from and how whole it is.
#[derive(Clone, Debug, Default)]
pub struct Source {
    /// Name of the file, without folders.
    pub name: String,
    /// SHA-256 of the file's bytes, lower-case hex.
    pub sha256: String,
    /// `"archive"` or `"table"`.
    pub kind: SourceKind,
    /// Unique number of the logger, hex; archives only.
    pub device: Option<String>,
    /// Firmware version of the logger.
    pub firmware: Option<String>,
    /// Text of the site file carried in the archive, or in a table that this crate has written.
    pub site_text: Option<String>,
    /// Host time less logger time at download, ms; archives only.
    pub clock_offset_ms: Option<i64>,
    /// Who collected the archive and how the logger was calibrated, as its head states.
    pub custody: Option<Custody>,
    /// For a table that this crate has written: name and SHA-256 of the file it was made from.
    pub made_from: Option<String>,
    /// Losses met while reading, each a sentence for the reader.
    pub losses: Vec<String>,
    /// Pages in the archive that failed their check.
    pub pages_damaged: u32,
    /// Pages in the archive that decoded.
    pub pages_good: u32,
}

/// What the head of an archive states about people and instruments.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Custody {
    /// Who collected it.
    pub collected_by: Option<String>,
    /// When, by the computer's clock, ms since 1970.
    pub collected_ms: i64,
    /// The program it was collected with, and its version.
    pub program: String,
    /// When the logger was calibrated, ms since 1970; 0: never.
    pub calibrated_ms: i64,
    /// Who calibrated it.
    pub calibrated_by: Option<String>,
    /// Against what.
    pub reference: Option<String>,
}

/// Kind of source.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum SourceKind {
    /// A file downloaded from a logger.
    Archive,
    /// A table of another program.
    #[default]
    Table,
}
