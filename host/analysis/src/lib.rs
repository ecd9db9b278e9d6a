//! Columns in, findings out: what a recording shows about a pump installation, why, and what it
//! rules out. No clock, no file, no port.
//!
//! # Layers, in the order data passes them
//!
//! 1. [`scan`] goes over the rows once, batch after batch, and keeps summaries only: runs, rests,
//!    voltage events, loop faults, swings, minutes. The result is [`facts`].
//! 2. `levels` learns from the facts what is normal here: where the control switches, what the
//!    motor draws, how fast the tank fills, how the supply gives way.
//! 3. `stops` draws up the ledger: why each run stopped, and which starts were automatic restarts.
//! 4. `findings`, one file each, say what was observed, each against a limit of [`limits`], the
//!    site file, or the record itself.
//! 5. `causes`, one table, weigh the findings for and against each cause, name those that hold and
//!    say of the others why the record contradicts them or cannot speak about them.
//! 6. `statistics` gives the figures.
//!
//! # Words
//!
//! *row* mean, minimum and maximum over a span, timed by its end · *run* one start-to-stop · *rest*
//! the time between · *band* from the pressure that starts the pump to the one that stops it ·
//! *loaded* moving water · *own start* a dip that follows from this pump's own starting current ·
//! *settled* up to speed.

mod case;
mod causes;
mod ceiling;
pub mod facts;
mod findings;
mod levels;
pub mod limits;
mod marks;
pub mod outcome;
mod robust;
pub mod scan;
mod statistics;
mod stops;
mod thermal;
mod unbalance;
mod voltage_class;
mod words;

use crate::case::Case;
use crate::causes::View;
use crate::findings::moment;
use crate::levels::Levels;
use crate::outcome::{Analysis, Gap, RecordingSummary, Run, SCHEMA};
use crate::scan::{Load, Plan, Scanner};
use crate::stops::Ledger;
use pumpwitness_recording::Recording;
use pumpwitness_site_file::Site;
use std::collections::BTreeMap;

/// Analyses a recording against what its owner declares. Never fails: what cannot be judged is said
/// to be so.
pub fn analyse(recording: &Recording, site: &Site) -> Analysis {
    let plan = Plan::new(&recording.columns, site);
    let mut scanner = Scanner::new(plan.clone());
    scanner.feed(&recording.columns);
    let mut facts = scanner.finish();
    marks::apply(&recording.marks, &plan, &mut facts);
    let levels = Levels::learn(&facts, site, &plan);
    let ledger = Ledger::new(&facts, &levels, &plan, &recording.marks, site);
    let case = Case {
        facts: &facts,
        site,
        plan: &plan,
        levels: &levels,
        ledger: &ledger,
        marks: &recording.marks,
    };
    let findings = findings::find(&case);
    let (verdict, ruled_out) = causes::judge(&View { case: &case, findings: &findings });
    let statistics = statistics::all(&case);

    let mut stops = BTreeMap::new();
    for reason in ledger.reasons.iter().flatten() {
        *stops.entry(*reason).or_insert(0) += 1;
    }
    let starts: Vec<i64> =
        facts.runs.iter().filter(|r| r.start_seen).map(|r| r.time.start_ms).collect();
    Analysis {
        schema: SCHEMA,
        recording: RecordingSummary {
            start: moment(facts.start_ms),
            end: moment(facts.end_ms),
            covered_s: facts.covered_ms as f64 / 1000.0,
            rows: facts.rows,
            runs_from: match plan.load {
                Load::Current => "current",
                Load::Power => "power",
                Load::Pressure => "pressure",
                Load::None => "nothing",
            },
            sha256: recording.source.sha256.clone(),
            gaps: facts
                .gaps
                .iter()
                .map(|g| Gap { start: moment(g.start_ms), end: moment(g.end_ms) })
                .collect(),
        },
        runs: runs(&case),
        stops,
        starts_per_day: starts.len() as f64 / case.days(),
        starts_per_hour_max: findings::most_starts_per_hour(&starts) as f64,
        findings,
        verdict,
        ruled_out,
        statistics,
    }
}

fn runs(case: &Case) -> Vec<Run> {
    let some = |value: f64| value.is_finite().then_some((value * 1e4).round() / 1e4);
    case.facts
        .runs
        .iter()
        .zip(&case.ledger.reasons)
        .zip(&case.ledger.automatic)
        .enumerate()
        .map(|(n, ((run, reason), automatic))| Run {
            start: moment(run.time.start_ms),
            stop: moment(run.time.end_ms),
            duration_s: run.time.seconds(),
            peak_current_a: some(run.peak_a),
            running_current_a: some(run.current_a),
            start_pressure_bar: some(run.start_bar),
            stop_pressure_bar: some(run.stop_bar),
            stop_reason: *reason,
            automatic_restart: *automatic,
            lamp: case.ledger.lamps.get(&n).map(|said| said.label.clone()),
        })
        .collect()
}

#[cfg(test)]
mod tests;
