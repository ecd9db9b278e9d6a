//! The voltage sense: there, of the right phase, on the supply side; frequency.

use super::seen::Seen;
use super::{Check, Verdict};
use pumpwitness_site_file::Site;

/// Deviation from nominal that is no supply any more but another connection, share of nominal;
/// EN 50160 allows ±10 % with rare excursions to −15 %.
const BESIDE_NOMINAL: f64 = 0.15;
/// How near to √3 or its inverse a ratio must be to point at a wrong pair of conductors.
const NEAR_ROOT_3: f64 = 0.06;
/// Below this share of nominal there is no voltage.
const ABSENT: f64 = 0.1;
/// Deviation of the frequency that is no drift any more but another nominal value, Hz; EN 50160
/// allows ±1 % interconnected, and more in islands.
const OTHER_FREQUENCY_HZ: f64 = 5.0;

const RESTORE: &str = "With the circuit isolated and proved dead by a tester: check the sense's \
    leads and fuse. This reading proves nothing dead.";

pub(super) fn voltage(seen: &Seen, site: &Site) -> Check {
    let nominal = site.supply.nominal_v;
    let verdict = match seen.median(|reading| Some(reading.voltage_v)) {
        None => Verdict::Waiting("No readings yet.".to_owned()),
        Some(volts) if volts < ABSENT * nominal => Verdict::Bad(
            format!("The voltage reads {volts:.1} V: the sense is off, or the supply is."),
            RESTORE,
        ),
        Some(volts) => {
            let ratio = volts / nominal;
            let says = format!("The voltage reads {volts:.1} V, nominal is {nominal:.0} V.");
            if (ratio - 1.0).abs() <= BESIDE_NOMINAL {
                Verdict::Good(says)
            } else if (ratio * 3_f64.sqrt() - 1.0).abs() < NEAR_ROOT_3 {
                Verdict::Bad(
                    format!("{says} It is 1/√3 of it."),
                    "The site file gives the voltage between lines and the sense is between line \
                     and neutral: correct the site file or the connection.",
                )
            } else if (ratio / 3_f64.sqrt() - 1.0).abs() < NEAR_ROOT_3 {
                Verdict::Bad(
                    format!("{says} It is √3 times it."),
                    "The site file gives the voltage between line and neutral and the sense is \
                     between lines: correct the site file or the connection.",
                )
            } else {
                Verdict::Bad(
                    says,
                    "Compare with a tester: if the tester agrees, the supply is at fault or the \
                     site file; if not, the sense's ratio.",
                )
            }
        }
    };
    Check::new("voltage", "Voltage sense", verdict)
}

pub(super) fn frequency(seen: &Seen, site: &Site) -> Check {
    let nominal = site.supply.frequency_hz;
    let verdict = match seen.median(|reading| reading.frequency_hz) {
        None => Verdict::Waiting("There is no voltage to measure the frequency on yet.".to_owned()),
        Some(hertz) => {
            let says = format!("The frequency reads {hertz:.2} Hz, nominal is {nominal:.0} Hz.");
            if (hertz - nominal).abs() < OTHER_FREQUENCY_HZ {
                Verdict::Good(says)
            } else {
                Verdict::Bad(
                    says,
                    "Correct frequency_hz in the site file, or move the sense to the supply side \
                     of the drive.",
                )
            }
        }
    };
    Check::new("frequency", "Frequency", verdict)
}

/// Whether the voltage is taken on the supply side of what switches the pump.
pub(super) fn tap(seen: &Seen, site: &Site) -> Check {
    let verdict = match seen.stop_took_voltage() {
        None => Verdict::Waiting(
            "Let the pump stop once: the voltage must stay when the current goes.".to_owned(),
        ),
        Some(true) => Verdict::Bad(
            "The voltage left together with the current when the pump stopped.".to_owned(),
            "The sense sits on the load side of the switch, where every stop would pass for an \
             interruption: move it to the supply side, isolated and proved dead.",
        ),
        Some(false) => Verdict::Good(format!(
            "The voltage stayed when the pump stopped{}.",
            if seen
                .median(|r| Some(r.voltage_v))
                .is_some_and(|v| v < ABSENT * site.supply.nominal_v)
            {
                " (and left later)"
            } else {
                ""
            }
        )),
    };
    Check::new("voltage-side", "Voltage on the supply side", verdict)
}
