//! A small robustness sweep: every cause and healthy sites through the real recorder and the
//! analysis. The large one is `examples/sweep.rs`.

use pumpwitness_analysis::analyse;
use pumpwitness_site_model::Cause;
use pumpwitness_tests::sweep::degrade::Harm;
use pumpwitness_tests::sweep::score::{Score, score};
use pumpwitness_tests::sweep::{draw, each, judge, record};

/// A seed of its own: none of the sites looked at while the analysis was written.
const FIRST_SEED: u64 = 7_000_000;

fn story(seed: u64, score: &Score) -> String {
    format!("site {seed}: {score:?}")
}

#[test]
fn causes_are_named_and_the_innocent_are_not() {
    let visits = draw::sweep(FIRST_SEED, 1, 8, 0.7, &[1.5]);
    assert!(visits.len() >= 33);
    let scores = each(&visits, judge);
    let told: Vec<String> = visits
        .iter()
        .zip(&scores)
        .filter(|(_, s)| s.shown && (!s.top_right || !s.innocents.is_empty()))
        .map(|(visit, s)| story(visit.seed, s))
        .collect();
    // The aim over hundreds is 97 % right and is not reached yet (`examples/sweep.rs` measures it);
    // this floor keeps what is.
    let shown = scores.iter().filter(|score| score.shown).count();
    assert!(told.len() * 4 <= shown, "{} of {shown}:\n{}", told.len(), told.join("\n"));
    for (visit, score) in visits.iter().zip(&scores) {
        assert!(score.runs.0.abs_diff(score.runs.1) <= 1, "{}", story(visit.seed, score));
        if score.truth == ["healthy"] {
            assert!(score.faults.is_empty(), "{}", story(visit.seed, score));
        }
    }
}

#[test]
fn a_worse_record_says_less_and_alleges_no_more() {
    let causes = [Cause::Healthy, Cause::WaterloggedTank, Cause::SourceOverdrawn];
    let visits: Vec<_> = causes
        .into_iter()
        .zip(FIRST_SEED + 500..)
        .map(|(cause, seed)| draw::one(seed, cause, 0.7, 1.5))
        .collect();
    let results = each(&visits, |visit| {
        let (recording, truth) = record(visit);
        Harm::ALL.map(|harm| {
            let analysis = analyse(&harm.apply(&recording), &visit.site.declared);
            (score(visit, &truth, &analysis), analysis)
        })
    });
    for (visit, harmed) in visits.iter().zip(&results) {
        for (harm, (score, analysis)) in Harm::ALL.iter().zip(harmed) {
            let told = story(visit.seed, score);
            assert!(score.innocents.is_empty(), "{harm:?} {told}");
            // What the record cannot speak about is said.
            if *harm == Harm::Thinned10s {
                let coarse = analysis.ruled_out.iter().any(|r| r.because.contains("too long"));
                assert!(coarse, "{harm:?} {told}");
            }
            if *harm == Harm::NoPressure {
                let blind = analysis.ruled_out.iter().any(|r| r.because.contains("pressure"));
                assert!(blind, "{harm:?} {told}");
            }
        }
    }
}
