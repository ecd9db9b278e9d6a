//! `report`: the evidence report as one file.

use crate::args::Report;
use crate::failure::Failure;
use crate::load::{self, Loaded};
use crate::output;
use jiff::Timestamp;
use pumpwitness_analysis::analyse;
use pumpwitness_analysis::outcome::Analysis;
use pumpwitness_report::ReportInput;

/// Writes the report of a recording.
pub fn run(arguments: &Report) -> Result<(), Failure> {
    let ending = arguments.out.extension().and_then(|ending| ending.to_str()).unwrap_or("");
    if !matches!(ending.to_ascii_lowercase().as_str(), "html" | "htm") {
        return Err(Failure::usage(format_args!(
            "--out {}: the report is written as HTML, name a file that ends in .html",
            arguments.out.display()
        )));
    }
    let loaded = load::recording(&arguments.input)?;
    let analysis = analyse(&loaded.recording, &loaded.site);
    let html = html(&loaded, &analysis);
    output::write_file(&arguments.out, html.as_bytes())?;
    output::print(&format!("report written to {}\n", arguments.out.display()))
}

/// The report of an analysed recording, made now.
pub fn html(loaded: &Loaded, analysis: &Analysis) -> String {
    pumpwitness_report::html(&ReportInput {
        analysis,
        recording: &loaded.recording,
        site: &loaded.site,
        generated: Timestamp::now(),
        program_version: env!("CARGO_PKG_VERSION"),
    })
}
