//! `compare`: two records, before and after a repair or of two sites, as a report of what changed.

use crate::args::{Compare, Input};
use crate::commands::report::{self, Form};
use crate::failure::{Context, Failure};
use crate::load::{self, Loaded};
use crate::output;
use jiff::Timestamp;
use pumpwitness_analysis::analyse;
use pumpwitness_analysis::outcome::Analysis;
use pumpwitness_comparison::Side;
use std::path::{Path, PathBuf};

/// Compares two recordings.
pub fn run(arguments: &Compare) -> Result<(), Failure> {
    let form = arguments.out.as_deref().map(Form::of).transpose()?;
    if form.is_none() && !arguments.json {
        return Err(Failure::usage(
            "name the file to write with --out FILE.html or --out FILE.pdf, or ask for --json",
        ));
    }
    let second_site = arguments.second_site.as_ref().or(arguments.site.as_ref());
    let first = read(arguments, &arguments.first, arguments.site.as_ref())?;
    let second = read(arguments, &arguments.second, second_site)?;
    let comparison = pumpwitness_comparison::compare(&side_of(&first), &side_of(&second));
    if arguments.json {
        let json = serde_json::to_string_pretty(&comparison).or_input("cannot write JSON")?;
        output::print(&format!("{json}\n"))?;
    }
    let (Some(form), Some(out)) = (form, &arguments.out) else { return Ok(()) };
    let now = Timestamp::now();
    let inputs = (
        report::input(&first.0, &first.1, None, now),
        report::input(&second.0, &second.1, None, now),
    );
    let bytes = match form {
        Form::Html => {
            pumpwitness_report::compared_html(&inputs.0, &inputs.1, &comparison).into_bytes()
        }
        Form::Pdf => pumpwitness_report::compared_pdf(&inputs.0, &inputs.1, &comparison)
            .map_err(Failure::input)?,
    };
    output::write_file(out, &bytes)?;
    if arguments.json {
        return Ok(());
    }
    output::print(&format!("comparison written to {}\n", out.display()))
}

/// A record, read and analysed.
fn read(
    arguments: &Compare,
    recording: &Path,
    site: Option<&PathBuf>,
) -> Result<(Loaded, Analysis), Failure> {
    let loaded = load::recording(&Input {
        recording: recording.to_path_buf(),
        site: site.cloned(),
        reading: arguments.reading.clone(),
    })?;
    let analysis = analyse(&loaded.recording, &loaded.site);
    Ok((loaded, analysis))
}

fn side_of((loaded, analysis): &(Loaded, Analysis)) -> Side<'_> {
    Side { analysis, recording: &loaded.recording }
}
