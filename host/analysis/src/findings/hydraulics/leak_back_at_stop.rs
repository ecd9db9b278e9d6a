//! Pressure that drops at once when the pump stops: water runs back before the check valve shuts.

use crate::case::Case;
use crate::findings::Draft;
use crate::limits;
use crate::outcome::{PointsTo, Severity, StopReason};
use crate::robust::{centre_and_sigma, ramp};

/// Drop of the pressure within a second of the stop.
const DROP: f64 = limits::LEAK_BACK.value;

/// Looks for it.
pub fn find(case: &Case) -> Option<Draft> {
    if case.constant_pressure() || !case.levels.band_bar.is_finite() {
        return None;
    }
    // What is being drawn lowers the pressure too, at the rate seen in the seconds after.
    let drops: Vec<_> = case
        .stopped_by(StopReason::CutOut)
        .filter(|r| r.after_stop_bar.is_finite() && r.draw_after.is_finite())
        .map(|r| {
            let absolute = r.after_stop_bar + crate::facts::ATMOSPHERE_BAR;
            let drawn = r.draw_after.max(0.0) * absolute * absolute;
            (r.time, r.stop_bar - r.after_stop_bar - drawn)
        })
        .collect();
    let (drop, scatter) = centre_and_sigma(drops.iter().map(|d| d.1))?;
    if drops.len() < 4 || drop < DROP * case.levels.band_bar || drop < 3.0 * scatter {
        return None;
    }
    let text = format!(
        "Within a second of the pump stopping the pressure fell by {drop:.2} bar, more than what \
         was being drawn explains, at {} stops. Water ran back through the pump before the check \
         valve shut, or the friction of the flow up to the transducer fell away.",
        drops.len()
    );
    Some(
        Draft::new("leak-back-at-stop", Severity::Watch, PointsTo::Pipework, text)
            .sure(ramp(drop / case.levels.band_bar, DROP, 0.3) * 0.6 + 0.2)
            // The fall within a second of the stop.
            .resting_on(1.0, case.facts)
            .with("drop_bar", drop)
            .limit(DROP * case.levels.band_bar, "bar", "10 % of the declared band, common practice")
            .seen(drops.into_iter().map(|(run, drop)| {
                (crate::facts::Stretch { start_ms: run.end_ms, end_ms: run.end_ms + 1_000 }, drop)
            })),
    )
}
