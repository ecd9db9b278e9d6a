//! Parquet files → cells.

use super::library::{cells, guarded, one_line};
use super::{Loaded, keys, pages};
use crate::error::Problem;
use crate::table::headings::{self, Reading};
use crate::table::{Cells, ImportOptions, ROWS_MAX, RawColumn, RawTable};
use polars::prelude::{ParquetReader, PolarsResult, SerReader};
use std::io::Cursor;

/// Most bytes that the columns of a file may say they hold when decoded.
const DECODED_BYTES_MAX: u64 = 16 << 30;

/// Reads the columns that mean something; others keep their names only.
pub fn load(bytes: &[u8], options: &ImportOptions) -> Result<Loaded, Problem> {
    let mut reader = ParquetReader::new(Cursor::new(bytes));
    let metadata = guarded("Parquet", || reader.get_metadata().cloned())?;
    if metadata.num_rows > ROWS_MAX {
        return Err(Problem::TooManyRows { rows: metadata.num_rows, max: ROWS_MAX });
    }
    let mut decoded = 0_u64;
    for column in metadata.row_groups.iter().flat_map(|group| group.parquet_columns().iter()) {
        // A negative size is for the look over the pages to refuse.
        let bytes = u64::try_from(column.uncompressed_size()).unwrap_or(0);
        decoded = decoded.saturating_add(bytes);
    }
    if decoded > DECODED_BYTES_MAX {
        return Err(Problem::TooLong { bytes: decoded, max: DECODED_BYTES_MAX });
    }
    guarded("Parquet", || Ok(pages::check(bytes, &metadata)))??;
    let names: Vec<String> = guarded("Parquet", || {
        Ok(reader.schema()?.iter_names().map(|name| one_line(name)).collect())
    })?;
    let wanted: Vec<usize> =
        (0..names.len()).filter(|at| means_something(&names[*at], options)).collect();
    let mut loaded = Loaded::default();
    for pair in metadata.key_value_metadata().iter().flatten() {
        let value = pair.value.clone();
        match pair.key.as_str() {
            keys::SITE => loaded.site_text = value,
            keys::MADE_FROM => loaded.made_from = value,
            keys::LOSSES => {
                loaded.losses =
                    value.iter().flat_map(|text| text.lines()).map(str::to_owned).collect();
            }
            _ => {}
        }
    }

    let read = guarded("Parquet", || -> PolarsResult<Vec<Cells>> {
        let frame = reader.with_projection(Some(wanted.clone())).finish()?;
        // One after the other, so that each of the library's columns is freed before the next.
        frame.into_columns().into_iter().map(|column| cells(&column, false)).collect()
    })?;
    let mut columns: Vec<RawColumn> = names
        .into_iter()
        .map(|name| RawColumn { name, cells: Cells::Other("something unread".to_owned()) })
        .collect();
    for (at, cells) in wanted.into_iter().zip(read) {
        columns[at].cells = cells;
    }
    loaded.table = RawTable { columns };
    Ok(loaded)
}

fn means_something(name: &str, options: &ImportOptions) -> bool {
    matches!(headings::read(name), Reading::Known(_))
        || options.mapping.iter().any(|(column, _)| column == name)
}
