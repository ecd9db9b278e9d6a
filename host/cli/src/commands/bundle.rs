//! `bundle`: one zip file with the report, the record, its tables and how to check them.

use crate::args::Bundle;
use crate::commands::report::Form;
use crate::commands::{analyse, report};
use crate::failure::{Context, Failure, FileContext};
use crate::load::{self, Loaded};
use crate::{integrity, output};
use jiff::Timestamp;
use pumpwitness_analysis::analyse as analyse_recording;
use pumpwitness_analysis::outcome::{Analysis, Run};
use pumpwitness_evidence::bundle::{About, CHECKER, Files, readme, seal_files, zip};
use pumpwitness_evidence::{Verification, comtrade, text};
use pumpwitness_protocol::archive::ArchiveHeader;
use pumpwitness_recording::tables::{Cells, write_columns};
use pumpwitness_recording::{Format, SourceKind, write_marks, write_table};
use std::fs;
use std::path::Path;

/// Name under which the record itself is in the bundle.
const ARCHIVE: &str = "recording.pwa";

/// Packs the bundle.
pub fn run(arguments: &Bundle) -> Result<(), Failure> {
    output::may_write(&arguments.out, arguments.replace)?;
    let loaded = load::recording(&arguments.input)?;
    let verification = integrity::verification(
        &arguments.input.recording,
        loaded.recording.source.kind,
        arguments.trust.as_deref(),
    )?;
    let record =
        fs::read(&arguments.input.recording).or_unread(arguments.input.recording.display())?;
    let site_text = match &arguments.input.site {
        Some(path) => load::site(path)?.1,
        None => loaded.recording.source.site_text.clone().unwrap_or_default(),
    };
    let is_archive = loaded.recording.source.kind == SourceKind::Archive;
    let (private, keep_archive) = (arguments.private, arguments.keep_archive);
    let packing = Packing { loaded, verification, record, site_text, private, keep_archive };
    let (bytes, count) = packing.pack()?;
    output::write_file(&arguments.out, &bytes)?;
    let mut said = format!("{count} files packed into {}\n", arguments.out.display());
    if private && is_archive {
        said.push_str(if keep_archive {
            "the archive is among them and carries the names: it is sealed, nothing can be taken out of \
             it\n"
        } else {
            "the archive is not among them: it carries the names, and nothing can be taken out of what \
             is sealed (--keep-archive packs it all the same)\n"
        });
    }
    output::print(&said)
}

/// What a bundle is made of.
pub struct Packing {
    /// The recording and its site.
    pub loaded: Loaded,
    /// What a check of the archive said; `None` for a table.
    pub verification: Option<Verification>,
    /// The bytes of the recording's file.
    pub record: Vec<u8>,
    /// Text of the site file.
    pub site_text: String,
    /// Leave out names, address and the words of the complaint.
    pub private: bool,
    /// Pack the record all the same.
    pub keep_archive: bool,
}

impl Packing {
    /// The bytes of the bundle, and how many files are in it.
    pub fn pack(self) -> Result<(Vec<u8>, usize), Failure> {
        let Self { mut loaded, mut verification, record, site_text, private, keep_archive } = self;
        let header = match loaded.recording.source.kind {
            SourceKind::Archive => Some(ArchiveHeader::decode(&record).or_input("archive")?),
            SourceKind::Table => None,
        };
        let record_name = match header {
            Some(_) => ARCHIVE.to_owned(),
            None => table_name(&record),
        };
        record_name.clone_into(&mut loaded.recording.source.name);
        let site_text =
            if private { without_names(&mut loaded, verification.as_mut()) } else { site_text };

        let analysis = analyse_recording(&loaded.recording, &loaded.site);
        // Nothing of this machine and this moment: the same record gives the same bundle.
        let made = header
            .as_ref()
            .and_then(|header| Timestamp::from_millisecond(header.host_clock_ms).ok())
            .unwrap_or(analysis.recording.end);
        let with_recording = !private || keep_archive;
        let mut files = Files::new();
        let integrity = verification.as_ref().map(integrity::told);
        let input = report::input(&loaded, &analysis, integrity.as_ref(), made);
        files.insert("report.html".into(), report::bytes(&input, Form::Html)?);
        files.insert("report.pdf".into(), report::bytes(&input, Form::Pdf)?);
        let json = analyse::json(&analysis, verification.as_ref())?;
        files.insert("analysis.json".into(), json.into_bytes());
        files.insert("site.toml".into(), site_text.into_bytes());
        files.append(&mut tables(&loaded, &analysis)?);
        let captures = captures(&loaded, verification.as_ref());
        let about = About {
            device: loaded.recording.source.device.as_deref(),
            recording: &record_name,
            sha256: &loaded.recording.source.sha256,
            private,
            with_recording,
            sealed: header.as_ref().is_some_and(|header| header.seal.is_some()),
            captures: captures.len() / 2,
            version: env!("CARGO_PKG_VERSION"),
        };
        files.insert("README.txt".into(), readme(&about).into_bytes());
        files.extend(captures);
        if let Some(verification) = &verification {
            let said = text::full(verification, &record_name);
            files.insert("verification.txt".into(), said.into_bytes());
            let json = serde_json::to_string_pretty(verification).or_input("cannot write JSON")?;
            files.insert("verification.json".into(), json.into_bytes());
        }
        if let Some(header) = &header {
            files.append(&mut seal_files(header));
            files.insert("verify_archive.py".into(), CHECKER.into());
        }
        if with_recording {
            files.insert(record_name.clone(), record);
        }
        let count = files.len() + 1;
        let bytes = zip(files, made.as_millisecond()).map_err(Failure::input)?;
        Ok((bytes, count))
    }
}

