//! Constant-pressure control that swings instead of holding, or lets the pump go and starts it again.

use crate::case::Case;
use crate::facts::Swing;
use crate::findings::Draft;
use crate::limits;
use crate::outcome::{PointsTo, Severity};
use crate::robust::{median, ramp};

/// Looks for it.
pub fn find(case: &Case) -> Option<Draft> {
    let held = case.plan.held_bar?;
    let all: Vec<&Swing> = case.facts.swings.iter().collect();
    let cycles_of = |swings: &[&Swing]| swings.iter().map(|s| s.cycles).sum::<u32>();
    let (saw, swings): (Vec<&Swing>, Vec<&Swing>) =
        all.into_iter().partition(|s| s.fall_share < limits::SWING_FALL.value);
    if cycles_of(&saw) > cycles_of(&swings) {
        return let_go(&saw, held, case);
    }
    let cycles = cycles_of(&swings);
    if cycles < 6 {
        return None;
    }
    let seconds: f64 = swings.iter().map(|s| s.time.seconds()).sum();
    let running: f64 = case.facts.runs.iter().map(|r| r.time.seconds()).sum();
    let fault = cycles >= 20 && swings.len() >= 2;
    let severity = if fault { Severity::Fault } else { Severity::Watch };
    let swing = median(swings.iter().map(|s| s.swing_bar))?;
    let period = median(swings.iter().map(|s| s.period_s))?;
    let share = seconds / running;
    let text = format!(
        "In {} stretches, {:.0} % of the running time, the pressure swung evenly up and down: \
         {swing:.2} bar from low to high, once in {period:.1} s, about the held {held:.2} bar. Even \
         intervals are the mark of the control itself; taps do not open and close like that.",
        swings.len(),
        share * 100.0,
    );
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

/// The pressure rises evenly and falls at once, again and again: the pump was not slowed down but
/// stopped, for a moment too short to be seen as a stop.
fn let_go(saw: &[&Swing], held: f64, case: &Case) -> Option<Draft> {
    let cycles: u32 = saw.iter().map(|s| s.cycles).sum();
    if cycles < 6 {
        return None;
    }
    // So many starts in a row are a fault already.
    let severity = if cycles >= 20 { Severity::Fault } else { Severity::Watch };
    let swing = median(saw.iter().map(|s| s.swing_bar))?;
    let period = median(saw.iter().map(|s| s.period_s))?;
    let text = format!(
        "In {} stretches the pressure rose evenly and fell at once by {swing:.2} bar, again and again, \
         once in {period:.1} s ({cycles} times in all), about the held {held:.2} bar: the drive does not \
         swing, it lets the pump go at the top and starts it again in the same moment. It does so, for \
         one, where water is drawn and next to no air gives way: with a tank that has lost its air, or \
         a valve between pump and tank all but shut. Which it is, the pressure does not tell.",
        saw.len(),
    );
    Some(
        Draft::new("pressure-hunting", severity, PointsTo::None, text)
            .sure(ramp(f64::from(cycles), 3.0, 30.0) * ramp(swing / held, 0.03, 0.12))
            .resting_on(period, case.facts)
            .with("swing_bar", swing)
            .with("period_s", period)
            .with("let_go", f64::from(cycles))
            .limit(limits::HUNTING.value * held, "bar", limits::HUNTING.source)
            .seen(saw.iter().map(|s| (s.time, s.swing_bar))),
    )
}
