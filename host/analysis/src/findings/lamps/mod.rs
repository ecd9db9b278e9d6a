//! Findings about watched lamps, in the technician's own words.

pub mod lamp_flashing;
pub mod lamp_on;

use crate::case::Case;
use crate::facts::Stretch;
use pumpwitness_protocol::record::{LampState, Mark};

/// Stretches in which a labelled lamp was in a state that `wanted` accepts: (label, stretch, rate in
/// Hz or 0).
fn lit(case: &Case, wanted: fn(LampState) -> bool) -> Vec<(String, Stretch, f64)> {
    let mut open: [Option<(i64, LampState)>; 9] = [None; 9];
    let mut seen = Vec::new();
    let mut close = |lamp: usize, since: (i64, LampState), now_ms: i64| {
        if wanted(since.1) {
            let label = case
                .site
                .lamps
                .iter()
                .find(|(number, _)| usize::from(*number) == lamp)
                .map_or_else(|| format!("lamp {lamp}"), |(_, label)| label.clone());
            let rate = match since.1 {
                LampState::Flashing(rate) => f64::from(rate) / 100.0,
                _ => 0.0,
            };
            seen.push((label, Stretch { start_ms: since.0, end_ms: now_ms.max(since.0) }, rate));
        }
    };
    for timed in case.marks {
        if let Mark::Lamp { lamp, state } = timed.mark
            && let Some(place) = open.get_mut(usize::from(lamp))
            && let Some(since) = place.replace((timed.time_ms, state))
        {
            close(usize::from(lamp), since, timed.time_ms);
        }
    }
    for (lamp, since) in open.into_iter().enumerate() {
        if let Some(since) = since {
            close(lamp, since, case.facts.end_ms);
        }
    }
    seen
}

/// "label (3 times), label (1 time)".
fn labels(seen: &[(String, Stretch, f64)]) -> String {
    let mut counts: Vec<(&str, u32)> = Vec::new();
    for (label, _, _) in seen {
        match counts.iter_mut().find(|(known, _)| known == label) {
            Some((_, count)) => *count += 1,
            None => counts.push((label, 1)),
        }
    }
    let words: Vec<String> =
        counts.iter().map(|(label, count)| format!("\"{label}\" ({count} ×)")).collect();
    words.join(", ")
}
