//! A pressure reading that does not move although the pump runs.

use crate::case::Case;
use crate::facts::{LoopKind, RunFacts};
use crate::findings::Draft;
use crate::limits;
use crate::outcome::{PointsTo, Severity, StopReason};
use crate::robust::ramp;

/// Shortest run that must move the pressure.
const LEAST_S: f64 = limits::FROZEN_S.value;

/// Looks for it.
pub fn find(case: &Case) -> Option<Draft> {
    if case.constant_pressure() || !case.plan.band_bar.is_finite() || !case.facts.has.pressure {
        return None;
    }
    let judged = case.facts.runs.iter().zip(&case.ledger.reasons);
    let runs: Vec<&RunFacts> = judged
        // A pump without water does not move the pressure.
        .filter(|(_, reason)| **reason != Some(StopReason::DryRun))
        .map(|(run, _)| run)
        .filter(|r| {
            r.time.seconds() > LEAST_S.max(6.0 * case.facts.row_s)
                && r.max_bar.is_finite()
                && !r.locked_at_stop
        })
        .collect();
    let still: Vec<&RunFacts> = runs
        .iter()
        .copied()
        .filter(|r| {
            let still = limits::FROZEN.value * case.plan.band_bar;
            r.max_bar - r.min_bar < still
                // A pump that just gives what is drawn holds its pressure too, but it did not start
                // at that pressure, nor does the pressure stay when it stops.
                && [r.start_bar, r.after_stop_bar]
                    .iter()
                    .all(|bar| bar.is_nan() || (bar - r.stop_bar).abs() < still)
                && r.unloaded_since_ms.is_none()
                // At shut-off a pressure stands still in earnest.
                && r.max_bar < case.plan.top_bar
                && !case.facts.loop_faults.iter().any(|f| {
                    f.kind != LoopKind::OutOfRange
                        && r.time.meets(f.time.start_ms, f.time.end_ms, 0)
                })
        })
        .collect();
    if still.len() < 2 {
        return None;
    }
    let text = format!(
        "In {} of {} runs the pressure reading did not move by more than {:.3} bar although the \
         pump ran for more than {LEAST_S:.0} s under load: the reading is frozen.",
        still.len(),
        runs.len(),
        limits::FROZEN.value * case.plan.band_bar
    );
    Some(
        Draft::new("transducer-frozen", Severity::Fault, PointsTo::Sensor, text)
            .sure(ramp(still.len() as f64, 0.0, 4.0))
            .with("runs", still.len() as f64)
            .limit(
                limits::FROZEN.value * case.plan.band_bar,
                "bar",
                "2 % of the declared band, common practice",
            )
            .seen(still.iter().map(|r| (r.time, r.max_bar - r.min_bar))),
    )
}
