//! `report`: the evidence report as one file.

use crate::args::Report;
use crate::beside::beside;
use crate::failure::Failure;
use crate::load::{self, Loaded};
use crate::{integrity, output};
use jiff::Timestamp;
use pumpwitness_analysis::analyse;
use pumpwitness_analysis::outcome::Analysis;
use pumpwitness_report::{Integrity, ReportInput};
use std::path::Path;

/// What a report can be written as.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Form {
    /// One HTML file.
    Html,
    /// One PDF file.
    Pdf,
}

impl Form {
    /// The form that the ending of `path` asks for.
    pub fn of(path: &Path) -> Result<Self, Failure> {
        let ending = path.extension().and_then(|ending| ending.to_str()).unwrap_or("");
        match ending.to_ascii_lowercase().as_str() {
            "html" | "htm" => Ok(Self::Html),
            "pdf" => Ok(Self::Pdf),
            _ => Err(Failure::usage(format_args!(
                "--out {}: name a file that ends in .html or .pdf",
                path.display()
            ))),
        }
    }
}

/// Writes the report of a recording.
pub fn run(arguments: &Report) -> Result<(), Failure> {
    let form = Form::of(&arguments.out)?;
    let loaded = load::recording(&arguments.input)?;
    let kind = loaded.recording.source.kind;
    let (integrity, analysis) = beside(
        || integrity::check(&arguments.input.recording, kind, arguments.trust.as_deref()),
        || analyse(&loaded.recording, &loaded.site),
    );
    let integrity = integrity?;
    let bytes = bytes(&input(&loaded, &analysis, integrity.as_ref(), Timestamp::now()), form)?;
    output::write_file(&arguments.out, &bytes)?;
    output::print(&format!("report written to {}\n", arguments.out.display()))
}

/// What a report of an analysed recording is made of; `integrity` as [`integrity::check`] gives it.
pub fn input<'a>(
    loaded: &'a Loaded,
    analysis: &'a Analysis,
    integrity: Option<&'a Integrity>,
    generated: Timestamp,
) -> ReportInput<'a> {
    ReportInput {
        analysis,
        recording: &loaded.recording,
        site: &loaded.site,
        integrity,
        generated,
        program_version: env!("CARGO_PKG_VERSION"),
    }
}

/// The report in a form. The same input gives the same bytes.
pub fn bytes(input: &ReportInput<'_>, form: Form) -> Result<Vec<u8>, Failure> {
    match form {
        Form::Html => Ok(pumpwitness_report::html(input).into_bytes()),
        Form::Pdf => pumpwitness_report::pdf(input).map_err(Failure::input),
    }
}
