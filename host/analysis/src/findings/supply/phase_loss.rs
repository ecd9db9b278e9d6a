//! One of three currents missing while the others flow.

use crate::case::Case;
use crate::findings::Draft;
use crate::outcome::{PointsTo, Severity};
use crate::robust::ramp;

/// Looks for it.
pub fn find(case: &Case) -> Option<Draft> {
    let seconds = case.facts.phase_loss_s;
    if seconds < 1.0 {
        return None;
    }
    let text = format!(
        "For {seconds:.0} s one of the three currents was missing while the others flowed: the \
         motor ran, or tried to, on two phases."
    );
    Some(
        Draft::new("phase-loss", Severity::Fault, PointsTo::Supply, text)
            .sure(ramp(seconds, 0.0, 5.0))
            .with("time_s", seconds)
            .limit(0.1, "of the largest current", "common practice"),
    )
}
