//! Each wrong fit of hardware-notes/channels.md, as the readings it gives.

use super::*;
use crate::reading::{Lamp, Signal};
use proptest::prelude::*;
use pumpwitness_site_file::parse;

const SITE: &str = "[supply]\nnominal_v = 230\nfrequency_hz = 50\n[motor]\nrated_current_a = 7.2\n\
    [control]\nkind = \"pressure-switch\"\ncut_in_bar = 2\ncut_out_bar = 3.5\n\
    [transducer]\nlow_bar = 0\nhigh_bar = 10\n[lamps]\n2 = \"dry running\"\n";

fn good(time_ms: i64) -> Reading {
    Reading {
        time_ms,
        voltage_v: 231.0,
        current_a: 0.02,
        power_w: 1.0,
        frequency_hz: Some(50.01),
        signal: Some(Signal::LoopMa(8.0)),
        pressure_bar: Some(2.5),
        transducer_supply_v: Some(24.0),
        supply_v: Some(5.0),
        board_c: 22.0,
        lamps: [Lamp::Dark; 8],
        running: false,
        over_range: false,
    }
}

fn run(time_ms: i64) -> Reading {
    Reading { current_a: 6.4, power_w: 1200.0, running: true, ..good(time_ms) }
}

/// A visit in readings of 0.2 s.
struct Visit {
    checks: Checks,
    now_ms: i64,
}

impl Visit {
    fn new() -> Self {
        Self { checks: Checks::new(&parse(SITE).unwrap()), now_ms: 0 }
    }

    fn see(&mut self, seconds: i64, reading: impl Fn(i64) -> Reading) -> &mut Self {
        for _ in 0..seconds * 5 {
            self.now_ms += 200;
            self.checks.see(&reading(self.now_ms));
        }
        self
    }

    fn of(&self, id: &str) -> Check {
        self.checks.list().into_iter().find(|check| check.id == id).unwrap()
    }

    fn state(&self, id: &str) -> State {
        self.of(id).state
    }
}

#[test]
fn a_right_fit_turns_good_check_by_check() {
    let mut visit = Visit::new();
    assert!(visit.checks.list().iter().all(|check| check.state == State::Waiting));
    visit.checks.meet(
        &Identity {
            protocol: 1,
            device: [0; 8],
            firmware: [0; 3],
            boot: 1,
            clock_ms: 1_000_500,
            clock_good: true,
        },
        1_000_000,
    );
    visit.checks.memory(Status { sectors: 4094, ..Status::default() });
    visit.see(5, good);
    visit.checks.state(Stated { gauge_bar: Some(2.45), running: None });
    visit.see(30, |t| Reading { pressure_bar: Some(2.0 + (t as f64) / 30_000.0), ..run(t) });
    visit.see(5, |t| Reading { pressure_bar: Some(2.5), ..good(t) });
    visit.see(1, |t| Reading { lamps: [Lamp::Flashing; 8], ..good(t) });
    let all_good = |visit: &Visit| {
        let list = visit.checks.list();
        assert!(list.iter().all(|check| check.state == State::Good), "{list:?}");
    };
    // The pump stands now: what its run showed stands.
    all_good(&visit);
    let says = visit.of("current").says;
    assert!(says.starts_with("When the pump ran last, the current reads 6.40 A"), "{says}");
    visit.see(5, run);
    all_good(&visit);
    assert!(visit.of("current").says.starts_with("The current reads"));
    assert_eq!(visit.checks.summary(), "13 of 13 fit checks good");
    assert!(super::all_good(&visit.checks.summary()));
}

#[test]
fn a_clamp_round_both_conductors_reads_nothing_while_the_pump_runs() {
    let mut visit = Visit::new();
    visit.see(5, good);
    assert_eq!(visit.state("current"), State::Waiting, "nothing says that the pump runs");
    visit.checks.state(Stated { running: Some(true), gauge_bar: None });
    visit.see(5, good);
    let check = visit.of("current");
    assert_eq!(check.state, State::Bad);
    assert!(check.says.contains("0.02 A while the pump runs"), "{}", check.says);
    assert!(check.remedy.unwrap().contains("one conductor"));
    assert!(visit.checks.summary().contains("bad: current"));
    assert!(!super::all_good(&visit.checks.summary()));
}

#[test]
fn a_reversed_clamp_gives_negative_power() {
    let mut visit = Visit::new();
    visit.see(5, |t| Reading { power_w: -1200.0, ..run(t) });
    assert_eq!(visit.state("power"), State::Bad);
    assert_eq!(visit.state("current"), State::Good);
    visit.see(5, run);
    assert_eq!(visit.state("power"), State::Good);
}

