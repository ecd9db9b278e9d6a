//! An archive taken apart: what is proven, what is only consistent, what is damaged or missing.
//!
//! What a page is worth follows from three things, in this order. A right seal vouches for the
//! sector it names and, as each sector holds the hash of the one before, for every sector down to
//! the first break. Without one, a sector that its successor's hash agrees with is consistent. Where
//! the two disagree, the page's own checks say whether bits were damaged or the sector was altered
//! by somebody who knew how to make the checks fit.

mod clock;
mod ends;
mod head;
mod judge;
mod layout;
mod order;
mod reading;
mod seals;

use crate::outcome::{
    FileFacts, KeyFacts, KeyStanding, Kind, PageCounts, Papers, Part, Place, SCHEMA, SealCheck,
    SealResult, Trouble, Verdict, Verification,
};
use crate::trust::Trust;
use layout::{EndMark, Expected, find_end_mark, guess, lay_out, scan};
use pumpwitness_protocol::archive::{ARCHIVE_HEADER_BYTES, ArchiveHeader, MAGIC};
use pumpwitness_protocol::hex::Hex;
use pumpwitness_protocol::page::SECTOR_BYTES;
use pumpwitness_protocol::seal::{Occasion, papers};
use pumpwitness_protocol::sector::SectorHeader;
use pumpwitness_recording::clock::utc_text;
use reading::Reading;
use seals::Keys;
use sha2::{Digest, Sha256};

/// Longest time between the clock in the head and the one in the seal of the download, ms. The two
/// are asked for one after the other; common practice.
const SAME_MOMENT_MS: u64 = 600_000;

/// Why nothing can be said about a file.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum Unreadable {
    /// No bytes.
    #[error("the file is empty")]
    Empty,
    /// Nothing in it is of an archive.
    #[error("this is not a pumpwitness archive: nothing in it can be verified")]
    Foreign,
}

/// Takes an archive apart. An error means that it is none.
pub fn verify(file: &[u8], trust: &Trust) -> Result<Verification, Unreadable> {
    if file.is_empty() {
        return Err(Unreadable::Empty);
    }
    let end_mark = find_end_mark(file);
    let end = end_mark.map_or(file.len(), |mark| mark.at);
    let found = scan(file, ARCHIVE_HEADER_BYTES.min(file.len()), end);
    if !file.starts_with(MAGIC) && found.is_empty() && end_mark.is_none() {
        return Err(Unreadable::Foreign);
    }
    let header = ArchiveHeader::decode(file).ok().filter(|header| header.sectors() > 0);
    let device = header.as_ref().map_or_else(
        || found.iter().find_map(|declared| declared.device).unwrap_or_default(),
        |header| header.identity.device,
    );
    let expected = header.as_ref().map_or_else(
        || guess(&found, file.len(), end_mark.as_ref()),
        |header| Expected { first: header.range.first_sector, sectors: header.sectors() },
    );
    let layout = lay_out(&found, expected, end, end_mark.as_ref());
    let reading = reading::read(
        file,
        &layout,
        expected,
        device,
        header.as_ref().map(|header| header.identity.boot),
    );

    let keys = Keys {
        in_file: header.as_ref().map(|header| header.public_key).filter(|key| *key != [0; 32]),
        trusted: trust.key(&device),
    };
    let checks = check_seals(&reading, header.as_ref(), &keys, device, expected);
    let (papers, papers_trouble) = check_papers(header.as_ref(), checks.last());
    let (clock, clock_troubles) = clock::history(&reading.ticks, header.as_ref());

    let mut troubles = ends::head(file, header.is_some());
    troubles.extend(key_troubles(&keys, &checks, header.as_ref(), expected));
    troubles.extend(papers_trouble);
    if let Some(header) = &header {
        troubles.extend(head::against_record(header, &checks, &reading, expected));
    }
    let judged = judge::judge(&reading, &layout, &checks, &keys, expected);
    troubles.extend(judged.troubles);
    troubles.extend(clock_troubles);
    troubles.extend(checks.iter().filter_map(|(check, _)| seals::trouble(check)));
    troubles.extend(ends::end(file, &layout, expected, end_mark.as_ref(), header.is_some()));
    troubles.extend(ends::file_hash(file, end_mark.as_ref(), troubles.is_empty()));

    let mut pages = PageCounts::default();
    for page in judged.sectors.iter().flat_map(|sector| &sector.pages) {
        pages.add(*page);
    }
    pages.missing += u64::from(layout.unlisted) * 4;
    let mut remarks = judged.remarks;
    remarks.extend(seal_remarks(&checks, &keys, header.as_ref()));
    let verdict = verdict(&troubles, &pages, &checks, &keys, expected);
    Ok(Verification {
        schema: SCHEMA,
        verdict,
        file: file_facts(file, device, expected, header.as_ref()),
        key: key_facts(&keys, trust, device),
        pages,
        seals: checks.into_iter().map(|(check, _)| check).collect(),
        papers,
        clock,
        troubles,
        remarks,
        sectors: judged.sectors,
    })
}

