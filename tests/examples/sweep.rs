//! The robustness sweep over hundreds of invented sites; prints tables for the notes.
//!
//! `cargo run --release -p pumpwitness-tests --example sweep -- [OPTION VALUE]...`
//!
//! | option | what it takes | if not given |
//! |---|---|---|
//! | `--sites-per-cause` | sites of each cause, severities spread evenly from `--mildest` to 1 | 12 |
//! | `--healthy` | sound sites | 36 |
//! | `--two` | sites with two causes at once | 36 |
//! | `--first-seed` | number of the first site; all chance follows from a site's number | 1000 |
//! | `--cause` | only sites with this cause (its word); may be given again for another | all |
//! | `--days` | lengths of the records in days, taken in turn, parted by commas | 1.5,2,3,7 |
//! | `--mildest` | least severity, 0 (just there) to 1 (gross) | 0.25 |
//! | `--ramps` | sites of each cause visited again and again with rising severity | 0 |
//! | `--steps` | severities of such a site, evenly from 0 to 1 | 8 |
//! | `--no-harms` | leaves out judging each record made worse (see `sweep/degrade.rs`); no value | |
//!
//! Printed: each site that came out otherwise than it is; the confusion matrix; shares of right and
//! wrong; the same for records made worse; for the ramps, by cause, how the confidence goes with the
//! severity.

use pumpwitness_analysis::analyse;
use pumpwitness_site_model::Cause;
use pumpwitness_tests::sweep::degrade::Harm;
use pumpwitness_tests::sweep::draw::{self, Sizes, Visit};
use pumpwitness_tests::sweep::options::Options;
use pumpwitness_tests::sweep::ramp::{kendall, largest_fall};
use pumpwitness_tests::sweep::score::{Matrix, Score, score};
use pumpwitness_tests::sweep::{each, record};
use std::process::ExitCode;
use std::time::Instant;

struct Judged {
    whole: Score,
    harmed: Vec<(Harm, Score)>,
}

fn judge(visit: &Visit, harms: bool) -> Judged {
    let (recording, truth) = record(visit);
    let site = &visit.site.declared;
    let whole = score(visit, &truth, &analyse(&recording, site));
    let harms = if harms { &Harm::ALL[..] } else { &[] };
    let harmed = harms
        .iter()
        .map(|harm| (*harm, score(visit, &truth, &analyse(&harm.apply(&recording), site))))
        .collect();
    Judged { whole, harmed }
}

fn share(part: usize, whole: usize) -> String {
    format!("{part} of {whole} ({:.1} %)", 100.0 * part as f64 / whole.max(1) as f64)
}

fn main() -> ExitCode {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let options = match Options::parse(&arguments) {
        Ok(options) => options,
        Err(told) => {
            eprintln!("{told}");
            return ExitCode::from(2);
        }
    };
    let sizes =
        Sizes { per_cause: options.sites_per_cause, healthy: options.healthy, two: options.two };
    let mut visits = draw::sweep(options.first_seed, sizes, options.mildest, &options.days);
    if !options.causes.is_empty() {
        let wanted = |cause: &Cause| options.causes.iter().any(|word| word == cause.word());
        visits.retain(|visit| match visit.causes[..] {
            [] => wanted(&Cause::Healthy),
            ref causes => causes.iter().any(wanted),
        });
    }
    let begun = Instant::now();
    let judged = each(&visits, |visit| judge(visit, options.harms));
    let seconds = begun.elapsed().as_secs_f64();
    tell_sites(&visits, &judged);
    println!("\n{} sites in {seconds:.0} s", visits.len());
    tell_matrix(&judged);
    tell_shares(&judged);
    if options.harms {
        tell_harms(&judged);
    }
    if options.ramps > 0 {
        tell_ramps(&options);
    }
    ExitCode::SUCCESS
}

fn tell_sites(visits: &[Visit], judged: &[Judged]) {
    for (visit, judged) in visits.iter().zip(judged) {
        let score = &judged.whole;
        let sound = score.truth == ["healthy"];
        if !score.top_right
            || !score.innocents.is_empty()
            || score.runs.0 != score.runs.1
            || !score.stops.is_empty()
            || (sound && !score.faults.is_empty())
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
        for (harm, score) in &judged.harmed {
            if !score.innocents.is_empty() || (sound && !score.faults.is_empty()) {
                println!(
                    "  {} {:?} {:.2?} {harm:?}: named {:?} innocent {:?} faults {:?}",
                    visit.seed,
                    score.truth,
                    visit.severities,
                    score.named,
                    score.innocents,
                    score.faults
                );
            }
        }
    }
}

