//! The office over a folder with a record of a day at a demo's site.

use super::*;
use crate::commands::demo;
use pumpwitness_protocol::archive::ARCHIVE_HEADER_BYTES;
use pumpwitness_site_model::scenario;
use serde_json::Value;
use std::sync::OnceLock;

/// A site with something to find on its first day.
const SCENARIO: &str = "waterlogged-tank";

const HOUR_MS: i64 = 3_600_000;

/// A day of it, made once.
fn archive() -> &'static [u8] {
    static ARCHIVE: OnceLock<Vec<u8>> = OnceLock::new();
    ARCHIVE.get_or_init(|| recorded(24, &scenario(SCENARIO).unwrap().site_toml()))
}

/// Hours of it by a logger that was armed with this text of a site file.
fn recorded(hours: i64, text: &str) -> Vec<u8> {
    let story = scenario(SCENARIO).unwrap();
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("a.pwa");
    let site = pumpwitness_site_file::parse(&story.site_toml()).unwrap();
    demo::record(story, (&site, text), story.start_ms + hours * HOUR_MS, &file).unwrap();
    fs::read(&file).unwrap()
}

struct Desk {
    folder: tempfile::TempDir,
    office: RecordOffice,
}

impl Desk {
    fn new() -> Self {
        let folder = tempfile::tempdir().unwrap();
        let office =
            RecordOffice::new(filing::open(Some(folder.path())).unwrap(), Trust::default());
        Self { folder, office }
    }

    /// With the day's record in it, as the worker brings one; its id.
    fn with_record() -> (Self, String) {
        let desk = Self::new();
        let id = desk.bring(archive()).unwrap();
        (desk, id)
    }

    fn bring(&self, bytes: &[u8]) -> Outcome<String> {
        let place = self.office.incoming("44454d4f30303031")?;
        fs::write(&place, bytes).unwrap();
        self.office.file_away(&place)
    }

    fn found(&self, wanted: &Wanted) -> usize {
        self.office.records(wanted).unwrap().records.len()
    }
}

fn said<T>(outcome: Outcome<T>) -> String {
    match outcome {
        Err(OfficeError::Failed(why)) => {
            assert!(!why.is_empty() && !why.contains('\n'), "{why:?}");
            why
        }
        Err(error) => panic!("{error:?}"),
        Ok(_) => panic!("it went well"),
    }
}

#[test]
fn of_what_is_not_there_nothing_is_given() {
    let desk = Desk::new();
    let office = &desk.office;
    assert_eq!(office.sites(), Ok(vec![]));
    assert_eq!(desk.found(&Wanted::default()), 0);
    // Names that would be paths are looked up like any other.
    for name in ["", "no-such", "../site", "/etc/hosts", "site.toml", "."] {
        assert_eq!(office.site_text(name), Err(OfficeError::Absent), "{name}");
        assert_eq!(office.record(name), Err(OfficeError::Absent), "{name}");
        assert_eq!(office.view(name), Err(OfficeError::Absent), "{name}");
        assert_eq!(office.detail(name, 0, 1), Err(OfficeError::Absent), "{name}");
        let span = Span { from_ms: 0, to_ms: 1, most: 1 };
        assert_eq!(office.rows(name, span), Err(OfficeError::Absent), "{name}");
        assert_eq!(office.report(name, Form::Pdf), Err(OfficeError::Absent), "{name}");
        assert_eq!(office.bundle(name, false), Err(OfficeError::Absent), "{name}");
        assert_eq!(office.given(name), Err(OfficeError::Absent), "{name}");
    }
}

#[test]
fn site_files_are_kept_and_given_back_as_they_were() {
    let desk = Desk::new();
    let text = scenario(SCENARIO).unwrap().site_toml();
    let name = pumpwitness_site_file::parse(&text).unwrap().name.unwrap();
    let file = desk.office.keep_site(&text).unwrap();
    assert_eq!(desk.office.sites(), Ok(vec![KnownSite { file: file.clone(), name }]));
    assert_eq!(desk.office.site_text(&file).as_ref(), Ok(&text));
    // The same site again takes the place of the file before.
    let changed = format!("{text}\n[fit]\nby = \"Somebody\"\n");
    assert_eq!(desk.office.keep_site(&changed).as_ref(), Ok(&file));
    assert_eq!(desk.office.site_text(&file), Ok(changed));
    assert!(desk.office.sheet(&text).unwrap().starts_with(b"%PDF-"));
    assert!(said(desk.office.keep_site("[supply]\nnominal_v = 9000\n")).contains("nominal_v"));
    assert!(said(desk.office.sheet("no TOML")).contains("line 1"));
    // A file that somebody broke is left out of the list, and the others stay in it.
    let broken = desk.folder.path().join("broken");
    fs::create_dir(&broken).unwrap();
    fs::write(broken.join("site.toml"), "[supply").unwrap();
    assert_eq!(desk.office.sites().unwrap().len(), 1);
}

