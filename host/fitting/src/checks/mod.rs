//! Fit checks: each turns from waiting to good or bad, with a sentence saying what was seen and,
//! when bad, what a qualified person does about it.
//!
//! One file a part of the fit; each looks at a [`Seen`], what the last seconds showed and what was
//! noted since the checks began.

mod logger;
mod motor;
mod pressure;
mod seen;
mod supply;
mod watched;

use crate::reading::Reading;
use pumpwitness_protocol::message::{Identity, Status};
use pumpwitness_site_file::{BAR_PER_PSI, Site, Units};
use seen::Seen;
use serde::Serialize;
use std::fmt::Write;

/// How a check stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum State {
    /// Something is wrong.
    Bad,
    /// Not seen yet; the sentence says what to do so that it is.
    Waiting,
    /// In order.
    Good,
}

/// One check.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Check {
    /// Short fixed name.
    pub id: &'static str,
    /// Title for people.
    pub title: &'static str,
    /// How it stands.
    pub state: State,
    /// What was seen, or what to do so that it is seen.
    pub says: String,
    /// What to do about it; only when bad.
    pub remedy: Option<&'static str>,
}

impl Check {
    fn new(id: &'static str, title: &'static str, verdict: Verdict) -> Self {
        let (state, says, remedy) = match verdict {
            Verdict::Good(says) => (State::Good, says, None),
            Verdict::Waiting(says) => (State::Waiting, says, None),
            Verdict::Bad(says, remedy) => (State::Bad, says, Some(remedy)),
        };
        Self { id, title, state, says, remedy }
    }
}

/// What a check finds.
#[derive(Clone, Debug)]
enum Verdict {
    Good(String),
    Waiting(String),
    Bad(String, &'static str),
}

impl Verdict {
    /// What the latest run showed stands until the next one shows something.
    fn or_as_it_ran(self, ran: Option<&Self>) -> Self {
        let then = |says: &str| {
            let mut letters = says.chars();
            let first = letters.next().map(|letter| letter.to_ascii_lowercase());
            format!("When the pump ran last, {}{}", first.unwrap_or_default(), letters.as_str())
        };
        match (self, ran) {
            (Self::Waiting(_), Some(Self::Good(says))) => Self::Good(then(says)),
            (Self::Waiting(_), Some(Self::Bad(says, remedy))) => Self::Bad(
                format!("{} Once it is put right, let the pump run again.", then(says)),
                remedy,
            ),
            (now, _) => now,
        }
    }
}

/// What the technician states: the checks believe it.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Stated {
    /// Whether the pump runs, by eye and ear; `None` when not said. It is of its moment: once the
    /// current has agreed, a change of the current is the pump's, and nothing is said any more.
    pub running: Option<bool>,
    /// What a gauge at the transducer reads, bar: compared with the pressure of the moment when
    /// this changes.
    pub gauge_bar: Option<f64>,
}

/// The checks of one fitting.
#[derive(Clone, Debug)]
pub struct Checks {
    site: Site,
    seen: Seen,
    stated: Stated,
    /// The current has agreed with what was stated of the pump.
    agreed: bool,
    /// What the latest run showed of the current, and of the power.
    ran: [Option<Verdict>; 2],
    clock_off_ms: Option<i64>,
    clock_good: bool,
    status: Option<Status>,
}

impl Checks {
    /// Checks for `site`, with nothing seen yet.
    pub fn new(site: &Site) -> Self {
        Self {
            site: site.clone(),
            seen: Seen::new(site),
            stated: Stated::default(),
            agreed: false,
            ran: [None, None],
            clock_off_ms: None,
            clock_good: false,
            status: None,
        }
    }

    /// Takes the logger's introduction, heard when the host's clock showed `host_ms`.
    pub fn meet(&mut self, identity: &Identity, host_ms: i64) {
        self.clock_off_ms = Some(identity.clock_ms.saturating_sub(host_ms));
        self.clock_good = identity.clock_good;
    }

    /// Takes the state of the memory.
    pub fn memory(&mut self, status: Status) {
        self.status = Some(status);
    }

    /// Takes a set of readings. A set with the moment of the one before is passed over.
    pub fn see(&mut self, reading: &Reading) {
        if let Some(said) = self.stated.running {
            if self.seen.is_draw(reading) == said {
                self.agreed = true;
            } else if self.agreed {
                self.stated.running = None;
            }
        }
        self.seen.take(reading, &self.stated);
        if self.seen.draws() && self.seen.settled() {
            self.ran = [
                Some(motor::current(&self.seen, &self.site, &self.stated)),
                Some(motor::power(&self.seen, &self.site)),
            ];
        }
    }

    /// Takes what the technician states.
    pub fn state(&mut self, stated: Stated) {
        if stated.running != self.stated.running {
            self.seen.statement_changed();
            self.agreed = false;
        }
        if stated.gauge_bar != self.stated.gauge_bar {
            self.seen.gauge_stated(stated.gauge_bar.is_some());
        }
        self.stated = stated;
    }

    /// What is stated at present.
    pub fn stated(&self) -> Stated {
        self.stated
    }

    /// All checks that concern this site, in the order in which they are best made.
    pub fn list(&self) -> Vec<Check> {
        let mut list = vec![
            logger::clock(self.clock_off_ms, self.clock_good),
            logger::memory(self.status.as_ref()),
            logger::supply(&self.seen),
            supply::voltage(&self.seen, &self.site),
            supply::frequency(&self.seen, &self.site),
        ];
        if self.site.transducer.is_some() {
            list.push(pressure::wire(&self.seen));
            list.push(pressure::supply(&self.seen));
            list.push(pressure::gauge(&self.seen, &self.site, &self.stated));
        }
        let [current, power] = [
            motor::current(&self.seen, &self.site, &self.stated).or_as_it_ran(self.ran[0].as_ref()),
            motor::power(&self.seen, &self.site).or_as_it_ran(self.ran[1].as_ref()),
        ];
        list.push(Check::new("current", "Current clamp", current));
        list.push(Check::new("power", "Direction of power", power));
        list.push(supply::tap(&self.seen, &self.site));
        if self.site.transducer.is_some() {
            list.push(pressure::moves(&self.seen, &self.site));
        }
        list.extend(watched::lamps(&self.seen, &self.site));
        list
    }

    /// One line for the chain of custody: how many checks were good, and which were not.
    pub fn summary(&self) -> String {
        let list = self.list();
        let count = |state| list.iter().filter(|check| check.state == state).count();
        let mut text = format!("{} of {} fit checks good", count(State::Good), list.len());
        for (state, word) in [(State::Bad, "bad"), (State::Waiting, "not made")] {
            let ids: Vec<&str> =
                list.iter().filter(|check| check.state == state).map(|check| check.id).collect();
            if !ids.is_empty() {
                let _ = write!(text, "; {word}: {}", ids.join(", "));
            }
        }
        text
    }
}

/// Whether a summary, as [`Checks::summary`] gives it, tells that all checks were good.
pub fn all_good(summary: &str) -> bool {
    let counts = summary.strip_suffix(" fit checks good").and_then(|text| text.split_once(" of "));
    counts.is_some_and(|(good, all)| good == all)
}

/// A pressure in the site's unit.
fn pressure_text(bar: f64, units: Units) -> String {
    match units {
        Units::Metric => format!("{bar:.2} bar"),
        Units::Us => format!("{:.1} psi", bar / BAR_PER_PSI),
    }
}

#[cfg(test)]
mod tests;
