//! The pump runs without its load: little power or current to the end of a run that did not end as
//! the control ends it.

use crate::case::Case;
use crate::facts::{RunFacts, Stretch};
use crate::findings::{Draft, span};
use crate::limits;
use crate::outcome::{PointsTo, Severity, StopReason};
use crate::robust::{median, quantile, ramp};
use std::fmt::Write;

/// Looks for it.
pub fn find(case: &Case) -> Option<Draft> {
    let seen: Vec<(Stretch, &RunFacts)> = case
        .stopped_by(StopReason::DryRun)
        .map(|run| {
            let since = run.unloaded_since_ms.unwrap_or(run.time.start_ms);
            (Stretch { start_ms: since, end_ms: run.time.end_ms }, run)
        })
        .collect();
    if seen.is_empty() {
        return None;
    }
    let of = |pick: fn(&RunFacts) -> f64| median(seen.iter().map(|s| pick(s.1)));
    let power = of(|r| r.last_power_w).unwrap_or(f64::NAN);
    let current = of(|r| r.last_current_a).unwrap_or(f64::NAN);
    let by_power = power.is_finite() && case.levels.power_w.is_finite();
    // A drive that lacks pressure turns at full speed, where full load is its nameplate's.
    let (loaded_w, loaded_a) = if case.constant_pressure() {
        (case.levels.full_w, case.plan.rated_a)
    } else {
        (loaded_w(case), case.levels.current_a)
    };
    let share = if by_power { power / loaded_w } else { current / loaded_a };
    let bound = if by_power { limits::UNLOADED_POWER } else { limits::UNLOADED_CURRENT };
    if !share.is_finite() {
        return by_lamps(case, &seen);
    }
    let confidence = ramp(share, bound.value + 0.1, bound.value - 0.15)
        * ramp(seen.len() as f64, -1.0, 3.0)
        * if by_power { 1.0 } else { 0.8 };
    let text = words(case, &seen, share, by_power);
    Some(
        Draft::new("dry-run", Severity::Fault, PointsTo::Source, text)
            .sure(case.heard(StopReason::DryRun, confidence))
            .resting_on(unloaded_s(&seen), case.facts)
            .with("unloaded_power_w", power)
            .with("loaded_power_w", if by_power { loaded_w } else { f64::NAN })
            .with("unloaded_current_a", current)
            .with("share_of_loaded", share)
            .against(bound)
            .seen(seen.iter().map(|(time, run)| {
                (*time, if by_power { run.last_power_w } else { run.last_current_a })
            })),
    )
}

/// Power of the pump when it moves water, W: of the runs that the control ended, where there are some,
/// which the dry ones do not lower.
fn loaded_w(case: &Case) -> f64 {
    let ordinary: Vec<f64> = case
        .stopped_by(StopReason::CutOut)
        .filter(|run| run.time.seconds() > limits::CURRENT_RUN_S.value)
        .map(|run| run.loaded)
        .collect();
    let enough = ordinary.len() >= limits::HEAT_STOPS.value as usize;
    let loaded = if enough { quantile(ordinary, 0.75) } else { None };
    loaded.map_or(case.levels.power_w, |loaded| loaded.max(case.levels.power_w))
}

/// Time without load before the stop, s (median).
fn unloaded_s(seen: &[(Stretch, &RunFacts)]) -> f64 {
    median(seen.iter().map(|s| s.0.seconds())).unwrap_or(0.0)
}

fn words(case: &Case, seen: &[(Stretch, &RunFacts)], share: f64, by_power: bool) -> String {
    let loaded = match (case.constant_pressure(), by_power) {
        (false, _) => "of its loaded value".to_owned(),
        (true, true) => format!("of {}", case.nameplate_words()),
        (true, false) => "of the rated current".to_owned(),
    };
    let length = unloaded_s(seen);
    let mut text = format!(
        "{} ended with the pump all but without load: {} stood at {:.0} % {loaded} for the last \
         {} (median).",
        if seen.len() == 1 { "One run".to_owned() } else { format!("{} runs", seen.len()) },
        if by_power { "power" } else { "current" },
        share * 100.0,
        span(length),
    );
    match median(seen.iter().map(|s| s.1.stop_bar)) {
        Some(bar) if case.plan.top_bar.is_finite() => {
            let _ = write!(
                text,
                " The pressure stood at {bar:.2} bar (median) when they stopped; {:.2} bar is to be \
                 {}.",
                case.plan.top_bar,
                if case.constant_pressure() { "held" } else { "reached" },
            );
        }
        Some(bar) => {
            let _ = write!(text, " The pressure stood at {bar:.2} bar (median) when they stopped.");
        }
        None => text += " The pressure at these stops was not recorded.",
    }
    text += " A pump that gets no water runs so; one whose outlet is shut loses load too, though \
             less.";
    if let Some((wait, count)) = case.ledger.waits.first() {
        let _ = write!(text, " {count} starts followed after an even wait of {wait:.0} s.");
    }
    text + &case.lamps_text(StopReason::DryRun)
}

/// Where no load was recorded, a watched lamp is all there is.
fn by_lamps(case: &Case, seen: &[(Stretch, &RunFacts)]) -> Option<Draft> {
    let (agree, _) = case.ledger.lamps_say(StopReason::DryRun);
    if agree == 0 {
        return None;
    }
    let text = format!(
        "{} stops are laid to dry running by a watched lamp alone; neither power nor current was \
         recorded to check it by.{}",
        seen.len(),
        case.lamps_text(StopReason::DryRun)
    );
    Some(
        Draft::new("dry-run", Severity::Watch, PointsTo::Source, text)
            .sure(0.5 * ramp(agree as f64, -1.0, 3.0))
            .with("stops", seen.len() as f64)
            .seen(seen.iter().map(|(time, run)| (*time, run.time.seconds()))),
    )
}
