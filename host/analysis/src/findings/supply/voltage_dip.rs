//! Dips that this pump did not cause.

use crate::case::Case;
use crate::facts::{VoltageEvent, VoltageKind};
use crate::findings::Draft;
use crate::limits;
use crate::outcome::{PointsTo, Severity};
use crate::robust::ramp;

/// Dips of the supply, those of the pump's own starts left out.
pub fn upstream<'a>(case: &'a Case) -> impl Iterator<Item = &'a VoltageEvent> {
    case.facts.voltage_events.iter().filter(|e| e.kind == VoltageKind::Dip && !super::own(e, case))
}

/// Looks for it.
pub fn find(case: &Case) -> Option<Draft> {
    let dips: Vec<_> = upstream(case).collect();
    if dips.is_empty() {
        return None;
    }
    let nominal = case.plan.nominal_v;
    let lowest = dips.iter().map(|d| d.extreme_v).fold(f64::NAN, f64::min);
    let longest = dips.iter().map(|d| d.time.seconds()).fold(0.0, f64::max);
    let resting = dips.iter().filter(|d| d.current_rise_a < 0.5 * case.plan.rated_a).count();
    let per_day = dips.len() as f64 / case.days();
    let text = format!(
        "The voltage dipped below 90 % of nominal {} times ({per_day:.1} a day), down to \
         {lowest:.0} V ({:.0} % of {nominal:.0} V) and for up to {longest:.2} s; {resting} of these \
         came without any rise of this pump's current, and none is explained by it. The dips come \
         from the supply side, not from this pump.",
        dips.len(),
        lowest / nominal * 100.0,
    );
    let severity = if dips.len() >= 3 { Severity::Fault } else { Severity::Watch };
    Some(
        Draft::new("voltage-dip", severity, PointsTo::Supply, text)
            .sure(ramp(dips.len() as f64, 0.0, 5.0).max(0.4))
            .with("dips", dips.len() as f64)
            .with("dips_per_day", per_day)
            .with("lowest_v", lowest)
            .with("lowest_share", lowest / nominal)
            .with("longest_s", longest)
            .limit(limits::DIP.value * nominal, "V", limits::DIP.source)
            .seen(dips.iter().map(|d| (d.time, d.extreme_v))),
    )
}
