//! Causes in tank, pipework and switch setting.

use super::{Cause, Need, View, Weight};
use crate::limits;
use crate::outcome::PointsTo;

/// Too little air in the tank.
pub const WATERLOGGED_TANK: Cause = Cause {
    name: "waterlogged-tank",
    points_to: PointsTo::Tank,
    needs: &[Need::Pressure],
    shown_by: Some("low-tank-air"),
    weigh: waterlogged,
    next_checks: &[
        "Drain the tank with the pump isolated and measure its air pressure: it belongs a little \
         below the cut-in pressure.",
        "Tap the tank: dull all the way up, or water at the air valve, means its air is gone.",
    ],
};

fn waterlogged(view: &View) -> Weight {
    // Many starts of runs that are long enough are a matter of what is drawn, not of the tank.
    let brief = view.figure("short-cycling", "short_runs") > 0.0;
    let short = if brief { view.strength("short-cycling") } else { 0.0 };
    let air = view.strength("low-tank-air");
    let narrow = view.strength("narrow-differential");
    let high = view.strength("high-tank-air");
    let mut confidence =
        if view.case.levels.gas_bar_l.is_some() && view.case.levels.declared_gas_bar_l.is_some() {
            air * (0.6 + 0.4 * short)
        } else if view.case.constant_pressure() {
            // A drive's small tank and soft ramps leave no such slopes.
            0.5 * short
        } else {
            // Without flow and tank the short runs alone must speak.
            0.55 * short
        };
    let mut against = Vec::new();
    if narrow > 0.3 && air < 0.3 {
        confidence *= 0.3;
        against.push(
            "the switch works over too narrow a band, which explains the short runs".to_owned(),
        );
    }
    if high > 0.3 {
        confidence *= 0.3;
        against
            .push("the pressure jumps to one value at each start, as with too much air".to_owned());
    }
    // Rows too long for the switch points show neither a narrow band nor too much air, which make
    // short runs as well.
    let blind = air <= 0.0 && view.missing(Need::Fine).is_some();
    if blind {
        confidence *= 0.4;
    }
    let share = view.figure("low-tank-air", "gas_share_of_declared") * 100.0;
    let text = if air > 0.0 {
        format!(
            "The tank behaves as if it held {share:.0} % of its declared gas (if the pump gives its \
             rated flow), and so stores less water between a stop and the next start."
        )
    } else {
        "The pump starts again and again, as when the tank stores too little water. How much air it \
         holds could not be worked out from this record."
            .to_owned()
    };
    let (otherwise, silent) = match (
        view.case.levels.gas_bar_l,
        view.case.levels.declared_gas_bar_l,
    ) {
        (Some((found, runs)), Some(declared)) => (
            format!(
                "From the slopes of {runs} runs and the rated flow the tank holds about {:.0} % \
                     of its declared gas.",
                found / declared * 100.0
            ),
            false,
        ),
        _ => length_of_runs(view),
    };
    let (otherwise, silent) = if blind && short > 0.0 {
        (
            "Runs are short; whether for want of air in the tank, too much of it, a narrow band of the \
             switch or taps opened again and again, rows so long do not tell."
                .to_owned(),
            true,
        )
    } else {
        (otherwise, silent)
    };
    Weight {
        confidence,
        speaks_for: view.found(&["low-tank-air", "short-cycling"]),
        against,
        text,
        otherwise,
        silent,
    }
}

/// What the length of runs says of the tank where its gas could not be worked out, and whether that
/// is too little to rule anything out.
fn length_of_runs(view: &View) -> (String, bool) {
    let median = crate::robust::median(view.case.facts.runs.iter().map(|r| r.time.seconds()));
    let median = median.unwrap_or(0.0);
    let declared = view.case.site.limits.min_run_s;
    let least = declared.unwrap_or(limits::MIN_RUN_S.value);
    let source = if declared.is_some() { "site file" } else { limits::MIN_RUN_S.source };
    let unknown = "how much air the tank holds could not be worked out (that takes a pressure \
                   switch, the tank's volume and the rated flow)";
    if median > least {
        let text = format!(
            "Runs are not short for a motor: half of them last longer than {median:.0} s (limit \
             {least:.0} s, {source}); {unknown}."
        );
        (text, view.case.constant_pressure())
    } else {
        (format!("Half of the runs last less than {median:.0} s, and {unknown}."), true)
    }
}

