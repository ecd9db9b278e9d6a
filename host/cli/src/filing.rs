//! The folder of recordings, as every command that files or looks up records uses it: where it is,
//! what is said of a record, and how a download becomes one.

use crate::failure::{Context, Failure, FileContext};
use crate::opened::{Analysed, Opened};
use etcetera::BaseStrategy;
use jiff::Timestamp;
use pumpwitness_analysis::outcome::Analysis;
use pumpwitness_evidence::text::line;
use pumpwitness_evidence::{Trust, Verification};
use pumpwitness_protocol::archive::ArchiveHeader;
use pumpwitness_record_folder::{Added, Cause, Folder, Found, Listing, RuledOut, Summary};
use pumpwitness_recording::clock::utc_text;
use pumpwitness_recording::{FILE_BYTES_MAX, Problem, Recording};
use serde::Serialize;
use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

/// What makes summaries: those of another version are made anew.
const MAKER: &str = concat!("pumpwitness ", env!("CARGO_PKG_VERSION"));

/// Names the folder where no option does.
const VARIABLE: &str = "PUMPWITNESS_RECORDS";

/// Name of the folder in the user's own, where neither option nor variable names one.
const NAME: &str = "pumpwitness-recordings";

/// The folder of recordings: the one named, or that of the environment, or that of the user.
pub fn open(named: Option<&Path>) -> Result<Folder, Failure> {
    let root = match (named, std::env::var_os(VARIABLE).filter(|value| !value.is_empty())) {
        (Some(root), _) => root.to_owned(),
        (None, Some(root)) => PathBuf::from(root),
        (None, None) => etcetera::choose_base_strategy()
            .or_input("your home folder cannot be found: name a folder with --folder")?
            .home_dir()
            .join(NAME),
    };
    Folder::open(root, MAKER).map_err(Failure::usage)
}

/// Everything in the folder; sidecars that are missing are made anew with the keys that are known.
pub fn list(folder: &Folder, known: &Trust) -> Listing {
    folder.list(&mut |bytes| summary(bytes, known))
}

/// The same with every sidecar made anew: by another version of the analysis, or after more keys
/// became known.
pub fn list_afresh(folder: &Folder, known: &Trust) -> Listing {
    folder.afresh().list(&mut |bytes| summary(bytes, known))
}

fn summary(bytes: &[u8], known: &Trust) -> Result<Summary, String> {
    look(bytes, known).map(|(summary, _)| summary).map_err(|failure| failure.to_string())
}

/// Files an archive, with its page, so that it opens at once; gives what became of it and what the
/// check of it said.
pub fn file(
    folder: &Folder,
    bytes: &[u8],
    known: &Trust,
) -> Result<(Added, Verification), Failure> {
    let (summary, mut opened) = look(bytes, known)?;
    let added = folder.add(bytes, summary).map_err(Failure::input)?;
    opened.rename(format!("{}.pwa", added.record.id));
    if added.new
        && let Ok(page) = opened.page()
    {
        // What cannot be kept is made when it is looked at.
        let _ = folder.keep_view(&added.record, page.as_bytes());
    }
    Ok((added, opened.verification))
}

/// Files a download that is complete, and takes it away from where downloads come in.
pub fn file_download(
    folder: &Folder,
    path: &Path,
    known: &Trust,
) -> Result<(Added, Verification), Failure> {
    let bytes = read(path)?;
    let filed = file(folder, &bytes, known)
        .map_err(|failure| Failure::input(format_args!("{}: {failure}", path.display())))?;
    // It is in its place now; here it would only be filed once more.
    let _ = fs::remove_file(path);
    Ok(filed)
}

/// The bytes of a file, if it is not too long for an archive.
pub fn read(path: &Path) -> Result<Vec<u8>, Failure> {
    let place = path.display();
    let bytes = fs::metadata(path).or_unread(&place)?.len();
    if bytes > FILE_BYTES_MAX {
        let problem = Problem::TooLong { bytes, max: FILE_BYTES_MAX };
        return Err(Failure::input(format_args!("{place}: {problem}")));
    }
    fs::read(path).or_unread(&place)
}

