//! `records`: the folder that keeps the recordings of all sites in order.

use crate::args::Records;
use crate::failure::{Context, Failure};
use crate::{filing, integrity, output};
use jiff::civil::Date;
use pumpwitness_evidence::Trust;
use pumpwitness_evidence::text::wrapped;
use pumpwitness_record_folder::{Folder, Listing, Query, Record, Trouble};
use pumpwitness_recording::archive::MAGIC;
use serde::Serialize;
use std::fmt::Write;
use std::path::{Path, PathBuf};

/// Schema of `--json`.
const SCHEMA: &str = "pumpwitness.records/1";

/// Adds records, or lists those that are looked for.
pub fn run(arguments: &Records) -> Result<(), Failure> {
    let folder = filing::open(arguments.folder.as_deref())?;
    let known = integrity::known(arguments.trust.as_deref())?;
    if !arguments.add.is_empty() {
        return add(&folder, &arguments.add, &known);
    }
    let query = query(arguments)?;
    for path in folder.waiting() {
        // What cannot be filed is named in the list.
        if let Ok((added, _)) = filing::file_download(&folder, &path, &known) {
            eprintln!("pumpwitness: note: an earlier download is filed now as {}", added.record.id);
        }
    }
    let listing = if arguments.afresh {
        filing::list_afresh(&folder, &known)
    } else {
        filing::list(&folder, &known)
    };
    let found = listing.search(&query);
    if arguments.json {
        return output::print(&json(&folder, &listing, &found)?);
    }
    for Trouble { path, says } in &listing.troubles {
        eprintln!("pumpwitness: note: {}: {says}", path.display());
    }
    output::print(&text(folder.root(), &listing, &found))
}

fn query(arguments: &Records) -> Result<Query, Failure> {
    let day = |option: &str, text: &Option<String>| {
        let day = text.as_ref().map(|text| text.trim().parse::<Date>());
        day.transpose().map_err(|_| {
            let text = text.as_deref().unwrap_or_default();
            Failure::usage(format_args!("{option} {text}: write the day as 2026-03-31"))
        })
    };
    Ok(Query {
        site: arguments.site.clone(),
        from: day("--from", &arguments.from)?,
        to: day("--to", &arguments.to)?,
        cause: arguments.cause.clone(),
        finding: arguments.finding.clone(),
        words: arguments.words.clone(),
    })
}

/// Files archives; one that cannot be filed does not keep the others from it.
fn add(folder: &Folder, files: &[PathBuf], known: &Trust) -> Result<(), Failure> {
    let mut failures = Vec::new();
    for path in files {
        match add_one(folder, path, known) {
            Ok(said) => output::print(&said)?,
            Err(failure) => failures.push(failure),
        }
    }
    match failures.pop() {
        None => Ok(()),
        Some(failure) if failures.is_empty() => Err(failure),
        Some(last) => {
            failures.push(last);
            for failure in &failures {
                eprintln!("pumpwitness: {failure}");
            }
            let (count, all) = (failures.len(), files.len());
            Err(Failure::input(format_args!("{count} of {all} files were not added")))
        }
    }
}

fn add_one(folder: &Folder, path: &Path, known: &Trust) -> Result<String, Failure> {
    let place = path.display();
    let bytes = filing::read(path)?;
    if !bytes.starts_with(MAGIC) {
        return Err(Failure::input(format_args!(
            "{place} is no archive of a logger: only those are kept here (`analyse` reads tables \
             where they are)"
        )));
    }
    let (added, _) = filing::file(folder, &bytes, known)
        .map_err(|failure| Failure::input(format_args!("{place}: {failure}")))?;
    if let Some(error) = &added.unindexed {
        eprintln!("pumpwitness: note: {error}");
    }
    let what = if added.new { "filed as" } else { "was here already, as" };
    Ok(format!("{place} {what} {}\n", added.record.file.display()))
}

/// What `records --json` prints.
#[derive(Serialize)]
struct Json<'a> {
    schema: &'static str,
    folder: &'a Path,
    records: &'a [&'a Record],
    troubles: &'a [Trouble],
    foreign: &'a [PathBuf],
}

fn json(folder: &Folder, listing: &Listing, found: &[&Record]) -> Result<String, Failure> {
    let json = Json {
        schema: SCHEMA,
        folder: folder.root(),
        records: found,
        troubles: &listing.troubles,
        foreign: &listing.foreign,
    };
    Ok(serde_json::to_string_pretty(&json).or_input("cannot write JSON")? + "\n")
}

