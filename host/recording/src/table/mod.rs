//! A table of any origin → rows of a recording. Pure: the cells come from `tables` (files) or from
//! a test.
//!
//! Steps, in the order of the files: [`headings`] (what each column is) → [`cells`] (numbers) and
//! [`times`] (moments) → [`order`] (rows in time order, each moment once) → [`spans`] (what length
//! of time each row stands for) → [`assemble`] (columns).

mod assemble;
mod cells;
pub mod headings;
mod order;
mod spans;
mod times;

pub use assemble::{Imported, assemble};
pub use cells::{Cells, MISSING, Texts};

/// Most rows that are read: two years of ten rows a second would be more, a year of five a second
/// is less (our choice; keeps memory below some 20 GiB at worst).
pub const ROWS_MAX: usize = 200_000_000;

/// How to read a table whose own names and times do not say it all.
#[derive(Clone, Debug, Default)]
pub struct ImportOptions {
    /// Columns named otherwise: name in the file, name as [`headings`] reads it (`pressure_psi`).
    pub mapping: Vec<(String, String)>,
    /// IANA zone of times without an offset; else the site's zone, else UTC.
    pub time_zone: Option<String>,
    /// `strptime` pattern of the time column, such as `%d/%m/%Y %H:%M:%S`.
    pub time_format: Option<String>,
    /// Moment from which a column of elapsed time counts, ms since 1970.
    pub elapsed_from_ms: Option<i64>,
}

/// A table as it was read: names and cells, all of the same length.
#[derive(Debug, Default)]
pub struct RawTable {
    /// The columns in the file's order.
    pub columns: Vec<RawColumn>,
}

/// One column as it was read.
#[derive(Debug)]
pub struct RawColumn {
    /// Heading.
    pub name: String,
    /// Cells.
    pub cells: Cells,
}

#[cfg(test)]
mod tests;
