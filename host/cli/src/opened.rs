//! One archive in memory: read, checked and analysed.

use crate::beside::beside;
use crate::commands::report::{self, Form};
use crate::failure::{Context, Failure};
use crate::integrity;
use crate::load::{self, Loaded};
use jiff::Timestamp;
use pumpwitness_analysis::analyse;
use pumpwitness_analysis::outcome::Analysis;
use pumpwitness_evidence::{Trust, Verification, verify};
use pumpwitness_recording::Recording;
use pumpwitness_recording::archive::read_archive;
use pumpwitness_report::ReportInput;

/// An archive, with all that a summary, a view or a report of it needs.
pub struct Opened {
    /// What the archive proves.
    pub verification: Verification,
    /// What it holds, with the site file it carries; without one that can be used, why not.
    pub read: Result<Analysed, (Box<Recording>, Failure)>,
}

/// A recording and what was found in it.
pub struct Analysed {
    /// Rows and site.
    pub loaded: Loaded,
    /// What was found.
    pub analysis: Analysis,
}

impl Opened {
    /// Reads an archive; `name` is that of its file.
    pub fn new(name: &str, archive: &[u8], known: &Trust) -> Result<Self, Failure> {
        let (verification, read) = beside(
            || verify(archive, known).map_err(Failure::input),
            || {
                let recording = read_archive(name, archive).map_err(Failure::input)?;
                Ok(match site(&recording) {
                    Ok((site, zone)) => {
                        let analysis = analyse(&recording, &site);
                        Ok(Analysed { loaded: Loaded { recording, site, zone }, analysis })
                    }
                    Err(failure) => Err((Box::new(recording), failure)),
                })
            },
        );
        let (verification, read) = (verification?, read?);
        Ok(Self { verification, read })
    }

    /// Gives it the name that its file has got.
    pub fn rename(&mut self, name: String) {
        match &mut self.read {
            Ok(analysed) => analysed.loaded.recording.source.name = name,
            Err((recording, _)) => recording.source.name = name,
        }
    }

    /// The recording.
    pub fn recording(&self) -> &Recording {
        match &self.read {
            Ok(analysed) => &analysed.loaded.recording,
            Err((recording, _)) => recording,
        }
    }

    /// What was found, or why nothing could be.
    pub fn analysed(&self) -> Result<&Analysed, &Failure> {
        self.read.as_ref().map_err(|(_, failure)| failure)
    }

    /// Its page, whose viewer asks for rows at `rows` beside it.
    pub fn page(&self) -> Result<String, Failure> {
        self.with(|input| pumpwitness_report::html_served(input, "rows"))
    }

    /// Rows and captures for that viewer.
    pub fn stretch(&self, from_ms: i64, to_ms: i64) -> Result<String, Failure> {
        self.with(|input| pumpwitness_report::rows(input, from_ms, to_ms))
    }

    /// Its report.
    pub fn report(&self, form: Form) -> Result<Vec<u8>, Failure> {
        self.with(|input| report::bytes(input, form))?
    }

    fn with<T>(&self, make: impl FnOnce(&ReportInput<'_>) -> T) -> Result<T, Failure> {
        let Analysed { loaded, analysis } = self.analysed().map_err(Failure::input)?;
        let integrity = integrity::told(&self.verification);
        Ok(make(&report::input(loaded, analysis, Some(&integrity), Timestamp::now())))
    }
}

/// The site that an archive says it was made at, and its time zone.
fn site(
    recording: &Recording,
) -> Result<(pumpwitness_site_file::Site, jiff::tz::TimeZone), Failure> {
    let name = &recording.source.name;
    let text = recording.source.site_text.as_deref().ok_or_else(|| {
        Failure::input(format_args!(
            "{name} carries no site file: `pumpwitness report` takes one with --site"
        ))
    })?;
    let site = pumpwitness_site_file::parse(text)
        .or_input(format_args!("the site file carried in {name}"))?;
    let zone = load::zone(&site)?;
    Ok((site, zone))
}
