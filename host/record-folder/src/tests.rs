//! The folder against a plain model, and against what crashes, people and other programs leave in
//! it. The archives here are the JSON of their own summaries, so that remaking is reading.

use crate::{Cause, Folder, Found, Integrity, Listing, Query, Summary, slug};
use jiff::Timestamp;
use jiff::civil::date;
use proptest::prelude::*;
use std::collections::BTreeMap;
use std::fs;
use std::path::Path;
use std::slice::from_ref;
use tempfile::TempDir;

const MAKER: &str = "test 1";
const DAY_S: i64 = 86_400;
/// 2026-03-01T00:00:00Z.
const MARCH_S: i64 = 1_772_323_200;

fn summary(site: &str, day: i64, cause: &str) -> Summary {
    let start = Timestamp::from_second(MARCH_S + day * DAY_S).unwrap();
    Summary {
        site: site.to_owned(),
        start,
        end: Timestamp::from_second(MARCH_S + (day + 7) * DAY_S - 1).unwrap(),
        covered_s: 7.0 * DAY_S as f64,
        device: "5445535430303031".to_owned(),
        causes: vec![Cause {
            cause: cause.to_owned(),
            confidence: 0.75,
            says: format!("The record speaks for {cause}."),
            ..Cause::default()
        }],
        findings: vec![Found {
            kind: "short-cycling".to_owned(),
            severity: "fault".to_owned(),
            count: 12,
            says: "Runs of 20 s.".to_owned(),
            ..Found::default()
        }],
        runs: 40,
        stops: BTreeMap::from([("cut-out".to_owned(), 39)]),
        integrity: Integrity { verdict: "unproven".to_owned(), says: "12 pages".to_owned() },
        ..Summary::default()
    }
}

fn archive(summary: &Summary) -> Vec<u8> {
    serde_json::to_vec(summary).unwrap()
}

fn remade(bytes: &[u8]) -> Result<Summary, String> {
    serde_json::from_slice(bytes).map_err(|_| "it is no archive".to_owned())
}

fn unasked(_: &[u8]) -> Result<Summary, String> {
    panic!("a sidecar that fits was not used")
}

fn folder() -> (TempDir, Folder) {
    let root = tempfile::tempdir().unwrap();
    let folder = Folder::open(root.path().join("records"), MAKER).unwrap();
    (root, folder)
}

fn add(folder: &Folder, summary: &Summary) -> crate::Record {
    let added = folder.add(&archive(summary), summary.clone()).unwrap();
    assert!(added.unindexed.is_none(), "{added:?}");
    added.record
}

fn said(listing: &Listing, path: &Path) -> String {
    let of = |trouble: &&crate::Trouble| trouble.path == path;
    listing.troubles.iter().find(of).unwrap_or_else(|| panic!("{listing:#?}")).says.clone()
}

#[test]
fn a_folder_that_is_not_there_is_empty_and_not_made() {
    let (_root, folder) = folder();
    assert_eq!(folder.list(&mut unasked), Listing::default());
    assert!(!folder.root().exists());
}

#[test]
fn a_record_is_filed_byte_for_byte_and_listed_from_its_sidecar() {
    let (_root, folder) = folder();
    let known = summary("Upper orchard well", 0, "waterlogged-tank");
    let record = add(&folder, &known);
    assert_eq!(record.id, "20260301T000000Z_5445535430303031");
    let place = folder.root().join("upper-orchard-well/20260301T000000Z_5445535430303031.pwa");
    assert_eq!(fs::read(place).unwrap(), archive(&known));
    let listing = folder.list(&mut unasked);
    assert_eq!(listing.records, from_ref(&record));
    assert!(listing.troubles.is_empty() && listing.foreign.is_empty(), "{listing:?}");
    assert_eq!(folder.archive(&record).unwrap(), archive(&known));
    assert_eq!(record.summary, known);
}

