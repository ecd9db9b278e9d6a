//! Rows too long, or without extremes, for what happens within them.

use super::*;
use crate::outcome::{Severity, StopReason};
use pumpwitness_recording::Recording;

/// The record as a logger without extremes would have kept it.
pub fn means_only(mut record: Recording) -> Recording {
    let columns = &mut record.columns;
    for channel in columns.voltage_v.iter_mut().chain(&mut columns.current_a) {
        channel.min.clone_from(&channel.mean);
        channel.max.clone_from(&channel.mean);
        channel.spread = false;
    }
    record
}

fn kinds(analysis: &Analysis) -> Vec<(&str, Severity)> {
    analysis.findings.iter().map(|f| (f.kind, f.severity)).collect()
}

#[test]
fn dips_in_rows_that_hold_the_pumps_own_starts_are_not_laid_to_others() {
    let plant = Plant { source_ohm: |_| 1.6, row_s: 10.0, ..Plant::default() };
    let analysis = run(&plant);
    let kinds = kinds(&analysis);
    assert!(kinds.iter().all(|(kind, _)| *kind != "voltage-dip"), "{kinds:?}");
    assert!(kinds.iter().any(|(kind, _)| *kind == "weak-supply"), "{kinds:?}");
    assert!(!causes(&analysis).contains(&"supply-dips"));
}

#[test]
fn a_row_that_begins_in_the_inrush_does_not_pass_for_the_load() {
    for seed in 1..9 {
        let plant = Plant { row_s: 1.0, seed, ..Plant::default() };
        let analysis = analyse(&means_only(plant.record()), &plant.site());
        let kinds = kinds(&analysis);
        assert!(kinds.iter().all(|(kind, _)| *kind != "falling-yield"), "{seed}: {kinds:?}");
    }
}

#[test]
fn a_stop_far_below_the_declared_cut_out_is_not_the_switch_because_most_are() {
    let plant = Plant {
        well_l: Some(60.0),
        well_refill_lpm: 4.0,
        row_s: 10.0,
        hours: 48.0,
        ..Plant::default()
    };
    let analysis = run(&plant);
    assert_ne!(causes(&analysis).first(), Some(&"healthy"), "{:?}", analysis.stops);
    let dry = analysis.runs.iter().filter(|r| r.stop_reason == Some(StopReason::DryRun)).count();
    assert!(dry > 0, "{:?}", analysis.stops);
}

/// A logger that averages over ten seconds shows a pump that runs dry for half a minute, and no more of
/// why than that its load was gone.
#[test]
fn a_load_gone_for_longer_than_rows_are_is_named() {
    let plant = Plant {
        well_l: Some(60.0),
        well_refill_lpm: 4.0,
        dry_trip_s: 30.0,
        row_s: 10.0,
        hours: 48.0,
        ..Plant::default()
    };
    let analysis = analyse(&means_only(plant.record()), &plant.site());
    assert_eq!(causes(&analysis), ["source-overdrawn"], "{:?}", analysis.findings);
    let verdict = &analysis.verdict[0];
    assert!(
        verdict.confidence <= 0.75 && verdict.against[0].contains("shut outlet"),
        "{verdict:?}"
    );
}
