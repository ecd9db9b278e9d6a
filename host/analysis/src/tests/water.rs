//! One thing wrong with tank, switch, source or outlet.

use super::plant::Plant;
use super::{causes, names_only, run};
use crate::analyse;
use crate::outcome::{PointsTo, StopReason};

#[test]
fn a_tank_without_air() {
    for gas_share in [0.06, 0.15, 0.3] {
        let plant = Plant { gas_share, ..Plant::default() };
        names_only(&plant, &["waterlogged-tank"], &[]);
    }
}

#[test]
fn a_precharge_above_the_cut_in() {
    for real in [2.4, 2.8] {
        let plant = Plant { real_precharge_bar: Some(real), ..Plant::default() };
        names_only(&plant, &["precharge-too-high"], &[]);
    }
}

#[test]
fn a_narrow_differential() {
    for (low, high) in [(2.6, 3.4), (2.0, 2.6), (3.0, 3.5)] {
        let plant = Plant { real_cut_in: Some(low), real_cut_out: Some(high), ..Plant::default() };
        names_only(&plant, &["differential-too-narrow"], &[]);
    }
}

#[test]
fn a_leak() {
    for leak_l_per_h in [20.0, 60.0] {
        let plant = Plant { leak_l_per_h, hours: 60.0, ..Plant::default() };
        names_only(&plant, &["idle-draw"], &["check-valve-leak"]);
    }
}

/// Runs that are long enough for the motor, but more starts in an hour than the owner allows.
#[test]
fn more_starts_than_declared_are_told_whatever_the_length_of_the_runs() {
    let plant = Plant { leak_l_per_h: 900.0, tank_l: 100.0, hours: 24.0, ..Plant::default() };
    let mut site = plant.site();
    site.limits.min_run_s = Some(10.0);
    let mut shown = |most: f64| {
        site.limits.max_starts_per_hour = Some(most);
        let analysis = analyse(&plant.record(), &site);
        analysis.findings.into_iter().find(|f| f.kind == "short-cycling")
    };
    let told = shown(10.0).expect("told");
    assert!(told.measured["starts_per_hour_max"] > 15.0, "{}", told.text);
    assert!(told.confidence == 1.0 && told.measured["short_runs"] == 0.0, "{}", told.text);
    let most = told.measured["starts_per_hour_max"];
    assert!(shown(most).is_none(), "as many as allowed are not too many");
}

/// A small tank makes many short rests between two starts of one draw, in which no minute is quiet; the
/// leak is told by the longer ones. The flow that a pressure drives through a hole goes with its root
/// (Torricelli), and the plant's leak is given for the middle of the band.
#[test]
fn a_leak_is_told_by_the_longer_rests() {
    for (tank_l, leak_l_per_h) in [(24.0, 15.0), (24.0, 40.0), (150.0, 40.0)] {
        let plant = Plant { tank_l, leak_l_per_h, hours: 60.0, ..Plant::default() };
        let analysis = run(&plant);
        let found = analysis.findings.iter().find(|f| f.kind == "idle-pressure-loss").unwrap();
        let told = found.measured["loss_l_per_h"];
        assert!((told / leak_l_per_h - 1.0).abs() < 0.15, "{told} of {leak_l_per_h} L/h");
    }
}

#[test]
fn a_well_that_runs_out() {
    let plant = Plant { well_l: Some(50.0), well_refill_lpm: 3.0, ..Plant::default() };
    let analysis = names_only(&plant, &["source-overdrawn"], &[]);
    assert!(analysis.stops[&StopReason::DryRun] > 3);
    assert!(analysis.runs.iter().filter(|r| r.automatic_restart).count() >= 3);
    let wait = analysis.statistics["restart_wait_s"].as_f64().unwrap();
    assert!((wait - 300.0).abs() < 1.0, "{wait}");
}

/// What the pump takes when it moves water does not change with the number of its dry runs.
#[test]
fn a_well_that_gives_less_is_named_no_less_surely() {
    let told = [6.0, 3.0, 1.5].map(|well_refill_lpm| {
        let plant = Plant { well_l: Some(50.0), well_refill_lpm, hours: 48.0, ..Plant::default() };
        let analysis = names_only(&plant, &["source-overdrawn"], &[]);
        let dry = analysis.findings.iter().find(|f| f.kind == "dry-run").unwrap();
        (analysis.verdict[0].confidence, dry.measured["loaded_power_w"])
    });
    assert!(told[0].0 <= told[1].0 && told[1].0 <= told[2].0, "{told:?}");
    assert!((told[2].1 / told[0].1 - 1.0).abs() < 0.01, "{told:?}");
}

#[test]
fn a_blocked_intake() {
    for flow_share in [0.35, 0.5] {
        let plant = Plant { flow_share, ..Plant::default() };
        names_only(&plant, &["restricted-intake"], &[]);
    }
}

#[test]
fn a_shut_valve() {
    let plant = Plant { shut_valve: true, ..Plant::default() };
    names_only(&plant, &["closed-discharge"], &[]);
}

#[test]
fn a_control_that_hunts() {
    let plant = Plant {
        held_bar: Some(3.0),
        precharge_bar: 2.0,
        tank_l: 8.0,
        loop_gain: 6.0,
        ..Plant::default()
    };
    names_only(&plant, &["control-hunting"], &["waterlogged-tank"]);
}

