//! Tests of the whole: small plants of our own invention, each with one knob turned. They show that
//! a cause is found from what it does, and that nothing else is named; the independent judge is the
//! suite of sample sites.

mod coarse;
mod current;
mod many;
mod marks;
mod plant;
mod sound;
mod stops;
mod water;
mod words;

use crate::analyse;
use crate::outcome::Analysis;
use plant::Plant;

fn causes(analysis: &Analysis) -> Vec<&'static str> {
    analysis.verdict.iter().map(|v| v.cause).collect()
}

fn run(plant: &Plant) -> Analysis {
    analyse(&plant.record(), &plant.site())
}

#[track_caller]
fn names_only(plant: &Plant, wanted: &[&str], tolerated: &[&str]) -> Analysis {
    let analysis = run(plant);
    let named = causes(&analysis);
    let story = || {
        let findings: Vec<_> = analysis
            .findings
            .iter()
            .map(|f| format!("{} {:?} {:.2} {:?}", f.kind, f.severity, f.confidence, f.measured))
            .collect();
        format!(
            "named {:?}, wanted {wanted:?}, {} runs, stops {:?}\n{}",
            analysis.verdict.iter().map(|v| (v.cause, v.confidence)).collect::<Vec<_>>(),
            analysis.runs.len(),
            analysis.stops,
            findings.join("\n")
        )
    };
    for (n, cause) in wanted.iter().enumerate() {
        assert_eq!(named.get(n), Some(cause), "{}", story());
    }
    for cause in &named[wanted.len()..] {
        assert!(tolerated.contains(cause), "alleged {cause}: {}", story());
    }
    analysis
}
