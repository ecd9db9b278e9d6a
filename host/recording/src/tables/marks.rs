//! Marks of the logger as a table of their own: time, kind, what happened.

use super::Format;
use super::library::guarded;
use super::replace::replace;
use super::write::{moments, moments_text};
use crate::error::FileError;
use crate::{Recording, clock};
use polars::prelude::{
    CsvWriter, DataFrame, IntoColumn, NamedFrom, ParquetWriter, SerWriter, Series,
};
use pumpwitness_protocol::hex::Hex;
use pumpwitness_protocol::record::{
    BootReason, Channel, LampState, Mark, SensorState, VoltageEvent,
};
use std::path::Path;

/// Writes the marks of a recording: `time` (UTC), `kind`, `detail`. The file appears whole or not
/// at all.
pub fn write_marks(recording: &Recording, path: &Path, format: Format) -> Result<(), FileError> {
    let name = match format {
        Format::Csv => "CSV",
        Format::Parquet => "Parquet",
    };
    let times: Vec<i64> = recording.marks.iter().map(|mark| mark.time_ms).collect();
    let (kinds, details): (Vec<&str>, Vec<Option<String>>) = recording
        .marks
        .iter()
        .map(|mark| describe(&mark.mark))
        .map(|(kind, detail)| (kind, (!detail.is_empty()).then_some(detail)))
        .unzip();
    replace(path, |file| {
        guarded(name, || {
            let time = match format {
                Format::Csv => moments_text(&times),
                Format::Parquet => moments(&times),
            };
            let columns = vec![
                time,
                Series::new("kind".into(), kinds).into_column(),
                Series::new("detail".into(), details).into_column(),
            ];
            let mut frame = DataFrame::new(recording.marks.len(), columns)?;
            match format {
                Format::Csv => CsvWriter::new(file).finish(&mut frame),
                Format::Parquet => ParquetWriter::new(file).finish(&mut frame).map(|_| ()),
            }
        })
    })
}

/// Kind and particulars of a mark.
fn describe(mark: &Mark) -> (&'static str, String) {
    match mark {
        Mark::Boot { boot, reason, firmware: [major, minor, patch] } => {
            let reason = match reason {
                BootReason::PowerOn => "supply came on",
                BootReason::Watchdog => "watchdog",
                BootReason::Fault => "program fault",
                BootReason::Request => "asked for",
            };
            ("boot", format!("start {boot}, {reason}, firmware {major}.{minor}.{patch}"))
        }
        Mark::ClockSet { before_ms } => {
            ("clock-set", format!("it showed {} before", clock::utc_text(*before_ms)))
        }
        Mark::PowerFailing { supply_mv } => {
            ("power-failing", format!("logger supply {supply_mv} mV"))
        }
        Mark::Sensor { channel, state } => {
            let channel = match channel {
                Channel::Voltage => "voltage",
                Channel::Current => "current",
                Channel::Transducer => "transducer",
                Channel::TransducerSupply => "transducer supply",
            };
            let state = match state {
                SensorState::Good => "within its live band",
                SensorState::Low => "below its live band",
                SensorState::High => "above its live band",
            };
            ("sensor", format!("{channel} {state}"))
        }
        Mark::Lamp { lamp, state } => {
            let state = match state {
                LampState::Off => "off".to_owned(),
                LampState::On => "on".to_owned(),
                LampState::Flashing(rate) => {
                    format!("flashing at {:.2} Hz", f64::from(*rate) / 100.0)
                }
            };
            ("lamp", format!("input {lamp} {state}"))
        }
        Mark::Voltage { event, start_ms, half_cycles, extreme_dv, open } => {
            let kind = match event {
                VoltageEvent::Dip => "voltage-dip",
                VoltageEvent::Swell => "voltage-swell",
                VoltageEvent::Interruption => "interruption",
            };
            let end = if *open { ", end not seen" } else { "" };
            let extreme_v = f64::from(*extreme_dv) / 10.0;
            let start = clock::utc_text(*start_ms);
            (kind, format!("from {start}, {half_cycles} half cycles, {extreme_v:.1} V{end}"))
        }
        Mark::Settings { digest } => ("settings", format!("digest {}", Hex(digest))),
        Mark::Armed => ("armed", String::new()),
        Mark::Snapshot => ("snapshot", String::new()),
        Mark::Health { board_dc, supply_mv, transducer_supply_mv } => (
            "health",
            format!(
                "board {:.1} °C, logger supply {supply_mv} mV, transducer supply \
                 {transducer_supply_mv} mV",
                f64::from(*board_dc) / 10.0
            ),
        ),
        Mark::FramesLost { frames } => ("frames-lost", frames.to_string()),
        Mark::CapturesDropped { captures } => ("captures-dropped", captures.to_string()),
        Mark::PagesDamaged { pages } => ("pages-damaged", pages.to_string()),
        Mark::RecordsLost { records } => ("records-lost", records.to_string()),
        Mark::Fault { place } => ("fault", format!("at {place:#010x}")),
        Mark::ClockCompared { ahead_ms, followed } => {
            let what = match (ahead_ms, followed) {
                (None, _) => "its chip has stopped or does not answer".to_owned(),
                (Some(ms), true) => format!("{ms} ms ahead of its chip"),
                (Some(ms), false) => format!("{ms} ms ahead of its chip, not followed"),
            };
            ("clock-compared", what)
        }
        Mark::Calibration { digest } => ("calibration", format!("digest {}", Hex(digest))),
        Mark::Seal(seal) => ("seal", format!("up to sector {}", seal.statement.sector)),
    }
}
