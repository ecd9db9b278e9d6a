//! Sound plants: nothing is alleged of them, whatever is missing or wrong with the record.

use super::plant::Plant;
use super::{causes, names_only, run};
use crate::analyse;
use crate::outcome::{Severity, StopReason};
use pumpwitness_recording::{Channel, Columns, Recording};

#[test]
fn a_sound_plant_is_called_healthy_and_nothing_is_alleged() {
    for seed in 1..6 {
        for (nominal_v, hz, rated_a) in [(230.0, 50.0, 5.0), (120.0, 60.0, 9.5), (400.0, 50.0, 3.2)]
        {
            let plant = Plant { seed, nominal_v, hz, rated_a, hours: 20.0, ..Plant::default() };
            let analysis = names_only(&plant, &["healthy"], &[]);
            let worst = analysis.findings.iter().map(|f| f.severity).max();
            assert!(worst.is_none_or(|s| s == Severity::Info), "{:?}", analysis.findings);
            let cut_outs = analysis.stops.get(&StopReason::CutOut).copied().unwrap_or(0);
            assert!(cut_outs as usize + 1 >= analysis.runs.len(), "{:?}", analysis.stops);
        }
    }
}

#[test]
fn a_sound_drive_is_called_healthy() {
    for seed in 1..4 {
        let plant = Plant {
            seed,
            held_bar: Some(3.0),
            precharge_bar: 2.0,
            tank_l: 20.0,
            hours: 16.0,
            ..Plant::default()
        };
        names_only(&plant, &["healthy"], &[]);
    }
}

#[test]
fn nothing_at_all_is_no_panic_and_no_allegation() {
    let empty = analyse(&Recording::default(), &Plant::default().site());
    assert!(causes(&empty).is_empty());
    assert!(empty.ruled_out.iter().all(|r| !r.contradicted));
}

#[test]
fn every_number_is_finite_and_channels_may_be_missing() {
    let plant = Plant { hours: 6.0, ..Plant::default() };
    let whole = plant.record();
    for missing in ["voltage", "current", "pressure", "power", "current and power"] {
        let mut recording = whole.clone();
        let columns = &mut recording.columns;
        if missing.contains("voltage") {
            columns.voltage_v.clear();
        }
        if missing.contains("current") {
            columns.current_a.clear();
        }
        if missing.contains("pressure") {
            columns.pressure_bar = None;
        }
        if missing.contains("power") {
            columns.power_w = None;
        }
        let analysis = analyse(&recording, &plant.site());
        assert_eq!(causes(&analysis), ["healthy"], "without {missing}");
        let text = serde_json::to_string(&analysis).unwrap();
        assert!(!text.contains("NaN") && !text.contains(" inf"), "without {missing}: {text}");
        if missing == "current" {
            assert_eq!(analysis.runs.len(), run(&plant).runs.len());
        }
    }
}

/// Values no converter gives must not stop the analysis or reach the JSON as something else than
/// numbers.
#[test]
fn garbage_is_survived() {
    let mut state = 1_u64;
    let mut next = move || {
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
        state >> 33
    };
    for round in 0..20 {
        let count = 3_000;
        let mut value = || match next() % 12 {
            0 => f32::NAN,
            1 => f32::INFINITY,
            2 => f32::NEG_INFINITY,
            3 => 1e30,
            4 => -1e30,
            5 => 0.0,
            n => (n as f32 - 3.0) * 60.0,
        };
        let mut column = || (0..count).map(|_| value()).collect::<Vec<f32>>();
        let mut channel = || Channel { mean: column(), min: column(), max: column(), spread: true };
        let mut columns = Columns {
            voltage_v: vec![channel(), channel(), channel()],
            current_a: vec![channel(), channel(), channel()],
            pressure_bar: Some(channel()),
            loop_ma: Some(channel()),
            ..Columns::default()
        };
        columns.power_w = Some(column());
        columns.frequency_hz = Some(column());
        columns.transducer_supply_v = Some(column());
        let mut end_ms = 1_700_000_000_000_i64;
        for _ in 0..count {
            let step = [200, 1_000, 60_000, 10_000_000][(next() % 4) as usize];
            end_ms += step;
            columns.end_ms.push(end_ms);
            columns.span_ms.push((step as u32).min(60_000));
        }
        let held_bar = (round % 2 == 0).then_some(3.0);
        let site = Plant { held_bar, ..Plant::default() }.site();
        let analysis = analyse(&Recording { columns, ..Recording::default() }, &site);
        let json = serde_json::to_value(&analysis).unwrap();
        for finding in json["findings"].as_array().unwrap() {
            assert!(
                finding["measured"].as_object().unwrap().values().all(serde_json::Value::is_number)
            );
        }
        assert!(json["statistics"].as_object().unwrap().values().all(serde_json::Value::is_number));
    }
}

/// A clamp fitted the wrong way round is named, and changes nothing else that is said.
#[test]
fn a_reversed_clamp_is_no_fault_of_the_pump() {
    let plant = Plant::default();
    let right = run(&plant);
    let mut record = plant.record();
    for power_w in record.columns.power_w.as_mut().unwrap() {
        *power_w = -*power_w;
    }
    let turned = analyse(&record, &plant.site());
    assert_eq!(causes(&turned), causes(&right));
    assert_eq!(turned.stops, right.stops);
    assert!(turned.findings.iter().any(|finding| finding.kind == "clamp-fit"));
    assert!(right.findings.iter().all(|finding| finding.kind != "clamp-fit"));
}

/// A change that no voltmeter tells is no connection going bad, however evenly it comes.
#[test]
fn a_hair_of_resistance_alleges_nothing() {
    let plant = Plant { source_ohm: |t| 0.07 + 0.03 * t / 108_000.0, ..Plant::default() };
    names_only(&plant, &["healthy"], &[]);
}