#[test]
fn the_same_bytes_are_filed_once_and_others_beside_them() {
    let (_root, folder) = folder();
    let first = summary("A", 0, "healthy");
    let record = add(&folder, &first);
    let again = folder.add(&archive(&first), summary("Z", 3, "supply-dips")).unwrap();
    assert!(!again.new);
    assert_eq!(again.record.id, record.id);
    // The same logger and start, longer: collected once more before it was released. Elsewhere, too.
    let longer = Summary { runs: 80, ..first.clone() };
    let renamed = Summary { runs: 90, site: "B".into(), ..first.clone() };
    assert_eq!(add(&folder, &longer).id, format!("{}-2", record.id));
    assert_eq!(add(&folder, &renamed).id, format!("{}-3", record.id));
    assert_eq!(folder.list(&mut unasked).records.len(), 3);
    assert_eq!(folder.archive(&record).unwrap(), archive(&first));
}

#[test]
fn names_of_sites_lead_nowhere_else() {
    let (root, folder) = folder();
    for (day, site) in ["../../evil", "/etc/x", "C:\\x", "", "con", "a\0b", "..", "incoming"]
        .into_iter()
        .enumerate()
    {
        let mut known = summary(site, day as i64, "healthy");
        known.device = format!("../{site}/..");
        let record = add(&folder, &known);
        assert_eq!(record.file.parent().unwrap().parent().unwrap(), folder.root(), "{record:?}");
        assert!(record.id.bytes().all(|b| b.is_ascii_alphanumeric() || b"_-".contains(&b)));
    }
    let listing = folder.list(&mut unasked);
    assert_eq!(listing.records.len(), 8, "{listing:#?}");
    assert_eq!(fs::read_dir(root.path()).unwrap().count(), 1);
}

#[test]
fn sidecars_that_do_not_fit_are_made_anew() {
    let (_root, folder) = folder();
    let known = summary("A", 0, "healthy");
    let record = add(&folder, &known);
    let sidecar = record.file.with_extension("json");
    let good = fs::read_to_string(&sidecar).unwrap();
    let other = good.replace("pumpwitness.record/1", "something/9");
    for broken in ["", "{", "[]", "{\"schema\": 3}", "\u{0}\u{1}", &good[..good.len() / 2], &other]
    {
        fs::write(&sidecar, broken).unwrap();
        folder.keep_view(&record, b"<p>old").unwrap();
        let listing = folder.list(&mut remade);
        assert_eq!(listing.records, from_ref(&record), "{broken}");
        assert!(said(&listing, &sidecar).contains("made anew"), "{broken}");
        assert_eq!(folder.view(&record), None, "a page outlived its summary");
        assert_eq!(folder.list(&mut unasked).records, from_ref(&record));
    }
    // Missing, of another version, or of other bytes: nothing is wrong, and nothing is said.
    let length = format!("\"bytes\": {}", record.bytes);
    assert!(good.contains(&length));
    for stale in [good.replace(MAKER, "test 0"), good.replace(&length, "\"bytes\": 1")] {
        fs::write(&sidecar, stale).unwrap();
        let listing = folder.list(&mut remade);
        assert_eq!((listing.records, listing.troubles), (vec![record.clone()], vec![]));
    }
    fs::remove_file(&sidecar).unwrap();
    assert_eq!(folder.list(&mut remade).records, from_ref(&record));
    assert_eq!(folder.list(&mut unasked).records, [record]);
}

#[test]
fn all_are_made_anew_when_that_is_asked_for() {
    let (_root, folder) = folder();
    let known = summary("A", 0, "healthy");
    let record = add(&folder, &known);
    folder.keep_view(&record, b"<p>old").unwrap();
    let better = Summary { runs: 99, ..known };
    let listing = folder.afresh().list(&mut |_| Ok(better.clone()));
    assert_eq!(listing.records[0].summary, better);
    assert_eq!(folder.view(&record), None);
    assert_eq!(folder.list(&mut unasked).records[0].summary, better);
}

