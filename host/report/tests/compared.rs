//! The comparison of two records as a page and on paper.

mod fixture;

use fixture::{Made, made};
use pumpwitness_comparison::Side;
use pumpwitness_comparison::outcome::{Change, Comparison, Overall};

fn compare(first: &Made, second: &Made) -> Comparison {
    let first = Side { analysis: &first.analysis, recording: &first.recording };
    let second = Side { analysis: &second.analysis, recording: &second.recording };
    pumpwitness_comparison::compare(&first, &second)
}

/// The fixture without anything wrong, a week later.
fn mended() -> Made {
    let mut made = made(4, 5000);
    made.analysis.findings.clear();
    for verdict in made.analysis.verdict.drain(..) {
        made.analysis.ruled_out.push(pumpwitness_analysis::outcome::RuledOut {
            cause: verdict.cause,
            because: "The tank holds 100 % of its declared gas.".into(),
            contradicted: true,
        });
    }
    made.analysis.verdict.push(pumpwitness_analysis::outcome::Verdict {
        cause: "healthy",
        points_to: pumpwitness_analysis::outcome::PointsTo::None,
        confidence: 0.9,
        speaks_for: Vec::new(),
        against: Vec::new(),
        next_checks: Vec::new(),
        text: "Nothing wrong.".into(),
    });
    made
}

#[test]
fn what_is_mended_is_gone_and_said_on_page_one() {
    let (before, after) = (made(4, 5000), mended());
    let comparison = compare(&before, &after);
    assert!(comparison.causes.iter().all(|cause| cause.second.is_none()));
    assert!(matches!(comparison.overall, Overall::Gone | Overall::NotSeenAgain));
    let page = pumpwitness_report::compared_html(&before.input(), &after.input(), &comparison);
    let end = page.find("id=\"contents\"").unwrap();
    assert!(page[..end].contains("What the first record showed"), "the result");
    assert!(page[..end].contains("The second record does not begin after the end"), "its weakness");
    assert!(!page.contains("<script"), "nothing runs in it");
    let pdf = pumpwitness_report::compared_pdf(&before.input(), &after.input(), &comparison);
    assert!(pdf.unwrap().starts_with(b"%PDF-1.7"));
}

#[test]
fn a_rare_finding_is_not_called_gone_too_soon() {
    let mut before = made(10, 20_000);
    let mut after = mended();
    after.analysis.recording.covered_s = 0.5 * 86_400.0;
    before.analysis.findings.truncate(1);
    before.analysis.findings[0].occurrences.truncate(1);
    let comparison = compare(&before, &after);
    let finding = &comparison.findings[0];
    assert_eq!(finding.change, Change::NotSeenAgain);
    assert!(finding.chance_unseen.unwrap() > 0.5, "one day in ten showed it");
}

#[test]
fn a_record_does_not_differ_from_itself() {
    let made = made(5, 10_000);
    let comparison = compare(&made, &made);
    for rate in &comparison.rates {
        assert!((rate.p - 1.0).abs() < 1e-6, "{rate:?}");
    }
    for measure in &comparison.measures {
        assert_eq!(measure.difference, 0.0, "{measure:?}");
    }
    assert!(comparison.findings.iter().all(|finding| finding.change == Change::Remains));
    assert_eq!(comparison.overall, Overall::Remains);
}
