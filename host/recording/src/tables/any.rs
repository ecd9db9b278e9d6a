//! Any columns as a table: what is no row of a recording, such as the runs of an analysis.

use super::Format;
use super::library::guarded;
use super::replace::replace;
use super::write::{moments, moments_text};
use crate::error::FileError;
use polars::prelude::{
    Column, CsvWriter, DataFrame, Float64Chunked, IntoColumn, NamedFrom, NewChunkedArray,
    ParquetWriter, SerWriter, Series,
};
use std::path::Path;

/// Cells of a column, one a row.
#[derive(Clone, Debug, PartialEq)]
pub enum Cells {
    /// Moments, ms since 1970; in UTC.
    Moments(Vec<i64>),
    /// Numbers.
    Numbers(Vec<Option<f64>>),
    /// Words.
    Words(Vec<Option<String>>),
}

impl Cells {
    fn len(&self) -> usize {
        match self {
            Self::Moments(cells) => cells.len(),
            Self::Numbers(cells) => cells.len(),
            Self::Words(cells) => cells.len(),
        }
    }

    fn column(&self, name: &str, format: Format) -> Column {
        match (self, format) {
            (Self::Moments(ms), Format::Csv) => moments_text(ms).with_name(name.into()),
            (Self::Moments(ms), Format::Parquet) => moments(ms).with_name(name.into()),
            (Self::Numbers(cells), _) => {
                Float64Chunked::from_iter_options(name.into(), cells.iter().copied()).into_column()
            }
            (Self::Words(cells), _) => Series::new(name.into(), cells).into_column(),
        }
    }
}

/// Writes columns of equal length under their names. The file appears whole or not at all.
pub fn write_columns(
    columns: &[(&str, Cells)],
    path: &Path,
    format: Format,
) -> Result<(), FileError> {
    let name = match format {
        Format::Csv => "CSV",
        Format::Parquet => "Parquet",
    };
    replace(path, |file| {
        guarded(name, || {
            let rows = columns.first().map_or(0, |(_, cells)| cells.len());
            let columns = columns.iter().map(|(name, cells)| cells.column(name, format)).collect();
            let mut frame = DataFrame::new(rows, columns)?;
            match format {
                Format::Csv => CsvWriter::new(file).finish(&mut frame),
                Format::Parquet => ParquetWriter::new(file).finish(&mut frame).map(|_| ()),
            }
        })
    })
}
