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
    // Rises evenly and falls at once: the pump was not slowed down but stopped, for a moment too short
    // to be seen as a stop.
    let (saw, swings): (Vec<&Swing>, Vec<&Swing>) =
        case.facts.swings.iter().partition(|s| s.fall_share < limits::SWING_FALL.value);
    let cycles_of = |swings: &[&Swing]| swings.iter().map(|s| s.cycles).sum::<u32>();
    let lets_go = cycles_of(&saw) > cycles_of(&swings);
    let swings = if lets_go { saw } else { swings };
    let cycles = cycles_of(&swings);
    if cycles < 6 {
        return None;
    }
    let swing = median(swings.iter().map(|s| s.swing_bar))?;
    let period = median(swings.iter().map(|s| s.period_s))?;
    let seconds: f64 = swings.iter().map(|s| s.time.seconds()).sum();
    let running: f64 = case.facts.runs.iter().map(|r| r.time.seconds()).sum();
    let share = seconds / running;
    let text = if lets_go {
        format!(
            "In {} stretches the pressure rose evenly and fell at once by {swing:.2} bar, again and \
             again, once in {period:.1} s ({cycles} times in all), about the held {held:.2} bar: the \
             drive does not swing, it lets the pump go at the top and starts it again in the same \
             moment. It does so, for one, where water is drawn and next to no air gives way: with a \
             tank that has lost its air, or a valve between pump and tank all but shut. Which it is, \
             the pressure does not tell.",
            swings.len(),
        )
    } else {
        format!(
            "In {} stretches, {:.0} % of the running time, the pressure swung evenly up and down: \
             {swing:.2} bar from low to high, once in {period:.1} s, about the held {held:.2} bar. Even \
             intervals are the mark of the control itself; taps do not open and close like that.",
            swings.len(),
            share * 100.0,
        )
    };
    // So many starts in a row are a fault already.
    let fault = cycles >= 20 && (lets_go || swings.len() >= 2);
    let severity = if fault { Severity::Fault } else { Severity::Watch };
    let points_to = if lets_go { PointsTo::None } else { PointsTo::Control };
    let draft = Draft::new("pressure-hunting", severity, points_to, text)
        .sure(ramp(f64::from(cycles), 3.0, 30.0) * ramp(swing / held, 0.03, 0.12))
        .resting_on(period, case.facts)
        .with("swing_bar", swing)
        .with("period_s", period)
        .limit(limits::HUNTING.value * held, "bar", limits::HUNTING.source)
        .seen(swings.iter().map(|s| (s.time, s.swing_bar)));
    Some(if lets_go {
        draft.with("let_go", f64::from(cycles))
    } else {
        draft.with("share_of_running", share)
    })
}
