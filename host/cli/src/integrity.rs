//! What a check of the archive says, beside an analysis: in the report, in its JSON, in a bundle.

use crate::failure::Failure;
use crate::trust;
use pumpwitness_evidence::outcome::{KeyStanding, PageCounts, Verdict, Verification};
use pumpwitness_evidence::text::{LIMITS, line, verdict};
use pumpwitness_evidence::{Trust, verify};
use pumpwitness_recording::{FILE_BYTES_MAX, SourceKind};
use pumpwitness_report::Integrity;
use serde::Serialize;
use std::fs;
use std::path::Path;

/// Troubles and remarks told in a report; `verify` tells all.
const TOLD: usize = 6;

/// Checks the archive at `path` for the report.
pub fn check(
    path: &Path,
    kind: SourceKind,
    named: Option<&Path>,
) -> Result<Option<Integrity>, Failure> {
    Ok(verification(path, kind, named)?.as_ref().map(told))
}

/// Checks the archive at `path` as `verify` does, by the keys of the trust file named, or else of
/// this user's; `None` for tables.
pub fn verification(
    path: &Path,
    kind: SourceKind,
    named: Option<&Path>,
) -> Result<Option<Verification>, Failure> {
    Ok(verified(path, kind, &known(named)?))
}

/// The keys of the trust file named, or else of this user's.
pub fn known(named: Option<&Path>) -> Result<Trust, Failure> {
    match named {
        Some(file) => trust::load(file, true),
        // Without a readable file of the user's no key is known, which the result then says.
        None => Ok(trust::path(None)
            .and_then(|file| trust::load(&file, false))
            .unwrap_or_else(|_| Trust::default())),
    }
}

fn verified(path: &Path, kind: SourceKind, known: &Trust) -> Option<Verification> {
    let size = fs::metadata(path).ok()?.len();
    if kind != SourceKind::Archive || size > FILE_BYTES_MAX {
        return None;
    }
    let file = fs::read(path).ok()?;
    verify(&file, known).ok()
}

/// What `analyse --json` says of an archive's integrity; `verify --json` has the whole.
#[derive(Serialize)]
pub struct Short<'a> {
    verdict: Verdict,
    text: String,
    key: Option<&'a str>,
    troubles: usize,
}

impl<'a> From<&'a Verification> for Short<'a> {
    fn from(verification: &'a Verification) -> Self {
        Self {
            verdict: verification.verdict,
            text: line(verification),
            key: verification.key.in_file.as_deref(),
            troubles: verification.troubles.len(),
        }
    }
}

/// The same for a report.
pub fn told(verification: &Verification) -> Integrity {
    let mut lines = vec![
        ("Verdict".to_owned(), verdict(verification)),
        ("Pages".to_owned(), pages(&verification.pages)),
        ("Key".to_owned(), key(verification)),
    ];
    let troubles = verification.troubles.iter().map(|trouble| ("Trouble", trouble.text.clone()));
    let remarks = verification.remarks.iter().map(|remark| ("Remark", remark.clone()));
    lines.extend(troubles.take(TOLD).chain(remarks.take(TOLD)).map(|(a, b)| (a.to_owned(), b)));
    Integrity {
        headline: line(verification),
        broken: verification.verdict == Verdict::DamageFound,
        lines,
        limits: LIMITS.iter().map(|limit| (*limit).to_owned()).collect(),
    }
}

fn pages(pages: &PageCounts) -> String {
    let counts = [
        (pages.proven, "proven"),
        (pages.sealed, "sealed by a key not known here"),
        (pages.consistent, "consistent, without a seal"),
        (pages.doubtful, "doubtful"),
        (pages.altered, "altered"),
        (pages.damaged, "damaged"),
        (pages.misplaced, "misplaced"),
        (pages.missing, "missing"),
    ];
    let said = counts.iter().filter(|(n, _)| *n > 0).map(|(n, what)| format!("{n} {what}"));
    let said: Vec<String> = said.collect();
    if said.is_empty() { "none".to_owned() } else { said.join(", ") }
}

fn key(verification: &Verification) -> String {
    let standing = match verification.key.standing {
        KeyStanding::Trusted => "the one this user knows to be that of the logger",
        KeyStanding::Unknown => "not known here from elsewhere",
        KeyStanding::Differs => "another than the one known to be that of the logger",
        KeyStanding::Absent => return "there is none in the file".to_owned(),
    };
    let key = verification.key.in_file.as_deref().unwrap_or("–");
    format!("{key}, {standing}")
}