/// Air pressure above the cut-in.
pub const PRECHARGE_TOO_HIGH: Cause = Cause {
    name: "precharge-too-high",
    points_to: PointsTo::Tank,
    needs: &[Need::Pressure, Need::Fine],
    shown_by: Some("high-tank-air"),
    weigh: |view| {
        if let Some(because) = view.no_switch() {
            return Weight::silent(because);
        }
        Weight {
            confidence: view.strength("high-tank-air"),
            speaks_for: view.found(&["high-tank-air", "short-cycling"]),
            text: format!(
                "The pressure collapses near the cut-in and jumps to about {:.2} bar at once, as when \
                 the tank has run empty before the pump starts: its air pressure lies above the \
                 cut-in.",
                view.figure("high-tank-air", "steady_from_bar")
            ),
            otherwise: match view.case.levels.cut_in {
                Some(line) => format!(
                    "The pressure falls smoothly down to the start at {:.2} bar and rises smoothly \
                     from there: the tank still holds water then.",
                    line.value
                ),
                None => "No jump of the pressure at the starts was seen.".to_owned(),
            },
            ..Weight::default()
        }
    },
    next_checks: &[
        "Drain the tank with the pump isolated and measure its air pressure; set it a little below \
         the cut-in pressure.",
    ],
};

/// Cut-in and cut-out too close.
pub const DIFFERENTIAL_TOO_NARROW: Cause = Cause {
    name: "differential-too-narrow",
    points_to: PointsTo::Control,
    needs: &[Need::Pressure, Need::Fine],
    shown_by: Some("narrow-differential"),
    weigh: |view| {
        if let Some(because) = view.no_switch() {
            return Weight::silent(because);
        }
        let ceiling = view.strength("transducer-supply");
        let mut against = Vec::new();
        let mut confidence = view.strength("narrow-differential");
        if ceiling > 0.3 {
            confidence *= 0.25;
            against.push("the reading has a ceiling and hides the real pressure".to_owned());
        }
        let narrow = view.finding("narrow-differential");
        if narrow.is_some_and(|finding| finding.points_to == PointsTo::None) {
            against.push("the reading may go no higher, and the pump stop elsewhere".to_owned());
        }
        Weight {
            confidence,
            speaks_for: view.found(&["narrow-differential", "short-cycling"]),
            against,
            text: format!(
                "The pressure switch works over {:.2} bar where {:.2} bar is declared, so each run \
                 fills less.",
                view.figure("narrow-differential", "differential_bar"),
                view.figure("narrow-differential", "declared_differential_bar"),
            ),
            otherwise: match (view.case.levels.cut_in, view.case.levels.cut_out) {
                _ if ceiling > 0.3 => {
                    "The reading has a ceiling and hides the pressure at which the \
                    switch stops the pump."
                        .to_owned()
                }
                (Some(low), Some(high)) => format!(
                    "The switch was seen to work between {:.2} and {:.2} bar ({:.2} bar declared).",
                    low.value, high.value, view.case.levels.band_bar
                ),
                _ => "Too few stops by the switch were seen to tell where it works.".to_owned(),
            },
            silent: ceiling > 0.3
                || view.case.levels.cut_in.zip(view.case.levels.cut_out).is_none(),
        }
    },
    next_checks: &[
        "Read cut-in and cut-out on a gauge and compare with the setting; adjust or replace the \
         switch.",
    ],
};

/// How tight the system is at rest, and whether the rests do not tell.
fn tight(view: &View) -> (String, bool) {
    let limit = limits::IDLE_LOSS_BAR_PER_MIN.value;
    let rests = view.case.facts.rests.iter().filter(|r| r.leak_bar_per_min.is_finite() && !r.whole);
    let (held, all) = (rests.clone().filter(|r| r.leak_bar_per_min < limit).count(), rests.count());
    match (held, all) {
        (_, 0) => ("No rest was long enough to judge the tightness by.".to_owned(), true),
        (0, _) => (
            format!(
                "In none of {all} rests did the pressure hold for minutes (loss below {limit} bar a \
                 minute); whether that was water drawn, the record does not tell."
            ),
            true,
        ),
        _ => (
            format!(
                "In {held} of {all} rests the pressure held for minutes (loss below {limit} bar a \
                 minute), which water that leaves all the time does not let it do."
            ),
            false,
        ),
    }
}

