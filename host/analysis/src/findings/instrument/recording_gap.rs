//! Stretches without rows.

use crate::case::Case;
use crate::findings::{Draft, span};
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
    let dark = gaps.iter().filter(|gap| case.facts.interrupted(gap)).count();
    let rest = match dark {
        0 => "What happened in them is not known and nothing is concluded from them.".to_owned(),
        dark => format!(
            "In {dark} of them the logger was without supply along with the pump; what happened in the \
             others is not known and nothing is concluded from them."
        ),
    };
    let text = format!(
        "Stretches of the record without readings: {}, {} in all and {} at the longest. {rest}",
        gaps.len(),
        span(total),
        span(longest)
    );
    Some(
        Draft::new("recording-gap", Severity::Info, PointsTo::None, text)
            .with("total_s", total)
            .with("longest_s", longest)
            .limit(case.plan.gap_ms as f64 / 1000.0, "s", limits::GAP_S.source)
            .seen(gaps.iter().map(|g| (*g, g.seconds()))),
    )
}
