//! Three voltages that differ.

use crate::case::Case;
use crate::findings::Draft;
use crate::limits;
use crate::outcome::{PointsTo, Severity};
use crate::robust::ramp;
use crate::unbalance::derating;

/// Looks for it.
pub fn find(case: &Case) -> Option<Draft> {
    let (nema, negative) = case.facts.unbalance?;
    if nema <= limits::UNBALANCE.value && negative <= limits::UNBALANCE_IEC.value {
        return None;
    }
    let fault = negative > limits::UNBALANCE_IEC.value;
    let text = format!(
        "The worst ten minutes had a voltage unbalance of {:.1} % by NEMA MG 1 (largest deviation \
         from the mean) and {:.1} % by IEC (negative over positive sequence). By NEMA MG 1 a motor may \
         then carry {:.0} % of its rated power.",
        nema * 100.0,
        negative * 100.0,
        derating(nema) * 100.0
    );
    Some(
        Draft::new(
            "voltage-unbalance",
            if fault { Severity::Fault } else { Severity::Watch },
            PointsTo::Supply,
            text,
        )
        .sure(ramp(negative, 0.005, 0.03))
        .with("nema_share", nema)
        .with("negative_sequence_share", negative)
        .with("derating_share", derating(nema))
        .against(if fault { limits::UNBALANCE_IEC } else { limits::UNBALANCE }),
    )
}
