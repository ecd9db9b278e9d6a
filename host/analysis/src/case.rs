//! Everything a finding may look at.

use crate::facts::{Facts, RunFacts};
use crate::levels::Levels;
use crate::outcome::StopReason;
use crate::scan::Plan;
use crate::stops::Ledger;
use pumpwitness_protocol::record::TimedMark;
use pumpwitness_site_file::Site;
use std::fmt::Write;

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

    /// Confidence in a reason of stops, once the watched lamps have been heard: half of what is
    /// missing is made up where they agree, half of what there is lost where they differ.
    pub fn heard(&self, reason: StopReason, confidence: f64) -> f64 {
        let (agree, differ) = self.ledger.lamps_say(reason);
        let stops = self.ledger.count(reason).max(1) as f64;
        let (agree, differ) = (agree as f64 / stops, differ as f64 / stops);
        (confidence + 0.5 * agree * (1.0 - confidence)) * (1.0 - 0.5 * differ)
    }

    /// A sentence on what the lamps said at stops of this reason; empty where none spoke.
    pub fn lamps_text(&self, reason: StopReason) -> String {
        let (agree, differ) = self.ledger.lamps_say(reason);
        let mut text = String::new();
        if agree > 0 {
            let _ = write!(text, " At {agree} of these stops a lamp labelled for it lit.");
        }
        if differ > 0 {
            let _ =
                write!(text, " At {differ} of these stops a lamp labelled for another reason lit.");
        }
        text
    }

    /// What the power "the nameplate stands for" is made of, so that no assumption hides in it.
    pub fn nameplate_words(&self) -> String {
        let plan = self.plan;
        let lines = if self.levels.full_w > 1.2 * plan.line_w { "√3 × " } else { "" };
        format!(
            "the {:.0} W its nameplate stands for ({lines}{:.0} V × {:.2} A × an assumed power factor \
             of {})",
            self.levels.full_w,
            plan.nominal_v,
            plan.rated_a,
            crate::limits::POWER_FACTOR.value
        )
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
