//! The wall around the table library: its errors and panics become one line.

use crate::error::Problem;
use crate::table::{Cells, MISSING, Texts};
use polars::prelude::{ChunkedArray, Column, DataType, PolarsNumericType, PolarsResult, TimeUnit};
use std::cell::Cell;
use std::panic::{self, AssertUnwindSafe, catch_unwind};
use std::sync::Once;
use std::thread;

/// Longest heading or sentence of the library that is passed on.
const CHARS_MAX: usize = 200;

thread_local! {
    /// This thread is inside [`guarded`].
    static INSIDE: Cell<bool> = const { Cell::new(false) };
}

/// Keeps the library's panics, which [`guarded`] turns into errors, from being printed as well.
/// Panics of all other code go where they went before.
fn hush() {
    static ONCE: Once = Once::new();
    ONCE.call_once(|| {
        let before = panic::take_hook();
        panic::set_hook(Box::new(move |info| {
            // The library's own threads are named after it.
            let of_library =
                thread::current().name().is_some_and(|name| name.starts_with("polars-"));
            if !of_library && !INSIDE.get() {
                before(info);
            }
        }));
    });
}

/// Runs `work` of the library on a file of this `format`.
pub fn guarded<T>(
    format: &'static str,
    work: impl FnOnce() -> PolarsResult<T>,
) -> Result<T, Problem> {
    hush();
    INSIDE.set(true);
    // The values that `work` holds are dropped with it: none is seen half-changed.
    let result = catch_unwind(AssertUnwindSafe(work));
    INSIDE.set(false);
    let cause = match result {
        Ok(Ok(value)) => return Ok(value),
        Ok(Err(error)) => in_our_words(one_line(&error.to_string())),
        Err(_) => "the table library gave up: the file is damaged or of a rare kind".to_owned(),
    };
    Err(Problem::Format { format, cause })
}

/// What the library says to programmers, said to the user, where it is known; else as it is.
fn in_our_words(cause: String) -> String {
    if cause.contains("more fields than defined") {
        return "a row has more cells than the heading, so this is no table with a heading line; \
                give an archive of a logger, or a CSV or Parquet table"
            .to_owned();
    }
    cause
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
            let ticks_per_ms = match unit {
                TimeUnit::Milliseconds => 1,
                TimeUnit::Microseconds => 1000,
                TimeUnit::Nanoseconds => 1_000_000,
            };
            let mut ms = values(ticks.i64()?, MISSING);
            if ticks_per_ms > 1 {
                for ticks in ms.iter_mut().filter(|ticks| **ticks != MISSING) {
                    *ticks = ticks.div_euclid(ticks_per_ms);
                }
            }
            Cells::Moments { ms, utc }
        }
        DataType::Date => {
            let days = column.cast(&DataType::Int64)?;
            let ms = days
                .i64()?
                .iter()
                .map(|days| days.map_or(MISSING, |d| d.saturating_mul(86_400_000)));
            Cells::Moments { ms: ms.collect(), utc: false }
        }
        DataType::Float32 => Cells::Singles(values(column.f32()?, f32::NAN)),
        dtype if dtype.is_primitive_numeric() => {
            Cells::Numbers(values(column.cast(&DataType::Float64)?.f64()?, f64::NAN))
        }
        other => Cells::Other(other.to_string()),
    })
}

/// Numbers of a column, `none` where it has none.
fn values<T: PolarsNumericType>(column: &ChunkedArray<T>, none: T::Native) -> Vec<T::Native> {
    match column.rechunk().cont_slice() {
        // Nothing is missing: as they lie in memory.
        Ok(values) => values.to_vec(),
        Err(_) => column.iter().map(|number| number.unwrap_or(none)).collect(),
    }
}