#[test]
fn a_wrong_ratio_stands_far_from_the_nameplate() {
    for factor in [10.0, 2.0, 0.1] {
        let mut visit = Visit::new();
        visit.checks.state(Stated { running: Some(true), gauge_bar: None });
        visit.see(5, |t| Reading { current_a: 6.4 * factor, power_w: 1200.0 * factor, ..run(t) });
        assert_eq!(visit.state("current"), State::Bad, "times {factor}");
    }
}

#[test]
fn voltage_and_current_of_two_phases_do_not_make_power() {
    let mut visit = Visit::new();
    visit.see(5, |t| Reading { power_w: 150.0, ..run(t) });
    assert_eq!(visit.state("power"), State::Bad);
    visit.see(5, |t| Reading { power_w: 1700.0, ..run(t) });
    assert_eq!(visit.state("power"), State::Bad, "more than volts times amperes");
}

#[test]
fn the_loop_is_told_open_and_shorted() {
    for (ma, state) in
        [(0.0, State::Bad), (3.6, State::Bad), (4.0, State::Good), (21.5, State::Bad)]
    {
        let mut visit = Visit::new();
        visit.see(5, |t| Reading { signal: Some(Signal::LoopMa(ma)), ..good(t) });
        assert_eq!(visit.state("transducer"), state, "{ma} mA");
    }
}

#[test]
fn a_wrong_range_is_told_by_the_gauge() {
    for (gauge, words) in [
        (2.5, None),
        (2.4, None),
        (1.5, Some("absolute")),
        (2.5 * 14.5, Some("psi")),
        (5.0, Some("label")),
    ] {
        let mut visit = Visit::new();
        visit.see(5, good);
        assert_eq!(visit.state("pressure"), State::Waiting);
        visit.checks.state(Stated { running: None, gauge_bar: Some(gauge) });
        let check = visit.of("pressure");
        match words {
            None => assert_eq!(check.state, State::Good, "{gauge}"),
            Some(words) => assert!(check.remedy.unwrap().contains(words), "{gauge}: {check:?}"),
        }
    }
    let mut visit = Visit::new();
    visit.see(5, |t| Reading { pressure_bar: Some(36.0), ..good(t) });
    assert_eq!(visit.state("pressure"), State::Bad, "no gauge is needed to see this");
}

#[test]
fn a_gauge_is_compared_with_the_pressure_of_its_moment() {
    let at = |bar| move |t| Reading { pressure_bar: Some(bar), ..good(t) };
    let mut visit = Visit::new();
    visit.checks.state(Stated { running: None, gauge_bar: Some(2.5) });
    assert_eq!(visit.state("pressure"), State::Waiting, "there was no reading yet");
    visit.see(5, at(2.5));
    visit.see(30, at(3.5));
    assert_eq!(visit.state("pressure"), State::Good, "the pump moved the pressure on");
    visit.checks.state(Stated { running: None, gauge_bar: Some(2.5) });
    assert_eq!(visit.state("pressure"), State::Good, "the same said again is not another reading");
    visit.checks.state(Stated { running: None, gauge_bar: Some(2.4) });
    assert_eq!(visit.state("pressure"), State::Bad);
    visit.checks.state(Stated { running: None, gauge_bar: None });
    assert_eq!(visit.state("pressure"), State::Waiting);
}

#[test]
fn a_missing_sense_and_a_wrong_pair_of_conductors_are_told_apart() {
    for (volts, state, words) in [
        (0.0, State::Bad, "sense"),
        (133.0, State::Bad, "between lines"),
        (398.0, State::Bad, "between lines"),
        (120.0, State::Bad, "tester"),
        (215.0, State::Good, ""),
    ] {
        let mut visit = Visit::new();
        visit.see(5, |t| Reading { voltage_v: volts, ..good(t) });
        let check = visit.of("voltage");
        assert_eq!(check.state, state, "{volts} V");
        assert!(check.remedy.unwrap_or("").contains(words), "{volts} V: {check:?}");
    }
}

#[test]
fn a_sense_on_the_load_side_loses_its_voltage_at_each_stop() {
    let mut visit = Visit::new();
    visit.see(5, run).see(5, |t| Reading { voltage_v: 0.3, frequency_hz: None, ..good(t) });
    assert_eq!(visit.state("voltage-side"), State::Bad);
    let mut visit = Visit::new();
    visit.see(5, run).see(1, good);
    assert_eq!(visit.state("voltage-side"), State::Waiting, "too soon to say");
    visit.see(2, good);
    assert_eq!(visit.state("voltage-side"), State::Good);
}

