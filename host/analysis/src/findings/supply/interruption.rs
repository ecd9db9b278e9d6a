//! The supply gone.

use crate::case::Case;
use crate::facts::VoltageKind;
use crate::findings::Draft;
use crate::limits;
use crate::outcome::{PointsTo, Severity, StopReason};
use crate::robust::ramp;

/// Looks for it.
pub fn find(case: &Case) -> Option<Draft> {
    let gone: Vec<_> =
        case.facts.voltage_events.iter().filter(|e| e.kind == VoltageKind::Interruption).collect();
    if gone.is_empty() {
        return None;
    }
    let longest = gone.iter().map(|e| e.time.seconds()).fold(0.0, f64::max);
    let total: f64 = gone.iter().map(|e| e.time.seconds()).sum();
    let stopped = case.ledger.count(StopReason::SupplyLost);
    let text = format!(
        "At the place of measurement the supply was gone {}, {} in all and {} at the longest. Runs cut \
         off by it: {stopped}.",
        crate::findings::times(gone.len()),
        crate::findings::span(total),
        crate::findings::span(longest),
    );
    let severity = if gone.len() >= 2 || stopped > 0 { Severity::Fault } else { Severity::Watch };
    Some(
        Draft::new("interruption", severity, PointsTo::Supply, text)
            .sure(ramp(gone.len() as f64, -1.0, 2.0))
            .with("interruptions", gone.len() as f64)
            .with("longest_s", longest)
            .with("total_s", total)
            .with("runs_cut_off", stopped as f64)
            .limit(
                limits::INTERRUPTION.value * case.plan.nominal_v,
                "V",
                limits::INTERRUPTION.source,
            )
            .seen(gone.iter().map(|e| (e.time, e.extreme_v))),
    )
}
