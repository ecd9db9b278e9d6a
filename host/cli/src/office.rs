//! The records' side of the local page: what it asks for, answered from the folder of recordings.
//!
//! `rows` gives the rows of one as plain numbers, here is the rest. A record asked for is looked up
//! in the list: no path is ever made of what was asked.

mod rows;

use crate::commands::{bundle, plan, report};
use crate::failure::Failure;
use crate::filing;
use crate::opened::{Analysed, Opened};
use pumpwitness_evidence::Trust;
use pumpwitness_local_page::office::{
    Cause, Custody, Entry, Finding, Form, Given, KnownSite, Office, OfficeError, Outcome, Record,
    Records, Rows, RuledOut, Span, Wanted,
};
use pumpwitness_record_folder::{Folder, Query, Record as Filed};
use std::collections::VecDeque;
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

/// Files made for giving away that are kept in memory.
const GIVEN_KEPT: usize = 6;

/// The folder of recordings, as the page sees it.
pub struct RecordOffice {
    folder: Folder,
    known: Trust,
    desk: Mutex<Desk>,
}

/// What lies ready.
#[derive(Default)]
struct Desk {
    /// The record looked into last, by the hash of its archive.
    opened: Option<(String, Arc<Opened>)>,
    /// Files made, newest last, by name.
    given: VecDeque<(String, Given)>,
}

impl RecordOffice {
    /// An office over a folder, with the keys that are known.
    pub fn new(folder: Folder, known: Trust) -> Self {
        Self { folder, known, desk: Mutex::default() }
    }

    fn desk(&self) -> MutexGuard<'_, Desk> {
        self.desk.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// The record of this id.
    fn filed(&self, id: &str) -> Outcome<Filed> {
        let listing = filing::list(&self.folder, &self.known);
        listing.get(id).cloned().ok_or(OfficeError::Absent)
    }

    /// The record in memory: the one looked into last, or read and analysed now.
    fn opened(&self, filed: &Filed) -> Outcome<Arc<Opened>> {
        if let Some((sha256, opened)) = &self.desk().opened
            && *sha256 == filed.sha256
        {
            return Ok(Arc::clone(opened));
        }
        let bytes = self.folder.archive(filed).map_err(failed)?;
        let name = format!("{}.pwa", filed.id);
        let opened = Arc::new(Opened::new(&name, &bytes, &self.known).map_err(failed)?);
        self.desk().opened = Some((filed.sha256.clone(), Arc::clone(&opened)));
        Ok(opened)
    }

    fn give(&self, name: String, bytes: Vec<u8>, media_type: &'static str) -> String {
        let mut desk = self.desk();
        desk.given.retain(|(known, _)| *known != name);
        desk.given.push_back((name.clone(), Given { bytes, media_type }));
        while desk.given.len() > GIVEN_KEPT {
            desk.given.pop_front();
        }
        name
    }

    /// The page of a record, kept beside it.
    fn page(&self, filed: &Filed) -> Outcome<Vec<u8>> {
        if let Some(page) = self.folder.view(filed) {
            return Ok(page);
        }
        let page = self.opened(filed)?.page().map_err(failed)?.into_bytes();
        // What cannot be kept is made anew each time.
        let _ = self.folder.keep_view(filed, &page);
        Ok(page)
    }
}

impl Office for RecordOffice {
    fn sites(&self) -> Outcome<Vec<KnownSite>> {
        let files = self.folder.site_files().into_iter();
        let named = files.filter_map(|(file, path)| {
            let site = pumpwitness_site_file::parse(&fs::read_to_string(path).ok()?).ok()?;
            let name = site.name.unwrap_or_else(|| file.clone());
            Some(KnownSite { file, name })
        });
        Ok(named.collect())
    }

    fn site_text(&self, file: &str) -> Outcome<String> {
        let files = self.folder.site_files();
        let (_, path) = files.iter().find(|(name, _)| name == file).ok_or(OfficeError::Absent)?;
        fs::read_to_string(path)
            .map_err(|error| failed(format_args!("{}: {error}", path.display())))
    }

    fn keep_site(&self, toml: &str) -> Outcome<String> {
        let site = pumpwitness_site_file::parse(toml).map_err(failed)?;
        let name = site.name.unwrap_or_default();
        self.folder.keep_site_file(&name, toml).map_err(failed)?;
        Ok(pumpwitness_record_folder::slug::slug(&name))
    }

    fn sheet(&self, toml: &str) -> Outcome<Vec<u8>> {
        let site = pumpwitness_site_file::parse(toml).map_err(failed)?;
        plan::sheet_of(&site, report::Form::Pdf).map_err(failed)
    }

    fn incoming(&self, device: &str) -> Outcome<PathBuf> {
        // One of an earlier visit that was never filed would be in the way.
        for path in self.folder.waiting() {
            filing::file_download(&self.folder, &path, &self.known).map_err(failed)?;
        }
        self.folder.incoming(device).map_err(failed)
    }

    fn file_away(&self, archive: &Path) -> Outcome<String> {
        let (added, _) =
            filing::file_download(&self.folder, archive, &self.known).map_err(failed)?;
        Ok(added.record.id)
    }

