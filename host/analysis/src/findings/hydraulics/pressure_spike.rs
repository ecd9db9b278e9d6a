//! A pressure far above the band.

use crate::case::Case;
use crate::facts::Stretch;
use crate::findings::Draft;
use crate::limits;
use crate::outcome::{PointsTo, Severity};

/// Pressure above the highest declared one.
const TIMES: f64 = limits::PRESSURE_SPIKE.value;

/// Looks for it.
pub fn find(case: &Case) -> Option<Draft> {
    let (most, moment) = case.facts.pressure_max?;
    let limit = TIMES * case.plan.top_bar;
    // A shorted loop reads high without any pressure.
    let faulty = case.facts.loop_faults.iter().any(|f| f.time.meets(moment, moment, 2_000));
    if !limit.is_finite() || most < limit || faulty {
        return None;
    }
    let text = format!(
        "The pressure reached {most:.2} bar, more than {TIMES} times the highest declared pressure \
         of {:.2} bar.",
        case.plan.top_bar
    );
    Some(
        Draft::new("pressure-spike", Severity::Info, PointsTo::Pipework, text)
            .with("highest_bar", most)
            .limit(limit, "bar", "1.5 times the declared pressure, common practice")
            .seen([(Stretch { start_ms: moment, end_ms: moment }, most)]),
    )
}
