//! Recordings and site files from disk, as every command that reads them does it.

use crate::args::{Input, TableChoice};
use crate::failure::{Context, Failure, FileContext, unread};
use jiff::tz::TimeZone;
use pumpwitness_recording::{FileError, ImportOptions, Problem, Recording, clock, read_any};
use pumpwitness_site_file::Site;
use std::fs;
use std::path::Path;

/// A recording and the site it was made at.
#[derive(Clone)]
pub struct Loaded {
    /// The recording.
    pub recording: Recording,
    /// The site.
    pub site: Site,
    /// Its time zone.
    pub zone: TimeZone,
}

/// Longest site file that is read; the parser has a tighter limit of its own.
const SITE_FILE_BYTES_MAX: u64 = 1 << 20;

/// Reads and checks a site file; gives its text too.
pub fn site(path: &Path) -> Result<(Site, String), Failure> {
    let place = path.display();
    let size = fs::metadata(path).or_unread(format_args!("site file {place}"))?.len();
    if size > SITE_FILE_BYTES_MAX {
        return Err(Failure::input(format_args!(
            "{place} has {size} bytes: that is no site file, name the TOML file of the site"
        )));
    }
    let text = fs::read_to_string(path).or_unread(format_args!("site file {place}"))?;
    let site = pumpwitness_site_file::parse(&text).or_input(format_args!("site file {place}"))?;
    zone(&site).map_err(|failure| Failure::input(format_args!("site file {place}: {failure}")))?;
    for warning in site.warnings() {
        eprintln!("pumpwitness: note: site file {place}: {warning}");
    }
    Ok((site, text))
}

/// The time zone of a site; UTC where none is declared.
pub fn zone(site: &Site) -> Result<TimeZone, Failure> {
    let name = site.time_zone.as_deref().unwrap_or("UTC");
    clock::zone(name).map_err(Failure::input)
}

/// Reads the recording of `input` with the site file named there, or the one it carries.
pub fn recording(input: &Input) -> Result<Loaded, Failure> {
    let named = input.site.as_deref().map(site).transpose()?;
    let options = import_options(&input.reading)?;
    let recording = read_any(&input.recording, &options, named.as_ref().map(|(site, _)| site))
        .map_err(no_recording)?;
    let site = match (named, &recording.source.site_text) {
        (Some((site, _)), _) => site,
        (None, Some(text)) => pumpwitness_site_file::parse(text).or_input(format_args!(
            "the site file carried in {} (name another with --site)",
            input.recording.display()
        ))?,
        (None, None) => {
            return Err(Failure::usage(format_args!(
                "{} carries no site file: name it with --site SITE.toml",
                input.recording.display()
            )));
        }
    };
    let zone = zone(&site)?;
    Ok(Loaded { recording, site, zone })
}

/// Why a file gave no recording.
pub fn no_recording(error: FileError) -> Failure {
    match error.problem {
        Problem::Io(problem) => unread(error.file, &problem),
        _ => Failure::input(error),
    }
}

/// What the user said about reading a table.
pub fn import_options(choice: &TableChoice) -> Result<ImportOptions, Failure> {
    if let Some(name) = &choice.time_zone {
        clock::zone(name).map_err(Failure::usage)?;
    }
    let pair = |column: &String| {
        let (name, channel) = column.rsplit_once('=').ok_or_else(|| {
            Failure::usage(format_args!("--column {column}: write it as NAME=CHANNEL"))
        })?;
        Ok((name.to_owned(), channel.to_owned()))
    };
    Ok(ImportOptions {
        mapping: choice.columns.iter().map(pair).collect::<Result<_, _>>()?,
        time_zone: choice.time_zone.clone(),
        time_format: choice.time_format.clone(),
        elapsed_from_ms: None,
    })
}
