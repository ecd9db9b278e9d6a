//! Why a single run stopped, by its own figures and how the stop looks.

use super::TRIP_CURRENT;
use super::control::Looks;
use crate::ceiling;
use crate::facts::{Facts, LoopKind, RunFacts, VoltageKind};
use crate::levels::Levels;
use crate::limits;
use crate::outcome::StopReason;
use crate::robust::{median, quantile};
use crate::scan::Plan;

/// Time without load before a stop that counts as dry.
const DRY_MS: i64 = (limits::DRY_S.value * 1000.0) as i64;
/// Share of a run's current that its end keeps where the load has not fallen.
const AT_WORK: f64 = 1.0 - limits::STEADY_LOAD.value;

/// Shortest run that is called dry from its beginning, s: what comes before it is up to speed, and some.
const LEAST_DRY_S: f64 = limits::SETTLE_RUN_S.value + 0.5;

/// What stops are judged by.
pub struct Judge<'a> {
    facts: &'a Facts,
    levels: &'a Levels,
    plan: &'a Plan,
    /// True where the reading has a ceiling, and does not show whether the pressure was held.
    hidden: bool,
    /// Time in which the motor comes up to speed here, s; NaN where it was never seen to.
    start_s: f64,
    /// Power before the stops that look like the control's, W (median).
    last_w: Option<f64>,
}

impl<'a> Judge<'a> {
    /// Learns from all stops and their looks.
    pub fn new(facts: &'a Facts, levels: &'a Levels, plan: &'a Plan, looks: &[Looks]) -> Self {
        let by_control = facts.runs.iter().zip(looks).filter(|(_, looks)| looks.control());
        let last_w = median(by_control.map(|(run, _)| run.last_power_w));
        let started = facts.runs.iter().filter(|run| {
            run.start_seen && !run.locked_at_stop && run.time.seconds() > limits::LOCKED_S.value
        });
        let starts = started.map(|run| (run.inrush_end_ms - run.time.start_ms) as f64 / 1000.0);
        let start_s = quantile(starts, 0.9).unwrap_or(f64::NAN);
        let hidden = ceiling::under_drive(facts, plan).is_some();
        Self { facts, levels, plan, hidden, start_s, last_w }
    }

    /// Why a run stopped.
    pub fn reason(&self, run: &RunFacts, looks: Looks) -> StopReason {
        let Self { facts, levels, plan, .. } = *self;
        let stop_ms = run.time.end_ms;
        if let Some(reason) = self.by_supply(run, looks) {
            return reason;
        }
        // Switched off before it can have been up to speed, a motor shows nothing but its inrush.
        if run.locked_at_stop && run.time.seconds() <= self.start_s + facts.row_s {
            return if looks.control() { demand_met(plan) } else { StopReason::Unexplained };
        }
        // A single long row may hold the inrush alone.
        let several = run.locked_s > 2.5 * facts.row_s || facts.row_s <= 1.0;
        if several && run.locked_at_stop && run.locked_s > 0.6 * run.time.seconds() {
            return StopReason::FailedStart;
        }
        let sensor = facts.loop_faults.iter().any(|fault| {
            fault.kind != LoopKind::OutOfRange && fault.time.meets(stop_ms - 3_000, stop_ms, 0)
        });
        if sensor && plan.held_bar.is_some() {
            return StopReason::SensorFault;
        }
        // A single long row that holds the stop reads low of itself.
        let least_ms =
            DRY_MS.max((limits::ROWS_INSIDE.value * facts.row_length_s() * 1000.0) as i64);
        // Little load is what a drive should have with its pressure held.
        let dry = |dry: bool| dry && !self.hidden;
        let unloaded = dry(run.unloaded_since_ms.is_some_and(|since| stop_ms - since >= least_ms))
            && !full_drive(run, levels, plan);
        let over = overloaded(run, facts, plan) && long_enough(run, facts);
        // Without its load, or overloaded, a pump that seems to stop at its pressure by chance does
        // not start again when the pressure asks for it; and no drive goes to sleep from more than
        // its motor's rated load.
        let odd = looks.late || looks.early || looks.unproved;
        let at_work = plan.held_bar.is_some() && run.last_current_a >= AT_WORK * run.current_a;
        // Nothing but the stops themselves says that it was the control, and rows so long need not
        // show a loss of load.
        if looks.control() && looks.unproved && facts.row_s > limits::FINE_ROW_S.value && !unloaded
        {
            return StopReason::Unexplained;
        }
        if dry(moved_nothing(run, facts, levels, plan)) {
            return StopReason::DryRun;
        }
        if looks.control() && !(unloaded && odd || over && (odd || at_work)) {
            return demand_met(plan);
        }
        if (unloaded || dry(dry_throughout(run, facts, levels, plan))) && !looks.at_once {
            return StopReason::DryRun;
        }
        if several && run.locked_at_stop {
            return StopReason::Overload;
        }
        if over {
            return StopReason::Overload;
        }
        let out_of_range = facts.sustained.iter().any(|s| s.time.meets(stop_ms, stop_ms, 2_000));
        if out_of_range {
            return StopReason::SupplyOutOfRange;
        }
        // The switch is the plant's own; a faulty reading hides what it acted on.
        if (run.stop_bar.is_nan() || sensor)
            && let Some(usual) = self.last_w
            && (run.last_power_w / usual - 1.0).abs() < 0.1
        {
            return demand_met(plan);
        }
        StopReason::Unexplained
    }

