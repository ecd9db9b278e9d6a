//! Transducer signal at the edge of its range (NAMUR NE 43: saturated or not assigned).

use crate::case::Case;
use crate::facts::LoopKind;
use crate::findings::Draft;
use crate::limits;

/// Looks for it.
pub fn find(case: &Case) -> Option<Draft> {
    super::of_loop(
        case,
        LoopKind::OutOfRange,
        "transducer-out-of-range",
        limits::LOOP_LIVE_HIGH_MA,
        "the transducer signal lay outside its valid range of 3.8 to 20.5 mA",
    )
}
