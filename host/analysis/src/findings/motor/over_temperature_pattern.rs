//! Stops in mid-course without overload, again and again, each followed by a pause: the pattern of a
//! motor that protects itself against heat.

use crate::case::Case;
use crate::findings::{Draft, at_volts, span};
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
    let voltage = median(hot.iter().map(|r| r.voltage_v)).unwrap_or(f64::NAN);
    let back = if pause.is_finite() {
        format!(" The pump came back after {} (median).", span(pause))
    } else {
        String::new()
    };
    let text = format!(
        "{} runs stopped after {} (median) before the pressure at which the control stops the pump, \
         at a current of {current:.2} A, {:.0} % of rated{}.{back} A motor's own heat \
         protection acts so; a person, a clock or a loose contact may too. The record has no \
         temperature to prove it.{}",
        hot.len(),
        span(length),
        current / case.plan.rated_a * 100.0,
        at_volts(voltage),
        case.lamps_text(StopReason::OverTemperature),
    );
    Some(
        Draft::new("over-temperature-pattern", Severity::Fault, PointsTo::Motor, text)
            .sure(case.heard(StopReason::OverTemperature, ramp(hot.len() as f64, 1.0, 6.0) * 0.85))
            .with("current_a", current)
            .with("voltage_v", voltage)
            .with("run_s", length)
            .with("pause_s", pause)
            .against(limits::OVERLOAD_CURRENT)
            .seen(hot.iter().map(|r| (r.time, r.time.seconds()))),
    )
}
