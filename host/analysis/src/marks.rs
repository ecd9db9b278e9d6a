//! Marks of the logger take the place of what rows can only estimate: voltage events as the logger
//! itself timed them, to the half cycle.

use crate::facts::{Facts, Stretch, VoltageEvent, VoltageKind};
use crate::limits;
use crate::scan::Plan;
use pumpwitness_protocol::record::{Mark, TimedMark, VoltageEvent as Kind};

/// Puts the logger's own voltage events in place of those taken from rows.
pub fn apply(marks: &[TimedMark], plan: &Plan, facts: &mut Facts) {
    let mut exact: Vec<VoltageEvent> = Vec::new();
    for timed in marks {
        let Mark::Voltage { event, start_ms, extreme_dv, .. } = timed.mark else { continue };
        let kind = match event {
            Kind::Dip => VoltageKind::Dip,
            Kind::Swell => VoltageKind::Swell,
            Kind::Interruption => VoltageKind::Interruption,
        };
        let time = Stretch { start_ms, end_ms: timed.time_ms.max(start_ms) };
        // Longer dips and swells are low and high voltage, judged by the rows.
        if kind != VoltageKind::Interruption && time.seconds() > limits::SUSTAINED_S.value {
            continue;
        }
        // What the pump did meanwhile, the rows know.
        let seen = facts
            .voltage_events
            .iter()
            .find(|e| e.time.meets(time.start_ms, time.end_ms, 500))
            .copied();
        exact.push(VoltageEvent {
            kind,
            time,
            extreme_v: f64::from(extreme_dv) / 10.0,
            before_v: seen.map_or(plan.nominal_v, |e| e.before_v),
            current_rise_a: seen.map_or(0.0, |e| e.current_rise_a),
            at_start: seen.is_some_and(|e| e.at_start),
        });
    }
    if exact.is_empty() {
        return;
    }
    // A dip that deepens into an interruption is told by both; the interruption counts.
    let gone: Vec<Stretch> =
        exact.iter().filter(|e| e.kind == VoltageKind::Interruption).map(|e| e.time).collect();
    exact.retain(|e| {
        e.kind != VoltageKind::Dip
            || !gone.iter().any(|g| g.meets(e.time.start_ms, e.time.end_ms, 50))
    });
    // Rows outside the marks' reach (a mark lost with its page) still count.
    for event in &facts.voltage_events {
        if !exact.iter().any(|e| e.time.meets(event.time.start_ms, event.time.end_ms, 1_000)) {
            exact.push(*event);
        }
    }
    exact.sort_by_key(|e| e.time.start_ms);
    facts.voltage_events = exact;
}
