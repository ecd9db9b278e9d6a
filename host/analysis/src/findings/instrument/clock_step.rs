//! The logger's clock was set.

use crate::case::Case;
use crate::facts::Stretch;
use crate::findings::Draft;
use crate::limits;
use crate::outcome::{PointsTo, Severity};
use pumpwitness_protocol::record::Mark;

/// Step of the clock.
const LEAST_MS: i64 = (limits::CLOCK_STEP_S.value * 1000.0) as i64;

/// Looks for it.
pub fn find(case: &Case) -> Option<Draft> {
    let steps: Vec<(Stretch, f64)> = case
        .marks
        .iter()
        .filter_map(|timed| match timed.mark {
            Mark::ClockSet { before_ms } if (timed.time_ms - before_ms).abs() >= LEAST_MS => {
                let time = Stretch { start_ms: timed.time_ms, end_ms: timed.time_ms };
                Some((time, (timed.time_ms - before_ms) as f64 / 1000.0))
            }
            _ => None,
        })
        // The first setting, before anything was recorded, moves nothing.
        .filter(|(time, _)| time.start_ms > case.facts.start_ms)
        .collect();
    if steps.is_empty() {
        return None;
    }
    let largest = steps.iter().map(|s| s.1).max_by(|a, b| a.abs().total_cmp(&b.abs()))?;
    let text = format!(
        "The logger's clock was set {} times inside the record, by up to {largest:+.0} s. Times \
         before and after do not share one scale.",
        steps.len()
    );
    Some(
        Draft::new("clock-step", Severity::Info, PointsTo::None, text)
            .with("largest_s", largest)
            .limit(LEAST_MS as f64 / 1000.0, "s", "common practice")
            .seen(steps),
    )
}