#[test]
fn a_fault_without_a_cause_is_not_called_healthy() {
    let plant = Plant { gas_share: 0.1, ..Plant::default() };
    let mut recording = plant.record();
    recording.columns.pressure_bar = None;
    let analysis = analyse(&recording, &plant.site());
    assert!(analysis.findings.iter().any(|f| f.kind == "short-cycling"));
    assert!(causes(&analysis).is_empty(), "{:?}", analysis.verdict);
}

/// Without current and power, the rises and falls of the pressure tell the runs; what they show is
/// still found, and what they cannot show is not spoken about.
#[test]
fn runs_are_told_from_the_pressure_where_there_is_nothing_else() {
    for plant in [
        Plant::default(),
        Plant { gas_share: 0.15, ..Plant::default() },
        Plant { real_cut_in: Some(2.6), real_cut_out: Some(3.4), ..Plant::default() },
        // The tank is empty before each start: its gas shows at the stops only.
        Plant { real_precharge_bar: Some(2.6), ..Plant::default() },
    ] {
        let whole = run(&plant);
        let mut record = plant.record();
        record.columns.current_a.clear();
        record.columns.power_w = None;
        let blind = analyse(&record, &plant.site());
        assert_eq!(blind.recording.runs_from, "pressure");
        let (found, real) = (blind.runs.len() as f64, whole.runs.len() as f64);
        assert!((found / real - 1.0).abs() < 0.02, "{found} {real}");
        assert_eq!(causes(&blind), causes(&whole));
        for cause in ["mechanical-drag", "open-motor-circuit", "source-overdrawn"] {
            let out = blind.ruled_out.iter().find(|r| r.cause == cause).unwrap();
            assert!(!out.contradicted && out.because.contains("current"), "{}", out.because);
        }
    }
}

/// While as much is drawn as a weak pump gives, the pressure goes up and down far below the cut-out;
/// that is neither short runs nor a narrow band nor a tank without air.
#[test]
fn ups_and_downs_of_the_pressure_are_no_runs() {
    for seed in 1..6 {
        let plant = Plant { flow_share: 0.3, leak_l_per_h: 600.0, seed, ..Plant::default() };
        let mut record = plant.record();
        record.columns.current_a.clear();
        record.columns.power_w = None;
        let analysis = analyse(&record, &plant.site());
        assert!(causes(&analysis).is_empty(), "{seed}: {:?}", analysis.verdict);
        let kinds: Vec<&str> = analysis.findings.iter().map(|f| f.kind).collect();
        assert!(kinds.iter().all(|kind| *kind != "short-cycling"), "{seed}: {kinds:?}");
    }
}

/// A reading with a ceiling and a switch that stops too low look much alike in the pressure alone;
/// the switch is not accused where every top stands at one value.
#[test]
fn a_ceiling_of_the_reading_is_no_fault_of_the_switch() {
    let plant = Plant { reading: |_, bar| bar.min(2.9), ..Plant::default() };
    let mut record = plant.record();
    record.columns.current_a.clear();
    record.columns.power_w = None;
    let analysis = analyse(&record, &plant.site());
    assert_eq!(causes(&analysis), ["transducer-supply"]);
    assert!(analysis.verdict[0].confidence < 0.6, "the pressure alone does not decide it");
    assert!(analysis.findings.iter().all(|f| f.kind != "narrow-differential"));
    let switch = analysis.ruled_out.iter().find(|r| r.cause == "differential-too-narrow").unwrap();
    assert!(!switch.contradicted, "{}", switch.because);
}

/// Tops more alike than a switch's make a ceiling as likely, although the pressure falls at once after
/// some of them.
#[test]
fn tops_too_much_alike_are_not_laid_to_the_switch_alone() {
    let plant = Plant {
        reading: |_, bar| bar.min(2.9),
        well_l: Some(60.0),
        well_refill_lpm: 3.0,
        ..Plant::default()
    };
    let mut record = plant.record();
    record.columns.current_a.clear();
    record.columns.power_w = None;
    let analysis = analyse(&record, &plant.site());
    let narrow = analysis.findings.iter().find(|f| f.kind == "narrow-differential").unwrap();
    assert!(narrow.points_to == PointsTo::None && narrow.confidence <= 0.5, "{narrow:?}");
    assert!(narrow.text.contains("goes no higher"), "{}", narrow.text);
    let named = &analysis.verdict;
    assert!(named.iter().all(|v| v.confidence <= 0.5 && v.cause != "healthy"), "{named:?}");
}

/// A drive that lets the pump go and starts it again in the same moment does not hunt.
#[test]
fn a_saw_is_no_hunting() {
    let plant = Plant {
        held_bar: Some(3.0),
        precharge_bar: 2.0,
        tank_l: 20.0,
        leak_l_per_h: 900.0,
        reading: |t, _| 2.5 + 0.6 * (t / 12.0).fract(),
        ..Plant::default()
    };
    let analysis = run(&plant);
    let swing = analysis.findings.iter().find(|f| f.kind == "pressure-hunting").unwrap();
    assert!(swing.text.contains("lets the pump go"), "{}", swing.text);
    assert!((swing.measured["period_s"] - 12.0).abs() < 0.2, "{:?}", swing.measured);
    assert!(!causes(&analysis).contains(&"control-hunting"), "{:?}", analysis.verdict);
    assert!(!causes(&analysis).contains(&"healthy"), "{:?}", analysis.verdict);
}
