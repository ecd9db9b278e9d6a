//! Findings about sensors and logger.

pub mod clamp_fit;
pub mod clock_step;
pub mod over_range;
pub mod recording_gap;
pub mod transducer_drift;
pub mod transducer_frozen;
pub mod transducer_open;
pub mod transducer_out_of_range;
pub mod transducer_short;
pub mod transducer_supply;

use crate::case::Case;
use crate::facts::{LoopFault, LoopKind};
use crate::findings::Draft;
use crate::limits::Bound;
use crate::outcome::{PointsTo, Severity};
use crate::robust::ramp;

/// What the three loop findings share.
fn of_loop(
    case: &Case,
    kind: LoopKind,
    name: &'static str,
    bound: Bound,
    words: &str,
) -> Option<Draft> {
    let seen: Vec<&LoopFault> = case.facts.loop_faults.iter().filter(|f| f.kind == kind).collect();
    if seen.is_empty() {
        return None;
    }
    let total: f64 = seen.iter().map(|f| f.time.seconds()).sum();
    let longest = seen.iter().map(|f| f.time.seconds()).fold(0.0, f64::max);
    let running = seen
        .iter()
        .filter(|f| case.facts.runs.iter().any(|r| r.time.meets(f.time.start_ms, f.time.end_ms, 0)))
        .count();
    let extreme = seen.iter().map(|f| f.extreme_ma);
    let extreme = if kind == LoopKind::Short {
        extreme.fold(f64::NAN, f64::max)
    } else {
        extreme.fold(f64::NAN, f64::min)
    };
    let text = format!(
        "{} times, {total:.0} s in all, {words} (farthest {extreme:.2} mA); {running} of these \
         while the pump ran. The pressure readings in these moments say nothing about the water.",
        seen.len()
    );
    let severity = match kind {
        LoopKind::OutOfRange => Severity::Info,
        _ if seen.len() >= 2 || longest > 1.0 => Severity::Fault,
        _ => Severity::Watch,
    };
    Some(
        Draft::new(name, severity, PointsTo::Sensor, text)
            .sure(ramp(seen.len() as f64, -1.0, 4.0).max(ramp(total, 0.0, 10.0)))
            .with("total_s", total)
            .with("longest_s", longest)
            .with("farthest_ma", extreme)
            .with("while_running", running as f64)
            .against(bound)
            .seen(seen.iter().map(|f| (f.time, f.extreme_ma))),
    )
}
