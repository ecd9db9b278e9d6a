//! Short rises of the voltage.

use crate::case::Case;
use crate::facts::VoltageKind;
use crate::findings::Draft;
use crate::limits;
use crate::outcome::{PointsTo, Severity};
use crate::robust::ramp;

/// Looks for it.
pub fn find(case: &Case) -> Option<Draft> {
    let swells: Vec<_> =
        case.facts.voltage_events.iter().filter(|e| e.kind == VoltageKind::Swell).collect();
    if swells.is_empty() {
        return None;
    }
    let nominal = case.plan.nominal_v;
    let highest = swells.iter().map(|d| d.extreme_v).fold(f64::NAN, f64::max);
    let longest = swells.iter().map(|d| d.time.seconds()).fold(0.0, f64::max);
    let text = format!(
        "The voltage rose above 110 % of nominal {} times, up to {highest:.0} V ({:.0} % of \
         {nominal:.0} V) and for up to {longest:.2} s.",
        swells.len(),
        highest / nominal * 100.0,
    );
    let severity = if swells.len() >= 3 { Severity::Fault } else { Severity::Watch };
    Some(
        Draft::new("voltage-swell", severity, PointsTo::Supply, text)
            .sure(ramp(swells.len() as f64, 0.0, 5.0).max(0.4))
            .with("swells", swells.len() as f64)
            .with("highest_v", highest)
            .with("longest_s", longest)
            .limit(limits::SWELL.value * nominal, "V", limits::SWELL.source)
            .seen(swells.iter().map(|d| (d.time, d.extreme_v))),
    )
}
