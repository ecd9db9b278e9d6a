//! The stop ledger: why each run stopped, and which starts were automatic restarts.

use crate::facts::{Facts, LoopKind, RunFacts, VoltageKind};
use crate::levels::Levels;
use crate::limits;
use crate::outcome::StopReason;
use crate::scan::Plan;

/// Time the load must have been low before the stop to count as running dry, ms (common practice:
/// protection waits 2 to 10 s; half of the shorter).
const DRY_MS: i64 = 1_000;
/// Scatter allowed among fixed waits, s: a row of one second and its jitter.
const WAIT_SCATTER_S: f64 = 1.5;
/// Shortest wait that can be told from a chattering contact, s.
const WAIT_LEAST_S: f64 = 5.0;
/// Current below which a stop is not laid to overload where the motor's own service factor allows
/// more, times rated.
const TRIP_CURRENT: f64 = limits::OVERLOAD_CURRENT.value;

/// The ledger.
#[derive(Clone, Debug, Default)]
pub struct Ledger {
    /// Reason of each run's stop; `None` where it was not seen.
    pub reasons: Vec<Option<StopReason>>,
    /// True where the run is an automatic restart after a fixed wait.
    pub automatic: Vec<bool>,
    /// Fixed waits found: length, s, and how often.
    pub waits: Vec<(f64, u32)>,
}

impl Ledger {
    /// Draws it up.
    pub fn new(facts: &Facts, levels: &Levels, plan: &Plan) -> Self {
        let mut reasons: Vec<Option<StopReason>> = facts
            .runs
            .iter()
            .map(|run| run.stop_seen.then(|| reason(run, facts, levels, plan)))
            .collect();
        over_temperature(&mut reasons, facts, plan);
        let (automatic, waits) = restarts(&reasons, facts);
        Self { reasons, automatic, waits }
    }

    /// How many stops have this reason.
    pub fn count(&self, reason: StopReason) -> usize {
        self.reasons.iter().filter(|r| **r == Some(reason)).count()
    }
}

/// True for stops by which something protects itself.
pub fn protective(reason: StopReason) -> bool {
    !matches!(reason, StopReason::CutOut | StopReason::NoDemand)
}

fn reason(run: &RunFacts, facts: &Facts, levels: &Levels, plan: &Plan) -> StopReason {
    let stop_ms = run.time.end_ms;
    if facts.has.voltage {
        let near = facts.voltage_events.iter().find(|e| {
            !e.at_start
                && e.time.meets(stop_ms, stop_ms, 700)
                && (e.kind == VoltageKind::Interruption
                    || (e.time.start_ms <= stop_ms + 300 && e.time.end_ms >= stop_ms - 700))
        });
        // Contactors drop out between 20 and 75 % of their voltage (IEC 60947-4-1).
        if let Some(event) = near {
            let deep =
                event.kind == VoltageKind::Interruption || event.extreme_v < 0.5 * plan.nominal_v;
            if deep || !reached(run, levels, plan) {
                return match event.kind {
                    VoltageKind::Swell => StopReason::SupplyOutOfRange,
                    _ => StopReason::SupplyLost,
                };
            }
            return demand_met(plan);
        }
        if run.stop_voltage_min_v < 0.5 * plan.nominal_v {
            return StopReason::SupplyLost;
        }
    }
    if run.locked_at_stop && run.locked_s > 0.6 * run.time.seconds() {
        return StopReason::FailedStart;
    }
    let sensor = facts.loop_faults.iter().any(|fault| {
        fault.kind != LoopKind::OutOfRange && fault.time.meets(stop_ms - 3_000, stop_ms, 0)
    });
    if sensor && plan.held_bar.is_some() {
        return StopReason::SensorFault;
    }
    if reached(run, levels, plan) {
        return demand_met(plan);
    }
    if run.unloaded_since_ms.is_some_and(|since| stop_ms - since >= DRY_MS)
        || dry_throughout(run, levels, plan)
    {
        return StopReason::DryRun;
    }
    if run.locked_at_stop {
        return StopReason::Overload;
    }
    let mean_current = run.current_a.max(run.last_current_a);
    if run.last_current_a > TRIP_CURRENT * plan.rated_a
        && mean_current > TRIP_CURRENT * plan.rated_a
    {
        return StopReason::Overload;
    }
    let out_of_range = facts.sustained.iter().any(|s| s.time.meets(stop_ms, stop_ms, 2_000));
    if out_of_range {
        return StopReason::SupplyOutOfRange;
    }
    // The switch is the plant's own; a faulty reading hides what it acted on.
    if run.stop_bar.is_nan() || sensor {
        let usual = facts.runs.iter().filter(|r| reached(r, levels, plan)).map(|r| r.last_power_w);
        if let Some(usual) = crate::robust::median(usual)
            && (run.last_power_w / usual - 1.0).abs() < 0.1
        {
            return demand_met(plan);
        }
    }
    StopReason::Unexplained
}