#[test]
fn an_archive_that_was_changed_is_looked_at_again() {
    let (_root, folder) = folder();
    let known = summary("A", 0, "healthy");
    let record = add(&folder, &known);
    let changed = Summary { runs: 41, ..known.clone() };
    let file = fs::File::options().write(true).open(&record.file).unwrap();
    let later = std::time::SystemTime::UNIX_EPOCH + std::time::Duration::from_secs(1);
    // Touched only, as by copying: hashed, and not asked about.
    file.set_modified(later).unwrap();
    assert_eq!(folder.list(&mut unasked).records, from_ref(&record));
    // The same length, other bytes.
    fs::write(&record.file, archive(&changed)).unwrap();
    assert_eq!(archive(&changed).len() as u64, record.bytes);
    assert!(folder.archive(&record).is_err());
    assert_eq!(folder.list(&mut remade).records[0].summary, changed);
}

#[test]
fn what_lies_around_is_named_and_left_alone() {
    let (_root, folder) = folder();
    let record = add(&folder, &summary("A", 0, "healthy"));
    let place = folder.root().join("a");
    let copy = place.join("copy (1).pwa");
    fs::copy(&record.file, &copy).unwrap();
    let own_name = place.join("my record.pwa");
    let other = summary("A", 20, "supply-dips");
    fs::write(&own_name, archive(&other)).unwrap();
    let noise = place.join("noise.pwa");
    fs::write(&noise, b"no archive").unwrap();
    let empty = place.join("empty.pwa");
    fs::write(&empty, b"").unwrap();
    let orphan = place.join("20250101T000000Z_00.json");
    fs::write(&orphan, b"{}").unwrap();
    let unfinished = place.join(".filing-x1y2z3");
    fs::write(&unfinished, b"half").unwrap();
    let foreign = [place.join("letter.pdf"), place.join("photos"), folder.root().join("notes.txt")];
    fs::write(&foreign[0], b"%PDF").unwrap();
    fs::create_dir(&foreign[1]).unwrap();
    fs::write(&foreign[2], b"x").unwrap();
    for litter in [".DS_Store", "Thumbs.db", "desktop.ini"] {
        fs::write(place.join(litter), b"x").unwrap();
    }
    fs::write(place.join("site.toml"), b"x").unwrap();
    fs::create_dir(folder.root().join(".git")).unwrap();

    let listing = folder.list(&mut remade);
    assert_eq!(listing.records.len(), 2, "{listing:#?}");
    // A name that is no plain word gives way to the hash.
    let named = &listing.records[0];
    assert_eq!((&named.file, named.id.as_str()), (&own_name, &named.sha256[..16]));
    // "20260301T…" comes before "copy (1)".
    assert!(said(&listing, &copy).contains("the same record"));
    assert!(said(&listing, &noise).contains("no archive"));
    assert!(said(&listing, &empty).contains("empty"));
    assert!(said(&listing, &orphan).contains("not there"));
    assert!(said(&listing, &unfinished).contains("interrupted"));
    assert_eq!(listing.troubles.len(), 5, "{listing:#?}");
    let mut found = listing.foreign.clone();
    found.sort();
    let mut foreign = foreign.to_vec();
    foreign.sort();
    assert_eq!(found, foreign);
    assert!(noise.exists() && orphan.exists() && unfinished.exists());
}

#[test]
fn the_list_stands_where_no_sidecar_can_be_written() {
    let (_root, folder) = folder();
    let known = summary("A", 0, "healthy");
    let record = add(&folder, &known);
    let sidecar = record.file.with_extension("json");
    fs::remove_file(&sidecar).unwrap();
    // A folder in its place refuses the file, as a full or write-protected disk does.
    fs::create_dir_all(sidecar.join("in the way")).unwrap();
    let listing = folder.list(&mut remade);
    assert_eq!(listing.records, from_ref(&record));
    assert!(listing.troubles.iter().any(|trouble| trouble.path == sidecar), "{listing:#?}");
    let again = folder.add(&archive(&known), known).unwrap();
    assert!(!again.new && again.unindexed.is_some());
}

