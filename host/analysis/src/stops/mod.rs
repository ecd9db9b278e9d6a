//! The stop ledger: why each run stopped, and which starts were automatic restarts.

mod control;
mod heat;
pub mod lamps;
mod reason;
mod restarts;

use crate::facts::Facts;
use crate::levels::Levels;
use crate::limits;
use crate::outcome::StopReason;
use crate::scan::Plan;
use control::Looks;
use lamps::Said;
use pumpwitness_protocol::record::TimedMark;
use pumpwitness_site_file::Site;
use reason::Judge;
use std::collections::BTreeMap;

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
        let looks: Vec<Looks> =
            (0..facts.runs.len()).map(|n| control::look(n, facts, levels, plan)).collect();
        let judge = Judge::new(facts, levels, plan, &looks);
        let judged = facts.runs.iter().zip(&looks);
        let mut reasons: Vec<Option<StopReason>> =
            judged.map(|(run, looks)| run.stop_seen.then(|| judge.reason(run, *looks))).collect();
        let late: Vec<bool> = looks.iter().map(|looks| looks.late).collect();
        heat::find(&mut reasons, &late, facts, plan);
        let lamps = lamps::at_stops(marks, site, facts);
        for (n, said) in &lamps {
            if reasons[*n] == Some(StopReason::Unexplained) {
                reasons[*n] = said.reasons.first().copied();
            }
        }
        let (automatic, waits) = restarts::find(&reasons, facts);
        let rise_bar = control::rise_in_rows(&looks, facts, plan);
        let short = looks.iter().map(|looks| looks.below_bar > rise_bar).collect();
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
