//! Frequency away from nominal.

use crate::case::Case;
use crate::facts::Stretch;
use crate::findings::Draft;
use crate::limits;
use crate::outcome::{PointsTo, Severity};
use crate::robust::ramp;

/// Looks for it.
pub fn find(case: &Case) -> Option<Draft> {
    let nominal = case.site.supply.frequency_hz;
    let minutes: Vec<_> = case.facts.minutes.iter().filter(|m| m.f.is_finite()).collect();
    let off: Vec<_> = minutes
        .iter()
        .filter(|m| (f64::from(m.f) / nominal - 1.0).abs() > limits::FREQUENCY.value)
        .collect();
    let share = off.len() as f64 / minutes.len().max(1) as f64;
    // EN 50160 allows half a per cent of the time.
    if off.len() < 2 || share <= 0.005 {
        return None;
    }
    let worst = off
        .iter()
        .map(|m| f64::from(m.f))
        .max_by(|a, b| (a - nominal).abs().total_cmp(&(b - nominal).abs()))?;
    let text = format!(
        "In {} minutes ({:.1} % of the record) the frequency lay more than 1 % off {nominal:.0} Hz; \
         the farthest was {worst:.2} Hz.",
        off.len(),
        share * 100.0
    );
    let time = Stretch { start_ms: off.first()?.start_ms, end_ms: off.last()?.start_ms + 60_000 };
    Some(
        Draft::new("frequency-out-of-range", Severity::Watch, PointsTo::Supply, text)
            .sure(ramp(share, 0.0, 0.05).max(0.3))
            .with("worst_hz", worst)
            .with("minutes", off.len() as f64)
            .limit(limits::FREQUENCY.value * nominal, "Hz off nominal", limits::FREQUENCY.source)
            .seen([(time, worst)]),
    )
}
