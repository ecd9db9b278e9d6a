//! Archives: pages, chain and trailer → a recording. Damage is skipped and counted, never believed.

use crate::error::Problem;
use crate::file::{hex, sha256_hex};
use crate::rows::Rows;
use crate::{Custody, Recording};
pub use pumpwitness_protocol::archive::MAGIC;
use pumpwitness_protocol::archive::{
    ARCHIVE_HEADER_BYTES, ArchiveHeader, TRAILER_BYTES, read_trailer,
};
use pumpwitness_protocol::message::PageAddress;
use pumpwitness_protocol::page::{
    PAGE_BYTES, PAGES_PER_SECTOR, PageState, SECTOR_BYTES, read_page,
};
use pumpwitness_protocol::sector::SectorHeader;
use sha2::{Digest, Sha256};
use std::thread;

/// Numbers of sectors named in a sentence before it says how many more there are.
const NAMED_MAX: usize = 8;

/// Reads an archive from memory; `name` is kept as the name of its file.
///
/// An error means that the head, without which nothing can be understood, is foreign or damaged.
/// All other damage is told in `source.losses`.
pub fn read_archive(name: &str, file: &[u8]) -> Result<Recording, Problem> {
    let header = ArchiveHeader::decode(file)?;
    let body = &file[ARCHIVE_HEADER_BYTES..];
    let trailer_at = body.len().saturating_sub(TRAILER_BYTES);
    let trailer = read_trailer(&body[trailer_at..]);
    let sectors = if trailer.is_some() { &body[..trailer_at] } else { body };

    let mut reader = Reader::new(&header);
    // The file's hash takes about as long as all the rest: let the other core do it.
    let sha256 = thread::scope(|scope| {
        let whole = scope.spawn(|| hash_with_trailer(file));
        reader.read(sectors);
        whole.join().ok()
    });
    let (sha256, before_trailer) =
        sha256.unwrap_or_else(|| (sha256_hex(file), hash_before_trailer(file)));

    let mut losses = Vec::new();
    match trailer {
        None => losses.push(
            "the archive has no end mark: its download was not finished, or it was cut off"
                .to_owned(),
        ),
        Some((_, hash)) if hash != before_trailer => losses.push(
            "the archive is not as it was downloaded: its hash differs from the one in its end \
             mark"
                .to_owned(),
        ),
        Some((count, _)) if count != header.sectors() => {
            losses.push("the end mark of the archive is damaged".to_owned());
        }
        Some(_) => {}
    }
    let expected = header.sectors();
    let whole = (sectors.len() / SECTOR_BYTES) as u32;
    if whole < expected {
        losses.push(format!("{} of {expected} sectors are not in the file", expected - whole));
    } else if sectors.len() > expected as usize * SECTOR_BYTES {
        losses.push("the archive has bytes behind its last sector: they were left out".to_owned());
    }
    reader.tally.describe(&mut losses);

    let clock_offset_ms = header.host_clock_ms.saturating_sub(header.range.clock_ms);
    let (pages_good, pages_damaged) = (reader.tally.good, reader.tally.damaged);
    let mut recording = reader.rows.finish(Some(clock_offset_ms));
    let source = &mut recording.source;
    losses.append(&mut source.losses);
    source.losses = losses;
    name.clone_into(&mut source.name);
    source.sha256 = sha256;
    source.device = Some(hex(&header.identity.device));
    let [major, minor, patch] = header.identity.firmware;
    source.firmware = Some(format!("{major}.{minor}.{patch}"));
    source.site_text = (!header.site_text.is_empty())
        .then(|| String::from_utf8_lossy(&header.site_text).into_owned());
    source.custody = Some(custody(&header));
    source.clock_offset_ms = Some(clock_offset_ms);
    source.pages_good = pages_good;
    source.pages_damaged = pages_damaged;
    Ok(recording)
}

/// What the head states about people and instruments; empty texts are not stated.
fn custody(header: &ArchiveHeader) -> Custody {
    let stated = |text: &str| (!text.trim().is_empty()).then(|| text.trim().to_owned());
    let [major, minor, patch] = header.program;
    Custody {
        collected_by: stated(&header.collected_by),
        collected_ms: header.host_clock_ms,
        program: format!("pumpwitness {major}.{minor}.{patch}"),
        calibrated_ms: header.calibration.made_ms,
        calibrated_by: stated(&header.calibration.by),
        reference: stated(&header.calibration.reference),
    }
}