/// Each seal with what it states.
type Checked = (SealCheck, pumpwitness_protocol::seal::Statement);

fn check_seals(
    reading: &Reading,
    header: Option<&ArchiveHeader>,
    keys: &Keys,
    device: [u8; 8],
    expected: Expected,
) -> Vec<Checked> {
    let hash_of = |sector: u32| {
        let n = sector.checked_sub(expected.first)?;
        reading.sectors.get(n as usize)?.sha256
    };
    let in_head = header.and_then(|header| header.seal).map(|seal| (head_place(), seal));
    reading
        .seals
        .iter()
        .copied()
        .chain(in_head)
        .map(|(place, seal)| (seals::check(place, &seal, keys, device, hash_of), seal.statement))
        .collect()
}

fn head_place() -> Place {
    Place {
        part: Part::Head,
        sector: None,
        page: None,
        byte: 0,
        bytes: ARCHIVE_HEADER_BYTES as u64,
    }
}

/// The seal of the head says what the papers were when the file was collected.
fn check_papers(
    header: Option<&ArchiveHeader>,
    last: Option<&Checked>,
) -> (Papers, Option<Trouble>) {
    let (Some(header), Some((check, statement))) = (header, last) else {
        return (Papers::Unproven, None);
    };
    let signed = matches!(
        check.result,
        SealResult::Holds | SealResult::OutOfReach | SealResult::Contradicted
    );
    if check.place.part != Part::Head || !signed {
        return (Papers::Unproven, None);
    }
    if papers(&header.settings, &header.site_text, &header.calibration) == statement.papers {
        return (Papers::Sealed, None);
    }
    let trouble = Trouble {
        kind: Kind::PapersChanged,
        place: head_place(),
        text: "The settings, the text of the site file or the calibration in the head are not \
               those that were in force when the logger sealed the record: what the numbers mean \
               was changed afterwards."
            .to_owned(),
    };
    (Papers::Changed, Some(trouble))
}

fn key_troubles(
    keys: &Keys,
    checks: &[Checked],
    header: Option<&ArchiveHeader>,
    expected: Expected,
) -> Vec<Trouble> {
    let mut troubles = Vec::new();
    let Some(trusted) = keys.trusted else { return troubles };
    if header.is_some() && keys.in_file != Some(trusted) {
        let found = keys.in_file.map_or_else(|| "none".to_owned(), |key| Hex(&key).to_string());
        troubles.push(Trouble {
            kind: Kind::KeyDiffers,
            place: head_place(),
            text: format!(
                "The public key in the file is not the one known for this logger. Known: {}; in \
                 the file: {found}. Either the file was signed by somebody else, or the logger's \
                 memory was wiped and it made itself a new key.",
                Hex(&trusted)
            ),
        });
    }
    let sealed = checks.iter().any(|(check, _)| check.place.part == Part::Head);
    if header.is_some() && !sealed && expected.sectors > 0 {
        troubles.push(Trouble {
            kind: Kind::SealMissing,
            place: head_place(),
            text: "The key of this logger is known, so it seals what is downloaded, but there is \
                   no such seal in the file."
                .to_owned(),
        });
    }
    troubles
}

/// True when the seal of the download holds and reaches the last sector.
fn closed_by_seal(checks: &[Checked], expected: Expected) -> bool {
    checks.iter().any(|(check, statement)| {
        check.place.part == Part::Head
            && statement.occasion == Occasion::Download
            && check.result == SealResult::Holds
            && statement.sector.wrapping_sub(expected.first) == expected.sectors.wrapping_sub(1)
    })
}

