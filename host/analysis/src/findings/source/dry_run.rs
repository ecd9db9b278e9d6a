//! The pump runs without its load: little power, and no pressure built up.

use crate::case::Case;
use crate::facts::Stretch;
use crate::findings::Draft;
use crate::limits;
use crate::outcome::{PointsTo, Severity, StopReason};
use crate::robust::{median, ramp};

/// Looks for it.
pub fn find(case: &Case) -> Option<Draft> {
    let seen: Vec<_> = case
        .facts
        .runs
        .iter()
        .zip(&case.ledger.reasons)
        .filter(|(_, reason)| **reason == Some(StopReason::DryRun))
        .map(|(run, _)| {
            let since = run.unloaded_since_ms.unwrap_or(run.time.start_ms);
            let time = Stretch { start_ms: since, end_ms: run.time.end_ms };
            (time, run.last_power_w, run.last_current_a)
        })
        .collect();
    if seen.is_empty() {
        return None;
    }
    let power = median(seen.iter().map(|s| s.1)).unwrap_or(f64::NAN);
    let current = median(seen.iter().map(|s| s.2)).unwrap_or(f64::NAN);
    let by_power = power.is_finite() && case.levels.power_w.is_finite();
    // A drive that lacks pressure turns at full speed, where full load is its nameplate's.
    let (loaded_w, loaded_a) = if case.constant_pressure() {
        (case.levels.full_w, case.plan.rated_a)
    } else {
        (case.levels.power_w, case.levels.current_a)
    };
    let share = if by_power { power / loaded_w } else { current / loaded_a };
    let wait = case.ledger.waits.first().map_or(String::new(), |(wait, count)| {
        format!(" {count} restarts followed after {wait:.0} s each time.")
    });
    let text = format!(
        "{} runs ended with the pump running free: {} fell to {:.0} % of {} while the pressure \
         did not rise, the mark of a pump that has no water.{wait}{}",
        seen.len(),
        if by_power { "power" } else { "current" },
        share * 100.0,
        if case.constant_pressure() { "what the nameplate stands for" } else { "its loaded value" },
        case.lamps_text(StopReason::DryRun),
    );
    let bound = if by_power { limits::UNLOADED_POWER } else { limits::UNLOADED_CURRENT };
    Some(
        Draft::new("dry-run", Severity::Fault, PointsTo::Source, text)
            .sure(case.heard(
                StopReason::DryRun,
                ramp(share, bound.value + 0.1, bound.value - 0.15)
                    * ramp(seen.len() as f64, -1.0, 3.0)
                    * if by_power { 1.0 } else { 0.8 },
            ))
            .with("unloaded_power_w", power)
            .with("loaded_power_w", loaded_w)
            .with("unloaded_current_a", current)
            .with("share_of_loaded", share)
            .against(bound)
            .seen(seen.iter().map(|s| (s.0, if by_power { s.1 } else { s.2 }))),
    )
}
