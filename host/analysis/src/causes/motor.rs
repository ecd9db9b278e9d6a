//! Causes in motor and motor circuit.

use super::{Cause, Need, View, Weight};
use crate::limits;
use crate::outcome::{PointsTo, StopReason};
use crate::robust::{median, ramp};

/// The running current, and whether there was none to judge by.
fn current_normal(view: &View) -> (String, bool) {
    let (current, rated) = (view.case.levels.current_a, view.case.plan.rated_a);
    if current.is_finite() {
        let text = format!(
            "Running current is {current:.2} A (median), {:.0} % of the rated {rated:.2} A.",
            current / rated * 100.0,
        );
        (text, false)
    } else {
        ("No run was long enough to show the running current.".to_owned(), true)
    }
}

/// Voltage from which a high current is not laid to the voltage.
const NORMAL_VOLTAGE: f64 = limits::CURRENT_VOLTAGE.value;

/// Flow from which a pump moves more water than it is rated for, share of the rated flow.
const MORE_WATER: f64 = 2.0 - limits::YIELD_FLOW.value;

/// Bearings, sand, rubbing parts.
pub const MECHANICAL_DRAG: Cause = Cause {
    name: "mechanical-drag",
    points_to: PointsTo::Motor,
    needs: &[Need::Load],
    shown_by: Some("overload"),
    weigh: |view| {
        if let Some(because) = view.doubtful_current() {
            return Weight::silent(because);
        }
        let overload = view.strength("overload");
        let voltage = view.figure("overload", "voltage_v") / view.case.plan.nominal_v;
        // Low voltage raises the current of a sound motor.
        let sound = if voltage.is_finite() { ramp(voltage, 0.88, NORMAL_VOLTAGE) } else { 0.6 };
        let mut against = Vec::new();
        let at = if voltage.is_finite() {
            if sound < 0.8 && overload > 0.0 {
                against.push(format!(
                    "the voltage was {:.0} % of nominal, which raises the current by itself",
                    voltage * 100.0
                ));
            }
            format!(" at {:.0} V", view.figure("overload", "voltage_v"))
        } else {
            against.push(
                "the voltage was not recorded; a low one raises the current by itself".to_owned(),
            );
            String::new()
        };
        // What the tank takes in tells whether the motor has more water to move, where its gas is as
        // declared.
        let flow = view.case.levels.flow_share.filter(|_| view.finding("low-tank-air").is_none());
        let (water, drags) = match flow {
            Some(share) if share <= MORE_WATER => (
                format!(
                    "It does not move more water than it is rated for: the tank fills as if the pump \
                     gave {:.0} % of its rated flow.",
                    share * 100.0
                ),
                1.0,
            ),
            Some(share) => (
                format!(
                    "The tank fills as if the pump gave {:.0} % of its rated flow: more water than it \
                     is rated for loads a sound motor too.",
                    share * 100.0
                ),
                0.7,
            ),
            None => (
                "More water than it was chosen for loads a sound motor too; which of the two it is, \
                 the current alone does not tell."
                    .to_owned(),
                0.9,
            ),
        };
        if overload > 0.0 {
            against.push("a wrong rated current in the site file looks alike".to_owned());
        }
        let (otherwise, silent) = current_normal(view);
        Weight {
            confidence: overload * (0.15 + 0.8 * sound) * drags,
            speaks_for: view.found(&["overload", "changed-running-current"]),
            against,
            text: format!(
                "The motor draws {:.2} A ({:.2} A rated by the site file){at}, as when bearings or pump \
                 stages drag. {water}",
                view.figure("overload", "running_current_a"),
                view.figure("overload", "rated_current_a"),
            ),
            otherwise,
            silent,
        }
    },
    next_checks: &[
        "Compare current and power with the nameplate at the same pressure.",
        "Isolate and turn the shaft by hand where it can be reached; look for sand, scale and worn \
         bearings.",
    ],
};

