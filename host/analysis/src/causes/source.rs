//! Causes in well, intake and outlet.

use super::{Cause, Need, View, Weight};
use crate::facts::RunFacts;
use crate::limits;
use crate::outcome::{PointsTo, StopReason};
use crate::robust::{median, ramp};

/// Of the runs that ended dry, the first of each row of them. A new try after a dry stop begins where
/// that one left off.
struct FirstDry {
    /// How many.
    runs: usize,
    /// Those that began with a loaded pump.
    loaded: usize,
    /// How long these stayed so, s (median); NaN where there is none.
    seconds: f64,
}

impl FirstDry {
    fn share(&self) -> f64 {
        self.loaded as f64 / self.runs.max(1) as f64
    }

    /// "All 12 dry runs", or how many of them.
    fn words(&self) -> String {
        match (self.loaded, self.runs) {
            (1, 1) => "The one dry run".to_owned(),
            (2, 2) => "Both dry runs".to_owned(),
            (loaded, runs) if loaded == runs => format!("All {runs} dry runs"),
            (loaded, runs) => format!("{loaded} of {runs} dry runs"),
        }
    }
}

fn first_dry(view: &View) -> FirstDry {
    let reasons = &view.case.ledger.reasons;
    let first = |n: &usize| {
        reasons[*n] == Some(StopReason::DryRun)
            && (*n == 0 || reasons[*n - 1] != Some(StopReason::DryRun))
    };
    let dry: Vec<&RunFacts> =
        (0..reasons.len()).filter(first).map(|n| &view.case.facts.runs[n]).collect();
    let loaded: Vec<f64> = dry
        .iter()
        .filter(|r| {
            r.unloaded_since_ms.is_some_and(|since| since - r.time.start_ms > 3_000)
                // A drive's load is what is asked of it.
                && (view.case.constant_pressure()
                    || view.case.levels.power_w.is_nan()
                    || r.loaded > 0.8 * view.case.levels.power_w)
        })
        .filter_map(|r| r.unloaded_since_ms.map(|since| (since - r.time.start_ms) as f64 / 1000.0))
        .collect();
    FirstDry { runs: dry.len(), loaded: loaded.len(), seconds: median(loaded).unwrap_or(f64::NAN) }
}

/// How much the power of unloaded runs looks like a pump at shut-off (30 to 60 % of rated for radial
/// pumps, common practice) rather than one without water, 0 to 1. Only runs that are unloaded from
/// their beginning count: no valve shuts some time into each run, while a well runs out so.
fn like_shut_off(view: &View, first: &FirstDry) -> f64 {
    if !view.case.facts.has.power || view.missing(Need::Fine).is_some() {
        return 0.0;
    }
    (1.0 - first.share()) * ramp(view.figure("dry-run", "share_of_loaded"), 0.45, 0.55)
}

fn loaded_to_the_end(view: &View) -> String {
    let levels = view.case.levels;
    if levels.power_w.is_finite() {
        let least = view
            .case
            .facts
            .runs
            .iter()
            .filter(|r| r.time.seconds() > 5.0)
            .map(|r| r.last_power_w)
            .fold(f64::NAN, f64::min);
        if least.is_nan() {
            return "No run was long enough to show whether the pump kept its load.".to_owned();
        }
        if view.case.constant_pressure() {
            return "No run ended with the pressure short of the held one and the motor with little \
                    load; a drive that goes to sleep with the pressure held has little load of itself."
                .to_owned();
        }
        let bound = limits::UNLOADED_POWER.value;
        if least < bound * levels.power_w {
            return format!(
                "No run lost its load for {:.0} s and more before a stop that the control does not \
                 explain; loaded, the pump takes {:.0} W.",
                limits::DRY_S.value,
                levels.power_w
            );
        }
        format!(
            "The pump kept its load to the end of its runs: the lowest power before a stop was \
             {least:.0} W, {:.0} % of its loaded {:.0} W.",
            least / levels.power_w * 100.0,
            levels.power_w
        )
    } else {
        "The motor's current did not fall away in any run; but the current of a motor changes little \
         when its pump runs dry, and its power was not recorded."
            .to_owned()
    }
}

