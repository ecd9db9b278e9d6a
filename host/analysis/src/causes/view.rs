//! What causes are weighed with.

use crate::case::Case;
use crate::limits;
use crate::outcome::{Finding, Severity};
use crate::robust::ramp;
use pumpwitness_site_file::Control;

/// Longest rows that show how runs begin and end.
const ROW_S: f64 = limits::FINE_ROW_S.value;

/// Why a record is too short.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Short {
    /// To rule out anything.
    Nothing {
        /// Runs it holds.
        runs: usize,
        /// Hours it covers.
        hours: f64,
    },
    /// To rule out what comes at certain hours only.
    NotADay {
        /// Hours it covers.
        hours: f64,
    },
}

impl Short {
    /// Why nothing is ruled out although the record shows `otherwise`.
    pub fn because(self, otherwise: &str) -> String {
        match self {
            Self::Nothing { runs, hours } => format!(
                "With {runs} runs in {hours:.1} h the record is too short to rule this out."
            ),
            Self::NotADay { hours } => format!(
                "{otherwise} But with {hours:.1} h the record is shorter than the hours of a day, \
                 and cannot exclude what comes at other hours."
            ),
        }
    }
}

/// A channel a cause needs.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[allow(missing_docs)] // the words say it
pub enum Need {
    Voltage,
    Load,
    Pressure,
    Signal,
    /// Rows short enough to see how a run begins and ends.
    Fine,
}

/// Findings by kind, and the case behind them.
pub struct View<'a> {
    /// The case.
    pub case: &'a Case<'a>,
    /// All findings.
    pub findings: &'a [Finding],
}

impl View<'_> {
    /// The finding of this kind.
    pub fn finding(&self, kind: &str) -> Option<&Finding> {
        self.findings.iter().find(|f| f.kind == kind)
    }

    /// How strongly a finding of this kind was made: its confidence, less where it is only worth an
    /// eye, little where it alleges nothing.
    pub fn strength(&self, kind: &str) -> f64 {
        self.finding(kind).map_or(0.0, |f| {
            f.confidence
                * match f.severity {
                    Severity::Fault => 1.0,
                    Severity::Watch => 0.6,
                    Severity::Info => 0.1,
                }
        })
    }

    /// What a reading with a ceiling leaves of a confidence that rests on the pressure, down to a fifth;
    /// `None` where there is none.
    pub fn left_under_ceiling(&self) -> Option<f64> {
        let ceiling = self.strength("transducer-supply");
        (ceiling > 0.0).then(|| 1.0 - 0.8 * ramp(ceiling, 0.0, 0.3))
    }

    /// A figure of a finding; NaN where there is none.
    pub fn figure(&self, kind: &str, name: &str) -> f64 {
        self.finding(kind).and_then(|f| f.measured.get(name)).copied().unwrap_or(f64::NAN)
    }

    /// Those of these kinds that were found at all.
    pub fn found(&self, kinds: &[&'static str]) -> Vec<&'static str> {
        kinds.iter().copied().filter(|kind| self.finding(kind).is_some()).collect()
    }

    /// Why the record cannot speak where it lacks a channel.
    pub fn missing(&self, need: Need) -> Option<String> {
        let facts = self.case.facts;
        let has = facts.has;
        if need == Need::Fine {
            return (facts.row_s > ROW_S).then(|| {
                format!(
                    "Rows of {:.0} s are too long to see how runs begin and end, so the record \
                     cannot speak about this.",
                    facts.row_s
                )
            });
        }
        let (there, name) = match need {
            Need::Voltage => (has.voltage, "the supply voltage"),
            Need::Load => (has.current || has.power, "the motor's current"),
            Need::Pressure => (has.pressure, "the pressure"),
            Need::Signal => (has.signal, "the transducer's signal"),
            Need::Fine => (true, ""),
        };
        (!there).then(|| format!("The record does not hold {name}, so it cannot speak about this."))
    }

    /// Hours that rows cover.
    pub fn hours(&self) -> f64 {
        self.case.facts.covered_ms as f64 / 3.6e6
    }

    /// Why the record is too short to rule anything out, if it is.
    pub fn short(&self) -> Option<Short> {
        let (hours, runs) = (self.hours(), self.case.facts.runs.len());
        if runs < 3 || hours < 1.0 {
            return Some(Short::Nothing { runs, hours });
        }
        (hours < limits::RULED_OUT_H.value).then_some(Short::NotADay { hours })
    }

    /// Why the record cannot speak about a pressure switch, if it cannot.
    pub fn no_switch(&self) -> Option<&'static str> {
        match self.case.site.control {
            Some(Control::PressureSwitch { .. }) => None,
            Some(Control::ConstantPressure { .. }) => Some(
                "The site file declares a drive that holds the pressure, and no pressure switch.",
            ),
            None => Some(
                "The site file does not say what controls the pump, so the record cannot speak \
                 about this.",
            ),
        }
    }

    /// Why the record cannot speak about a drive, if it cannot.
    pub fn no_drive(&self) -> Option<&'static str> {
        match self.case.site.control {
            Some(Control::ConstantPressure { .. }) => None,
            Some(Control::PressureSwitch { .. }) => Some(
                "The site file declares a pressure switch, and no drive that holds a pressure.",
            ),
            None => self.no_switch(),
        }
    }

    /// Why a plain reading of the current proves nothing, if it does not.
    pub fn doubtful_current(&self) -> Option<&'static str> {
        if !self.case.facts.has.current {
            return Some(
                "The motor's current was not recorded, and its power alone does not show this.",
            );
        }
        self.figure("clamp-fit", "share_of_rated").is_finite().then_some(
            "The current reading, or the declared rated current, is in doubt itself: see the \
             finding on the current clamp.",
        )
    }

    /// Share of the four main channels that were recorded.
    pub fn channels_share(&self) -> f64 {
        let has = self.case.facts.has;
        let there = [has.voltage, has.current || has.power, has.pressure, has.power];
        0.4 + 0.15 * there.iter().filter(|t| **t).count() as f64
    }
}