/// What an archive says of itself and what its analysis comes to. An archive without a usable site
/// file is filed too: it is told by its settings, and by no cause.
fn look(bytes: &[u8], known: &Trust) -> Result<(Summary, Opened), Failure> {
    let header = ArchiveHeader::decode(bytes).map_err(Failure::input)?;
    let opened = Opened::new("the archive", bytes, known)?;
    let recording = opened.recording();
    let collected = Timestamp::from_millisecond(header.host_clock_ms).ok();
    let mut summary = Summary {
        site: header.settings.site.as_str().to_owned(),
        device: recording.source.device.clone().unwrap_or_default(),
        integrity: pumpwitness_record_folder::Integrity {
            verdict: word(&opened.verification.verdict),
            says: line(&opened.verification),
        },
        collected_by: recording.source.custody.as_ref().and_then(|who| who.collected_by.clone()),
        collected,
        custody: custody(recording),
        ..Summary::default()
    };
    (summary.start, summary.end) = extent(recording, collected.unwrap_or_default());
    if let Ok(Analysed { loaded, analysis }) = opened.analysed() {
        if let Some(name) = &loaded.site.name {
            name.clone_into(&mut summary.site);
        }
        summary.time_zone.clone_from(&loaded.site.time_zone);
        if !recording.columns.is_empty() {
            tell(&mut summary, analysis);
        }
    }
    Ok((summary, opened))
}

/// First and last moment of the rows; of a record without rows, when it was collected.
fn extent(recording: &Recording, collected: Timestamp) -> (Timestamp, Timestamp) {
    let columns = &recording.columns;
    let at = |ms: i64| Timestamp::from_millisecond(ms).unwrap_or(collected);
    match columns.end_ms.last() {
        Some(last) => (at(columns.start_ms(0)), at(*last)),
        None => (collected, collected),
    }
}

/// What the analysis comes to.
fn tell(summary: &mut Summary, analysis: &Analysis) {
    (summary.start, summary.end) = (analysis.recording.start, analysis.recording.end);
    summary.covered_s = analysis.recording.covered_s;
    summary.runs = analysis.runs.len() as u32;
    summary.stops = analysis.stops.iter().map(|(why, count)| (word(why), *count)).collect();
    let causes = analysis.verdict.iter().map(|verdict| Cause {
        cause: verdict.cause.to_owned(),
        points_to: word(&verdict.points_to),
        confidence: verdict.confidence,
        says: verdict.text.clone(),
        next_checks: verdict.next_checks.clone(),
    });
    summary.causes = causes.collect();
    let findings = analysis.findings.iter().map(|finding| Found {
        kind: finding.kind.to_owned(),
        severity: word(&finding.severity),
        start: finding.start,
        end: finding.end,
        count: finding.count,
        points_to: word(&finding.points_to),
        says: finding.text.clone(),
    });
    summary.findings = findings.collect();
    let contradicted = analysis.ruled_out.iter().filter(|cause| cause.contradicted);
    let ruled_out = contradicted
        .map(|cause| RuledOut { cause: cause.cause.to_owned(), because: cause.because.clone() });
    summary.ruled_out = ruled_out.collect();
}

/// Who and what stands behind a record.
fn custody(recording: &Recording) -> Vec<(String, String)> {
    let source = &recording.source;
    let stated = |what: &Option<String>| what.clone().unwrap_or_else(|| "not stated".to_owned());
    let mut lines = vec![
        ("Logger".to_owned(), stated(&source.device)),
        ("Firmware".to_owned(), stated(&source.firmware)),
    ];
    if let Some(custody) = &source.custody {
        let when = utc_text(custody.collected_ms);
        lines.push(("Collected by".to_owned(), stated(&custody.collected_by)));
        lines.push(("Collected".to_owned(), format!("{when}, with {}", custody.program)));
        let calibrated = match custody.calibrated_ms {
            0 => "never".to_owned(),
            ms => format!(
                "{} by {}, against {}",
                utc_text(ms),
                stated(&custody.calibrated_by),
                stated(&custody.reference)
            ),
        };
        lines.push(("Calibrated".to_owned(), calibrated));
    }
    lines.push(("SHA-256".to_owned(), source.sha256.clone()));
    lines
}

/// The word that JSON has for a value.
pub fn word<T: Serialize>(value: &T) -> String {
    let value = serde_json::to_value(value).ok();
    value.as_ref().and_then(|value| value.as_str()).unwrap_or_default().to_owned()
}

/// Stops by reason in one line, the most frequent first.
pub fn stops(stops: &BTreeMap<String, u32>) -> String {
    let mut stops: Vec<(&String, &u32)> = stops.iter().collect();
    stops.sort_by_key(|(_, count)| std::cmp::Reverse(**count));
    let said: Vec<String> = stops.iter().map(|(why, count)| format!("{count} {why}")).collect();
    said.join(", ")
}
