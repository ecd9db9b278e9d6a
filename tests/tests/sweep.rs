//! A small robustness sweep: every cause and healthy sites through the real recorder and the
//! analysis. The large one is `examples/sweep.rs`.

use pumpwitness_analysis::analyse;
use pumpwitness_site_model::Cause;
use pumpwitness_tests::sweep::degrade::Harm;
use pumpwitness_tests::sweep::draw::Sizes;
use pumpwitness_tests::sweep::score::{Score, score};
use pumpwitness_tests::sweep::{draw, each, judge, record};

/// A seed of its own: none of the sites looked at while the analysis was written.
const FIRST_SEED: u64 = 7_000_000;

fn story(seed: u64, score: &Score) -> String {
    format!("site {seed}: {score:?}")
}

#[test]
fn causes_are_named_and_the_innocent_are_not() {
    let visits = draw::sweep(FIRST_SEED, Sizes { per_cause: 1, healthy: 3, two: 8 }, 0.7, &[1.5]);
    assert!(visits.len() >= 33);
    let scores = each(&visits, judge);
    let told: Vec<String> = visits
        .iter()
        .zip(&scores)
        .filter(|(_, s)| s.shown && (!s.top_right || !s.innocents.is_empty()))
        .map(|(visit, s)| story(visit.seed, s))
        .collect();
    // Over hundreds at least 97 % are right (`examples/sweep.rs` measures it): of these few, one may
    // be wrong.
    let shown = scores.iter().filter(|score| score.shown).count();
    assert!(told.len() <= 1, "{} of {shown}:\n{}", told.len(), told.join("\n"));
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

/// The worse the fault, the surer the analysis: along ramps of severity on one and the same site the
/// confidence in the true cause does not fall by more than a hair, and no site at the gross end is
/// left without its cause.
#[test]
fn confidence_grows_with_severity() {
    let causes = [
        Cause::WaterloggedTank,
        Cause::DifferentialTooNarrow,
        Cause::IdleDraw,
        Cause::RestrictedIntake,
        Cause::MechanicalDrag,
        Cause::SupplyDips,
        Cause::TransducerWiring,
        Cause::SourceOverdrawn,
    ];
    let severities = [0.0, 0.33, 0.67, 1.0];
    let visits: Vec<_> = causes
        .iter()
        .zip(FIRST_SEED + 900..)
        .flat_map(|(cause, seed)| severities.map(|severity| draw::one(seed, *cause, severity, 1.5)))
        .collect();
    let scores = each(&visits, judge);
    for (ramp, visits) in scores.chunks(severities.len()).zip(visits.chunks(severities.len())) {
        let sure = |score: &Score| {
            let named = score.named.iter().filter(|(name, _)| {
                score.truth.contains(name) || *name == "check-valve-leak" || *name == "idle-draw"
            });
            named.map(|(_, confidence)| *confidence).fold(0.0, f64::max)
        };
        let line: Vec<f64> = ramp.iter().map(sure).collect();
        let told = || format!("{:?} seed {}: {line:?}", visits[0].causes, visits[0].seed);
        assert!(line.windows(2).all(|pair| pair[1] > pair[0] - 0.05), "{}", told());
        // To which side of the tank water leaves, no pressure tells: neither may be very sure.
        let least = if visits[0].causes == [Cause::IdleDraw] { 0.5 } else { 0.6 };
        assert!(line[line.len() - 1] > least, "{}", told());
    }
}
