//! Watched lamps that were lit.

use crate::case::Case;
use crate::findings::Draft;
use crate::outcome::{PointsTo, Severity};
use pumpwitness_protocol::record::LampState;

/// Looks for it.
pub fn find(case: &Case) -> Option<Draft> {
    let seen = super::lit(case, |state| state == LampState::On);
    if seen.is_empty() {
        return None;
    }
    let text = format!("Lamps were lit: {}. The words are the technician's.", super::labels(&seen));
    Some(
        Draft::new("lamp-on", Severity::Info, PointsTo::None, text)
            .seen(seen.iter().map(|(_, time, _)| (*time, time.seconds()))),
    )
}
