//! Causes in the pressure transducer and its wiring.

use super::{Cause, Need, View, Weight};
use crate::facts::LoopKind;
use crate::limits;
use crate::outcome::PointsTo;

fn signal_sound(view: &View) -> String {
    let faults = view.case.facts.loop_faults.len();
    let hours = view.case.facts.covered_ms as f64 / 3.6e6;
    if faults == 0 {
        format!("The transducer's signal stayed within its live band for all of {hours:.0} h.")
    } else {
        format!("The transducer's signal left its valid band {faults} times in {hours:.0} h.")
    }
}

/// A broken wire, a bad plug.
pub const TRANSDUCER_WIRING: Cause = Cause {
    name: "transducer-wiring",
    points_to: PointsTo::Wiring,
    needs: &[Need::Signal],
    shown_by: None,
    weigh: |view| {
        let open = view.strength("transducer-open");
        let short = view.strength("transducer-short");
        let frozen = 0.7 * view.strength("transducer-frozen");
        let supply = view.strength("transducer-supply");
        let lost =
            view.case.facts.loop_faults.iter().filter(|f| f.kind != LoopKind::OutOfRange).count();
        let mut confidence = open.max(short).max(frozen);
        let mut against = Vec::new();
        if supply > 0.4 {
            confidence *= 0.4;
            against.push("too little supply for the transducer explains it better".to_owned());
        }
        Weight {
            confidence,
            speaks_for: view.found(&["transducer-open", "transducer-short", "transducer-frozen"]),
            against,
            text: if open.max(short) > 0.0 {
                format!(
                    "The transducer's signal came and went {lost} times in a way no pressure does: \
                     poor contact in its wiring or plug is the best explanation; a transducer that \
                     fails inside can do the same. Its readings in between are used."
                )
            } else {
                "The transducer's reading stood still while the pump ran: a blocked or frozen \
                 connection, a broken wire whose signal is held up, and a transducer that fails \
                 inside all do this."
                    .to_owned()
            },
            otherwise: signal_sound(view),
            silent: view.case.facts.loop_faults.iter().any(|f| f.kind != LoopKind::OutOfRange),
        }
    },
    next_checks: &[
        "Move plug and cable of the transducer gently while watching the live reading.",
        "Look for water in the plug, chafed insulation and loose terminals.",
    ],
};

/// Too little supply for the transducer.
pub const TRANSDUCER_SUPPLY: Cause = Cause {
    name: "transducer-supply",
    points_to: PointsTo::Sensor,
    needs: &[Need::Signal, Need::Fine],
    shown_by: Some("transducer-supply"),
    weigh: |view| Weight {
        confidence: view.strength("transducer-supply"),
        speaks_for: view.found(&["transducer-supply"]),
        text: view.finding("transducer-supply").map(|f| f.text.clone()).unwrap_or_default(),
        otherwise: match view.case.facts.transducer_supply_v {
            Some((low, high)) => {
                format!("The transducer's supply stayed between {low:.2} and {high:.2} V.")
            }
            None => format!(
                "The transducer's supply was not recorded; nothing in its signal points to it. {}",
                signal_sound(view)
            ),
        },
        silent: view.case.facts.transducer_supply_v.is_none(),
        ..Weight::default()
    },
    next_checks: &[
        "Measure the supply at the transducer's own terminals while the pressure is at its highest.",
    ],
};

/// Shortest record in which a drift shows.
const DAYS: f64 = limits::DRIFT_DAYS.value;

/// A transducer whose zero wanders.
pub const TRANSDUCER_DRIFT: Cause = Cause {
    name: "transducer-drift",
    points_to: PointsTo::Sensor,
    needs: &[Need::Pressure, Need::Fine],
    shown_by: Some("transducer-drift"),
    weigh: |view| Weight {
        confidence: view.strength("transducer-drift"),
        speaks_for: view.found(&["transducer-drift"]),
        text: if view.case.constant_pressure() {
            format!(
                "The drive's no-flow load changed by {:+.0} % over the record at the same pressure \
                 reading: the reading may drift, which the control then follows.",
                view.figure("transducer-drift", "idle_load_change_share") * 100.0
            )
        } else {
            format!(
                "Both switch points moved together by {:+.2} bar over the record, as when the reading \
                 wanders; a switch seldom shifts both points alike.",
                view.figure("transducer-drift", "moved_bar")
            )
        },
        otherwise: match (view.case.levels.cut_in, view.case.levels.cut_out) {
            (Some(low), Some(high)) => format!(
                "The switch points stayed: start at {:.2} bar (moved {:+.2} bar), stop at {:.2} bar \
                 (moved {:+.2} bar) over {:.1} days{}.",
                low.value,
                low.change,
                high.value,
                high.change,
                view.case.days(),
                if view.case.days() < DAYS { ", too few for a slow drift to show" } else { "" }
            ),
            _ if view.case.levels.idle.is_some() => "The load from which the drive goes to sleep \
                  did not move over the record by more than its scatter."
                .to_owned(),
            _ => "There are no switch points to judge a drift by; the record neither shows nor \
                  excludes it."
                .to_owned(),
        },
        // A slow change needs its time.
        silent: view.case.days() < DAYS
            || view.case.levels.cut_in.zip(view.case.levels.cut_out).is_none()
                && view.case.levels.idle.is_none(),
        ..Weight::default()
    },
    next_checks: &[
        "Compare the reading with a good gauge at rest, and with the transducer open to the air.",
    ],
};
