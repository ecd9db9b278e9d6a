//! The stop ledger: why each run stopped, and which starts were automatic restarts.

mod control;
mod heat;
pub mod lamps;
mod restarts;

use crate::ceiling;
use crate::facts::{Facts, LoopKind, RunFacts, VoltageKind};
use crate::levels::Levels;
use crate::limits;
use crate::outcome::StopReason;
use crate::scan::Plan;
use control::Looks;
use lamps::Said;
use pumpwitness_protocol::record::TimedMark;
use pumpwitness_site_file::Site;
use std::collections::BTreeMap;

/// Time without load before a stop that counts as dry.
const DRY_MS: i64 = (limits::DRY_S.value * 1000.0) as i64;
/// Current below which a stop is not laid to overload where the motor's own service factor allows
/// more, times rated.
const TRIP_CURRENT: f64 = limits::OVERLOAD_CURRENT.value;

/// Share of a run's current that its end keeps where the load has not fallen.
const AT_WORK: f64 = 1.0 - limits::STEADY_LOAD.value;

/// The ledger.
#[derive(Clone, Debug, Default)]
pub struct Ledger {
    /// Reason of each run's stop; `None` where it was not seen.
    pub reasons: Vec<Option<StopReason>>,
    /// True where the run is an automatic restart after a fixed wait.
    pub automatic: Vec<bool>,
    /// Fixed waits found: length, s, and how often.
    pub waits: Vec<(f64, u32)>,
    /// True where the pressure at a stop lay lower than the control's, by more than rows hide.
    pub short: Vec<bool>,
    /// Lamps that lit at a stop, by the number of the run.
    pub lamps: BTreeMap<usize, Said>,
}

impl Ledger {
    /// Draws it up.
    pub fn new(
        facts: &Facts,
        levels: &Levels,
        plan: &Plan,
        marks: &[TimedMark],
        site: &Site,
    ) -> Self {
        let rise = control::rise_in_rows(facts, levels, plan);
        let hidden = ceiling::under_drive(facts, plan).is_some();
        let looks: Vec<Looks> =
            (0..facts.runs.len()).map(|n| control::look(n, rise, facts, levels, plan)).collect();
        let mut reasons: Vec<Option<StopReason>> = facts
            .runs
            .iter()
            .zip(&looks)
            .map(|(run, looks)| {
                run.stop_seen.then(|| reason(run, *looks, hidden, facts, levels, plan))
            })
            .collect();
        let late: Vec<bool> = looks.iter().map(|looks| looks.late).collect();
        heat::find(&mut reasons, &late, facts, plan);
        let lamps = lamps::at_stops(marks, site, facts);
        for (n, said) in &lamps {
            if reasons[*n] == Some(StopReason::Unexplained) {
                reasons[*n] = said.reasons.first().copied();
            }
        }
        let (automatic, waits) = restarts::find(&reasons, facts);
        let short = looks.iter().map(|looks| looks.short).collect();
        Self { reasons, automatic, waits, short, lamps }
    }

    /// Stops of this reason at which a lamp that stands for it lit, and those at which one that
    /// stands for another did.
    pub fn lamps_say(&self, reason: StopReason) -> (usize, usize) {
        let of_reason = self.lamps.iter().filter(|(n, _)| self.reasons[**n] == Some(reason));
        let (agree, differ): (Vec<_>, Vec<_>) =
            of_reason.partition(|(_, said)| said.reasons.contains(&reason));
        (agree.len(), differ.len())
    }

    /// Stops by something else than the control; those whose reason the record leaves open only where
    /// its rows show that it was not the control.
    pub fn odd(&self) -> usize {
        let odd = |(reason, short): &(&Option<StopReason>, &bool)| match reason {
            Some(StopReason::Unexplained) => **short,
            Some(reason) => protective(*reason),
            None => false,
        };
        self.reasons.iter().zip(&self.short).filter(odd).count()
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

/// Why a run stopped. `hidden` says that the reading has a ceiling, and does not show whether the
/// pressure was held.
fn reason(
    run: &RunFacts,
    looks: Looks,
    hidden: bool,
    facts: &Facts,
    levels: &Levels,
    plan: &Plan,
) -> StopReason {
    let stop_ms = run.time.end_ms;
    if facts.has.voltage {
        let near = facts.voltage_events.iter().find(|e| {
            !e.at_start
                && e.time.meets(stop_ms, stop_ms, 700)
                && (e.kind == VoltageKind::Interruption
                    || (e.time.start_ms <= stop_ms + 300 && e.time.end_ms >= stop_ms - 700))
        });
        if let Some(event) = near {
            let left = event.extreme_v / plan.nominal_v;
            let deep = event.kind == VoltageKind::Interruption || left < 0.5;
            if deep || !looks.near {
                // Below 75 % a contactor may let go, and the motor has lost its supply; above, it
                // must hold, so that something watching the voltage must have acted.
                return match event.kind {
                    VoltageKind::Swell => StopReason::SupplyOutOfRange,
                    VoltageKind::Dip if left > limits::HOLD_IN.value => {
                        StopReason::SupplyOutOfRange
                    }
                    _ => StopReason::SupplyLost,
                };
            }
            return demand_met(plan);
        }
        if run.stop_voltage_min_v < 0.5 * plan.nominal_v {
            return StopReason::SupplyLost;
        }
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
    let least_ms = DRY_MS.max((limits::ROWS_INSIDE.value * (facts.row_s - 0.05) * 1000.0) as i64);
    // Little load is what a drive should have with its pressure held.
    let dry = |dry: bool| dry && !hidden;
    let unloaded = dry(run.unloaded_since_ms.is_some_and(|since| stop_ms - since >= least_ms));
    let over = overloaded(run, plan) && long_enough(run, facts);
    // Without its load, or overloaded, a pump that seems to stop at its pressure by chance does not
    // start again when the pressure asks for it; and no drive goes to sleep from more than its motor's
    // rated load.
    let odd = looks.late || looks.early || looks.unproved;
    let at_work = plan.held_bar.is_some() && run.last_current_a >= AT_WORK * run.current_a;
    // Nothing but the stops themselves says that it was the control, and rows so long need not show a
    // loss of load.
    if looks.control() && looks.unproved && facts.row_s > limits::FINE_ROW_S.value && !unloaded {
        return StopReason::Unexplained;
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
    if run.stop_bar.is_nan() || sensor {
        let seen = facts.runs.iter().enumerate();
        let usual = seen
            .filter(|(n, _)| control::look(*n, 0.0, facts, levels, plan).control())
            .map(|(_, r)| r.last_power_w);
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

/// True where rows that hold its start or stop are the lesser part of a run.
fn long_enough(run: &RunFacts, facts: &Facts) -> bool {
    facts.row_s <= 1.0 || run.time.seconds() > limits::LEAST_ROWS.value * facts.row_s
}

/// True when the motor drew more than a relay must let pass, to the end.
fn overloaded(run: &RunFacts, plan: &Plan) -> bool {
    let limit_a = TRIP_CURRENT * plan.rated_a;
    run.last_current_a > limit_a && run.current_a.max(run.last_current_a) > limit_a
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
    low && lacking && long_enough(run, facts) && run.time.seconds() > 2.5
}
