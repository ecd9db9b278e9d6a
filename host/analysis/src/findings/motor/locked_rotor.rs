//! Starting current held: the rotor does not turn up to speed.

use crate::case::Case;
use crate::facts::RunFacts;
use crate::findings::{Draft, at_volts};
use crate::limits;
use crate::outcome::{PointsTo, Severity};
use crate::robust::{median, ramp};

/// Looks for it.
pub fn find(case: &Case) -> Option<Draft> {
    let held: Vec<&RunFacts> = case
        .facts
        .runs
        .iter()
        .filter(|r| {
            // A long row, or a momentary value that stands for one, may have met the inrush alone.
            r.locked_s > limits::LOCKED_S.value.max(2.5 * case.facts.row_s)
                || (r.locked_at_stop
                    && r.locked_s > 0.6 * r.time.seconds()
                    && r.locked_s > f64::max(0.8, 2.5 * case.facts.row_s))
        })
        .collect();
    if held.is_empty() {
        return None;
    }
    let current = median(held.iter().map(|r| r.current_a.max(r.last_current_a)))?;
    let seconds = median(held.iter().map(|r| r.locked_s))?;
    let voltage = median(held.iter().map(|r| r.voltage_v)).unwrap_or(f64::NAN);
    let text = format!(
        "At {} of {} starts the motor went on drawing {current:.1} A, {:.1} times its rated \
         current, for {seconds:.1} s (median){}: it did not come up to speed in that time.",
        held.len(),
        case.facts.runs.len(),
        current / case.plan.rated_a,
        at_volts(voltage),
    );
    Some(
        Draft::new("locked-rotor", Severity::Fault, PointsTo::Motor, text)
            .sure(ramp(held.len() as f64, -0.5, 3.0))
            .with("current_a", current)
            .with("times_rated", current / case.plan.rated_a)
            .with("held_s", seconds)
            .with("voltage_v", voltage)
            .against(limits::LOCKED_S)
            .seen(held.iter().map(|r| (r.time, r.peak_a))),
    )
}