    fn records(&self, wanted: &Wanted) -> Outcome<Records> {
        let text = |text: &str| (!text.trim().is_empty()).then(|| text.trim().to_owned());
        let day = |asked: &str| {
            let day = text(asked).map(|text| text.parse());
            day.transpose().map_err(|_| failed(format_args!("{asked}: write days as 2026-03-31")))
        };
        let query = Query {
            site: text(&wanted.site),
            from: day(&wanted.from)?,
            to: day(&wanted.to)?,
            cause: text(&wanted.cause),
            finding: None,
            words: text(&wanted.words),
        };
        let listing = filing::list(&self.folder, &self.known);
        Ok(Records {
            sites: listing.sites().into_iter().map(str::to_owned).collect(),
            causes: listing.causes().into_iter().map(str::to_owned).collect(),
            records: listing.search(&query).into_iter().map(entry).collect(),
        })
    }

    fn record(&self, id: &str) -> Outcome<Record> {
        let filed = self.filed(id)?;
        let summary = &filed.summary;
        let headline = summary.causes.first().map(|cause| cause.says.clone());
        Ok(Record {
            entry: entry(&filed),
            headline: headline.unwrap_or_else(|| "The record gives no cause.".to_owned()),
            findings: summary
                .findings
                .iter()
                .map(|found| Finding {
                    kind: found.kind.clone(),
                    severity: found.severity.clone(),
                    text: found.says.clone(),
                    start: found.start.to_string(),
                    end: found.end.to_string(),
                    count: found.count.into(),
                    points_to: found.points_to.clone(),
                })
                .collect(),
            verdict: summary
                .causes
                .iter()
                .map(|cause| Cause {
                    cause: cause.cause.clone(),
                    text: cause.says.clone(),
                    confidence: cause.confidence,
                    next_checks: cause.next_checks.clone(),
                })
                .collect(),
            ruled_out: summary
                .ruled_out
                .iter()
                .map(|out| RuledOut { cause: out.cause.clone(), because: out.because.clone() })
                .collect(),
            custody: summary
                .custody
                .iter()
                .map(|(name, says)| Custody { name: name.clone(), says: says.clone() })
                .collect(),
        })
    }

    fn view(&self, id: &str) -> Outcome<Vec<u8>> {
        self.page(&self.filed(id)?)
    }

    fn detail(&self, id: &str, from_ms: i64, to_ms: i64) -> Outcome<Vec<u8>> {
        let opened = self.opened(&self.filed(id)?)?;
        Ok(opened.stretch(from_ms, to_ms).map_err(failed)?.into_bytes())
    }

    fn rows(&self, id: &str, span: Span) -> Outcome<Rows> {
        let opened = self.opened(&self.filed(id)?)?;
        let most = span.most.min(Span::MOST);
        let Analysed { loaded, analysis } = opened.analysed().map_err(failed)?;
        Ok(rows::between(&loaded.recording, analysis, span.from_ms, span.to_ms, most))
    }

    fn report(&self, id: &str, form: Form) -> Outcome<String> {
        let filed = self.filed(id)?;
        let (form, ending, media_type) = match form {
            Form::Html => (report::Form::Html, "html", "text/html; charset=utf-8"),
            Form::Pdf => (report::Form::Pdf, "pdf", "application/pdf"),
        };
        let bytes = self.opened(&filed)?.report(form).map_err(failed)?;
        Ok(self.give(format!("{}.{ending}", filed.id), bytes, media_type))
    }

    fn bundle(&self, id: &str, private: bool) -> Outcome<String> {
        let filed = self.filed(id)?;
        let archive = self.folder.archive(&filed).map_err(failed)?;
        let opened = self.opened(&filed)?;
        let Analysed { loaded, .. } = opened.analysed().map_err(failed)?;
        let packing = bundle::Packing {
            loaded: loaded.clone(),
            verification: Some(opened.verification.clone()),
            record: archive,
            site_text: loaded.recording.source.site_text.clone().unwrap_or_default(),
            private,
            keep_archive: false,
        };
        let (bytes, _) = packing.pack().map_err(failed)?;
        let what = if private { "-private" } else { "" };
        Ok(self.give(format!("{}{what}.zip", filed.id), bytes, "application/zip"))
    }

    fn given(&self, name: &str) -> Outcome<Given> {
        let desk = self.desk();
        let given = desk.given.iter().find(|(known, _)| known == name);
        given.map(|(_, given)| given.clone()).ok_or(OfficeError::Absent)
    }
}

fn failed(error: impl std::fmt::Display) -> OfficeError {
    // In one line, as everywhere.
    OfficeError::Failed(Failure::input(error).to_string())
}

fn entry(filed: &Filed) -> Entry {
    let summary = &filed.summary;
    let cause = summary.causes.first();
    Entry {
        id: filed.id.clone(),
        site: summary.site.clone(),
        start: summary.start.to_string(),
        end: summary.end.to_string(),
        device: summary.device.clone(),
        cause: cause.map(|cause| cause.cause.clone()).unwrap_or_default(),
        says: cause.map(|cause| cause.says.clone()).unwrap_or_default(),
        runs: summary.runs.into(),
        stops: summary.stops.iter().map(|(why, count)| (why.clone(), (*count).into())).collect(),
        integrity: summary.integrity.says.clone(),
        bytes: filed.bytes,
    }
}

#[cfg(test)]
mod tests;