fn seal_remarks(checks: &[Checked], keys: &Keys, header: Option<&ArchiveHeader>) -> Vec<String> {
    let mut remarks = Vec::new();
    let in_head = checks.last().filter(|(check, _)| check.place.part == Part::Head);
    match in_head {
        Some((_, statement)) if statement.occasion == Occasion::Hour => remarks.push(
            "The seal in the head is an hourly one: the file does not show whether the record went \
             on after it."
                .to_owned(),
        ),
        Some((check, _)) => {
            let clock_ms = header.map_or(check.time_ms, |header| header.range.clock_ms);
            if check.time_ms.abs_diff(clock_ms) > SAME_MOMENT_MS {
                remarks.push(format!(
                    "The seal of the download was made at {}, but by the head the file was \
                     collected at {}, both by the logger's clock.",
                    utc_text(check.time_ms),
                    utc_text(clock_ms)
                ));
            }
        }
        None if keys.counting().is_some() && !checks.is_empty() => remarks.push(
            "The download itself is not sealed: the file does not show whether the record went on \
             after its last sector."
                .to_owned(),
        ),
        None => {}
    }
    let mut papers = checks.iter().map(|(_, statement)| statement.papers);
    let first = papers.next();
    if papers.any(|next| Some(next) != first) {
        remarks.push(
            "Settings, site text or calibration were changed on the logger during the record; the \
             file shows the last ones."
                .to_owned(),
        );
    }
    remarks
}

fn verdict(
    troubles: &[Trouble],
    pages: &PageCounts,
    checks: &[Checked],
    keys: &Keys,
    expected: Expected,
) -> Verdict {
    if !troubles.is_empty() {
        Verdict::DamageFound
    } else if pages.sealed > 0 {
        Verdict::SealedByUnknownKey
    } else if pages.proven == 0 || keys.trusted.is_none() {
        Verdict::Unproven
    } else if pages.proven == pages.total() && closed_by_seal(checks, expected) {
        Verdict::Proven
    } else {
        Verdict::PartlyProven
    }
}

fn file_facts(
    file: &[u8],
    device: [u8; 8],
    expected: Expected,
    header: Option<&ArchiveHeader>,
) -> FileFacts {
    let version = |[major, minor, patch]: [u8; 3]| format!("{major}.{minor}.{patch}");
    FileFacts {
        sha256: Hex(&Sha256::digest(file)).to_string(),
        bytes: file.len() as u64,
        device: Hex(&device).to_string(),
        first_sector: expected.first,
        sectors: expected.sectors,
        firmware: header.map(|header| version(header.identity.firmware)),
        site: header.map(|header| header.settings.site.to_string()),
        collected_by: header.map(|header| header.collected_by.to_string()),
        program: header.map(|header| version(header.program)),
    }
}

fn key_facts(keys: &Keys, trust: &Trust, device: [u8; 8]) -> KeyFacts {
    KeyFacts {
        in_file: keys.in_file.as_ref().map(|key| Hex(key).to_string()),
        trusted: keys.trusted.as_ref().map(|key| Hex(key).to_string()),
        trusted_note: trust.known(&device).map(|known| match &known.note {
            Some(note) => format!("noted {}: {note}", known.first_seen),
            None => format!("noted {}", known.first_seen),
        }),
        standing: match (keys.in_file, keys.trusted) {
            (None, _) => KeyStanding::Absent,
            (Some(_), None) => KeyStanding::Unknown,
            (Some(file), Some(trusted)) if file == trusted => KeyStanding::Trusted,
            (Some(_), Some(_)) => KeyStanding::Differs,
        },
    }
}

/// True when a sector's header is of the first sector ever and names no predecessor.
fn begins_the_chain(header: &SectorHeader) -> bool {
    header.sequence == 0 && header.previous == [0; 32]
}

/// Byte at which a record of these sectors ends.
fn end_of(expected: Expected) -> u64 {
    ARCHIVE_HEADER_BYTES as u64 + u64::from(expected.sectors) * SECTOR_BYTES as u64
}

/// Where the end mark is.
fn end_mark_place(mark: &EndMark) -> Place {
    Place {
        part: Part::EndMark,
        sector: None,
        page: None,
        byte: mark.at as u64,
        bytes: pumpwitness_protocol::archive::TRAILER_BYTES as u64,
    }
}

#[cfg(test)]
#[path = "tests.rs"]
mod tests;
