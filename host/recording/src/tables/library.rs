//! The wall around the table library: its errors and panics become one line.

use crate::error::Problem;
use crate::table::{Cells, MISSING, Texts};
use polars::prelude::{Column, DataType, PolarsResult, TimeUnit};
use std::panic::{AssertUnwindSafe, catch_unwind};

/// Longest heading or sentence of the library that is passed on.
const CHARS_MAX: usize = 200;

/// Runs `work` of the library on a file of this `format`.
pub fn guarded<T>(
    format: &'static str,
    work: impl FnOnce() -> PolarsResult<T>,
) -> Result<T, Problem> {
    // The values that `work` holds are dropped with it: none is seen half-changed.
    let cause = match catch_unwind(AssertUnwindSafe(work)) {
        Ok(Ok(value)) => return Ok(value),
        Ok(Err(error)) => one_line(&error.to_string()),
        Err(_) => "the table library gave up: the file is damaged or of a rare kind".to_owned(),
    };
    Err(Problem::Format { format, cause })
}

/// A heading or a sentence in one line, bounded.
pub fn one_line(text: &str) -> String {
    let words: Vec<&str> = text.split_whitespace().collect();
    words.join(" ").chars().take(CHARS_MAX).collect()
}

/// Cells of a column of the library.
pub fn cells(column: &Column, decimal_comma: bool) -> PolarsResult<Cells> {
    let dtype = column.dtype();
    Ok(match dtype {
        DataType::String => {
            let mut texts = Texts::with_capacity(column.len(), decimal_comma);
            for text in column.str()?.iter() {
                texts.push(text.unwrap_or(""));
            }
            Cells::Texts(texts)
        }
        DataType::Datetime(unit, zone) => {
            let (utc, unit) = (zone.is_some(), *unit);
            let ticks = column.cast(&DataType::Int64)?;
            let ms = ticks.i64()?.iter().map(|ticks| match (ticks, unit) {
                (None, _) => MISSING,
                (Some(ticks), TimeUnit::Milliseconds) => ticks,
                (Some(ticks), TimeUnit::Microseconds) => ticks.div_euclid(1000),
                (Some(ticks), TimeUnit::Nanoseconds) => ticks.div_euclid(1_000_000),
            });
            Cells::Moments { ms: ms.collect(), utc }
        }
        DataType::Date => {
            let days = column.cast(&DataType::Int64)?;
            let ms = days
                .i64()?
                .iter()
                .map(|days| days.map_or(MISSING, |d| d.saturating_mul(86_400_000)));
            Cells::Moments { ms: ms.collect(), utc: false }
        }
        dtype if dtype.is_primitive_numeric() => {
            let numbers = column.cast(&DataType::Float64)?;
            Cells::Numbers(numbers.f64()?.iter().map(|number| number.unwrap_or(f64::NAN)).collect())
        }
        other => Cells::Other(other.to_string()),
    })
}
