//! A recording → a table, under headings that the import recognises. Values are written so that
//! they come back to the last bit.

use super::library::guarded;
use super::replace::replace;
use super::{Format, keys};
use crate::columns::Channel;
use crate::error::{FileError, Problem};
use crate::table::headings::{Quantity, Statistic, heading};
use crate::{Recording, clock};
use polars::prelude::{
    Column, CsvWriter, DataFrame, Float32Chunked, Int64Chunked, IntoColumn, KeyValueMetadata,
    NamedFrom, NewChunkedArray, ParquetCompression, ParquetWriter, PolarsResult, SerWriter, Series,
    TimeUnit, TimeZone, UInt32Chunked,
};
use std::fs::File;
use std::io::{BufWriter, Write};
use std::path::Path;

/// Writes the rows of a recording. Parquet also carries the site file's text and the losses told
/// in `source`; marks and captures are no rows (see [`super::write_marks`]).
///
/// The file appears whole or not at all.
pub fn write_table(recording: &Recording, path: &Path, format: Format) -> Result<(), FileError> {
    replace(path, |file| match format {
        Format::Parquet => write_parquet(recording, file),
        Format::Csv => write_csv(recording, file),
    })
}

fn write_parquet(recording: &Recording, file: &mut File) -> Result<(), Problem> {
    let source = &recording.source;
    let mut pairs = Vec::new();
    if let Some(text) = &source.site_text {
        pairs.push((keys::SITE.to_owned(), text.clone()));
    }
    let made_from = source
        .made_from
        .clone()
        .unwrap_or_else(|| format!("{} (SHA-256 {})", source.name, source.sha256));
    pairs.push((keys::MADE_FROM.to_owned(), made_from));
    if !source.losses.is_empty() {
        pairs.push((keys::LOSSES.to_owned(), source.losses.join("\n")));
    }
    let mut out = BufWriter::new(file);
    guarded("Parquet", || {
        let mut frame = frame(recording, moments(&recording.columns.end_ms))?;
        ParquetWriter::new(&mut out)
            .with_compression(ParquetCompression::Zstd(None))
            .with_key_value_metadata(Some(KeyValueMetadata::from_static(pairs)))
            .finish(&mut frame)
    })?;
    Ok(out.flush()?)
}

fn write_csv(recording: &Recording, file: &mut File) -> Result<(), Problem> {
    let mut out = BufWriter::new(file);
    guarded("CSV", || {
        let mut frame = frame(recording, moments_text(&recording.columns.end_ms))?;
        CsvWriter::new(&mut out).finish(&mut frame)
    })?;
    Ok(out.flush()?)
}

/// The column `time` as moments in UTC, ms.
pub fn moments(ms: &[i64]) -> Column {
    // A cast would drop the zone: this build of the library has no table of zones.
    Int64Chunked::from_slice("time".into(), ms)
        .into_datetime(TimeUnit::Milliseconds, Some(TimeZone::UTC))
        .into_column()
}

/// The column `time` as text in UTC.
pub fn moments_text(ms: &[i64]) -> Column {
    let texts: Vec<String> = ms.iter().map(|ms| clock::utc_text(*ms)).collect();
    Series::new("time".into(), texts).into_column()
}

fn frame(recording: &Recording, time: Column) -> PolarsResult<DataFrame> {
    let columns = &recording.columns;
    let spans = UInt32Chunked::from_slice(
        heading(Quantity::Span, Statistic::Mean, 1).into(),
        &columns.span_ms,
    );
    let mut out = vec![time, spans.into_column()];
    let phases = |phase: usize| phase as u8;
    for (phase, channel) in columns.voltage_v.iter().enumerate() {
        push(&mut out, channel, Quantity::Voltage(phases(phase)), columns.voltage_v.len());
    }
    for (phase, channel) in columns.current_a.iter().enumerate() {
        push(&mut out, channel, Quantity::Current(phases(phase)), columns.current_a.len());
    }
    for (channel, quantity) in
        [(&columns.pressure_bar, Quantity::Pressure), (&columns.loop_ma, Quantity::Loop)]
    {
        if let Some(channel) = channel {
            push(&mut out, channel, quantity, 1);
        }
    }
    for (values, quantity) in [
        (&columns.power_w, Quantity::Power),
        (&columns.frequency_hz, Quantity::Frequency),
        (&columns.transducer_supply_v, Quantity::TransducerSupply),
    ] {
        if let Some(values) = values {
            out.push(floats(&heading(quantity, Statistic::Mean, 1), values));
        }
    }
    DataFrame::new(columns.len(), out)
}

fn push(out: &mut Vec<Column>, channel: &Channel, quantity: Quantity, phases: usize) {
    out.push(floats(&heading(quantity, Statistic::Mean, phases), &channel.mean));
    if channel.spread {
        out.push(floats(&heading(quantity, Statistic::Min, phases), &channel.min));
        out.push(floats(&heading(quantity, Statistic::Max, phases), &channel.max));
    }
}

/// A column of numbers; what is missing is an empty cell.
fn floats(name: &str, values: &[f32]) -> Column {
    let cells = values.iter().map(|value| (!value.is_nan()).then_some(*value));
    Float32Chunked::from_iter_options(name.into(), cells).into_column()
}