#[test]
fn a_download_becomes_a_record_that_is_found_again() {
    let (desk, id) = Desk::with_record();
    let office = &desk.office;
    let all = office.records(&Wanted::default()).unwrap();
    assert_eq!((all.records.len(), all.sites.len()), (1, 1));
    let entry = &all.records[0];
    assert_eq!((&entry.id, entry.bytes), (&id, archive().len() as u64));
    assert_eq!(entry.device, "44454d4f30303031");
    assert!(entry.runs > 0 && entry.stops.values().sum::<u64>() > 0, "{entry:?}");
    assert!(!entry.integrity.is_empty() && all.causes.contains(&entry.cause), "{entry:?}");
    // Nothing lies where downloads come in any more, and the same bytes are one record.
    assert!(!office.incoming("44454d4f30303031").unwrap().exists());
    assert_eq!(desk.bring(archive()), Ok(id.clone()));

    let day = entry.start[..10].to_owned();
    let by = |change: fn(&mut Wanted, String), text: &str| {
        let mut wanted = Wanted::default();
        change(&mut wanted, text.to_owned());
        desk.found(&wanted)
    };
    assert_eq!(by(|w, text| w.site = text, &entry.site), 1);
    assert_eq!(by(|w, text| w.site = text, "elsewhere"), 0);
    assert_eq!(by(|w, text| w.cause = text, &entry.cause), 1);
    assert_eq!(by(|w, text| w.cause = text, "no-such-cause"), 0);
    assert_eq!(by(|w, text| w.from = text, &day), 1);
    assert_eq!(by(|w, text| w.to = text, "1999-12-31"), 0);
    assert_eq!(by(|w, text| w.words = text, " demo "), 1, "who collected it");
    for day in ["yesterday", "31.3.2026", "2026-02-30"] {
        let wanted = Wanted { from: day.to_owned(), ..Wanted::default() };
        let why = said(office.records(&wanted));
        assert!(why.contains(day) && why.contains("2026-03-31"), "{why}");
    }

    let record = office.record(&id).unwrap();
    assert_eq!(record.entry, *entry);
    assert_eq!(record.headline, record.verdict[0].text);
    assert!(!record.findings.is_empty() && !record.ruled_out.is_empty());
    assert!(record.verdict.iter().all(|cause| (0.0..=1.0).contains(&cause.confidence)));
    assert!(
        record.custody.iter().any(|line| line.says.contains("the demo")),
        "{:?}",
        record.custody
    );
}

#[test]
fn rows_are_those_of_the_span_and_no_more_than_wanted() {
    let (desk, id) = Desk::with_record();
    let start_ms = scenario(SCENARIO).unwrap().start_ms;
    let span =
        |hours: i64, most| Span { from_ms: start_ms, to_ms: start_ms + hours * HOUR_MS, most };
    let hour = desk.office.rows(&id, span(1, usize::MAX)).unwrap();
    assert!(!hour.rows.is_empty() && hour.rows.len() <= Span::MOST);
    let times: Vec<i64> = hour.rows.iter().map(|row| row.ms).collect();
    assert!(
        times.is_sorted()
            && times[0] > start_ms
            && hour.rows.iter().all(|row| row.from_ms < start_ms + HOUR_MS)
    );
    assert!(hour.rows.iter().any(|row| row.running == Some(true)));
    assert!(hour.rows.iter().any(|row| row.running == Some(false)));
    assert!(hour.rows.iter().any(|row| row.detail == "cycle"), "of the starts");
    let few = desk.office.rows(&id, span(1, 10)).unwrap();
    assert_eq!((few.rows.len(), &few.rows[..]), (10, &hour.rows[..10]));
    assert_eq!(few.left_out + 10, hour.left_out + hour.rows.len() as u64);
    let none = desk.office.rows(&id, Span { from_ms: 9, to_ms: 3, most: 5 }).unwrap();
    assert_eq!(none, Rows::default());
    // A moment of a long rest is told by the row that holds then.
    let rest = hour.rows.iter().find(|row| row.ms - row.from_ms > 5000).expect("rows are merged");
    let middle = i64::midpoint(rest.from_ms, rest.ms);
    let moment = Span { from_ms: middle, to_ms: middle + 1, most: 5 };
    assert_eq!(desk.office.rows(&id, moment).unwrap().rows, std::slice::from_ref(rest));
}

