//! Why runs stopped, where the plainest reading of the record would blame the wrong thing.

use super::causes;
use super::coarse::means_only;
use super::plant::Plant;
use crate::analyse;
use crate::outcome::{Analysis, Severity, StopReason};
use pumpwitness_recording::Recording;

fn drive() -> Plant {
    Plant { held_bar: Some(3.0), precharge_bar: 2.0, tank_l: 20.0, ..Plant::default() }
}

fn count(analysis: &Analysis, reason: StopReason) -> u32 {
    analysis.stops.get(&reason).copied().unwrap_or(0)
}

/// One record after another, as one.
fn joined(records: impl IntoIterator<Item = Recording>) -> Recording {
    let mut all = Recording::default();
    for record in records {
        let next_ms = all.columns.end_ms.last().map_or(0, |last| last - record.columns.start_ms(0));
        all.columns.end_ms.extend(record.columns.end_ms.iter().map(|end| end + next_ms));
        all.columns.span_ms.extend(record.columns.span_ms);
        let bar = record.columns.pressure_bar.unwrap();
        let joined = all.columns.pressure_bar.get_or_insert_default();
        joined.mean.extend(bar.mean);
        joined.min.extend(bar.min);
        joined.max.extend(bar.max);
    }
    all
}

/// A switch that stops the pump at one pressure cannot let it go on to a higher one: stops lower down,
/// though they are the most, are something else's, and no narrow differential. With the pressure alone
/// nothing tells what.
#[test]
fn a_switch_that_lets_the_pressure_go_on_does_not_stop_the_pump_lower_down() {
    let low = |seed| Plant { real_cut_out: Some(2.6), hours: 4.0, seed, ..Plant::default() };
    let high = |seed| Plant { hours: 2.0, seed, ..Plant::default() };
    let record = joined((1..8).flat_map(|seed| [low(seed).record(), high(seed).record()]));
    let analysis = analyse(&record, &Plant::default().site());
    assert!(causes(&analysis).is_empty(), "{:?}", analysis.verdict);
    let short = analysis.findings.iter().find(|f| f.kind == "stopped-short").expect("told");
    assert_eq!(short.severity, Severity::Watch);
    assert!(short.count * 2 > analysis.runs.len() as u32, "{}", short.text);
    assert!(short.text.contains("nothing in the record says why"), "{}", short.text);
}

/// No drive goes to sleep from more than its motor's rated load.
#[test]
fn a_drive_stopped_under_overload_has_not_gone_to_sleep() {
    let mut plant = Plant { current_share: 1.3, leak_l_per_h: 2_300.0, ..drive() };
    let record = plant.record();
    // The nameplate allows less than the pump takes.
    plant.rated_a *= 0.4;
    let analysis = analyse(&record, &plant.site());
    assert!(count(&analysis, StopReason::Overload) > 20, "{:?}", analysis.stops);
    assert_eq!(count(&analysis, StopReason::NoDemand), 0);
    assert!(!causes(&analysis).contains(&"open-motor-circuit"), "{:?}", analysis.verdict);
}

/// Below a ceiling of the reading the pressure may well be held, and little load is what a drive then
/// should have.
#[test]
fn a_drive_with_little_load_under_a_ceiling_is_not_dry() {
    let plant = Plant {
        reading: |_, bar| bar.min(2.7),
        source_v: |t| if t % 9_000.0 > 8_970.0 { 0.0 } else { 1.0 },
        leak_l_per_h: 300.0,
        ..drive()
    };
    let mut record = plant.record();
    record.columns.voltage_v.clear();
    let analysis = analyse(&record, &plant.site());
    assert_eq!(causes(&analysis).first(), Some(&"transducer-supply"), "{:?}", analysis.verdict);
    assert_eq!(count(&analysis, StopReason::DryRun), 0, "{:?}", analysis.stops);
    assert!(!causes(&analysis).contains(&"source-overdrawn"));
}

/// Rows of a minute hold a stop and some of the rest after it: they read low without a dry pump.
#[test]
fn a_long_row_that_holds_the_stop_is_no_dry_run() {
    for seed in 1..6 {
        let plant = Plant { row_s: 60.0, hours: 72.0, seed, ..Plant::default() };
        let analysis = analyse(&means_only(plant.record()), &plant.site());
        assert_eq!(count(&analysis, StopReason::DryRun), 0, "{seed}: {:?}", analysis.stops);
        assert_eq!(causes(&analysis), ["healthy"], "{seed}: {:?}", analysis.findings);
    }
}

