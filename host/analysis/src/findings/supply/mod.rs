//! Findings about the supply.

pub mod frequency_out_of_range;
pub mod interruption;
pub mod overvoltage;
pub mod phase_loss;
pub mod rising_supply_impedance;
pub mod undervoltage;
pub mod voltage_dip;
pub mod voltage_swell;
pub mod voltage_unbalance;
pub mod weak_supply;

use crate::case::Case;
use crate::facts::VoltageEvent;
use crate::robust::median;

/// True when this pump's current rose by more than half of its rated one with the event.
pub fn rose(event: &VoltageEvent, case: &Case) -> bool {
    event.current_rise_a > 0.5 * case.plan.rated_a
}

/// Whose dip: true when the pump's own current explains it, along the supply's impedance.
///
/// At its own start a motor's current rises and the voltage falls by current times impedance; a
/// dip from elsewhere moves the voltage without that current, or by far more than it explains.
pub fn own(event: &VoltageEvent, case: &Case) -> bool {
    let nearest = case
        .levels
        .impedance
        .iter()
        .filter(|(ms, _)| (ms - event.time.start_ms).abs() > 5_000)
        .min_by_key(|(ms, _)| (ms - event.time.start_ms).abs())
        .map(|z| z.1);
    let usual = median(case.levels.impedance.iter().map(|z| z.1));
    let rose = rose(event, case);
    let Some(ohm) = nearest.into_iter().chain(usual).reduce(f64::max) else {
        // How far its current pulls the voltage down is not known: what came with a rise of it is not
        // laid to others.
        return event.at_start || rose;
    };
    let explained = ohm * event.current_rise_a;
    let drop = event.before_v - event.extreme_v;
    // Twice: a start is not always alike, and a connection may be growing worse.
    rose && drop < 2.0 * explained
}