/// A rotor that does not turn.
pub const LOCKED_ROTOR: Cause = Cause {
    name: "locked-rotor",
    points_to: PointsTo::Motor,
    needs: &[Need::Load, Need::Fine],
    shown_by: Some("locked-rotor"),
    weigh: |view| {
        if let Some(because) = view.doubtful_current() {
            return Weight::silent(because);
        }
        let locked = view.strength("locked-rotor");
        let voltage = view.figure("locked-rotor", "voltage_v") / view.case.plan.nominal_v;
        // Starting torque falls with the square of the voltage.
        let sound = if voltage.is_finite() { ramp(voltage, 0.75, 0.88) } else { 0.8 };
        let mut against = Vec::new();
        if sound < 0.8 && locked > 0.0 {
            against.push(format!(
                "the voltage was only {:.0} % of nominal during these starts",
                voltage * 100.0
            ));
        }
        Weight {
            confidence: locked * (0.3 + 0.7 * sound),
            speaks_for: view.found(&["locked-rotor", "failed-start"]),
            against,
            text: format!(
                "The motor did not turn up to speed: it held {:.1} A, {:.1} times its rated \
                 current, until it was switched off.",
                view.figure("locked-rotor", "current_a"),
                view.figure("locked-rotor", "times_rated"),
            ),
            otherwise: {
                match median(view.case.facts.runs.iter().map(|r| r.peak_a)) {
                    Some(peak) => format!(
                        "Every start came up to speed; starting peaks are {peak:.1} A (median)."
                    ),
                    None => "No start was seen that did not come up to speed.".to_owned(),
                }
            },
            silent: false,
        }
    },
    next_checks: &[
        "Isolate and try to turn the shaft; look for a seized bearing, a stone or sand in the pump.",
        "For single-phase motors test start capacitor, start relay and start winding (discharge \
         the capacitor first).",
    ],
};

/// Heat.
pub const OVERHEATING: Cause = Cause {
    name: "overheating",
    points_to: PointsTo::Motor,
    needs: &[Need::Load, Need::Pressure, Need::Fine],
    shown_by: Some("over-temperature-pattern"),
    weigh: |view| {
        if let Some(because) = view.doubtful_current() {
            return Weight::silent(because);
        }
        let unexplained = view.case.ledger.count(StopReason::Unexplained);
        Weight {
            // A pump that moves no water heats up; then the shut outlet is the cause.
            confidence: view.strength("over-temperature-pattern")
                * if view.strength("dead-head") > 0.4 { 0.3 } else { 1.0 },
            speaks_for: view.found(&["over-temperature-pattern"]),
            text:
                "The motor is switched off in mid-course, again and again, without overload in what \
                   was recorded, and comes back after a pause: its own heat protection is the best \
                   explanation. Temperature was not recorded. Poor cooling, a warm place and \
                   too many starts all heat a motor."
                    .to_owned(),
            otherwise: if unexplained < limits::HEAT_STOPS.value as usize {
                format!(
                    "No pattern of stops in mid-course with normal current was seen. {}",
                    current_normal(view).0
                )
            } else {
                format!(
                    "The record does not say why {unexplained} runs stopped. They do not follow the \
                     warming and cooling of a motor, but without a temperature that excludes nothing."
                )
            },
            silent: unexplained >= limits::HEAT_STOPS.value as usize,
            ..Weight::default()
        }
    },
    next_checks: &[
        "Check cooling: flow past a well motor, ventilation of a surface motor, temperature of the \
         place.",
        "Measure the motor's temperature when it has just stopped.",
    ],
};

/// A contact or conductor open.
pub const OPEN_MOTOR_CIRCUIT: Cause = Cause {
    name: "open-motor-circuit",
    points_to: PointsTo::Wiring,
    needs: &[Need::Load, Need::Pressure],
    shown_by: Some("no-draw"),
    weigh: |view| {
        if !view.case.plan.start_bar.is_finite() {
            return Weight::silent(
                "The site file does not say at which pressure the pump starts, so the record cannot \
                 say when it should have run.",
            );
        }
        let none = view.strength("no-draw");
        let supplied = view.figure("no-draw", "lowest_minute_v").is_finite()
            || (none <= 0.0 && view.case.facts.has.voltage);
        Weight {
            // Without a voltage, an outage looks the same.
            confidence: none * if supplied { 0.95 } else { 0.45 },
            speaks_for: view.found(&["no-draw"]),
            text: format!(
                "{} and the pressure below the start pressure the motor took nothing, {} at the \
                 longest: its circuit, from the switch's contacts to the winding, was open, or \
                 something held it off that the record does not show.",
                if supplied { "With the supply present" } else { "With the supply not recorded" },
                crate::findings::span(view.figure("no-draw", "longest_s"))
            ),
            otherwise: match view.case.levels.cut_in {
                Some(line) => format!(
                    "Apart from pauses after a protective stop, the motor took current whenever the \
                     pressure fell to the start pressure; starts were seen at {:.2} bar.",
                    line.value
                ),
                None => "No want of current was seen while the pump should have run.".to_owned(),
            },
            against: vec![if supplied {
                "a clock, a float switch or a person that holds the pump off looks alike".to_owned()
            } else {
                "the voltage was not recorded: the supply may have been gone".to_owned()
            }],
            silent: false,
        }
    },
    next_checks: &[
        "Test the contacts of pressure switch, contactor and overload relay, the terminals and the \
         motor cable for continuity, dead.",
    ],
};
