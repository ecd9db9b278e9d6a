//! Watched lamps that flashed.

use crate::case::Case;
use crate::findings::Draft;
use crate::outcome::{PointsTo, Severity};
use crate::robust::median;
use pumpwitness_protocol::record::LampState;

/// Looks for it.
pub fn find(case: &Case) -> Option<Draft> {
    let seen = super::lit(case, |state| matches!(state, LampState::Flashing(_)));
    if seen.is_empty() {
        return None;
    }
    let rate = median(seen.iter().map(|s| s.2)).unwrap_or(0.0);
    let text = format!(
        "Lamps flashed, {rate:.2} times a second (median): {}. The words are the technician's.",
        super::labels(&seen)
    );
    Some(
        Draft::new("lamp-flashing", Severity::Info, PointsTo::None, text)
            .with("rate_hz", rate)
            .seen(seen.iter().map(|(_, time, rate)| (*time, *rate))),
    )
}