/// Stops whose reason the record does not say, and before which the load had fallen.
fn fell_before_stop(view: &View) -> usize {
    let fell = |run: &&RunFacts| {
        run.last_power_w < (1.0 - limits::STEADY_LOAD.value) * run.power_w
            && run.time.seconds() > 5.0
    };
    view.case.stopped_by(StopReason::Unexplained).filter(fell).count()
}

/// What was seen of the pressure while a pump ran free.
fn no_longer_rises(view: &View) -> &'static str {
    if view.case.facts.has.pressure { ", and the pressure no longer rises" } else { "" }
}

/// More drawn than the well gives.
pub const SOURCE_OVERDRAWN: Cause = Cause {
    name: "source-overdrawn",
    points_to: PointsTo::Source,
    needs: &[Need::Load],
    shown_by: None,
    weigh: |view| {
        let dry = view.strength("dry-run");
        // Where the load was gone for longer than rows are, so that the finding is as sure as ever,
        // long rows show this too.
        let coarse = view.missing(Need::Fine);
        if let Some(because) = &coarse
            && dry < limits::ALIKE.value
        {
            return Weight::silent(because.clone());
        }
        let first = first_dry(view);
        let share = first.share();
        let dry = dry * (1.0 - 0.7 * like_shut_off(view, &first));
        let mut against = Vec::new();
        if dry > 0.0 && share < 0.5 {
            against.push("most dry runs were dry from the beginning".to_owned());
        }
        let mut confidence = dry * (0.35 + 0.65 * share);
        if let Some(dead) = coarse.map(|_| view.strength("dead-head")) {
            confidence = if dead > 0.0 { 0.25 } else { 1.0 } * confidence.min(ALIKE);
            against.push(
                "a shut outlet takes the load away too, though less; rows so long do not tell the two \
                 apart"
                    .to_owned(),
            );
        }
        Weight {
            confidence,
            speaks_for: view.found(&["dry-run", "falling-yield"]),
            against,
            text: if share > 0.0 {
                format!(
                    "{}, not counting new tries after a dry stop, began with the pump loaded, which lost \
                     its load after {} (median){}; after a pause there is load again. More is drawn \
                     than the source gives, or its level has fallen to the intake; a suction line that \
                     begins to draw air looks alike.",
                    first.words(),
                    crate::findings::span(first.seconds),
                    no_longer_rises(view)
                )
            } else {
                format!(
                    "The pump runs without its load from the beginning of its dry runs{}: at these \
                     times no water reaches it.",
                    no_longer_rises(view)
                )
            },
            otherwise: match fell_before_stop(view) {
                0 => loaded_to_the_end(view),
                fell => format!(
                    "Before {fell} stops that the record does not explain the load had fallen by more \
                     than {:.0} %: too little to call the pump dry, and too much to rule it out.",
                    limits::STEADY_LOAD.value * 100.0
                ),
            },
            silent: !view.case.facts.has.power || fell_before_stop(view) > 0,
        }
    },
    next_checks: &[
        "Measure the water level at rest, at the end of a long run and while it recovers.",
        "Compare the well's yield with what is drawn in the busiest hour.",
    ],
};

/// How sure one of two things may be that look alike.
const ALIKE: f64 = limits::ALIKE.value;

