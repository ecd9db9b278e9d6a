//! Runs and rests that have ended: what they come to. That needs nothing of what goes on, so another
//! thread may work it out.

use super::open_run::OpenRun;
use super::plan::Plan;
use super::rests::OpenRest;
use crate::facts::{RestFacts, RunFacts};

/// One that has ended.
#[derive(Debug)]
pub enum Ended {
    /// A run.
    Run(Box<OpenRun>),
    /// A rest.
    Rest {
        /// It.
        rest: OpenRest,
        /// When it ended, ms since 1970.
        end_ms: i64,
        /// Whether a start ended it.
        end_seen: bool,
    },
}

/// Those of a record, in time order.
#[derive(Debug)]
pub struct Summed {
    plan: Plan,
    /// The runs.
    pub runs: Vec<RunFacts>,
    /// The rests.
    pub rests: Vec<RestFacts>,
}

impl Summed {
    /// None so far.
    pub fn new(plan: &Plan) -> Self {
        Self { plan: plan.clone(), runs: Vec::new(), rests: Vec::new() }
    }

    /// Takes the next.
    pub fn take(&mut self, ended: Vec<Ended>) {
        for ended in ended {
            match ended {
                Ended::Run(run) => self.runs.push(run.finish(&self.plan)),
                Ended::Rest { rest, end_ms, end_seen } => {
                    self.rests.push(rest.finish(end_ms, end_seen));
                }
            }
        }
    }
}
