//! Stretches without rows.

use crate::case::Case;
use crate::findings::Draft;
use crate::limits;
use crate::outcome::{PointsTo, Severity};

/// Looks for it.
pub fn find(case: &Case) -> Option<Draft> {
    let gaps = &case.facts.gaps;
    if gaps.is_empty() {
        return None;
    }
    let total: f64 = gaps.iter().map(crate::facts::Stretch::seconds).sum();
    let longest = gaps.iter().map(crate::facts::Stretch::seconds).fold(0.0, f64::max);
    let text = format!(
        "The record has {} stretches without readings, {:.1} h in all and {:.1} h at the longest. \
         What happened in them is not known and nothing is concluded from them.",
        gaps.len(),
        total / 3600.0,
        longest / 3600.0
    );
    Some(
        Draft::new("recording-gap", Severity::Info, PointsTo::None, text)
            .with("total_s", total)
            .with("longest_s", longest)
            .limit(case.plan.gap_ms as f64 / 1000.0, "s", limits::GAP_S.source)
            .seen(gaps.iter().map(|g| (*g, g.seconds()))),
    )
}
