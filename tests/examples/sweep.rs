//! The robustness sweep over hundreds of invented sites; prints a table for the notes.
//!
//! `cargo run --release -p pumpwitness-tests --example sweep [SITES-PER-CAUSE [FIRST-SEED [CAUSE]]]`

use pumpwitness_analysis::analyse;
use pumpwitness_tests::sweep::degrade::Harm;
use pumpwitness_tests::sweep::draw::{self, Visit};
use pumpwitness_tests::sweep::score::{Matrix, Score, score};
use pumpwitness_tests::sweep::{each, record};
use std::time::Instant;

/// Severity from which a fault counts in the share of right answers; below, silence is no error.
const MILDEST: f64 = 0.25;
/// Lengths of the records, days.
const DAYS: [f64; 4] = [1.5, 2.0, 3.0, 7.0];

struct Judged {
    whole: Score,
    harmed: Vec<(Harm, Score)>,
}

fn judge(visit: &Visit) -> Judged {
    let (recording, truth) = record(visit);
    let site = &visit.site.declared;
    let whole = score(visit, &truth, &analyse(&recording, site));
    let harmed = Harm::ALL
        .into_iter()
        .map(|harm| (harm, score(visit, &truth, &analyse(&harm.apply(&recording), site))))
        .collect();
    Judged { whole, harmed }
}

fn share(part: usize, whole: usize) -> String {
    format!("{part} of {whole} ({:.1} %)", 100.0 * part as f64 / whole.max(1) as f64)
}

fn main() {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let number = |n: usize, or: u64| arguments.get(n).and_then(|a| a.parse().ok()).unwrap_or(or);
    let per_cause = number(0, 12);
    let mut visits = draw::sweep(number(1, 1000), per_cause, 3 * per_cause, MILDEST, &DAYS);
    if let Some(word) = arguments.get(2) {
        visits.retain(|visit| visit.causes.iter().any(|cause| cause.word() == word));
    }
    let begun = Instant::now();
    let judged = each(&visits, judge);
    let seconds = begun.elapsed().as_secs_f64();

    let mut matrix = Matrix::default();
    for (visit, judged) in visits.iter().zip(&judged) {
        let score = &judged.whole;
        if score.shown {
            matrix.add(score);
        }
        let wrong_runs = score.runs.0 != score.runs.1;
        if !score.top_right || !score.innocents.is_empty() || wrong_runs || !score.stops.is_empty()
        {
            println!(
                "{} {:?} {:.2?} {} d{}: named {:?} innocent {:?} faults {:?} runs {:?} stops {}",
                visit.seed,
                score.truth,
                visit.severities,
                visit.days,
                if score.shown { "" } else { " (did not happen)" },
                score.named,
                score.innocents,
                score.faults,
                score.runs,
                score.stops,
            );
        }
        for (harm, score) in judged.harmed.iter().filter(|(_, s)| !s.innocents.is_empty()) {
            println!("  {} {:?} {harm:?}: {:?}", visit.seed, score.truth, score.named);
        }
    }

    println!("\n{} sites in {seconds:.0} s\n\n| true | first named |\n|---|---|", visits.len());
    print!("{}", matrix.text());
    let scores: Vec<&Score> = judged.iter().map(|j| &j.whole).filter(|s| s.shown).collect();
    let of = |count: usize| scores.iter().copied().filter(move |s| s.truth.len() == count);
    let right = |count| of(count).filter(|s| s.top_right).count();
    let healthy: Vec<&Score> = of(1).filter(|s| s.truth == ["healthy"]).collect();
    println!("\ntop cause right, none or one cause: {}", share(right(1), of(1).count()));
    println!("top cause right, two causes: {}", share(right(2), of(2).count()));
    let both = of(2).filter(|s| s.all_named).count();
    println!("both causes named: {}", share(both, of(2).count()));
    let alleged = healthy.iter().filter(|s| !s.faults.is_empty()).count();
    println!("healthy sites with a fault: {}", share(alleged, healthy.len()));
    let innocent = judged.iter().filter(|j| !j.whole.innocents.is_empty()).count();
    println!("sites with an innocent alleged: {}", share(innocent, judged.len()));
    let exact = judged.iter().filter(|j| j.whole.runs.0.abs_diff(j.whole.runs.1) <= 1).count();
    println!("runs counted within one: {}", share(exact, judged.len()));
    let found: usize = judged.iter().map(|j| j.whole.runs.0).sum();
    let really: usize = judged.iter().map(|j| j.whole.runs.1).sum();
    println!("runs counted in all: {found} of {really}");
    println!("\n| record made worse | innocent alleged | top cause right |\n|---|---|---|");
    for (n, harm) in Harm::ALL.into_iter().enumerate() {
        let all = judged.iter().map(|j| &j.harmed[n].1);
        let innocent = all.clone().filter(|s| !s.innocents.is_empty()).count();
        let right = all.filter(|s| s.top_right).count();
        println!(
            "| {harm:?} | {} | {} |",
            share(innocent, judged.len()),
            share(right, judged.len())
        );
    }
}