/// Takes out the names of site and customer, the address, and the words of the complaint; gives
/// the text of the site file that is left.
fn without_names(loaded: &mut Loaded, verification: Option<&mut Verification>) -> String {
    let site = &mut loaded.site;
    (site.name, site.customer, site.address, site.fit.reason) = (None, None, None, None);
    let text = site.to_toml();
    let source = &mut loaded.recording.source;
    source.site_text = Some(text.clone());
    source.made_from = None;
    if let Some(verification) = verification {
        verification.file.site = Some("left out".to_owned());
    }
    text
}

fn table_name(table: &[u8]) -> String {
    if table.starts_with(b"PAR1") { "recording.parquet" } else { "recording.csv" }.to_owned()
}

/// Rows, runs and marks, each as CSV and Parquet.
fn tables(loaded: &Loaded, analysis: &Analysis) -> Result<Files, Failure> {
    let folder = tempfile::tempdir().or_input("cannot make a temporary folder")?;
    let mut files = Files::new();
    let mut keep = |name: &str, path: &Path| -> Result<(), Failure> {
        let bytes = fs::read(path).or_input(path.display())?;
        files.insert(format!("tables/{name}"), bytes);
        Ok(())
    };
    let runs = runs(&analysis.runs);
    for (ending, format) in [("csv", Format::Csv), ("parquet", Format::Parquet)] {
        let place = |what: &str| {
            let name = format!("{what}.{ending}");
            let path = folder.path().join(&name);
            (name, path)
        };
        let (name, path) = place("rows");
        write_table(&loaded.recording, &path, format).map_err(Failure::input)?;
        keep(&name, &path)?;
        let (name, path) = place("runs");
        write_columns(&runs, &path, format).map_err(Failure::input)?;
        keep(&name, &path)?;
        if loaded.recording.source.kind == SourceKind::Archive {
            let (name, path) = place("marks");
            write_marks(&loaded.recording, &path, format).map_err(Failure::input)?;
            keep(&name, &path)?;
        }
    }
    Ok(files)
}

fn runs(runs: &[Run]) -> Vec<(&'static str, Cells)> {
    let moments = |of: fn(&Run) -> Timestamp| {
        Cells::Moments(runs.iter().map(|run| of(run).as_millisecond()).collect())
    };
    let numbers = |of: fn(&Run) -> Option<f64>| Cells::Numbers(runs.iter().map(of).collect());
    let reason = |run: &Run| {
        let word = serde_json::to_value(run.stop_reason).ok()?;
        word.as_str().map(str::to_owned)
    };
    vec![
        ("start", moments(|run| run.start)),
        ("stop", moments(|run| run.stop)),
        ("duration_s", numbers(|run| Some(run.duration_s))),
        ("peak_current_a", numbers(|run| run.peak_current_a)),
        ("running_current_a", numbers(|run| run.running_current_a)),
        ("start_pressure_bar", numbers(|run| run.start_pressure_bar)),
        ("stop_pressure_bar", numbers(|run| run.stop_pressure_bar)),
        ("stop_reason", Cells::Words(runs.iter().map(reason).collect())),
    ]
}

/// Captures as pairs of COMTRADE files.
fn captures(loaded: &Loaded, verification: Option<&Verification>) -> Files {
    let clock = verification.map(|verification| &verification.clock);
    let origin = comtrade::Origin {
        station: loaded.site.name.as_deref().unwrap_or(""),
        device: loaded.recording.source.device.as_deref().unwrap_or(""),
        nominal_hz: if loaded.site.supply.frequency_hz > 55.0 { 60 } else { 50 },
        uncertainty_ms: clock.and_then(|clock| clock.uncertainty_ms),
    };
    comtrade::files(&loaded.recording.captures, &origin)
        .into_iter()
        .flat_map(|capture| {
            [
                (format!("captures/{}.cfg", capture.name), capture.cfg.into_bytes()),
                (format!("captures/{}.dat", capture.name), capture.dat.into_bytes()),
            ]
        })
        .collect()
}
