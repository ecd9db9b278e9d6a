//! Voltage low for longer than a minute.

use crate::case::Case;
use crate::facts::Sustained;
use crate::findings::Draft;
use crate::limits;
use crate::outcome::{PointsTo, Severity};
use crate::robust::ramp;
use crate::scan::Load;

/// Stretches of low voltage that the pump's own load does not explain.
pub fn from_outside<'a>(case: &'a Case) -> impl Iterator<Item = &'a Sustained> {
    let limit = limits::UNDERVOLTAGE.value * case.plan.nominal_v;
    let drop = crate::robust::median(
        case.facts.runs.iter().map(|r| r.voltage_before_v - r.voltage_v).filter(|d| *d > 0.0),
    )
    .unwrap_or(0.0);
    case.facts.sustained.iter().filter(move |s| {
        // All of it while running, and gone without the pump's own voltage drop.
        s.low && !(s.running_s > 0.9 * s.beyond_s && s.mean_v + drop > limit)
    })
}

/// Looks for it.
pub fn find(case: &Case) -> Option<Draft> {
    let low: Vec<_> = from_outside(case).collect();
    if low.is_empty() {
        return None;
    }
    let nominal = case.plan.nominal_v;
    let lowest = low.iter().map(|s| s.extreme_v).fold(f64::NAN, f64::min);
    let total: f64 = low.iter().map(|s| s.beyond_s).sum();
    let resting: f64 = low.iter().map(|s| s.beyond_s - s.running_s).sum();
    // Whether the pump rested is known only where something tells when it runs.
    let told = matches!(case.plan.load, Load::Current | Load::Power);
    let whose = if !told {
        ". When this pump ran was not recorded, so the record does not say whether its own current \
         pulled the voltage down."
            .to_owned()
    } else if resting > limits::SUSTAINED_S.value {
        format!(
            "; {} of it with this pump at rest, so it is not this pump alone that pulls the voltage \
             down.",
            crate::findings::span(resting)
        )
    } else {
        ", all of it while this pump ran, but by more than its own current explains.".to_owned()
    };
    let text = format!(
        "For {} in all, in {} stretches, the voltage stayed below 90 % of nominal, down to \
         {lowest:.0} V ({:.0} % of {nominal:.0} V) over 10 s{whose}",
        crate::findings::span(total),
        low.len(),
        lowest / nominal * 100.0,
    );
    let severity = if total > 600.0 { Severity::Fault } else { Severity::Watch };
    Some(
        Draft::new("undervoltage", severity, PointsTo::Supply, text)
            .sure(ramp(total, 0.0, 1_200.0).max(0.3))
            .with("total_s", total)
            .with("at_rest_s", if told { resting } else { f64::NAN })
            .with("lowest_v", lowest)
            .with("lowest_share", lowest / nominal)
            .limit(limits::UNDERVOLTAGE.value * nominal, "V", limits::UNDERVOLTAGE.source)
            .seen(low.iter().map(|s| (s.time, s.extreme_v))),
    )
}