fn tell_matrix(judged: &[Judged]) {
    let mut matrix = Matrix::default();
    for judged in judged.iter().filter(|j| j.whole.shown) {
        matrix.add(&judged.whole);
    }
    println!("\n| true | first named |\n|---|---|\n{}", matrix.text());
}

fn tell_shares(judged: &[Judged]) {
    let scores: Vec<&Score> = judged.iter().map(|j| &j.whole).filter(|s| s.shown).collect();
    let of = |count: usize| scores.iter().copied().filter(move |s| s.truth.len() == count);
    let right = |count| of(count).filter(|s| s.top_right).count();
    let sound = |s: &&Score| s.truth == ["healthy"];
    let healthy: Vec<&Score> = of(1).filter(sound).collect();
    let faulty: Vec<&Score> = of(1).filter(|s| !sound(s)).collect();
    println!("top cause right, none or one cause: {}", share(right(1), of(1).count()));
    let one = faulty.iter().filter(|s| s.top_right).count();
    println!("top cause right, one cause: {}", share(one, faulty.len()));
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
}

fn tell_harms(judged: &[Judged]) {
    println!(
        "\n| record made worse | innocent alleged | healthy with a fault | top cause right |\n\
         |---|---|---|---|"
    );
    for (n, harm) in Harm::ALL.into_iter().enumerate() {
        let all: Vec<&Score> = judged.iter().map(|j| &j.harmed[n].1).collect();
        let healthy: Vec<_> = all.iter().filter(|s| s.truth == ["healthy"]).collect();
        println!(
            "| {harm:?} | {} | {} | {} |",
            share(all.iter().filter(|s| !s.innocents.is_empty()).count(), all.len()),
            share(healthy.iter().filter(|s| !s.faults.is_empty()).count(), healthy.len()),
            share(all.iter().filter(|s| s.top_right).count(), all.len())
        );
    }
}

/// The confidence in a cause, as named, by severity; 0 where it is not named.
fn tell_ramps(options: &Options) {
    println!(
        "\n| cause | sites | Kendall's τ-b: least, median | largest fall | confidence by severity, median |\n\
         |---|---|---|---|---|"
    );
    let first = options.first_seed + 1_000;
    for (n, (cause, word)) in (0..).zip(Cause::WORDS) {
        let wanted = options.causes.is_empty() || options.causes.iter().any(|w| w == word);
        if cause == Cause::Healthy || !wanted {
            continue;
        }
        let seeds = first + n * options.ramps..first + (n + 1) * options.ramps;
        let visits: Vec<Visit> = seeds
            .flat_map(|seed| draw::ramp(seed, cause, options.steps, options.days[0]))
            .collect();
        let confidences = each(&visits, |visit| {
            let (recording, _) = record(visit);
            let analysis = analyse(&recording, &visit.site.declared);
            analysis.verdict.iter().find(|v| v.cause == word).map_or(0.0, |v| v.confidence)
        });
        let severities: Vec<f64> = visits.iter().map(|v| v.severities[0]).collect();
        let pairs: Vec<(f64, f64)> = severities.into_iter().zip(confidences).collect();
        let sites: Vec<&[(f64, f64)]> = pairs.chunks(options.steps as usize).collect();
        let mut taus: Vec<f64> = sites.iter().filter_map(|pairs| kendall(pairs)).collect();
        taus.sort_by(f64::total_cmp);
        let falls = sites.iter().map(|pairs| largest_fall(pairs));
        let middle = (0..options.steps as usize).map(|step| {
            let mut at: Vec<f64> = sites.iter().map(|pairs| pairs[step].1).collect();
            at.sort_by(f64::total_cmp);
            format!("{:.2}", at[at.len() / 2])
        });
        let tau = |n: usize| taus.get(n).map_or("–".to_owned(), |tau| format!("{tau:.2}"));
        println!(
            "| {word} | {} | {}, {} | {:.2} | {} |",
            sites.len(),
            tau(0),
            tau(taus.len() / 2),
            falls.fold(0.0, f64::max),
            middle.collect::<Vec<_>>().join(" ")
        );
    }
}