/// Blocked strainer, suction leak, low level.
pub const RESTRICTED_INTAKE: Cause = Cause {
    name: "restricted-intake",
    points_to: PointsTo::Source,
    needs: &[Need::Load, Need::Pressure, Need::Fine],
    shown_by: Some("falling-yield"),
    weigh: |view| {
        let weak = view.strength("falling-yield");
        let dry = view.strength("dry-run");
        let first = first_dry(view);
        let share = first.share();
        let from_dry = dry * (1.0 - share) * 0.7 * (1.0 - 0.7 * like_shut_off(view, &first));
        // A worn pump looks alike, and no record of this kind tells the two apart.
        let mut confidence = weak.max(from_dry).min(ALIKE);
        let mut against =
            vec!["a worn pump, or a wrong nameplate in the site file, looks alike".to_owned()];
        if dry > 0.5 && share > 0.5 {
            confidence *= 0.25;
            against
                .push("dry runs that begin loaded point to the source, not the intake".to_owned());
        }
        if view.strength("high-tank-air") > 0.3 {
            confidence *= 0.25;
            against.push("a tank charged too high slows the filling too".to_owned());
        }
        if let Some(left) = view.left_under_ceiling() {
            confidence *= left;
            against
                .push("the reading has a ceiling and does not show the real pressure".to_owned());
        }
        if view.strength("dead-head") > 0.4 {
            confidence *= 0.4;
            against.push("the pressure was high, so the outlet is shut".to_owned());
        }
        Weight {
            confidence,
            speaks_for: view.found(&["falling-yield", "dry-run", "cut-out-not-reached"]),
            against,
            text: "The pump takes less power than its nameplate or its own beginning lets expect, and \
                   moves less water: as when something holds the water back on its way into the \
                   pump."
                .to_owned(),
            otherwise: match view.case.levels.flow_share {
                Some(share) if share <= 1.5 => format!(
                    "The tank fills at about {:.0} % of the rated flow (tank charged as declared), \
                     and the pump keeps its load.",
                    share * 100.0
                ),
                Some(share) => format!(
                    "The pressure rises {share:.1} times as fast as the rated flow would raise it in \
                     the tank as declared: no want of water, but of gas in the tank. {}",
                    loaded_to_the_end(view)
                ),
                None => loaded_to_the_end(view),
            },
            silent: !view.case.facts.has.power || fell_before_stop(view) > 0,
        }
    },
    next_checks: &[
        "Inspect strainer, foot valve and suction line for blockage and air leaks.",
        "Compare flow and power with the pump's curve.",
    ],
};

/// The load of a pump at shut-off against its usual one, where power tells.
fn load_share(view: &View) -> String {
    let share = view.figure("dead-head", "power_share_of_loaded");
    if share.is_finite() {
        format!(" with {:.0} % of the power it takes when it moves water", share * 100.0)
    } else {
        String::new()
    }
}

/// A shut or blocked outlet.
pub const CLOSED_DISCHARGE: Cause = Cause {
    name: "closed-discharge",
    points_to: PointsTo::Pipework,
    needs: &[Need::Load, Need::Pressure],
    shown_by: Some("dead-head"),
    weigh: |view| {
        if let Some(because) = view.no_switch() {
            return Weight::silent(format!(
                "{because} A shut outlet shows only where the pressure rises to the switch's stop."
            ));
        }
        let dead = view.strength("dead-head");
        let light = view.strength("dry-run") * 0.7 * like_shut_off(view, &first_dry(view));
        if light > dead {
            return Weight {
                confidence: light,
                speaks_for: view.found(&["dry-run"]),
                against: vec!["the pressure before a shut valve was not seen".to_owned()],
                text: format!(
                    "The pump lost its load but still took {:.0} % of its loaded power, more than a \
                     pump without water takes, as one does that stands against a shut or blocked outlet.",
                    view.figure("dry-run", "share_of_loaded") * 100.0
                ),
                ..Weight::default()
            };
        }
        Weight {
            confidence: dead,
            speaks_for: view.found(&["dead-head"]),
            text: format!(
                "The pump ran at a standing pressure of {:.2} bar{}, as when next to no water has a way \
                 out: a valve or pipe beyond the pump shut or blocked.",
                view.figure("dead-head", "pressure_bar"),
                load_share(view)
            ),
            otherwise: format!(
                "In no run did the pressure stand still at the top with low load{}.",
                match view.case.facts.pressure_max {
                    Some((bar, _)) => format!("; its highest value was {bar:.2} bar"),
                    None => String::new(),
                }
            ),
            ..Weight::default()
        }
    },
    next_checks: &["Follow the outlet from pump to tank and open or clear every valve on it."],
};
