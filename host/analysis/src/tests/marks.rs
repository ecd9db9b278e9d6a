//! What the logger's own marks add: lamps, outages, the transducer's supply.

use super::plant::Plant;
use super::{causes, run};
use crate::analyse;
use crate::outcome::{Analysis, StopReason};
use pumpwitness_protocol::record::{BootReason, LampState, Mark, TimedMark};
use pumpwitness_recording::Recording;

pub(super) fn mark(time_ms: i64, mark: Mark) -> TimedMark {
    TimedMark { time_ms, mark }
}

/// A lamp labelled for the reason of a stop makes it surer, one for another reason less sure.
#[test]
fn lamps_are_heard() {
    let plant = Plant { current_share: 1.35, ..Plant::default() };
    let silent = run(&plant);
    let trips: Vec<i64> = silent
        .runs
        .iter()
        .filter(|r| r.stop_reason == Some(StopReason::Overload))
        .map(|r| r.stop.as_millisecond())
        .collect();
    let with_label = |label: &str| {
        let mut record = plant.record();
        for stop_ms in &trips {
            let on = Mark::Lamp { lamp: 1, state: LampState::Flashing(100) };
            record.marks.push(mark(stop_ms + 2_000, on));
            record
                .marks
                .push(mark(stop_ms + 60_000, Mark::Lamp { lamp: 1, state: LampState::Off }));
        }
        let mut site = plant.site();
        site.lamps = vec![(1, label.to_owned())];
        analyse(&record, &site)
    };
    let sure = |analysis: &Analysis| {
        analysis.findings.iter().find(|f| f.kind == "overload").unwrap().confidence
    };
    let (agreed, differed) = (with_label("Overload"), with_label("dry running"));
    assert!(sure(&agreed) >= sure(&silent) && sure(&differed) < sure(&silent));
    assert_eq!(agreed.runs.iter().filter(|r| r.lamp.is_some()).count(), trips.len());
    assert_eq!(causes(&differed)[0], "mechanical-drag", "the record comes before the lamp");
}

/// Where the logger goes dark with the supply, the outage lasts until it starts again.
#[test]
fn an_outage_lasts_until_the_logger_is_back() {
    let plant = Plant {
        source_v: |t| if (40_000.0..40_600.0).contains(&t) { 0.0 } else { 1.01 },
        ..Plant::default()
    };
    let mut record = plant.record();
    let start_ms = record.columns.end_ms[0];
    let (from_ms, to_ms) = (start_ms + 40_000_000 + 2_100, start_ms + 40_600_000);
    let keep: Vec<bool> =
        record.columns.end_ms.iter().map(|t| !(from_ms..to_ms).contains(t)).collect();
    record = only(&record, &keep);
    record.marks.push(mark(from_ms, Mark::PowerFailing { supply_mv: 4_000 }));
    let boot = Mark::Boot { boot: 2, reason: BootReason::PowerOn, firmware: [0, 1, 0] };
    record.marks.push(mark(to_ms, boot));
    let analysis = analyse(&record, &plant.site());
    let gone = analysis.findings.iter().find(|f| f.kind == "interruption").unwrap();
    assert!((gone.measured["longest_s"] - 600.0).abs() < 1.5, "{:?}", gone.measured);
    assert!(gone.text.contains("10 min"), "{}", gone.text);
}

/// The supply of the transducer that the logger measures itself.
#[test]
fn a_low_transducer_supply_is_told_from_its_own_measurement() {
    let plant = Plant { hours: 20.0, ..Plant::default() };
    let mut record = plant.record();
    let start_ms = record.columns.end_ms[0];
    for n in 0..100 {
        let transducer_supply_mv = if n % 10 == 3 { 8_500 } else { 24_000 };
        let health = Mark::Health { board_dc: 240, supply_mv: 5_000, transducer_supply_mv };
        record.marks.push(mark(start_ms + n * 600_000, health));
    }
    let analysis = analyse(&record, &plant.site());
    assert_eq!(causes(&analysis)[0], "transducer-supply");
    let found = analysis.findings.iter().find(|f| f.kind == "transducer-supply").unwrap();
    assert!((found.measured["lowest_v"] - 8.5).abs() < 1e-9);
}

/// Rows that are kept.
fn only(recording: &Recording, keep: &[bool]) -> Recording {
    let mut kept = recording.clone();
    let columns = &mut kept.columns;
    let pick32 = |values: &mut Vec<f32>| {
        let mut place = keep.iter();
        values.retain(|_| *place.next().unwrap());
    };
    let mut place = keep.iter();
    columns.end_ms.retain(|_| *place.next().unwrap());
    let mut place = keep.iter();
    columns.span_ms.retain(|_| *place.next().unwrap());
    let channels =
        columns.voltage_v.iter_mut().chain(&mut columns.current_a).chain(&mut columns.pressure_bar);
    for channel in channels {
        for values in [&mut channel.mean, &mut channel.min, &mut channel.max] {
            pick32(values);
        }
    }
    for values in columns.power_w.iter_mut().chain(&mut columns.frequency_hz) {
        pick32(values);
    }
    kept
}