/// Hash of the whole file, and of what lies before the trailer.
fn hash_with_trailer(file: &[u8]) -> (String, [u8; 32]) {
    let (before, trailer) = file.split_at(file.len().saturating_sub(TRAILER_BYTES));
    let mut hasher = Sha256::new();
    hasher.update(before);
    let before: [u8; 32] = hasher.clone().finalize().into();
    hasher.update(trailer);
    (hex(&hasher.finalize()), before)
}

fn hash_before_trailer(file: &[u8]) -> [u8; 32] {
    Sha256::digest(&file[..file.len().saturating_sub(TRAILER_BYTES)]).into()
}

/// What was met on the way.
#[derive(Default)]
struct Tally {
    good: u32,
    damaged: u32,
    missing: u32,
    torn: u32,
    /// Sectors whose header does not pass or belongs elsewhere.
    headless: Vec<u32>,
    /// Sectors that are not what their successor's hash says.
    changed: Vec<u32>,
}

impl Tally {
    fn describe(&self, losses: &mut Vec<String>) {
        if self.missing > 0 {
            losses.push(format!(
                "{} pages were no longer held by the logger when it was read",
                self.missing
            ));
        }
        if self.damaged > 0 {
            losses.push(format!("{} pages are damaged: they were skipped", self.damaged));
        }
        if self.torn > 0 {
            losses.push(format!(
                "{} pages break off before their end, as after a loss of power while writing; \
                 what is before stands",
                self.torn
            ));
        }
        if !self.headless.is_empty() {
            losses.push(format!(
                "the header of {} does not pass its check or belongs elsewhere",
                named(&self.headless)
            ));
        }
        if !self.changed.is_empty() {
            losses.push(format!(
                "the hash chain is broken: {} changed after the logger closed it",
                named(&self.changed)
            ));
        }
    }
}

fn named(sectors: &[u32]) -> String {
    let first: Vec<String> = sectors.iter().take(NAMED_MAX).map(u32::to_string).collect();
    let more = sectors.len().saturating_sub(NAMED_MAX);
    let noun = if sectors.len() == 1 { "sector" } else { "sectors" };
    let more = if more > 0 { format!(" and {more} more") } else { String::new() };
    format!("{noun} {}{more}", first.join(", "))
}

struct Reader<'a> {
    header: &'a ArchiveHeader,
    rows: Rows,
    tally: Tally,
    /// Alignment of the last sector whose header passed.
    align: u8,
    /// Hash of the sector before, unless pages of it are missing.
    previous: Option<[u8; 32]>,
}

impl<'a> Reader<'a> {
    fn new(header: &'a ArchiveHeader) -> Self {
        Self {
            header,
            rows: Rows::new(&header.settings),
            tally: Tally::default(),
            align: 1,
            previous: None,
        }
    }

    fn read(&mut self, sectors: &[u8]) {
        let first = self.header.range.first_sector;
        let count = self.header.sectors() as usize;
        for (index, sector) in sectors.chunks(SECTOR_BYTES).take(count).enumerate() {
            self.read_sector(first.wrapping_add(index as u32), sector);
        }
    }

    /// `bytes` are a whole sector, or the beginning of the last one of a cut file.
    fn read_sector(&mut self, sequence: u32, bytes: &[u8]) {
        let is_gone = |page: &[u8]| page.iter().all(|byte| *byte == 0);
        let mut gone = bytes.len() < SECTOR_BYTES;
        match SectorHeader::decode(bytes) {
            Some(header)
                if header.sequence == sequence && header.device == self.header.identity.device =>
            {
                self.align = header.align;
                if self.previous.is_some_and(|previous| previous != header.previous) {
                    self.tally.changed.push(sequence.wrapping_sub(1));
                }
            }
            // A page that the logger no longer held is no damage.
            _ if bytes.get(..PAGE_BYTES).is_none_or(is_gone) => {}
            _ => self.tally.headless.push(sequence),
        }
        for (page, bytes) in bytes.chunks(PAGE_BYTES).enumerate().take(PAGES_PER_SECTOR) {
            if is_gone(bytes) {
                self.tally.missing += 1;
                gone = true;
                continue;
            }
            let Ok(bytes) = bytes.try_into() else {
                self.tally.damaged += 1;
                continue;
            };
            let address = PageAddress { sector: sequence, page: page as u8 };
            let rows = &mut self.rows;
            match read_page(bytes, address, self.align.into(), |record| rows.push(record)) {
                PageState::Blank => {}
                PageState::Good { .. } => self.tally.good += 1,
                PageState::Torn { .. } => {
                    self.tally.good += 1;
                    self.tally.torn += 1;
                }
                PageState::Damaged => self.tally.damaged += 1,
            }
        }
        self.previous = (!gone).then(|| Sha256::digest(bytes).into());
    }
}

#[cfg(test)]
#[path = "archive_tests.rs"]
mod tests;
