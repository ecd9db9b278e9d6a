//! A current clamp fitted wrongly: reversed, or of the wrong ratio.

use crate::case::Case;
use crate::findings::Draft;
use crate::limits;
use crate::outcome::{PointsTo, Severity};
use crate::robust::{median, ramp};

/// Running current below which the clamp is suspected.
const LOW: f64 = limits::CLAMP_LOW.value;
/// Running current above which the clamp is suspected.
const HIGH: f64 = limits::CLAMP_HIGH.value;

/// Looks for it.
pub fn find(case: &Case) -> Option<Draft> {
    let runs: Vec<_> = case.facts.runs.iter().filter(|r| r.time.seconds() > 5.0).collect();
    if runs.len() >= 2
        && case.plan.reversed
        && let Some(power) = median(runs.iter().map(|r| -r.power_w))
    {
        let text = format!(
            "Power while running is negative ({power:.0} W): the current clamp faces the wrong way, \
             or sits on another conductor than the voltage. All else is judged with the power \
             turned round."
        );
        return Some(
            Draft::new("clamp-fit", Severity::Watch, PointsTo::Wiring, text)
                .sure(ramp(runs.len() as f64, 0.0, 4.0))
                .with("power_w", power)
                .limit(0.0, "W", "common practice"),
        );
    }
    let current =
        median(runs.iter().filter(|r| r.locked_s < 0.5 * r.time.seconds()).map(|r| r.current_a))?;
    let share = current / case.plan.rated_a;
    if case.plan.drive || (LOW..=HIGH).contains(&share) {
        return None;
    }
    let text = format!(
        "Running current is {current:.2} A, {share:.1} times the rated {:.2} A in every run: the \
         clamp's ratio or the declared nameplate is likely wrong.",
        case.plan.rated_a
    );
    Some(
        Draft::new("clamp-fit", Severity::Watch, PointsTo::Wiring, text)
            .sure(0.6)
            .with("running_current_a", current)
            .with("share_of_rated", share)
            .limit(case.plan.rated_a, "A", "nameplate; 0.2 to 3 times as common practice"),
    )
}
