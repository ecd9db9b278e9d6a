//! Stops in mid-course with normal current, voltage and water, again and again, each followed by a
//! pause: the pattern of a motor that protects itself against heat.

use crate::case::Case;
use crate::findings::Draft;
use crate::limits;
use crate::outcome::{PointsTo, Severity, StopReason};
use crate::robust::{median, ramp};

/// Looks for it.
pub fn find(case: &Case) -> Option<Draft> {
    let hot: Vec<_> = case.stopped_by(StopReason::OverTemperature).collect();
    if hot.len() < 3 {
        return None;
    }
    let current = median(hot.iter().map(|r| r.last_current_a))?;
    let length = median(hot.iter().map(|r| r.time.seconds()))?;
    let pauses = case
        .facts
        .rests
        .iter()
        .filter(|rest| hot.iter().any(|run| run.time.end_ms == rest.time.start_ms))
        .map(|rest| rest.time.seconds());
    let pause = median(pauses).unwrap_or(f64::NAN);
    let text = format!(
        "{} runs stopped in mid-course, after {length:.0} s (median), with a normal current of \
         {current:.2} A ({:.0} % of rated), supply and water present and the cut-out not reached; \
         the pump came back after {pause:.0} s (median). This is how a motor's own heat \
         protection acts; the record has no temperature to prove it.{}",
        hot.len(),
        current / case.plan.rated_a * 100.0,
        case.lamps_text(StopReason::OverTemperature),
    );
    Some(
        Draft::new("over-temperature-pattern", Severity::Fault, PointsTo::Motor, text)
            .sure(case.heard(StopReason::OverTemperature, ramp(hot.len() as f64, 1.0, 6.0) * 0.85))
            .with("current_a", current)
            .with("run_s", length)
            .with("pause_s", pause)
            .against(limits::OVERLOAD_CURRENT)
            .seen(hot.iter().map(|r| (r.time, r.time.seconds()))),
    )
}
