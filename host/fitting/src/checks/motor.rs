//! The clamp: on one conductor, the right way round, of the right ratio.

use super::seen::Seen;
use super::{Stated, Verdict};
use pumpwitness_site_file::{Site, Start};

/// A running motor draws more than this share of its rated current; less is no reading of it
/// (common practice: even an unloaded motor draws a third).
const NOTHING: f64 = 0.05;
/// Band of the running current of a motor on the line, shares of rated (times the service factor
/// above): common practice.
const LINE_BAND: (f64, f64) = (0.35, 1.3);
/// A drive's input current is small at low speed.
const DRIVE_BAND: (f64, f64) = (0.05, 1.3);
/// Power factors that a pump motor can have, loaded or not; a drive's input lies inside.
const POWER_FACTOR: (f64, f64) = (0.3, 1.03);

const ONE_CONDUCTOR: &str = "The clamp goes round one conductor only: round both, their fields \
    cancel. Isolated and proved dead: check which conductor it holds, that its jaws are shut, and \
    that it is plugged in.";

pub(super) fn current(seen: &Seen, site: &Site, stated: &Stated) -> Verdict {
    let rated = site.motor.rated_current_a;
    match seen.median(|reading| Some(reading.current_a)) {
        None => Verdict::Waiting("No readings yet.".to_owned()),
        Some(amperes) => {
            let says = format!("The current reads {amperes:.2} A, the nameplate says {rated} A.");
            if stated.running == Some(false) && seen.draws() {
                Verdict::Bad(
                    format!("{says} You say the pump stands still."),
                    "The clamp holds the conductor of something else, or the pump runs: look \
                     again.",
                )
            } else if seen.draws() || stated.running == Some(true) {
                running(amperes, says, seen, site)
            } else {
                Verdict::Waiting(
                    "Let the pump run: open a tap, and say so here when you hear it run."
                        .to_owned(),
                )
            }
        }
    }
}

fn running(amperes: f64, says: String, seen: &Seen, site: &Site) -> Verdict {
    if !seen.settled() {
        return Verdict::Waiting("The pump has just started.".to_owned());
    }
    let motor = &site.motor;
    let share = amperes / motor.rated_current_a;
    let (low, high) = match motor.start {
        Start::Drive => DRIVE_BAND,
        Start::Direct | Start::Soft => LINE_BAND,
    };
    if share < NOTHING {
        return Verdict::Bad(
            format!("The current reads {amperes:.2} A while the pump runs."),
            ONE_CONDUCTOR,
        );
    }
    if seen.over_range() {
        return Verdict::Bad(
            format!("{says} It reaches the end of the range."),
            "Use a clamp of a larger ratio, with its gain in the calibration.",
        );
    }
    if share > high * motor.service_factor {
        return Verdict::Bad(
            says,
            "Compare with a clamp meter: if the meter agrees, the motor is overloaded or the \
             nameplate is another; if not, the clamp's ratio is wrong, or the conductor passes \
             through it more than once.",
        );
    }
    if share < low {
        return Verdict::Bad(
            says,
            "Compare with a clamp meter: if the meter agrees, the pump runs nearly unloaded or the \
             nameplate is another; if not, the clamp's ratio is wrong, its jaws are not shut, or \
             it holds another conductor.",
        );
    }
    Verdict::Good(format!("{says} Compare with a clamp meter once."))
}

pub(super) fn power(seen: &Seen, site: &Site) -> Verdict {
    let readings = (
        seen.median(|r| Some(r.power_w)),
        seen.median(|r| Some(r.current_a * r.voltage_v)),
        seen.median(|r| Some(r.voltage_v)),
    );
    match readings {
        (Some(watts), Some(apparent), Some(volts))
            if seen.draws() && seen.settled() && volts > 0.5 * site.supply.nominal_v =>
        {
            let factor = watts / apparent;
            let says = format!("The power reads {watts:.0} W, {factor:.2} of volts times amperes.");
            if factor < -POWER_FACTOR.0 {
                Verdict::Bad(
                    format!("The power reads {watts:.0} W: negative."),
                    "The clamp faces the wrong way, or the voltage leads are swapped: turn the \
                     clamp round.",
                )
            } else if !(POWER_FACTOR.0..=POWER_FACTOR.1).contains(&factor) {
                Verdict::Bad(
                    says,
                    "Voltage and current are not of the same pair of conductors, or a ratio is \
                     wrong: put both on the same phase.",
                )
            } else {
                Verdict::Good(says)
            }
        }
        _ => Verdict::Waiting("Shown while the pump runs and the voltage is there.".to_owned()),
    }
}