#[test]
fn what_a_crash_leaves_between_two_files_is_no_loss() {
    let (_root, folder) = folder();
    let known = summary("A", 0, "healthy");
    let record = add(&folder, &known);
    // Before the sidecar was written.
    fs::remove_file(record.file.with_extension("json")).unwrap();
    let again = folder.add(&archive(&known), known.clone()).unwrap();
    assert!(!again.new && again.unindexed.is_none());
    assert_eq!(folder.list(&mut unasked).records, from_ref(&record));
    // Sidecar and page of an archive that is gone do not pass for those of its successor.
    folder.keep_view(&record, b"<p>old").unwrap();
    fs::remove_file(&record.file).unwrap();
    let next = Summary { runs: 41, ..known };
    let added = add(&folder, &next);
    assert_eq!(added.file, record.file);
    assert_eq!(folder.view(&added), None);
    assert_eq!(folder.list(&mut unasked).records, [added]);
    // Downloaded, and not filed.
    let waiting = folder.incoming("5445535430303031").unwrap();
    fs::write(&waiting, archive(&next)).unwrap();
    fs::write(waiting.with_extension("pwa.part"), b"half").unwrap();
    assert_eq!(folder.waiting(), [waiting.as_path()]);
    assert!(said(&folder.list(&mut unasked), &waiting).contains("not filed"));
}

#[test]
fn a_root_that_is_a_file_is_refused() {
    let (root, _) = folder();
    let file = root.path().join("file");
    fs::write(&file, b"x").unwrap();
    assert!(Folder::open(&file, MAKER).is_err());
}

#[test]
fn site_files_are_kept_by_site() {
    let (_root, folder) = folder();
    let path = folder.keep_site_file("../A", "[site]\n").unwrap();
    folder.keep_site_file("../A", "[site]\nname = \"A\"\n").unwrap();
    assert_eq!(fs::read_to_string(&path).unwrap(), "[site]\nname = \"A\"\n");
    assert_eq!(folder.site_files(), [(slug::slug("../A"), path)]);
}

#[test]
fn days_are_those_of_the_site() {
    let (_root, folder) = folder();
    // 23:30 on 28 February in UTC is 1 March in Lisbon's neighbour to the east.
    let known = Summary {
        start: "2026-02-28T23:30:00Z".parse().unwrap(),
        end: "2026-03-01T22:30:00Z".parse().unwrap(),
        time_zone: Some("Europe/Madrid".to_owned()),
        ..summary("A", 0, "healthy")
    };
    add(&folder, &known);
    let listing = folder.list(&mut unasked);
    let on = |from, to| listing.search(&Query { from, to, ..Query::default() }).len();
    assert_eq!(on(None, Some(date(2026, 2, 28))), 0);
    assert_eq!(on(Some(date(2026, 3, 1)), Some(date(2026, 3, 1))), 1);
    assert_eq!(on(Some(date(2026, 3, 2)), None), 0);
}

#[test]
fn words_are_all_looked_for_wherever_they_stand() {
    let (_root, folder) = folder();
    add(&folder, &summary("Upper orchard", 0, "waterlogged-tank"));
    add(&folder, &summary("Lower orchard", 0, "supply-dips"));
    let listing = folder.list(&mut unasked);
    let found = |words: &str| {
        let query = Query { words: Some(words.to_owned()), ..Query::default() };
        listing.search(&query).len()
    };
    assert_eq!(found("ORCHARD cut-out"), 2);
    assert_eq!(found("upper Tank"), 1);
    assert_eq!(found("upper dips"), 0);
    assert_eq!(found("2026-03-01"), 2);
    assert_eq!(found(""), 2);
}

/// One thing that happens to a folder.
#[derive(Clone, Debug)]
enum Event {
    Add { site: usize, day: i64, cause: usize, runs: u32 },
    LoseSidecar(usize),
    BreakSidecar(usize, usize),
    LoseArchive(usize),
    Search { site: Option<usize>, from: Option<i64>, to: Option<i64>, cause: Option<usize> },
}

const SITES: [&str; 5] = ["Upper well", "upper Well", "Poço/2", "Poço-2", ""];
const CAUSES: [&str; 3] = ["healthy", "supply-dips", "idle-draw"];

