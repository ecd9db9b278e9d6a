//! Running current that changed over the record.

use crate::case::Case;
use crate::findings::Draft;
use crate::limits;
use crate::outcome::{PointsTo, Severity};
use crate::robust::{centre_and_sigma, median, ramp};

/// Change of the running current over the record.
const CHANGE: f64 = limits::CURRENT_CHANGE.value;

/// Looks for it.
pub fn find(case: &Case) -> Option<Draft> {
    if case.plan.drive {
        return None;
    }
    let runs: Vec<_> = case
        .facts
        .runs
        .iter()
        .filter(|r| r.time.seconds() > 5.0 && !r.locked_at_stop && r.current_a.is_finite())
        .collect();
    let third = runs.len() / 3;
    if third < 3 {
        return None;
    }
    let of = |part: &[&crate::facts::RunFacts]| centre_and_sigma(part.iter().map(|r| r.current_a));
    let (early, early_scatter) = of(&runs[..third])?;
    let (late, late_scatter) = of(&runs[runs.len() - third..])?;
    let change = late / early - 1.0;
    let scatter = early_scatter.max(late_scatter) / early;
    if change.abs() < CHANGE || change.abs() < 4.0 * scatter {
        return None;
    }
    let volts = |part: &[&crate::facts::RunFacts]| median(part.iter().map(|r| r.voltage_v));
    let sag = volts(&runs[..third]).zip(volts(&runs[runs.len() - third..]));
    let (points_to, supply) = match sag {
        Some((before, after)) => (
            // A motor's current follows its voltage, one way or the other, by about as much.
            if (after / before - 1.0).abs() < 0.5 * change.abs() {
                PointsTo::Motor
            } else {
                PointsTo::None
            },
            format!("The voltage was {before:.0} V then and {after:.0} V later."),
        ),
        None => (
            PointsTo::None,
            "The voltage, which moves the current too, was not recorded.".to_owned(),
        ),
    };
    let text = format!(
        "Running current changed from {early:.2} to {late:.2} A ({:+.0} %) between the first and the \
         last third of the runs (medians). {supply}",
        change * 100.0
    );
    Some(
        Draft::new("changed-running-current", Severity::Watch, points_to, text)
            .sure(ramp(change.abs(), 0.05, 0.25))
            .with("early_current_a", early)
            .with("late_current_a", late)
            .with("change_share", change)
            .limit(
                CHANGE,
                "share",
                "this record (first against last third), 10 % as common practice",
            ),
    )
}