#[test]
fn the_page_of_a_record_is_kept_and_made_anew_when_it_is_gone() {
    let (desk, id) = Desk::with_record();
    let page = desk.office.view(&id).unwrap();
    assert!(page.starts_with(b"<!DOCTYPE html>") || page.starts_with(b"<!doctype html>"));
    let filed = desk.office.filed(&id).unwrap();
    let kept = desk.office.folder.view(&filed).expect("kept beside the archive");
    assert_eq!(kept, page);
    desk.office.folder.keep_view(&filed, b"kept").unwrap();
    assert_eq!(desk.office.view(&id).unwrap(), b"kept", "not made again while it is there");
    for file in fs::read_dir(filed.file.parent().unwrap()).unwrap() {
        let path = file.unwrap().path();
        if fs::read(&path).unwrap() == b"kept" {
            fs::remove_file(path).unwrap();
        }
    }
    let again = desk.office.view(&id).unwrap();
    assert!(again.starts_with(&page[..1000]) && desk.office.folder.view(&filed) == Some(again));
    let start_ms = scenario(SCENARIO).unwrap().start_ms;
    let detail = desk.office.detail(&id, start_ms, start_ms + 60_000).unwrap();
    assert!(serde_json::from_slice::<Value>(&detail).unwrap().is_object());
}

#[test]
fn reports_and_bundles_are_given_away_under_the_names_they_were_given() {
    let (desk, id) = Desk::with_record();
    let office = &desk.office;
    let html = office.report(&id, Form::Html).unwrap();
    assert_eq!(html, format!("{id}.html"));
    let given = office.given(&html).unwrap();
    assert_eq!(given.media_type, "text/html; charset=utf-8");
    assert!(String::from_utf8(given.bytes).unwrap().contains("</html>"));
    let pdf = office.report(&id, Form::Pdf).unwrap();
    let given = office.given(&pdf).unwrap();
    assert!(given.media_type == "application/pdf" && given.bytes.starts_with(b"%PDF-"));

    let [open, private] = [false, true].map(|private| office.bundle(&id, private).unwrap());
    assert_eq!(private, format!("{id}-private.zip"));
    let [open, private] = [open, private].map(|name| office.given(&name).unwrap().bytes);
    assert!(open.starts_with(b"PK\x03\x04") && private.starts_with(b"PK\x03\x04"));
    // By the names in the directory of the zip: what it packs is packed.
    assert!(lists(&open, "recording.pwa") && lists(&open, "report.pdf"));
    assert!(lists(&private, "report.pdf"));
    assert!(!lists(&private, "recording.pwa"), "names stand in the archive");
    // The same again is the same file, and only the last few are kept.
    assert_eq!(office.report(&id, Form::Pdf).unwrap(), pdf);
    for n in 0..GIVEN_KEPT {
        office.give(format!("other-{n}"), vec![n as u8], "application/octet-stream");
    }
    assert_eq!(office.given(&pdf), Err(OfficeError::Absent));
    assert_eq!(office.given("other-0").unwrap().bytes, [0]);
}

/// True when this name stands in the file.
fn lists(file: &[u8], name: &str) -> bool {
    file.windows(name.len()).any(|window| window == name.as_bytes())
}

#[test]
fn a_record_without_a_site_file_is_filed_and_says_what_it_lacks() {
    let desk = Desk::new();
    let id = desk.bring(&recorded(2, "")).unwrap();
    let record = desk.office.record(&id).unwrap();
    assert_eq!(record.headline, "The record gives no cause.");
    for why in [said(desk.office.view(&id)), said(desk.office.report(&id, Form::Pdf))] {
        assert!(why.contains("carries no site file"), "{why}");
    }
}

#[test]
fn what_is_no_archive_stays_where_it_came_in_and_a_changed_one_is_not_shown() {
    let desk = Desk::new();
    let place = desk.office.incoming("44454d4f30303031").unwrap();
    fs::write(&place, b"no archive").unwrap();
    assert!(said(desk.office.file_away(&place)).contains("44454d4f30303031"));
    assert!(place.exists(), "whatever it is, it is not lost");
    // In the way of the next download, and told so.
    said(desk.office.incoming("44454d4f30303031"));
    fs::remove_file(&place).unwrap();
    // One that was complete and never filed is filed before the next download.
    fs::write(&place, archive()).unwrap();
    desk.office.incoming("0000000000000001").unwrap();
    assert_eq!(desk.found(&Wanted::default()), 1);

    let id = desk.office.records(&Wanted::default()).unwrap().records[0].id.clone();
    let filed = desk.office.filed(&id).unwrap();
    let mut bytes = archive().to_vec();
    bytes[ARCHIVE_HEADER_BYTES + 5000] ^= 1;
    fs::write(&filed.file, &bytes).unwrap();
    // It is listed by what it is now, under another id or with its damage told.
    let records = desk.office.records(&Wanted::default()).unwrap().records;
    assert_ne!(records[0].integrity, "");
    assert!(records[0].integrity.to_lowercase().contains("damage"), "{}", records[0].integrity);
}
