//! Causes in the supply and its connections.

use super::{Cause, Need, View, Weight};
use crate::facts::{Minute, Stretch};
use crate::limits;
use crate::outcome::PointsTo;
use crate::robust::{median, ramp};

/// Lowest and highest voltage of the record, and what they are values of.
fn extremes(view: &View) -> String {
    let facts = view.case.facts;
    let values = |pick: fn(&Minute) -> f32| facts.minutes.iter().map(pick);
    let low = values(|m| m.v_min).fold(f32::NAN, f32::min);
    let high = values(|m| m.v_max).fold(f32::NAN, f32::max);
    let of = if facts.has.half_cycles {
        "r.m.s. values of single cycles".to_owned()
    } else {
        format!("rows of {:.1} s", facts.row_s)
    };
    format!(
        "In {:.0} h the voltage lay between {low:.0} and {high:.0} V ({of}; nominal {:.0} V).",
        view.hours(),
        view.case.plan.nominal_v
    )
}

/// True where the rows miss what lasts a few cycles only.
fn misses_short_events(view: &View) -> bool {
    !view.case.facts.has.half_cycles
}

/// The voltage seen, for events that last fractions of a second.
fn no_short_event(view: &View) -> String {
    let seen = extremes(view);
    if misses_short_events(view) {
        format!("{seen} What is shorter than a row such rows do not show.")
    } else {
        seen
    }
}

/// The voltage seen, for what lasts a minute and longer.
fn no_long_event(view: &View) -> String {
    let facts = view.case.facts;
    let gone = |m: &&Minute| {
        facts.interrupted(&Stretch { start_ms: m.start_ms, end_ms: m.start_ms + 60_000 })
    };
    let (without, with): (Vec<&Minute>, Vec<&Minute>) =
        facts.minutes.iter().partition(|minute| !gone(minute));
    let rms = |m: &&Minute| f64::from(m.v);
    let low = without.iter().map(rms).fold(f64::NAN, f64::min);
    let high = without.iter().map(rms).fold(f64::NAN, f64::max);
    let left_out = match with.len() {
        0 => String::new(),
        minutes => format!("; {minutes} minutes in which the supply was gone left out"),
    };
    format!(
        "In {:.0} h the means of single minutes lay between {low:.0} and {high:.0} V (nominal \
         {:.0} V{left_out}).",
        view.hours(),
        view.case.plan.nominal_v
    )
}

/// Dips from elsewhere.
pub const SUPPLY_DIPS: Cause = Cause {
    name: "supply-dips",
    points_to: PointsTo::Supply,
    needs: &[Need::Voltage, Need::Load],
    shown_by: Some("voltage-dip"),
    weigh: |view| Weight {
        confidence: view.strength("voltage-dip"),
        speaks_for: view.found(&["voltage-dip"]),
        text: format!(
            "The supply dipped {}, down to {:.0} % of nominal, and {}. The record does not say where \
             on the supply side the dips come from.",
            crate::findings::times(view.figure("voltage-dip", "dips") as usize),
            view.figure("voltage-dip", "lowest_share") * 100.0,
            if view.case.facts.has.current {
                "this pump's own current does not explain it"
            } else {
                "not at this pump's own starts (its current was not recorded)"
            }
        ),
        otherwise: {
            let own = view.case.facts.dips().count();
            if own > 0 && view.finding("voltage-dip").is_none() {
                format!("All {own} dips below 90 % of nominal came with this pump's own starts.")
            } else {
                no_short_event(view)
            }
        },
        silent: misses_short_events(view),
        ..Weight::default()
    },
    next_checks: &[
        "Ask the network operator for disturbance records at these times; look for other large \
         loads on the same supply.",
    ],
};

