//! Transducer loop current beyond what a live transducer sends (NAMUR NE 43).

use crate::case::Case;
use crate::facts::LoopKind;
use crate::findings::Draft;
use crate::limits;

/// Looks for it.
pub fn find(case: &Case) -> Option<Draft> {
    super::of_loop(
        case,
        LoopKind::Short,
        "transducer-short",
        limits::LOOP_SHORT_MA,
        "the transducer loop carried more current than any pressure gives",
    )
}
