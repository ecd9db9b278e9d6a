//! Tables as files: CSV and Parquet, in and out. The one place for polars.
//!
//! What polars gives is believed no further than its types: files come from anywhere, so sizes are
//! bounded before decoding, and an error or a panic in the library becomes a [`Problem`].

mod any;
mod csv;
mod library;
mod marks;
mod pages;
mod parquet;
mod replace;
mod write;

pub use any::{Cells, write_columns};
pub use marks::write_marks;
pub use write::write_table;

use crate::error::{FileError, Problem};
use crate::file::{at, name_of, read_bytes, sha256_hex};
use crate::table::{ImportOptions, RawTable, assemble};
use crate::{Recording, Source, SourceKind};
use pumpwitness_site_file::Site;
use std::path::Path;

/// How a table is written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Format {
    /// Text, columns separated by commas.
    Csv,
    /// Apache Parquet, compressed with Zstandard.
    Parquet,
}

/// Names under which a Parquet table carries what is no column.
mod keys {
    /// Text of the site file.
    pub const SITE: &str = "pumpwitness.site";
    /// Name and hash of the file the table was made from.
    pub const MADE_FROM: &str = "pumpwitness.made_from";
    /// Losses met when that file was read, one a line.
    pub const LOSSES: &str = "pumpwitness.losses";
}

/// Reads a table; CSV or Parquet is told by the first bytes.
pub fn read_table(
    path: &Path,
    options: &ImportOptions,
    site: Option<&Site>,
) -> Result<Recording, FileError> {
    let bytes = read_bytes(path)?;
    recording(path, &bytes, options, site).map_err(|problem| at(path, problem))
}

/// What a reader makes of a file: the cells, and what a table of this crate carries besides.
#[derive(Default)]
struct Loaded {
    table: RawTable,
    site_text: Option<String>,
    made_from: Option<String>,
    losses: Vec<String>,
}

/// The recording in the bytes of a table.
pub(crate) fn recording(
    path: &Path,
    bytes: &[u8],
    options: &ImportOptions,
    site: Option<&Site>,
) -> Result<Recording, Problem> {
    let loaded = match kind_of(bytes)? {
        Format::Parquet => parquet::load(bytes, options)?,
        Format::Csv => csv::load(bytes)?,
    };
    let carried =
        loaded.site_text.as_deref().and_then(|text| pumpwitness_site_file::parse(text).ok());
    let imported = assemble(loaded.table, options, site.or(carried.as_ref()))?;
    let mut losses = loaded.losses;
    losses.extend(imported.notes);
    Ok(Recording {
        columns: imported.columns,
        source: Source {
            name: name_of(path),
            sha256: sha256_hex(bytes),
            kind: SourceKind::Table,
            site_text: loaded.site_text,
            made_from: loaded.made_from,
            losses,
            ..Source::default()
        },
        ..Recording::default()
    })
}

/// Parquet, or text that may be CSV; anything else is named.
fn kind_of(bytes: &[u8]) -> Result<Format, Problem> {
    let known: [(&[u8], &'static str); 6] = [
        (b"PK", "a zip archive or a spreadsheet (save the sheet as CSV)"),
        (b"\xFF\xFE", "text in UTF-16 (save it as UTF-8)"),
        (b"\xFE\xFF", "text in UTF-16 (save it as UTF-8)"),
        (b"%PDF", "a PDF document"),
        (b"\x1F\x8B", "a gzip file (unpack it first)"),
        (b"\x28\xB5\x2F\xFD", "a Zstandard file (unpack it first)"),
    ];
    if bytes.starts_with(b"PAR1") {
        return Ok(Format::Parquet);
    }
    if let Some((_, found)) = known.iter().find(|(magic, _)| bytes.starts_with(magic)) {
        return Err(Problem::Foreign { found });
    }
    if bytes.iter().take(64 * 1024).any(|byte| *byte == 0) {
        return Err(Problem::Foreign { found: "a binary file of an unknown kind" });
    }
    Ok(Format::Csv)
}

#[cfg(test)]
mod tests;
