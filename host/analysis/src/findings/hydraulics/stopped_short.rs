//! Stops at a pressure below the one at which the control stops the pump, which nothing in the record
//! explains.

use crate::case::Case;
use crate::facts::RunFacts;
use crate::findings::{Draft, span};
use crate::limits;
use crate::outcome::{PointsTo, Severity, StopReason};
use crate::robust::{centre_and_sigma, median, ramp};
use std::fmt::Write;

/// Fewest such stops.
const LEAST: usize = limits::ODD_STOPS.value as usize;
/// Scatter of waits below which they are even.
const EVEN: f64 = limits::SAME_PAUSE.value;

/// Looks for it.
pub fn find(case: &Case) -> Option<Draft> {
    if !case.levels.runs_told {
        return None;
    }
    let runs = &case.facts.runs;
    let short = |n: &usize| {
        case.ledger.short[*n] && case.ledger.reasons[*n] == Some(StopReason::Unexplained)
    };
    let seen: Vec<usize> = (0..runs.len()).filter(short).collect();
    if seen.len() < LEAST {
        return None;
    }
    let pressure = median(seen.iter().map(|n| highest(&runs[*n])))?;
    let mut text = format!(
        "{} of {} runs ended with the pressure at {pressure:.2} bar (median), short of the {:.2} bar \
         {}, and nothing in the record says why: a protection, a person, a clock or a contact that \
         opens ends a run so.",
        seen.len(),
        runs.len(),
        case.plan.top_bar,
        if case.constant_pressure() {
            "that the drive is to hold"
        } else {
            "at which the switch is to stop the pump"
        },
    );
    let next = |n: &usize| runs.get(n + 1).filter(|next| next.start_seen);
    let waits = seen.iter().filter_map(|n| {
        next(n).map(|next| (next.time.start_ms - runs[*n].time.end_ms) as f64 / 1000.0)
    });
    if let Some((wait, scatter)) = centre_and_sigma(waits.clone())
        && waits.count() >= LEAST
        && scatter < EVEN * wait
    {
        let _ = write!(
            text,
            " The pump came back after an even wait of {} (median), as a protection, a timer or a level \
             switch lets it.",
            span(wait)
        );
    }
    if case.facts.row_s > limits::FINE_ROW_S.value {
        let _ = write!(
            text,
            " What the load did in the seconds before, rows of {:.0} s do not show.",
            case.facts.row_s
        );
    }
    Some(
        Draft::new("stopped-short", Severity::Watch, PointsTo::None, text)
            .sure(ramp(seen.len() as f64, 0.0, 2.0 * LEAST as f64))
            .with("pressure_bar", pressure)
            .with("stops", seen.len() as f64)
            .limit(case.plan.top_bar, "bar", "site file")
            .seen(seen.iter().map(|n| (runs[*n].time, highest(&runs[*n])))),
    )
}

/// Pressure at the stop, or the highest seen in the run where no row shows that.
fn highest(run: &RunFacts) -> f64 {
    if run.stop_bar.is_finite() { run.stop_bar } else { run.max_bar }
}
