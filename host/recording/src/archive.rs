//! Archives: pages, chain and trailer → a recording. Damage is skipped and counted, never believed.

use crate::batch::{Batch, Scale};
use crate::error::Problem;
use crate::rows::Rows;
use crate::{Custody, Recording};
pub use pumpwitness_protocol::archive::MAGIC;
use pumpwitness_protocol::archive::{
    ARCHIVE_HEADER_BYTES, ArchiveHeader, TRAILER_BYTES, read_trailer,
};
use pumpwitness_protocol::hex::Hex;
use pumpwitness_protocol::message::PageAddress;
use pumpwitness_protocol::page::{
    PAGE_BYTES, PAGES_PER_SECTOR, PageState, SECTOR_BYTES, read_page,
};
use pumpwitness_protocol::sector::SectorHeader;
use sha2::{Digest, Sha256};
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::sync::{Mutex, mpsc};
use std::{iter, thread};

/// Sectors read in one go, by one core: so few that their columns are still in the second nearest
/// memory when they are put together, so many that handing over costs nothing. (Few in tests, so that their small archives have several parts.)
const SECTORS_AT_ONCE: usize = if cfg!(test) { 2 } else { 32 };
/// Most rows that room is made for in advance; more than those of an ordinary 16 MiB.
const ROWS_EXPECTED_MAX: usize = 4 << 20;
/// Cores that are used at most: putting together is the work of one.
const CORES_MAX: usize = 4;
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

    let (rows, tally, hashes) = read_sectors(&header, sectors, file);

    let mut losses = Vec::new();
    match trailer {
        None => losses.push(
            "the archive has no end mark: its download was not finished, or it was cut off"
                .to_owned(),
        ),
        Some((_, hash)) if hash != hashes.before_trailer => losses.push(
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
    tally.describe(&mut losses);

    let clock_offset_ms = header.host_clock_ms.saturating_sub(header.range.clock_ms);
    let mut recording = rows.finish(Some(clock_offset_ms));
    let source = &mut recording.source;
    losses.append(&mut source.losses);
    source.losses = losses;
    name.clone_into(&mut source.name);
    source.sha256 = Hex(&hashes.whole).to_string();
    source.device = Some(Hex(&header.identity.device).to_string());
    let [major, minor, patch] = header.identity.firmware;
    source.firmware = Some(format!("{major}.{minor}.{patch}"));
    source.site_text = (!header.site_text.is_empty())
        .then(|| String::from_utf8_lossy(&header.site_text).into_owned());
    source.custody = Some(custody(&header));
    source.clock_offset_ms = Some(clock_offset_ms);
    source.pages_good = tally.good;
    source.pages_damaged = tally.damaged;
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

/// Hashes of a file.
struct Hashes {
    whole: [u8; 32],
    before_trailer: [u8; 32],
}

impl Hashes {
    fn of(file: &[u8]) -> Self {
        let (before, trailer) = file.split_at(file.len().saturating_sub(TRAILER_BYTES));
        let mut hasher = Sha256::new();
        hasher.update(before);
        let before_trailer = hasher.clone().finalize().into();
        hasher.update(trailer);
        Self { whole: hasher.finalize().into(), before_trailer }
    }
}

/// What a core has done.
enum Done {
    Hashes(Hashes),
    Part(usize, Box<Part>),
}

/// Reads all sectors, and hashes the file, on all cores. Parts are put together in their order, so
/// the outcome does not depend on which core was faster.
fn read_sectors(header: &ArchiveHeader, sectors: &[u8], file: &[u8]) -> (Rows, Tally, Hashes) {
    let scale = Scale::of(&header.settings);
    let expected = (header.sectors() as usize).saturating_mul(SECTOR_BYTES);
    let sectors = &sectors[..sectors.len().min(expected)];
    let parts = sectors.len().div_ceil(SECTORS_AT_ONCE * SECTOR_BYTES);
    // The hash of the file cannot be shared. Another core begins with it, this one with the parts.
    let (hash_is_taken, next) = (AtomicBool::new(false), AtomicUsize::new(0));
    let hash =
        || (!hash_is_taken.swap(true, Ordering::Relaxed)).then(|| Done::Hashes(Hashes::of(file)));
    // Batches that were put in and are empty: new ones would have to be given their memory anew.
    let empty = Mutex::new(Vec::new());
    let part = || {
        let n = next.fetch_add(1, Ordering::Relaxed);
        (n < parts).then(|| {
            let batch = empty.lock().ok().and_then(|mut empty| empty.pop());
            let batch = batch.unwrap_or_else(|| Batch::new(scale));
            Done::Part(n, Box::new(Part::read(header, batch, sectors, n)))
        })
    };
    let cores =
        thread::available_parallelism().map_or(1, usize::from).min(CORES_MAX).min(parts + 1);
    let mut whole = Whole::new(scale, parts, &empty);
    thread::scope(|scope| {
        let (sender, receiver) = mpsc::channel();
        for _ in 1..cores {
            let sender = sender.clone();
            let (hash, part) = (&hash, &part);
            // Where there is no other thread to be had, this one does the work alone.
            let _ = thread::Builder::new().spawn_scoped(scope, move || {
                while let Some(done) = hash().or_else(part) {
                    if sender.send(done).is_err() {
                        break;
                    }
                }
            });
        }
        drop(sender);
        // What others have read is put together first, so that little of it waits.
        loop {
            while let Ok(done) = receiver.try_recv() {
                whole.take(done);
            }
            let Some(done) = part().or_else(hash) else { break };
            whole.take(done);
        }
        for done in receiver {
            whole.take(done);
        }
    });
    // Every piece of work was taken by a thread, and a scope ends with a panic if one of its
    // threads did: nothing is missing here.
    let hashes = whole.hashes.unwrap_or_else(|| Hashes::of(file));
    (whole.rows, whole.tally, hashes)
}

/// The parts put together so far.
struct Whole<'a> {
    rows: Rows,
    tally: Tally,
    hashes: Option<Hashes>,
    /// Parts that were read before those in front of them.
    waiting: Vec<Option<Box<Part>>>,
    /// The next part to be put in.
    next: usize,
    /// Hash of the sector before, unless pages of it are missing.
    previous: Option<[u8; 32]>,
    /// Where batches go that were put in.
    empty: &'a Mutex<Vec<Batch>>,
}

impl<'a> Whole<'a> {
    fn new(scale: Scale, parts: usize, empty: &'a Mutex<Vec<Batch>>) -> Self {
        Self {
            rows: Rows::new(scale),
            tally: Tally::default(),
            hashes: None,
            waiting: iter::repeat_with(|| None).take(parts).collect(),
            next: 0,
            previous: None,
            empty,
        }
    }

    fn take(&mut self, done: Done) {
        match done {
            Done::Hashes(hashes) => self.hashes = Some(hashes),
            Done::Part(n, part) => self.waiting[n] = Some(part),
        }
        while let Some(part) = self.waiting.get_mut(self.next).and_then(Option::take) {
            self.next += 1;
            self.put(*part);
        }
    }

    fn put(&mut self, part: Part) {
        if let (Some(previous), Some((sequence, stated))) = (self.previous, part.first)
            && previous != stated
        {
            self.tally.changed.push(sequence.wrapping_sub(1));
        }
        self.previous = part.previous;
        self.tally.add(part.tally);
        let mut batch = part.batch;
        if self.next == 1 {
            // Others will have about as many rows; an eighth more costs no memory until it is used.
            let rows = batch.columns.len().saturating_mul(self.waiting.len());
            self.rows.expect((rows + rows / 8).min(ROWS_EXPECTED_MAX));
        }
        self.rows.merge(&mut batch);
        if let Ok(mut empty) = self.empty.lock() {
            empty.push(batch);
        }
    }
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
    fn add(&mut self, other: Self) {
        self.good += other.good;
        self.damaged += other.damaged;
        self.missing += other.missing;
        self.torn += other.torn;
        self.headless.extend(other.headless);
        self.changed.extend(other.changed);
    }

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

/// Some sectors, read by one core.
struct Part {
    batch: Batch,
    tally: Tally,
    /// Sequence of the first sector and the hash it states of the one before, if its header passed.
    first: Option<(u32, [u8; 32])>,
    /// Alignment of the last sector whose header passed.
    align: u8,
    /// Hash of the sector before, unless pages of it are missing.
    previous: Option<[u8; 32]>,
}

impl Part {
    /// Reads part `n` of the sectors.
    fn read(header: &ArchiveHeader, batch: Batch, sectors: &[u8], n: usize) -> Self {
        let first = n * SECTORS_AT_ONCE;
        let sequence = |index: usize| header.range.first_sector.wrapping_add(index as u32);
        let mut part = Self {
            batch,
            tally: Tally::default(),
            first: None,
            // That of the nearest sector before, as if all had been read one after the other.
            align: (0..first)
                .rev()
                .find_map(|before| {
                    own_header(header, sequence(before), &sectors[before * SECTOR_BYTES..])
                })
                .map_or(1, |header| header.align),
            previous: None,
        };
        let own = sectors.chunks(SECTOR_BYTES).enumerate().skip(first).take(SECTORS_AT_ONCE);
        for (index, bytes) in own {
            part.read_sector(header, sequence(index), bytes);
            if index == first {
                part.first = own_header(header, sequence(index), bytes)
                    .map(|header| (sequence(index), header.previous));
            }
        }
        part.batch.settle();
        part
    }

    /// `bytes` are a whole sector, or the beginning of the last one of a cut file.
    fn read_sector(&mut self, archive: &ArchiveHeader, sequence: u32, bytes: &[u8]) {
        let is_gone = |page: &[u8]| page.iter().all(|byte| *byte == 0);
        let mut gone = bytes.len() < SECTOR_BYTES;
        match own_header(archive, sequence, bytes) {
            Some(header) => {
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
            match read_page(bytes, address, self.align.into(), &mut self.batch) {
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

/// The header of a sector, if it passes and belongs there.
fn own_header(archive: &ArchiveHeader, sequence: u32, bytes: &[u8]) -> Option<SectorHeader> {
    SectorHeader::decode(bytes)
        .filter(|own| own.sequence == sequence && own.device == archive.identity.device)
}

#[cfg(test)]
#[path = "archive_tests.rs"]
mod tests;
