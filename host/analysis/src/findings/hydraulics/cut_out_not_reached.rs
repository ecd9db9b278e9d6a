//! Long runs that do not bring the pressure up to the cut-out.

use crate::case::Case;
use crate::findings::Draft;
use crate::limits;
use crate::outcome::{PointsTo, Severity};
use crate::robust::{median, ramp};

/// Length of a run that counts as long.
const TIMES: f64 = limits::LONG_RUN.value;
/// Least length of such a run.
const LEAST_S: f64 = limits::LONG_RUN_S.value;

/// Looks for it.
pub fn find(case: &Case) -> Option<Draft> {
    if case.constant_pressure() || !case.plan.top_bar.is_finite() || !case.facts.has.pressure {
        return None;
    }
    let usual = median(case.facts.runs.iter().map(|r| r.time.seconds()))?;
    let limit_s = if case.facts.runs.len() >= 6 { (TIMES * usual).max(LEAST_S) } else { LEAST_S };
    let long: Vec<_> = case
        .facts
        .runs
        .iter()
        .filter(|r| {
            r.time.seconds() > limit_s && r.max_bar < case.plan.top_bar - 0.1 * case.plan.band_bar
        })
        .collect();
    if long.is_empty() {
        return None;
    }
    let highest = long.iter().map(|r| r.max_bar).fold(f64::NAN, f64::max);
    let text = format!(
        "{} runs lasted longer than {:.0} min without reaching the cut-out of {:.2} bar; the \
         highest pressure in them was {highest:.2} bar. Either as much was drawn as the pump \
         gives, or the pump gives less than it should; these runs alone do not tell which.",
        long.len(),
        limit_s / 60.0,
        case.plan.top_bar
    );
    Some(
        Draft::new("cut-out-not-reached", Severity::Watch, PointsTo::None, text)
            .sure(ramp(long.len() as f64, 0.0, 4.0) * 0.8)
            .with("highest_bar", highest)
            .limit(case.plan.top_bar, "bar", "site file")
            .seen(long.iter().map(|r| (r.time, r.max_bar))),
    )
}