#[test]
fn a_shut_valve_holds_the_pressure_still() {
    let mut visit = Visit::new();
    visit.see(15, run);
    assert_eq!(visit.state("pressure-moves"), State::Waiting);
    visit.see(10, run);
    assert_eq!(visit.state("pressure-moves"), State::Bad);
}

#[test]
fn a_lamp_must_be_seen_dark_and_lit() {
    let mut visit = Visit::new();
    visit.see(5, good);
    let check = visit.of("lamp-2");
    assert_eq!(check.state, State::Waiting);
    assert!(check.says.contains("dry running"));
    visit.see(1, |t| Reading { lamps: [Lamp::Lit; 8], ..good(t) });
    assert_eq!(visit.state("lamp-2"), State::Good);
    assert!(visit.checks.list().iter().all(|check| check.id != "lamp-1"), "not labelled");
}

#[test]
fn a_lost_clock_and_a_full_memory_are_bad() {
    let mut visit = Visit::new();
    let mut identity = Identity {
        protocol: 1,
        device: [0; 8],
        firmware: [0; 3],
        boot: 1,
        clock_ms: 0,
        clock_good: false,
    };
    visit.checks.meet(&identity, 1_770_000_000_000);
    assert_eq!(visit.state("clock"), State::Bad);
    identity.clock_good = true;
    visit.checks.meet(&identity, 3 * 3_600_000);
    let check = visit.of("clock");
    assert_eq!((check.state, check.says.contains("3 h behind")), (State::Waiting, true));
    visit.checks.memory(Status { sectors: 4094, full: true, ..Status::default() });
    assert_eq!(visit.state("memory"), State::Bad);
    visit.checks.memory(Status { sectors: 100, ..Status::default() });
    assert_eq!(visit.state("memory"), State::Bad, "lasts less than a week");
}

proptest! {
    /// Whatever a logger sends, each check ends in one of its states with one sentence.
    #[test]
    fn no_readings_confuse_the_checks(
        readings in prop::collection::vec(
            (any::<i64>(), any::<f64>(), any::<f64>(), any::<f64>(), any::<Option<f64>>(), any::<bool>()),
            0..40,
        ),
        running: Option<bool>,
        gauge_bar: Option<f64>,
    ) {
        let mut checks = Checks::new(&parse(SITE).unwrap());
        checks.state(Stated { running, gauge_bar });
        for (time_ms, volts, amperes, watts, bar, running) in readings {
            checks.see(&Reading {
                time_ms,
                voltage_v: volts,
                current_a: amperes,
                power_w: watts,
                pressure_bar: bar,
                frequency_hz: bar,
                running,
                ..good(0)
            });
        }
        for check in checks.list() {
            prop_assert!(!check.says.is_empty());
            prop_assert_eq!(check.remedy.is_some(), check.state == State::Bad);
        }
    }
}

#[test]
fn a_wrong_clamp_stays_wrong_after_the_run_that_showed_it() {
    let mut visit = Visit::new();
    visit.see(5, |t| Reading { power_w: -1200.0, ..run(t) }).see(60, good);
    let check = visit.of("power");
    assert_eq!(check.state, State::Bad);
    assert!(check.says.ends_with("let the pump run again."), "{}", check.says);
    assert!(check.remedy.is_some());
    visit.see(5, run);
    assert_eq!(visit.state("power"), State::Good);
}

#[test]
fn a_word_on_the_pump_is_of_its_moment() {
    let mut visit = Visit::new();
    let said = |running| Stated { running, gauge_bar: None };
    visit.see(5, run).checks.state(said(Some(true)));
    visit.see(20, run).see(10, good);
    // The pump stopped by itself: nobody says any more that it runs, and the stop was seen.
    assert_eq!(visit.checks.stated().running, None);
    assert_eq!((visit.state("current"), visit.state("voltage-side")), (State::Good, State::Good));
    visit.checks.state(said(Some(false)));
    visit.see(5, good);
    assert_eq!(visit.checks.stated().running, Some(false));
    visit.see(5, run);
    assert_eq!((visit.checks.stated().running, visit.state("current")), (None, State::Good));
    // What never agreed stands.
    let mut visit = Visit::new();
    visit.checks.state(said(Some(false)));
    visit.see(10, run);
    assert_eq!((visit.checks.stated().running, visit.state("current")), (Some(false), State::Bad));
}
