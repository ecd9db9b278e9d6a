//! Running current above the nameplate.

use crate::case::Case;
use crate::facts::RunFacts;
use crate::findings::{Draft, at_volts};
use crate::limits;
use crate::outcome::{PointsTo, Severity, StopReason};
use crate::robust::{median, ramp};

/// Shortest run whose current is judged.
const LEAST_S: f64 = limits::CURRENT_RUN_S.value;

/// Looks for it.
pub fn find(case: &Case) -> Option<Draft> {
    let rated = case.plan.rated_a;
    let allowed = rated * case.site.motor.service_factor.max(limits::OVERLOAD_CURRENT.value);
    let over: Vec<(&RunFacts, bool)> = case
        .facts
        .runs
        .iter()
        .zip(&case.ledger.reasons)
        // A motor that never came up to speed shows its starting current, not that of running.
        .filter(|(run, reason)| {
            **reason != Some(StopReason::FailedStart)
                && run.time.seconds() > LEAST_S.max(limits::LEAST_ROWS.value * case.facts.row_s)
        })
        .filter_map(|(run, reason)| {
            let tripped = *reason == Some(StopReason::Overload);
            (tripped || run.current_a > allowed).then_some((run, tripped))
        })
        .collect();
    if over.is_empty() {
        return None;
    }
    let trips = over.iter().filter(|o| o.1).count();
    let current = median(over.iter().map(|o| o.0.current_a))?;
    let voltage = median(over.iter().map(|o| o.0.voltage_v)).unwrap_or(f64::NAN);
    let share = over.len() as f64 / case.facts.runs.len().max(1) as f64;
    let ended = if trips > 0 {
        format!(" {trips} of these runs ended in mid-course, as an overload protection ends them.")
    } else {
        String::new()
    };
    let text = format!(
        "In {} of {} runs the motor drew {current:.2} A (median), {:.0} % of its rated {rated:.2} A\
         {}; the nameplate, with its service factor of {:.2}, allows {allowed:.2} A.{ended}{}",
        over.len(),
        case.facts.runs.len(),
        current / rated * 100.0,
        at_volts(voltage),
        case.site.motor.service_factor,
        case.lamps_text(StopReason::Overload),
    );
    Some(
        Draft::new("overload", Severity::Fault, PointsTo::Motor, text)
            .sure(case.heard(
                StopReason::Overload,
                ramp(current / rated, 1.0, 1.15).max(ramp(trips as f64, 0.0, 4.0))
                    * ramp(over.len() as f64, -1.0, 4.0)
                    * ramp(share, -0.1, 0.2),
            ))
            .with("running_current_a", current)
            .with("rated_current_a", rated)
            .with("voltage_v", voltage)
            .with("trips", trips as f64)
            .limit(
                allowed,
                "A",
                format!("nameplate and service factor; {}", limits::OVERLOAD_CURRENT.source),
            )
            .seen(over.iter().map(|(run, _)| (run.time, run.current_a))),
    )
}
