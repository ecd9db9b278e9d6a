//! Findings: what was observed. One file each, in folders by group; each is a function from the
//! [`Case`] to at most one finding, entered in [`ALL`].

mod draft;
mod hydraulics;
mod instrument;
mod lamps;
mod motor;
mod source;
mod supply;

pub use draft::{Draft, moment};
pub use hydraulics::short_cycling::most_starts_per_hour;

use crate::case::Case;
use crate::outcome::Finding;

/// A length of time in words: seconds below two minutes, minutes below two hours, then hours.
pub fn span(seconds: f64) -> String {
    match seconds {
        s if s < 10.0 => format!("{s:.1} s"),
        s if s < 120.0 => format!("{s:.0} s"),
        s if s < 7_200.0 => format!("{:.0} min", s / 60.0),
        s => format!("{:.1} h", s / 3600.0),
    }
}

/// "once", or how many times.
pub fn times(count: usize) -> String {
    if count == 1 { "once".to_owned() } else { format!("{count} times") }
}

/// " at 228 V", or that the voltage was not recorded.
pub fn at_volts(volts: f64) -> String {
    if volts.is_finite() {
        format!(" at {volts:.0} V")
    } else {
        " (the voltage was not recorded)".to_owned()
    }
}

/// Looks for one kind of finding.
type Look = fn(&Case) -> Option<Draft>;

/// Every finding there is, by group.
const ALL: &[Look] = &[
    hydraulics::short_cycling::find,
    hydraulics::idle_pressure_loss::find,
    hydraulics::leak_back_at_stop::find,
    hydraulics::low_tank_air::find,
    hydraulics::high_tank_air::find,
    hydraulics::narrow_differential::find,
    hydraulics::dead_head::find,
    hydraulics::cut_out_not_reached::find,
    hydraulics::stopped_short::find,
    hydraulics::pressure_hunting::find,
    hydraulics::pressure_spike::find,
    source::dry_run::find,
    source::falling_yield::find,
    motor::overload::find,
    motor::locked_rotor::find,
    motor::failed_start::find,
    motor::no_draw::find,
    motor::over_temperature_pattern::find,
    motor::speed_reduction::find,
    motor::changed_running_current::find,
    supply::voltage_dip::find,
    supply::voltage_swell::find,
    supply::interruption::find,
    supply::undervoltage::find,
    supply::overvoltage::find,
    supply::frequency_out_of_range::find,
    supply::weak_supply::find,
    supply::rising_supply_impedance::find,
    supply::voltage_unbalance::find,
    supply::phase_loss::find,
    instrument::transducer_open::find,
    instrument::transducer_short::find,
    instrument::transducer_out_of_range::find,
    instrument::transducer_supply::find,
    instrument::transducer_drift::find,
    instrument::transducer_frozen::find,
    instrument::clamp_fit::find,
    instrument::recording_gap::find,
    instrument::clock_step::find,
    instrument::over_range::find,
    lamps::lamp_on::find,
    lamps::lamp_flashing::find,
];

/// All findings, most severe first, then most certain.
pub fn find(case: &Case) -> Vec<Finding> {
    let mut findings: Vec<Finding> =
        ALL.iter().filter_map(|look| look(case)).map(|draft| draft.finding(case.facts)).collect();
    findings
        .sort_by(|a, b| b.severity.cmp(&a.severity).then(b.confidence.total_cmp(&a.confidence)));
    findings
}