fn text(root: &Path, listing: &Listing, found: &[&Record]) -> String {
    let mut text = String::new();
    let root = root.display();
    if listing.records.is_empty() {
        let _ = writeln!(
            text,
            "no records in {root} yet: `pumpwitness collect` files them there, \
             `pumpwitness records --add FILE` takes in those you have"
        );
    }
    for record in found {
        one(&mut text, record);
    }
    let all = listing.records.len();
    if all > 0 {
        let _ = match found.len() {
            shown if shown == all => writeln!(text, "{} in {root}", records(all)),
            shown => writeln!(text, "{shown} of {} in {root}", records(all)),
        };
    }
    if let [first, ..] = listing.foreign.as_slice() {
        let what = match listing.foreign.len() {
            1 => format!("{} does not belong there: it was left alone", first.display()),
            more => format!(
                "{more} files or folders do not belong there, {} among them: they were left alone",
                first.display()
            ),
        };
        let _ = writeln!(text, "{what}");
    }
    text
}

fn records(count: usize) -> String {
    if count == 1 { "1 record".to_owned() } else { format!("{count} records") }
}

fn one(text: &mut String, record: &Record) {
    let summary = &record.summary;
    let (first, last) = summary.days();
    let site: String = summary.site.chars().filter(|letter| !letter.is_control()).collect();
    let site = if site.trim().is_empty() { "site without a name" } else { site.trim() };
    let _ = writeln!(text, "{site}, {first} to {last}");
    match summary.causes.first() {
        Some(cause) => {
            let confidence = (cause.confidence * 100.0).round();
            let _ = writeln!(text, "  {} (confidence {confidence:.0} %)", cause.cause);
            wrapped(text, "    ", &cause.says);
        }
        None => text.push_str("  the record gives no cause\n"),
    }
    let mut counted = match summary.runs {
        1 => "1 run".to_owned(),
        runs => format!("{runs} runs"),
    };
    if !summary.stops.is_empty() {
        let _ = write!(counted, "; stops: {}", filing::stops(&summary.stops));
    }
    wrapped(text, "  ", &counted);
    if !summary.integrity.says.is_empty() {
        wrapped(text, "  ", &summary.integrity.says);
    }
    let _ = writeln!(text, "  {}\n", record.file.display());
}

#[cfg(test)]
mod tests {
    use super::*;
    use jiff::Timestamp;
    use pumpwitness_record_folder::{Cause, Integrity, Summary};
    use std::collections::BTreeMap;

    fn record(site: &str) -> Record {
        let at = |text: &str| text.parse::<Timestamp>().unwrap();
        Record {
            id: "20260228T233000Z_5445535430303031".to_owned(),
            sha256: "00".repeat(32),
            bytes: 1_234_567,
            file: "/r/upper-orchard-well/20260228T233000Z_5445535430303031.pwa".into(),
            summary: Summary {
                site: site.to_owned(),
                time_zone: Some("Europe/Madrid".to_owned()),
                start: at("2026-02-28T23:30:00Z"),
                end: at("2026-03-09T10:00:00Z"),
                device: "5445535430303031".to_owned(),
                causes: vec![Cause {
                    cause: "waterlogged-tank".to_owned(),
                    confidence: 0.934,
                    says: "The tank holds hardly any gas: the pump starts and stops several times \
                           for a few litres of water, which wears motor and contacts."
                        .to_owned(),
                    ..Cause::default()
                }],
                runs: 412,
                stops: BTreeMap::from([("cut-out".to_owned(), 398), ("overload".to_owned(), 14)]),
                integrity: Integrity {
                    verdict: "unproven".to_owned(),
                    says: "unproven: 320 pages are consistent, no seal vouches for them".to_owned(),
                },
                ..Summary::default()
            },
        }
    }

    #[test]
    fn a_list_reads_well() {
        let bare = Record { summary: Summary::default(), ..record("") };
        let listing = Listing {
            records: vec![record("Upper orchard well"), record("B"), bare],
            troubles: vec![],
            foreign: vec!["/r/notes.txt".into()],
        };
        let found = [&listing.records[0], &listing.records[2]];
        insta::assert_snapshot!(text(Path::new("/r"), &listing, &found));
    }

    #[test]
    fn an_empty_folder_says_what_to_do() {
        insta::assert_snapshot!(text(Path::new("/r"), &Listing::default(), &[]));
    }

    #[test]
    fn a_name_cannot_steer_the_terminal() {
        let mut text = String::new();
        one(&mut text, &record("\u{1b}[2JX\r\n"));
        assert!(text.starts_with("[2JX, 2026-03-01"), "{text}");
    }
}