/// The supply gone.
pub const SUPPLY_INTERRUPTIONS: Cause = Cause {
    name: "supply-interruptions",
    points_to: PointsTo::Supply,
    needs: &[Need::Voltage],
    shown_by: Some("interruption"),
    weigh: |view| Weight {
        confidence: view.strength("interruption"),
        speaks_for: view.found(&["interruption"]),
        text: format!(
            "At the place of measurement the supply was gone {}, {} at the longest. Whether the \
             network, a fuse or a switch on the way took it away, the record does not say.",
            crate::findings::times(view.figure("interruption", "interruptions") as usize),
            crate::findings::span(view.figure("interruption", "longest_s"))
        ),
        otherwise: no_short_event(view),
        silent: misses_short_events(view),
        ..Weight::default()
    },
    next_checks: &[
        "Compare the times with other loads in the building: if those went off too, ask the network \
         operator; if not, look at fuses, switches and terminals on the way to this pump.",
    ],
};

/// Low voltage.
pub const SUPPLY_UNDERVOLTAGE: Cause = Cause {
    name: "supply-undervoltage",
    points_to: PointsTo::Supply,
    needs: &[Need::Voltage],
    shown_by: Some("undervoltage"),
    weigh: |view| {
        let derated = view.strength("speed-reduction");
        Weight {
            confidence: view.strength("undervoltage") * if derated > 0.3 { 0.85 } else { 1.0 },
            speaks_for: view.found(&["undervoltage"]),
            text: format!(
                "At the place of measurement the voltage stayed below 90 % of nominal for {} in all, \
                 down to {:.0} % of nominal{}. Whether the network or the wiring up to there is too \
                 weak, the record does not say.",
                crate::findings::span(view.figure("undervoltage", "total_s")),
                view.figure("undervoltage", "lowest_share") * 100.0,
                if view.figure("undervoltage", "at_rest_s") > 60.0 {
                    ", also with this pump at rest"
                } else {
                    ""
                }
            ),
            otherwise: no_long_event(view),
            ..Weight::default()
        }
    },
    next_checks: &[
        "Measure the voltage at the service entrance and at the pump at the same time of day.",
    ],
};

/// High voltage.
pub const SUPPLY_OVERVOLTAGE: Cause = Cause {
    name: "supply-overvoltage",
    points_to: PointsTo::Supply,
    needs: &[Need::Voltage],
    shown_by: Some("overvoltage"),
    weigh: |view| {
        let high = view.strength("overvoltage");
        let swell = view.strength("voltage-swell");
        Weight {
            confidence: high.max(0.8 * swell),
            speaks_for: view.found(&["overvoltage", "voltage-swell"]),
            text: if high > 0.0 {
                format!(
                    "At the place of measurement the voltage stayed above 110 % of nominal for {} in \
                     all, up to {:.0} % of nominal. Whether the network, a source of power in the \
                     house or a poor neutral raises it, the record does not say.",
                    crate::findings::span(view.figure("overvoltage", "total_s")),
                    view.figure("overvoltage", "highest_share") * 100.0
                )
            } else {
                format!(
                    "The voltage rose above 110 % of nominal {:.0} times.",
                    view.figure("voltage-swell", "swells")
                )
            },
            otherwise: no_long_event(view),
            ..Weight::default()
        }
    },
    next_checks: &[
        "Measure the voltage at the service entrance at these times of day; check the neutral \
         connection.",
    ],
};

/// Fewest starts that show a rise.
const GROWTH_STARTS: usize = limits::GROWTH_STARTS.value as usize;

