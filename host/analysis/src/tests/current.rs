//! One thing wrong with motor, supply, wiring or transducer.

use super::names_only;
use super::plant::Plant;
use crate::outcome::StopReason;

#[test]
fn a_dragging_motor() {
    let plant = Plant { current_share: 1.35, ..Plant::default() };
    let analysis = names_only(&plant, &["mechanical-drag"], &[]);
    assert!(analysis.stops[&StopReason::Overload] > 3);
}

#[test]
fn a_motor_that_gets_hot() {
    let plant = Plant { heat_trip_s: Some(50.0), ..Plant::default() };
    let analysis = names_only(&plant, &["overheating"], &[]);
    assert!(analysis.stops[&StopReason::OverTemperature] > 3);
}

#[test]
fn a_motor_circuit_that_opens_at_times() {
    let plant = Plant { open_circuit: |t| (t / 3600.0) % 6.0 > 3.0, ..Plant::default() };
    names_only(&plant, &["open-motor-circuit"], &[]);
}

/// Where the pump starts only when the pressure has long been gone, that is not where its switch is set.
#[test]
fn a_motor_circuit_that_is_open_until_the_pressure_is_gone() {
    let plant = Plant {
        open_circuit: |t| (t / 3600.0) % 5.0 > 0.15,
        leak_l_per_h: 30.0,
        hours: 40.0,
        ..Plant::default()
    };
    let analysis = names_only(&plant, &["open-motor-circuit"], &["idle-draw", "check-valve-leak"]);
    let low = analysis.runs.iter().filter(|r| r.start_pressure_bar.is_some_and(|bar| bar < 0.5));
    assert!(low.count() * 4 > analysis.runs.len() * 3, "{:?}", analysis.runs);
}

#[test]
fn dips_from_outside() {
    let plant =
        Plant { source_v: |t| if t % 5_000.0 > 4_999.4 { 0.75 } else { 1.01 }, ..Plant::default() };
    names_only(&plant, &["supply-dips"], &[]);
}

#[test]
fn a_supply_that_goes_away() {
    let plant = Plant {
        source_v: |t| if t % 20_000.0 > 19_970.0 { 0.0 } else { 1.01 },
        ..Plant::default()
    };
    let analysis = names_only(&plant, &["supply-interruptions"], &[]);
    let found = analysis.findings.iter().find(|f| f.kind == "interruption").unwrap();
    assert!(
        found
            .occurrences
            .iter()
            .all(|o| { (o.end.duration_since(o.start).as_secs_f64() - 30.0).abs() < 0.5 })
    );
}

#[test]
fn low_and_high_voltage() {
    let plant = Plant {
        source_v: |t| if (t / 3600.0) % 10.0 > 7.0 { 0.86 } else { 1.0 },
        ..Plant::default()
    };
    names_only(&plant, &["supply-undervoltage"], &[]);
    let plant = Plant {
        source_v: |t| if (t / 3600.0) % 10.0 > 7.0 { 1.13 } else { 1.04 },
        ..Plant::default()
    };
    names_only(&plant, &["supply-overvoltage"], &[]);
}

#[test]
fn a_drive_short_of_voltage() {
    let plant = Plant {
        source_v: |t| if (t / 3600.0) % 10.0 > 5.0 { 0.72 } else { 1.0 },
        held_bar: Some(3.0),
        precharge_bar: 2.0,
        tank_l: 20.0,
        ..Plant::default()
    };
    names_only(&plant, &["derated-by-low-supply"], &["supply-undervoltage"]);
}

#[test]
fn a_connection_going_bad() {
    let plant = Plant { source_ohm: |t| 0.3 + 0.5 * t / 108_000.0, ..Plant::default() };
    names_only(&plant, &["weak-connection"], &[]);
}

#[test]
fn a_loose_connection_drops_voltage_only_under_load() {
    fn loose(t: f64) -> f64 {
        if t % 7.0 > 6.6 && t % 700.0 > 350.0 { 6.0 } else { 0.3 }
    }
    let plant = Plant { source_ohm: loose, hours: 40.0, ..Plant::default() };
    names_only(&plant, &["weak-connection"], &[]);
}

#[test]
fn a_loose_transducer_wire() {
    let plant = Plant {
        reading: |t, bar| if t % 3_000.0 > 2_999.0 { -2.5 } else { bar },
        ..Plant::default()
    };
    names_only(&plant, &["transducer-wiring"], &[]);
}

#[test]
fn a_transducer_with_a_ceiling() {
    let plant = Plant { reading: |_, bar| bar.min(2.9), ..Plant::default() };
    names_only(&plant, &["transducer-supply"], &[]);
}

/// So near below the cut-out that the reading stands for a few seconds only.
#[test]
fn a_ceiling_near_the_cut_out() {
    let plant = Plant { reading: |_, bar| bar.min(3.1), ..Plant::default() };
    names_only(&plant, &["transducer-supply"], &[]);
}

/// What waits as long after each stop is no contact that opens by chance, where the tank holds so
/// little that every stop may be the switch's.
#[test]
fn even_waits_are_no_open_circuit() {
    let plant = Plant {
        heat_trip_s: Some(50.0),
        heat_wait_s: (130.0, 4.0),
        real_cut_out: Some(2.3),
        gas_share: 0.3,
        hours: 120.0,
        ..Plant::default()
    };
    let analysis = super::run(&plant);
    let causes = super::causes(&analysis);
    assert!(!causes.contains(&"open-motor-circuit"), "{causes:?}");
    let found = analysis.findings.iter().find(|f| f.kind == "no-draw").unwrap();
    assert!(found.text.contains("about 2 min each time"), "{}", found.text);
}

/// A drive that turns slower for want of voltage still shows when it loses its water.
#[test]
fn a_well_that_runs_out_under_low_voltage() {
    let plant = Plant {
        source_v: |_| 0.85,
        held_bar: Some(3.0),
        precharge_bar: 2.0,
        tank_l: 20.0,
        well_l: Some(50.0),
        well_refill_lpm: 3.0,
        ..Plant::default()
    };
    names_only(&plant, &["source-overdrawn"], &["supply-undervoltage", "derated-by-low-supply"]);
}

#[test]
fn a_transducer_that_drifts() {
    let plant = Plant { reading: |t, bar| bar + 0.5 * t / 108_000.0, ..Plant::default() };
    names_only(&plant, &["transducer-drift"], &[]);
}
