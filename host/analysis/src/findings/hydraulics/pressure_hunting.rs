//! Constant-pressure control that swings instead of holding.

use crate::case::Case;
use crate::findings::Draft;
use crate::limits;
use crate::outcome::{PointsTo, Severity};
use crate::robust::{median, ramp};

/// Looks for it.
pub fn find(case: &Case) -> Option<Draft> {
    let held = case.plan.held_bar?;
    let swings = &case.facts.swings;
    let cycles: u32 = swings.iter().map(|s| s.cycles).sum();
    if cycles < 6 {
        return None;
    }
    let seconds: f64 = swings.iter().map(|s| s.time.seconds()).sum();
    let running: f64 = case.facts.runs.iter().map(|r| r.time.seconds()).sum();
    let swing = median(swings.iter().map(|s| s.swing_bar))?;
    let period = median(swings.iter().map(|s| s.period_s))?;
    let share = seconds / running;
    let fault = cycles >= 20 && swings.len() >= 2;
    let text = format!(
        "In {} stretches, {:.0} % of the running time, the pressure swung evenly up and down: \
         {swing:.2} bar from low to high, once in {period:.1} s, about the held {held:.2} bar. Even \
         intervals are the mark of the control itself; taps do not open and close like that.",
        swings.len(),
        share * 100.0,
    );
    let severity = if fault { Severity::Fault } else { Severity::Watch };
    Some(
        Draft::new("pressure-hunting", severity, PointsTo::Control, text)
            .sure(ramp(f64::from(cycles), 3.0, 30.0) * ramp(swing / held, 0.03, 0.12))
            .resting_on(period, case.facts)
            .with("swing_bar", swing)
            .with("period_s", period)
            .with("share_of_running", share)
            .limit(limits::HUNTING.value * held, "bar", limits::HUNTING.source)
            .seen(swings.iter().map(|s| (s.time, s.swing_bar))),
    )
}
