//! Voltage high for longer than a minute.

use crate::case::Case;
use crate::findings::Draft;
use crate::limits;
use crate::outcome::{PointsTo, Severity};
use crate::robust::ramp;

/// Looks for it.
pub fn find(case: &Case) -> Option<Draft> {
    let high: Vec<_> = case.facts.sustained.iter().filter(|s| !s.low).collect();
    if high.is_empty() {
        return None;
    }
    let nominal = case.plan.nominal_v;
    let highest = high.iter().map(|s| s.extreme_v).fold(f64::NAN, f64::max);
    let total: f64 = high.iter().map(|s| s.beyond_s).sum();
    let text = format!(
        "For {} in all, in {} stretches, the voltage stayed above 110 % of nominal, up to \
         {highest:.0} V ({:.0} % of {nominal:.0} V) over 10 s.",
        crate::findings::span(total),
        high.len(),
        highest / nominal * 100.0,
    );
    let severity = if total > 600.0 { Severity::Fault } else { Severity::Watch };
    Some(
        Draft::new("overvoltage", severity, PointsTo::Supply, text)
            .sure(ramp(total, 0.0, 1_200.0).max(0.3))
            .with("total_s", total)
            .with("highest_v", highest)
            .with("highest_share", highest / nominal)
            .limit(limits::OVERVOLTAGE.value * nominal, "V", limits::OVERVOLTAGE.source)
            .seen(high.iter().map(|s| (s.time, s.extreme_v))),
    )
}
