//! A pressure reading with a ceiling, under constant-pressure control. Such a reading says nothing of
//! whether the pressure is held.
//!
//! A drive that never reaches its pressure turns at full speed, and then the pressure goes with what
//! is drawn. Where the reading stands at one value, never rises above it, and the load moves all the
//! same, the reading has a ceiling.

use crate::facts::{Facts, LOAD_STEPS};
use crate::limits;
use crate::scan::Plan;

/// Time for which a reading must stand at a ceiling.
const STOOD_S: f64 = limits::CEILING_S.value;
/// The same as a share.
const STOOD_SHARE: f64 = limits::CEILING_SHARE.value;
/// Half of the width that counts as one value.
const ONE_VALUE: f64 = limits::ONE_VALUE.value;
/// Time for which the load must have been another meanwhile.
const OTHER_LOAD_S: f64 = limits::OTHER_LOAD_S.value;

/// A ceiling of the reading.
#[derive(Clone, Copy, Debug)]
pub struct Ceiling {
    /// Where, bar.
    pub bar: f64,
    /// Time for which the reading stood there, s.
    pub stood_s: f64,
    /// Time for which the pump ran, s.
    pub running_s: f64,
    /// Of the time there, that with a load other than the usual one, s.
    pub other_load_s: f64,
}

/// Looks for it; none under another control.
pub fn under_drive(facts: &Facts, plan: &Plan) -> Option<Ceiling> {
    let held = plan.held_bar?;
    let steps = &facts.pressure_load;
    let running_s: f64 = steps.iter().map(|s| s.seconds).sum();
    let most = steps.iter().max_by(|a, b| a.seconds.total_cmp(&b.seconds))?;
    let near = |bar: f64| (bar - most.bar).abs() <= ONE_VALUE * held;
    let at: Vec<_> = steps.iter().filter(|s| near(s.bar)).collect();
    let stood_s: f64 = at.iter().map(|s| s.seconds).sum();
    let above_s: f64 =
        steps.iter().filter(|s| s.bar > most.bar && !near(s.bar)).map(|s| s.seconds).sum();
    let mut by_load = [0.0; LOAD_STEPS];
    for step in &at {
        for (sum, seconds) in by_load.iter_mut().zip(step.by_load_s) {
            *sum += f64::from(seconds);
        }
    }
    let usual = (0..LOAD_STEPS).max_by(|a, b| by_load[*a].total_cmp(&by_load[*b]))?;
    let other_load_s = (0..LOAD_STEPS).filter(|n| n.abs_diff(usual) >= 2).map(|n| by_load[n]).sum();
    let shown = stood_s >= STOOD_S
        && stood_s >= STOOD_SHARE * running_s
        && above_s <= 0.02 * running_s
        && most.bar <= (1.0 - 2.0 * ONE_VALUE) * held
        && other_load_s >= OTHER_LOAD_S;
    shown.then_some(Ceiling { bar: most.bar, stood_s, running_s, other_load_s })
}
