//! `analyse`: what the record shows.

use crate::args::Analyse;
use crate::failure::{Context, Failure};
use crate::{load, output, summary};
use pumpwitness_analysis::analyse;

/// Prints the analysis of a recording.
pub fn run(arguments: &Analyse) -> Result<(), Failure> {
    let loaded = load::recording(&arguments.input)?;
    let analysis = analyse(&loaded.recording, &loaded.site);
    if arguments.json {
        let json = serde_json::to_string_pretty(&analysis).or_input("cannot write JSON")?;
        return output::print(&format!("{json}\n"));
    }
    for loss in &loaded.recording.source.losses {
        eprintln!("pumpwitness: note: {loss}");
    }
    output::print(&summary::full(&analysis, &loaded.zone))
}