/// A connection going bad.
pub const WEAK_CONNECTION: Cause = Cause {
    name: "weak-connection",
    points_to: PointsTo::Wiring,
    needs: &[Need::Voltage, Need::Load],
    shown_by: Some("weak-supply"),
    weigh: |view| {
        let starts = view.case.levels.impedance.len();
        let rising = view.strength("rising-supply-impedance");
        let weak = view.strength("weak-supply");
        Weight {
            confidence: (rising * 0.95).max(weak * 0.75),
            speaks_for: view.found(&["rising-supply-impedance", "weak-supply"]),
            text: if rising > 0.0 {
                format!(
                    "The resistance that this pump's current meets on its way from the supply rose \
                     from {:.2} to {:.2} Ω inside the record, as when a connection goes bad; such a \
                     place grows hot. Whether it lies in the network, the house or the panel, the \
                     record does not tell.",
                    view.figure("rising-supply-impedance", "early_ohm"),
                    view.figure("rising-supply-impedance", "late_ohm")
                )
            } else {
                format!(
                    "The voltage gives way by {:.0} % of nominal under this pump's own starting \
                     current: supply, cable or connections have too much resistance \
                     ({:.2} Ω).",
                    view.figure("weak-supply", "starting_drop_share") * 100.0,
                    view.figure("weak-supply", "supply_impedance_ohm")
                )
            },
            otherwise: {
                let ohm = median(view.case.levels.impedance.iter().map(|z| z.1));
                match ohm {
                    Some(ohm) if starts >= GROWTH_STARTS => format!(
                        "From start to start the voltage gives way alike under this pump's current: by \
                         {ohm:.2} V for each ampere ({ohm:.2} Ω; median of {starts} starts), no rise \
                         over the record."
                    ),
                    Some(ohm) => format!(
                        "The voltage gives way by {ohm:.2} V for each ampere of this pump's current \
                         ({ohm:.2} Ω; median of {starts} starts), which is not much for it; whether \
                         that rises, so few starts do not tell."
                    ),
                    None => "No start moved the current enough to show the supply's resistance."
                        .to_owned(),
                }
            },
            silent: starts < GROWTH_STARTS,
            against: Vec::new(),
        }
    },
    next_checks: &[
        "With the circuit isolated and proven dead, tighten and inspect every terminal from the \
         distribution board to the motor; look for discoloured insulation.",
        "With the pump running, a qualified person measures the voltage drop over each connection, \
         or uses a thermal camera.",
    ],
};

/// A drive that slows down for want of voltage.
pub const DERATED_BY_LOW_SUPPLY: Cause = Cause {
    name: "derated-by-low-supply",
    points_to: PointsTo::Supply,
    needs: &[Need::Voltage, Need::Load, Need::Pressure],
    shown_by: None,
    weigh: |view| {
        if let Some(because) = view.no_drive() {
            return Weight::silent(because);
        }
        let reduced = view.finding("speed-reduction").map_or(0.0, |f| f.confidence);
        let low = view.figure("speed-reduction", "voltage_v");
        let good = view.figure("speed-reduction", "voltage_otherwise_v");
        let share = low / view.case.plan.nominal_v;
        // Zone B of IEC 60034-1 ends at −10 %; drives commonly hold their speed down to there.
        let lies_low = ramp(share, 0.95, 0.90) * ramp(low / good, 1.0, 0.96);
        let mut confidence = reduced * (0.1 + 0.9 * lies_low);
        let mut against = Vec::new();
        if lies_low < 0.3 && reduced > 0.0 {
            against.push("the voltage was normal while the pressure fell short".to_owned());
        }
        // What it cannot do at a normal voltage, it need not have failed to do for want of voltage.
        if view.figure("falling-yield", "time_s") > 0.0 {
            confidence *= 0.5;
            against.push("the pressure fell short at a normal voltage too".to_owned());
        }
        if let Some(left) = view.left_under_ceiling() {
            confidence *= left;
            against.push("the reading has a ceiling, and falls short of itself".to_owned());
        }
        Weight {
            confidence,
            speaks_for: view.found(&["speed-reduction", "undervoltage"]),
            against,
            text: format!(
                "The pump fell short of its held pressure while the supply stood at {low:.0} V \
                 ({:.0} % of nominal), and not at {good:.0} V: the drive slows down for want of \
                 voltage.",
                share * 100.0
            ),
            otherwise: "The held pressure was kept, or fell short without any want of voltage."
                .to_owned(),
            silent: false,
        }
    },
    next_checks: &[
        "Read the drive's own event memory for reduced speed; measure the voltage at its terminals \
         under load.",
    ],
};