    /// Why, where the supply had to do with it: an event at the moment of the stop.
    fn by_supply(&self, run: &RunFacts, looks: Looks) -> Option<StopReason> {
        let Self { facts, plan, .. } = *self;
        let stop_ms = run.time.end_ms;
        let near = facts.voltage_events.iter().find(|e| {
            !e.at_start
                && e.time.meets(stop_ms, stop_ms, 700)
                && (e.kind == VoltageKind::Interruption
                    || (e.time.start_ms <= stop_ms + 300 && e.time.end_ms >= stop_ms - 700))
        });
        if let Some(event) = near.filter(|_| facts.has.voltage) {
            let left = event.extreme_v / plan.nominal_v;
            let deep = event.kind == VoltageKind::Interruption || left < 0.5;
            if !deep && looks.near {
                return Some(demand_met(plan));
            }
            // Below 75 % a contactor may let go, and the motor has lost its supply; above, it must
            // hold, so that something watching the voltage must have acted.
            return Some(match event.kind {
                VoltageKind::Swell => StopReason::SupplyOutOfRange,
                VoltageKind::Dip if left > limits::HOLD_IN.value => StopReason::SupplyOutOfRange,
                _ => StopReason::SupplyLost,
            });
        }
        (facts.has.voltage && run.stop_voltage_min_v < 0.5 * plan.nominal_v)
            .then_some(StopReason::SupplyLost)
    }
}

fn demand_met(plan: &Plan) -> StopReason {
    if plan.held_bar.is_some() { StopReason::NoDemand } else { StopReason::CutOut }
}

/// True where rows that hold its start or stop are the lesser part of a run.
fn long_enough(run: &RunFacts, facts: &Facts) -> bool {
    facts.row_s <= 1.0 || run.time.seconds() > limits::LEAST_ROWS.value * facts.row_s
}

/// True when the motor drew more than a relay must let pass, to the end. A single long row at the end
/// may hold the inrush of another start.
fn overloaded(run: &RunFacts, facts: &Facts, plan: &Plan) -> bool {
    let limit_a = TRIP_CURRENT * plan.rated_a;
    let long_rows = facts.row_s > limits::FINE_ROW_S.value;
    run.last_current_a > limit_a && !(long_rows && run.current_a <= limit_a)
}

/// True for a drive that takes what its motor is rated for, or nearly: it moves water, however much
/// more it took before.
fn full_drive(run: &RunFacts, levels: &Levels, plan: &Plan) -> bool {
    let share = if run.last_power_w.is_finite() {
        run.last_power_w / levels.full_w
    } else {
        run.last_current_a / plan.rated_a
    };
    plan.held_bar.is_some() && share > limits::LIGHT_LOAD.value
}

/// True for a run with little power that left the pressure where it was: a pump that begins near the
/// top, after a wait, and gets no water stops at the switch's pressure by chance.
fn moved_nothing(run: &RunFacts, facts: &Facts, levels: &Levels, plan: &Plan) -> bool {
    plan.held_bar.is_none()
        && run.power_w < limits::UNLOADED_POWER.value * levels.power_w
        && run.stop_bar - run.start_bar < limits::FROZEN.value * plan.band_bar
        && long_enough(run, facts)
        && run.time.seconds() > LEAST_DRY_S
}

/// True for a run that never took up its load although the pump usually does.
fn dry_throughout(run: &RunFacts, facts: &Facts, levels: &Levels, plan: &Plan) -> bool {
    let lacking = match plan.held_bar {
        Some(held) => run.stop_bar < (1.0 - limits::PRESSURE_DEFICIT.value) * held,
        None => run.stop_bar < plan.top_bar - 0.12 * plan.band_bar,
    };
    // A drive that cannot hold its pressure turns as fast as it may: then full load is what counts.
    let (full_w, full_a) = match plan.held_bar {
        Some(_) => (levels.full_w, plan.rated_a),
        None => (levels.power_w, levels.current_a),
    };
    let low = if run.power_w.is_finite() {
        run.power_w < limits::UNLOADED_POWER.value * full_w
    } else {
        run.current_a < limits::UNLOADED_CURRENT.value * full_a
    };
    low && lacking && long_enough(run, facts) && run.time.seconds() > LEAST_DRY_S
}
