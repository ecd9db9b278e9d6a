//! Readings that stand at one end of the converter.

use crate::case::Case;
use crate::findings::Draft;
use crate::outcome::{PointsTo, Severity};
use crate::robust::median;

/// Looks for it: starting peaks that are all alike to the last digit were cut off.
pub fn find(case: &Case) -> Option<Draft> {
    let peaks: Vec<f64> =
        case.facts.runs.iter().filter(|r| r.start_seen).map(|r| r.peak_a).collect();
    if case.plan.drive || peaks.len() < 5 {
        return None;
    }
    let peak = median(peaks.iter().copied())?;
    let alike = peaks.iter().filter(|p| (**p - peak).abs() < 1e-4 * peak).count();
    if alike * 10 < peaks.len() * 8 || peak < 1.5 * case.plan.rated_a {
        return None;
    }
    let text = format!(
        "{alike} of {} starting currents read exactly {peak:.2} A: the current channel was at the \
         end of its range, and real peaks were higher.",
        peaks.len()
    );
    Some(
        Draft::new("over-range", Severity::Info, PointsTo::None, text)
            .sure(0.7)
            .with("ceiling_a", peak)
            .limit(peak, "A", "this record"),
    )
}