/// To which side of the tank the water goes, as far as a record tells.
enum Side {
    /// The pressure falls back at each stop: towards the check valve.
    Valve,
    /// The drive hardly came to rest: a check valve leaks only while the pump stands.
    House,
    /// Both lose pressure alike. The rate goes with the pressure over the open air on the house side
    /// and with that over the water level in the well on the other, but holes are of unknown shape
    /// (the exponent of a leak lies between a half and more than one), which hides the difference.
    Open,
}

fn side(view: &View) -> Side {
    let resting = view.figure("idle-pressure-loss", "resting_share");
    if view.case.constant_pressure() && resting < limits::HARDLY_RESTS.value {
        Side::House
    } else if view.strength("leak-back-at-stop") > 0.2 {
        Side::Valve
    } else {
        Side::Open
    }
}

/// As sure of one side as of the other, so that neither stands alone.
const EVEN: f64 = 0.58;

/// Water running back through the pump.
pub const CHECK_VALVE_LEAK: Cause = Cause {
    name: "check-valve-leak",
    points_to: PointsTo::Pipework,
    needs: &[Need::Pressure, Need::Load],
    shown_by: None,
    weigh: |view| {
        let loss = view.strength("idle-pressure-loss");
        let (otherwise, silent) = tight(view);
        let (share, against) = match side(view) {
            Side::Valve => (0.85, None),
            Side::House => (
                0.1,
                Some(
                    "the drive went on running, and a check valve leaks only while the pump stands",
                ),
            ),
            Side::Open => (EVEN, Some("a draw on the house side loses pressure in the same way")),
        };
        Weight {
            confidence: loss * share,
            speaks_for: view.found(&["idle-pressure-loss", "leak-back-at-stop"]),
            against: against.into_iter().map(str::to_owned).collect(),
            text: "Water leaves the tank all the time the pump stands. It may run back through a \
                   leaking check valve; from pressure alone this cannot be told for certain from a \
                   leak or an open tap on the house side."
                .to_owned(),
            otherwise,
            silent: silent || loss > 0.0,
        }
    },
    next_checks: &[
        "Close the valve between tank and house with the pump at rest: if the pressure still \
         falls, the water goes back through the check valve; if it holds, it goes to the house.",
    ],
};

/// A leak or an open tap.
pub const IDLE_DRAW: Cause = Cause {
    name: "idle-draw",
    points_to: PointsTo::Pipework,
    needs: &[Need::Pressure, Need::Load],
    shown_by: None,
    weigh: |view| {
        let loss = view.strength("idle-pressure-loss");
        let (otherwise, silent) = tight(view);
        let flow = view.figure("idle-pressure-loss", "loss_l_per_h");
        let water = if flow.is_finite() { format!(", about {flow:.0} L/h") } else { String::new() };
        let (share, against) = match side(view) {
            Side::Valve => {
                (0.5, Some("the drop of the pressure at each stop points to the check valve"))
            }
            Side::House => (0.9, Some("a drive that is set never to sleep runs on too")),
            Side::Open => (EVEN, Some("a check valve that leaks loses pressure in the same way")),
        };
        let text = if matches!(side(view), Side::House) {
            "The drive never came to rest: water is drawn, or leaks, on the house side all the time."
                .to_owned()
        } else {
            format!(
                "Water leaves the system all the time the pump stands{water}, at much the same rate \
                 in rest after rest. People do not draw water like that; a leak, a dripping valve or a \
                 leaking check valve does. To which side of the tank it goes, the pressure does not \
                 tell for certain."
            )
        };
        Weight {
            confidence: loss * share,
            speaks_for: view.found(&["idle-pressure-loss"]),
            against: against.into_iter().map(str::to_owned).collect(),
            text,
            otherwise,
            silent: silent || loss > 0.0,
        }
    },
    next_checks: &[
        "Close the valve between tank and house with the pump at rest: if the pressure now holds, \
         look for the leak or open tap on the house side; if it still falls, at the check valve.",
        "Read the water meter, if there is one, while nobody draws water.",
    ],
};