fn event() -> impl Strategy<Value = Event> {
    prop_oneof![
        4 => (0..5_usize, 0..20_i64, 0..3_usize, 0..2_u32)
            .prop_map(|(site, day, cause, runs)| Event::Add { site, day, cause, runs }),
        1 => any::<usize>().prop_map(Event::LoseSidecar),
        1 => (any::<usize>(), any::<usize>()).prop_map(|(n, cut)| Event::BreakSidecar(n, cut)),
        1 => any::<usize>().prop_map(Event::LoseArchive),
        2 => (
            prop::option::of(0..5_usize),
            prop::option::of(-2..30_i64),
            prop::option::of(-2..30_i64),
            prop::option::of(0..3_usize),
        )
            .prop_map(|(site, from, to, cause)| Event::Search { site, from, to, cause }),
    ]
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]
    #[test]
    fn it_does_as_a_plain_list_does(events in prop::collection::vec(event(), 1..30)) {
        let (_root, folder) = folder();
        let mut model: Vec<Summary> = Vec::new();
        for event in events {
            let records = folder.list(&mut remade).records;
            let nth = |n: usize| (!records.is_empty()).then(|| &records[n % records.len()]);
            match event {
                Event::Add { site, day, cause, runs } => {
                    let known = Summary { runs, ..summary(SITES[site], day, CAUSES[cause]) };
                    let added = folder.add(&archive(&known), known.clone()).unwrap();
                    prop_assert_eq!(added.new, !model.contains(&known));
                    if added.new {
                        model.push(known);
                    }
                }
                Event::LoseSidecar(n) => if let Some(record) = nth(n) {
                    fs::remove_file(record.file.with_extension("json")).unwrap();
                },
                Event::BreakSidecar(n, cut) => if let Some(record) = nth(n) {
                    let path = record.file.with_extension("json");
                    let text = fs::read(&path).unwrap();
                    // A cut of the last line feed alone would leave a whole sidecar.
                    fs::write(&path, &text[..cut % (text.len() - 2)]).unwrap();
                },
                Event::LoseArchive(n) => if let Some(record) = nth(n) {
                    fs::remove_file(&record.file).unwrap();
                    model.retain(|known| *known != record.summary);
                },
                Event::Search { site, from, to, cause } => {
                    let day = |n: i64| date(2026, 3, 1).checked_add(jiff::Span::new().days(n)).unwrap();
                    let query = Query {
                        site: site.map(|n| SITES[n].to_owned()),
                        from: from.map(day),
                        to: to.map(day),
                        cause: cause.map(|n| CAUSES[n].to_owned()),
                        ..Query::default()
                    };
                    let expected = model.iter().filter(|known| {
                        let first = (known.start.as_second() - MARCH_S) / DAY_S;
                        site.is_none_or(|n| {
                            known.site.to_lowercase().contains(&SITES[n].to_lowercase())
                        })
                            && from.is_none_or(|from| first + 6 >= from)
                            && to.is_none_or(|to| first <= to)
                            && cause.is_none_or(|n| known.causes[0].cause == CAUSES[n])
                    });
                    let listing = folder.list(&mut remade);
                    let mut found: Vec<_> =
                        listing.search(&query).iter().map(|r| archive(&r.summary)).collect();
                    let mut expected: Vec<_> = expected.map(archive).collect();
                    found.sort();
                    expected.sort();
                    prop_assert_eq!(found, expected);
                }
            }
        }
        let listing = folder.list(&mut remade);
        prop_assert_eq!(listing.records.len(), model.len());
        let mut ids: Vec<_> = listing.records.iter().map(|record| &record.id).collect();
        ids.sort();
        ids.dedup();
        prop_assert_eq!(ids.len(), model.len());
        prop_assert!(listing.records.is_sorted_by_key(|record| -record.summary.start.as_second()));
        for record in &listing.records {
            prop_assert_eq!(folder.archive(record).unwrap(), archive(&record.summary));
        }
    }
}