/// Stops that the rows do show to be out of the ordinary, and hours without a pump, are not health,
/// even where nothing can be named.
#[test]
fn what_long_rows_leave_open_is_not_called_healthy() {
    let well = Plant {
        well_l: Some(60.0),
        well_refill_lpm: 4.0,
        dry_trip_s: 2.5,
        row_s: 10.0,
        hours: 48.0,
        ..Plant::default()
    };
    let analysis = analyse(&means_only(well.record()), &well.site());
    assert!(causes(&analysis).is_empty(), "{:?}", analysis.verdict);
    let short = analysis.findings.iter().find(|f| f.kind == "stopped-short").expect("told");
    assert!(short.text.contains("rows of 10 s do not show"), "{}", short.text);
    assert!(short.text.contains("even wait of 5 min"), "{}", short.text);

    let open = Plant {
        open_circuit: |t| (t / 3600.0) % 12.0 > 9.0,
        row_s: 60.0,
        hours: 48.0,
        ..Plant::default()
    };
    let analysis = analyse(&means_only(open.record()), &open.site());
    assert!(causes(&analysis).is_empty(), "{:?}", analysis.verdict);
    assert!(analysis.findings.iter().any(|f| f.kind == "no-draw"));
    let out = analysis.ruled_out.iter().find(|r| r.cause == "open-motor-circuit").unwrap();
    assert!(!out.contradicted && out.because.starts_with("Found, but too weakly"), "{out:?}");
}

/// A pump that takes all of its usual power moves water, whatever a wandering reading says, and though
/// its nameplate would allow more.
#[test]
fn a_reading_that_stands_high_at_full_load_is_no_shut_outlet() {
    let mut plant = Plant {
        reading: |t, bar| bar + if (t / 3600.0) % 5.0 > 3.0 { 0.9 } else { 0.0 },
        leak_l_per_h: 1_500.0,
        ..Plant::default()
    };
    let record = plant.record();
    plant.rated_a *= 1.4;
    let analysis = analyse(&record, &plant.site());
    assert!(!causes(&analysis).contains(&"closed-discharge"), "{:?}", analysis.verdict);
}

/// Switched off within the time that it always needs to come up to speed, a motor has not failed to.
#[test]
fn a_stop_within_the_inrush_is_no_failed_start() {
    let plant = Plant::default();
    let mut record = plant.record();
    let columns = &mut record.columns;
    let amps = &mut columns.current_a[0];
    let starts: Vec<usize> = (1..amps.mean.len())
        .filter(|n| amps.mean[n - 1] < 1.0 && amps.max[*n] > 2.0 * plant.rated_a as f32)
        .collect();
    // Of every third run only its first 0.2 s are left.
    for start in starts.iter().step_by(3) {
        let end = (start + 1..amps.mean.len()).find(|n| amps.mean[*n] < 0.5);
        for n in start + 1..end.unwrap_or(amps.mean.len()) {
            (amps.mean[n], amps.min[n], amps.max[n]) = (0.0, 0.0, 0.0);
            columns.power_w.as_mut().unwrap()[n] = 0.0;
        }
    }
    let analysis = analyse(&record, &plant.site());
    let brief = analysis.runs.iter().filter(|r| r.duration_s < 0.5).count();
    assert!(brief >= 5, "{brief}");
    assert_eq!(count(&analysis, StopReason::FailedStart), 0, "{:?}", analysis.stops);
    assert_eq!(count(&analysis, StopReason::Overload), 0, "{:?}", analysis.stops);
}

/// A drive at its motor's rated power is not dry, though it took more before and lacks its pressure.
#[test]
fn a_drive_at_full_load_is_not_dry() {
    let mut plant = Plant { leak_l_per_h: 2_300.0, heat_trip_s: Some(600.0), ..drive() };
    let mut record = plant.record();
    // Some time before each stop both fall by a fifth, as when the motor is held back.
    let columns = &mut record.columns;
    let bar = columns.pressure_bar.as_mut().unwrap();
    let watts = columns.power_w.as_mut().unwrap();
    let mut since = 0;
    for (n, watts) in watts.iter_mut().enumerate() {
        since = if *watts < 50.0 { 0 } else { since + columns.span_ms[n] };
        if since > 300_000 {
            *watts *= 0.8;
            (bar.mean[n], bar.min[n], bar.max[n]) =
                (0.8 * bar.mean[n], 0.8 * bar.min[n], 0.8 * bar.max[n]);
        }
    }
    // What is left is still what the nameplate allows.
    plant.rated_a *= 0.6;
    let analysis = analyse(&record, &plant.site());
    assert!(analysis.runs.len() > 20, "{}", analysis.runs.len());
    assert_eq!(count(&analysis, StopReason::DryRun), 0, "{:?}", analysis.stops);
    assert!(analysis.findings.iter().all(|f| f.kind != "dry-run"));
}
