//! `analyse`: what the record shows.

use crate::args::Analyse;
use crate::failure::{Context, Failure};
use crate::integrity::{self, Short};
use crate::{load, output, summary};
use pumpwitness_analysis::analyse;
use pumpwitness_analysis::outcome::Analysis;
use pumpwitness_evidence::Verification;
use serde::Serialize;

/// Prints the analysis of a recording.
pub fn run(arguments: &Analyse) -> Result<(), Failure> {
    let loaded = load::recording(&arguments.input)?;
    let analysis = analyse(&loaded.recording, &loaded.site);
    if arguments.json {
        let kind = loaded.recording.source.kind;
        let verification = integrity::verification(&arguments.input.recording, kind, None)?;
        return output::print(&json(&analysis, verification.as_ref())?);
    }
    for loss in &loaded.recording.source.losses {
        eprintln!("pumpwitness: note: {loss}");
    }
    output::print(&summary::full(&analysis, &loaded.zone))
}

/// The analysis, and what the archive proves.
#[derive(Serialize)]
struct WithIntegrity<'a> {
    #[serde(flatten)]
    analysis: &'a Analysis,
    /// Null for a table, which carries no proof.
    integrity: Option<Short<'a>>,
}

/// The analysis as JSON, with what the archive proves under `integrity`.
pub fn json(analysis: &Analysis, verification: Option<&Verification>) -> Result<String, Failure> {
    let integrity = verification.map(Short::from);
    let json = serde_json::to_string_pretty(&WithIntegrity { analysis, integrity })
        .or_input("cannot write JSON")?;
    Ok(json + "\n")
}
