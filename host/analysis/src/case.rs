//! Everything a finding may look at.

use crate::facts::{Facts, RunFacts};
use crate::levels::Levels;
use crate::outcome::StopReason;
use crate::scan::Plan;
use crate::stops::Ledger;
use pumpwitness_protocol::record::TimedMark;
use pumpwitness_site_file::Site;

/// Everything a finding may look at.
#[derive(Clone, Debug)]
pub struct Case<'a> {
    /// What the pass left behind.
    pub facts: &'a Facts,
    /// What the owner declares.
    pub site: &'a Site,
    /// Scales of the pass.
    pub plan: &'a Plan,
    /// What is normal here.
    pub levels: &'a Levels,
    /// Why each run stopped.
    pub ledger: &'a Ledger,
    /// Marks of the logger.
    pub marks: &'a [TimedMark],
}

impl Case<'_> {
    /// Runs that stopped for this reason.
    pub fn stopped_by(&self, reason: StopReason) -> impl Iterator<Item = &RunFacts> {
        self.facts
            .runs
            .iter()
            .zip(&self.ledger.reasons)
            .filter(move |(_, r)| **r == Some(reason))
            .map(|(run, _)| run)
    }

    /// Length of the record that rows cover, days; never zero.
    pub fn days(&self) -> f64 {
        (self.facts.covered_ms as f64 / 86_400_000.0).max(1.0 / 86_400.0)
    }

    /// True under constant-pressure control.
    pub fn constant_pressure(&self) -> bool {
        self.plan.held_bar.is_some()
    }
}
