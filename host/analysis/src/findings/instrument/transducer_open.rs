//! Transducer loop current beyond what a live transducer sends (NAMUR NE 43).

use crate::case::Case;
use crate::facts::LoopKind;
use crate::findings::Draft;
use crate::limits;

/// Looks for it.
pub fn find(case: &Case) -> Option<Draft> {
    super::of_loop(
        case,
        LoopKind::Open,
        "transducer-open",
        limits::LOOP_OPEN_MA,
        "the transducer loop was open, or as good as open",
    )
}
