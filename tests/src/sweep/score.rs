//! An analysis held against what really happened.

use super::draw::Visit;
use pumpwitness_analysis::outcome::{Analysis, Severity};
use pumpwitness_site_file::Control;
use pumpwitness_site_model::{Cause, Truth};
use std::collections::BTreeMap;
use std::fmt::Write;

/// Pairs the record cannot tell apart with the channels there are: where the first is true, the
/// second may be named too, and the other way round.
const TWINS: &[(&str, &str)] = &[
    // Water leaves a resting system the same way to either side of the tank.
    ("check-valve-leak", "idle-draw"),
];

/// What a fault brings along by its own physics; naming it as well alleges nothing innocent.
const FOLLOWS: &[(&str, &str)] = &[
    // The same low voltage, seen at the drive.
    ("derated-by-low-supply", "supply-undervoltage"),
    // An interruption begins and ends through every lower voltage.
    ("supply-interruptions", "supply-dips"),
];

/// How a site was judged.
#[derive(Clone, Debug)]
pub struct Score {
    /// True causes; `healthy` alone when nothing is wrong.
    pub truth: Vec<&'static str>,
    /// Causes named, best first, with confidence.
    pub named: Vec<(&'static str, f64)>,
    /// Those named that are neither true nor follow from what is true.
    pub innocents: Vec<&'static str>,
    /// The first named is true, or not to be told from what is true, which is named too.
    pub top_right: bool,
    /// Every true cause is named.
    pub all_named: bool,
    /// True when the record holds what the faults do; not counted where it does not.
    pub shown: bool,
    /// Kinds of findings of severity `fault`.
    pub faults: Vec<&'static str>,
    /// Runs found, and runs that were.
    pub runs: (usize, usize),
    /// Stops by reason, found and true, where they differ.
    pub stops: String,
}

fn same(named: &str, truth: &str, pairs: &[(&str, &str)]) -> bool {
    pairs.iter().any(|(a, b)| *a == truth && *b == named)
}

fn twin(named: &str, truth: &str) -> bool {
    same(named, truth, TWINS) || same(truth, named, TWINS)
}

/// Holds `analysis` against `truth`.
pub fn score(visit: &Visit, truth: &Truth, analysis: &Analysis) -> Score {
    let words: Vec<&'static str> = truth.causes.iter().map(|cause| cause.word()).collect();
    let named: Vec<(&'static str, f64)> =
        analysis.verdict.iter().map(|v| (v.cause, v.confidence)).collect();
    let is_named = |word: &str| named.iter().any(|(n, _)| *n == word);
    let allowed = |name: &str| {
        name == "healthy"
            // A dip that leaves less than 5 % is an interruption (EN 50160); the truth counts it so.
            || (name == "supply-interruptions" && truth.count("interruption") > 0)
            || words.iter().any(|t| *t == name || twin(name, t) || same(name, t, FOLLOWS))
    };
    let innocents = named.iter().map(|n| n.0).filter(|n| !allowed(n)).collect();
    let top_right = named.first().is_some_and(|(top, _)| {
        words.iter().any(|t| t == top || (twin(top, t) && is_named(t)))
            || words.iter().any(|t| same(top, t, FOLLOWS) && is_named(t))
    });
    let faults = analysis
        .findings
        .iter()
        .filter(|f| f.severity == Severity::Fault)
        .map(|f| f.kind)
        .collect();
    let running = usize::from(truth.running_since_ms.is_some());
    Score {
        innocents,
        top_right,
        all_named: words.iter().all(|t| is_named(t)),
        shown: shown(visit, truth),
        faults,
        runs: (analysis.runs.len(), truth.runs.len() + running),
        stops: stops(truth, analysis),
        truth: words,
        named,
    }
}

/// True when what was inflicted has happened at all inside the record.
fn shown(visit: &Visit, truth: &Truth) -> bool {
    visit.causes.iter().all(|cause| match cause {
        Cause::SourceOverdrawn => truth.count_reason("dry-run") > 0,
        // A drive makes up for it by speed until it has none left.
        Cause::RestrictedIntake if drive(visit) => truth.count("falling-yield") > 0,
        Cause::MechanicalDrag => truth.count_reason("overload") > 0 || !truth.runs.is_empty(),
        Cause::LockedRotor => truth.count("locked-rotor") > 0,
        Cause::Overheating => truth.count_reason("over-temperature") > 2,
        Cause::OpenMotorCircuit => truth.count("no-draw") > 0,
        Cause::SupplyDips => truth.count("voltage-dip") > 0,
        Cause::SupplyInterruptions => truth.count("interruption") > 0,
        Cause::SupplyUndervoltage | Cause::DeratedByLowSupply => truth.count("undervoltage") > 0,
        Cause::SupplyOvervoltage => truth.count("overvoltage") > 0,
        Cause::TransducerWiring => truth.count("transducer-open") > 0,
        Cause::ControlHunting => truth.count("pressure-hunting") > 0,
        _ => true,
    })
}

fn drive(visit: &Visit) -> bool {
    matches!(visit.site.declared.control, Some(Control::ConstantPressure { .. }))
}

/// Counting stops by the word of their reason.
trait ByWord {
    fn count_reason(&self, word: &str) -> usize;
}

impl ByWord for Truth {
    fn count_reason(&self, word: &str) -> usize {
        self.runs.iter().filter(|run| run.stop_reason.word() == word).count()
    }
}

fn stops(truth: &Truth, analysis: &Analysis) -> String {
    let mut table: BTreeMap<String, (u32, u32)> = BTreeMap::new();
    for (reason, count) in &analysis.stops {
        let word = serde_json::to_value(reason).expect("a word");
        table.entry(word.as_str().unwrap_or_default().to_owned()).or_default().0 = *count;
    }
    for run in &truth.runs {
        table.entry(run.stop_reason.word().to_owned()).or_default().1 += 1;
    }
    let mut text = String::new();
    for (word, (found, really)) in table.iter().filter(|(_, (a, b))| a != b) {
        let _ = write!(text, "{word} {found}/{really} ");
    }
    text
}

/// A confusion matrix: true cause × first named.
#[derive(Clone, Debug, Default)]
pub struct Matrix {
    counts: BTreeMap<(&'static str, &'static str), u32>,
}

impl Matrix {
    /// Adds a site with one cause or none.
    pub fn add(&mut self, score: &Score) {
        if let [truth] = score.truth[..] {
            let top = score.named.first().map_or("(nothing)", |n| n.0);
            *self.counts.entry((truth, top)).or_default() += 1;
        }
    }

    /// One line each true cause.
    pub fn text(&self) -> String {
        let mut text = String::new();
        for (_, word) in Cause::WORDS {
            let row: Vec<String> = self
                .counts
                .iter()
                .filter(|((truth, _), _)| *truth == word)
                .map(|((_, top), count)| format!("{top} {count}"))
                .collect();
            if !row.is_empty() {
                let _ = writeln!(text, "| {word} | {} |", row.join(", "));
            }
        }
        text
    }
}