fn demand_met(plan: &Plan) -> StopReason {
    if plan.held_bar.is_some() { StopReason::NoDemand } else { StopReason::CutOut }
}

/// True when the pressure at the stop is the one at which the control stops the pump.
fn reached(run: &RunFacts, levels: &Levels, plan: &Plan) -> bool {
    // The reading after the stop helps where rows are long; it must not be a spring-back.
    let top = run.stop_bar.max(run.after_stop_bar.min(run.max_bar.max(run.stop_bar)));
    if let Some(held) = plan.held_bar {
        return top > (1.0 - limits::HUNTING.value) * held;
    }
    let near_declared = top > plan.top_bar - 0.12 * plan.band_bar;
    let near_learned = levels.cut_out.is_some_and(|line| {
        let width = if plan.band_bar.is_finite() { 0.12 * plan.band_bar } else { 0.15 };
        top > line.at(run.time.end_ms) - width.max(4.0 * line.sigma).min(1.5 * width)
    });
    near_declared || near_learned
}

/// True for a run that never took up its load although the pump usually does.
fn dry_throughout(run: &RunFacts, levels: &Levels, plan: &Plan) -> bool {
    let lacking = match plan.held_bar {
        Some(held) => run.stop_bar < (1.0 - limits::PRESSURE_DEFICIT.value) * held,
        None => run.stop_bar < plan.top_bar - 0.12 * plan.band_bar,
    };
    let low = if run.power_w.is_finite() {
        run.power_w < limits::UNLOADED_POWER.value * levels.power_w
    } else {
        run.current_a < limits::UNLOADED_CURRENT.value * levels.current_a
    };
    low && lacking && run.time.seconds() > 2.5
}

/// Stops with normal current, normal supply and water, in mid-course, again and again: the motor
/// protects itself against heat. A single one stays unexplained.
fn over_temperature(reasons: &mut [Option<StopReason>], facts: &Facts, plan: &Plan) {
    let candidates: Vec<usize> = (0..reasons.len())
        .filter(|n| {
            let run = &facts.runs[*n];
            reasons[*n] == Some(StopReason::Unexplained)
                // Without pressure, or a declared control, mid-course cannot be told from the end.
                && run.stop_bar.is_finite()
                && plan.top_bar.is_finite()
                && run.time.seconds() > f64::max(20.0, 6.0 * facts.row_s)
                && run.last_current_a < TRIP_CURRENT * plan.rated_a
        })
        .collect();
    // A person or a clock stops at odd moments too; heat does so only after enough running.
    let hot = candidates.iter().filter(|n| {
        let rest = facts.rests.iter().find(|r| r.time.start_ms == facts.runs[**n].time.end_ms);
        rest.is_some_and(|rest| rest.end_seen && rest.time.seconds() > 30.0)
    });
    if hot.count() >= 3 {
        for n in candidates {
            reasons[n] = Some(StopReason::OverTemperature);
        }
    }
}

/// Starts that follow a protective stop by a wait that comes back again and again.
fn restarts(reasons: &[Option<StopReason>], facts: &Facts) -> (Vec<bool>, Vec<(f64, u32)>) {
    let mut waits: Vec<(usize, f64)> = facts
        .runs
        .windows(2)
        .enumerate()
        .filter(|(n, pair)| pair[1].start_seen && reasons[*n].is_some_and(protective))
        .map(|(n, pair)| (n + 1, (pair[1].time.start_ms - pair[0].time.end_ms) as f64 / 1000.0))
        .filter(|(_, wait)| *wait >= WAIT_LEAST_S)
        .collect();
    waits.sort_by(|a, b| a.1.total_cmp(&b.1));
    let mut automatic = vec![false; reasons.len()];
    let mut fixed = Vec::new();
    let mut first = 0;
    while first < waits.len() {
        let mut last = first;
        while last + 1 < waits.len() && waits[last + 1].1 - waits[first].1 <= WAIT_SCATTER_S {
            last += 1;
        }
        if last - first + 1 >= 3 {
            for (run, _) in &waits[first..=last] {
                automatic[*run] = true;
            }
            let middle = waits[usize::midpoint(first, last)].1;
            fixed.push((middle, (last - first + 1) as u32));
        }
        first = last + 1;
    }
    fixed.sort_by_key(|w| std::cmp::Reverse(w.1));
    (automatic, fixed)
}
