//! Marks of the logger take the place of what rows can only estimate: voltage events as the logger
//! itself timed them, to the half cycle, outages that put the logger out as well, and the supply of
//! the transducer.

use crate::facts::{Facts, Stretch, VoltageEvent, VoltageKind};
use crate::limits;
use crate::scan::Plan;
use pumpwitness_protocol::record::{BootReason, Mark, TimedMark, VoltageEvent as Kind};

/// Puts what the logger itself noted into the facts.
pub fn apply(marks: &[TimedMark], plan: &Plan, facts: &mut Facts) {
    voltage_events(marks, plan, facts);
    outages(marks, plan, facts);
    transducer_supply(marks, facts);
}

/// Time between a voltage event and the failing of the logger with it.
const TOGETHER_MS: i64 = (limits::TOGETHER_S.value * 1000.0) as i64;

/// Where the logger hangs on the same supply, it goes dark with it. Its clock goes on: the outage
/// lasts from the last it saw of the supply until it started again.
fn outages(marks: &[TimedMark], plan: &Plan, facts: &mut Facts) {
    let mut failed_ms = None;
    for timed in marks {
        match timed.mark {
            Mark::PowerFailing { .. } => failed_ms = Some(timed.time_ms),
            Mark::Boot { reason: BootReason::PowerOn, .. } => {
                if let Some(failed_ms) = failed_ms.take() {
                    outage(failed_ms, timed.time_ms, plan, facts);
                }
            }
            _ => {}
        }
    }
}

fn outage(failed_ms: i64, back_ms: i64, plan: &Plan, facts: &mut Facts) {
    // Only where the voltage was going as well; else the logger's own lead was pulled.
    let Some(event) = facts
        .voltage_events
        .iter_mut()
        .rfind(|e| e.kind != VoltageKind::Swell && e.time.meets(failed_ms, failed_ms, TOGETHER_MS))
    else {
        return;
    };
    // A deep dip puts a logger out as well. What the voltage did while nobody looked is not known,
    // but no dip lasts longer than a minute.
    let seen_gone = event.extreme_v < limits::INTERRUPTION.value * plan.nominal_v;
    if !seen_gone && ((back_ms - failed_ms) as f64) < limits::SUSTAINED_S.value * 1000.0 {
        return;
    }
    event.kind = VoltageKind::Interruption;
    event.extreme_v = 0.0;
    event.time.end_ms = event.time.end_ms.max(back_ms);
    let time = event.time;
    // A run that was on when the supply went ended there, though nobody saw it.
    for run in facts.runs.iter_mut().filter(|run| !run.stop_seen) {
        if (time.start_ms - TOGETHER_MS..=failed_ms + TOGETHER_MS).contains(&run.time.end_ms) {
            run.time.end_ms = run.time.end_ms.min(time.start_ms.max(run.time.start_ms + 1));
            run.stop_seen = true;
            run.stop_voltage_min_v = 0.0;
        }
    }
}

/// Lowest and highest supply of the transducer, where the logger measured it.
fn transducer_supply(marks: &[TimedMark], facts: &mut Facts) {
    for timed in marks {
        let Mark::Health { transducer_supply_mv, .. } = timed.mark else { continue };
        // Zero stands for none fitted.
        if transducer_supply_mv > 0 {
            let volts = f64::from(transducer_supply_mv) / 1000.0;
            let (low, high) = facts.transducer_supply_v.unwrap_or((volts, volts));
            facts.transducer_supply_v = Some((low.min(volts), high.max(volts)));
        }
    }
}

/// Puts the logger's own voltage events in place of those taken from rows.
fn voltage_events(marks: &[TimedMark], plan: &Plan, facts: &mut Facts) {
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
