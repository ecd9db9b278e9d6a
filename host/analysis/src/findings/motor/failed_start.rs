//! Starts that ended before the motor was up to speed.

use crate::case::Case;
use crate::findings::Draft;
use crate::limits;
use crate::outcome::{PointsTo, Severity, StopReason};
use crate::robust::ramp;

/// Looks for it.
pub fn find(case: &Case) -> Option<Draft> {
    let failed: Vec<_> = case.stopped_by(StopReason::FailedStart).collect();
    if failed.is_empty() {
        return None;
    }
    let text = format!(
        "{} of {} starts ended while the motor still drew its starting current.{}",
        failed.len(),
        case.facts.runs.len(),
        case.lamps_text(StopReason::FailedStart)
    );
    Some(
        Draft::new("failed-start", Severity::Fault, PointsTo::Motor, text)
            .sure(case.heard(StopReason::FailedStart, ramp(failed.len() as f64, -0.5, 3.0)))
            .with("failed_starts", failed.len() as f64)
            .against(limits::LOCKED_CURRENT)
            .seen(failed.iter().map(|r| (r.time, r.time.seconds()))),
    )
}
