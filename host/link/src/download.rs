//! The download: an archive file (FORMAT.md §4), page by page, gone on with after any interruption,
//! and verified from the disk before it gets its name.
//!
//! `plan` (which pages to ask for, where they belong; no line, no file) → `part` (the unfinished
//! file) → `readback` (what lies on the disk); [`Download::run`] ties them to a client.

mod part;
mod plan;
mod readback;

use crate::client::Client;
use crate::error::{ClientError, DeviceError};
use crate::transport::Transport;
use part::{Opened, Part};
use plan::{Pages, Plan, Taken};
use pumpwitness_protocol::archive::{
    ARCHIVE_HEADER_BYTES, ArchiveHeader, HeaderError, TRAILER_BYTES, trailer,
};
use pumpwitness_protocol::message::{Identity, PageAddress, Refusal};
use pumpwitness_protocol::page::SECTOR_BYTES;
use pumpwitness_protocol::sector::SectorHeader;
use readback::{ReadBack, read_back, verify};
use std::collections::BTreeSet;
use std::ffi::OsString;
use std::io;
use std::path::{Path, PathBuf};

/// Why there is no archive (yet).
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum DownloadError {
    /// The line or the logger. What came so far is kept.
    #[error(transparent)]
    Client(#[from] ClientError),
    /// A file could not be written or read. What came so far is kept.
    #[error(
        "{}: {cause}; choose a folder that can be written to and has room, then repeat",
        file.display()
    )]
    File {
        /// Which.
        file: PathBuf,
        /// What the system says.
        cause: io::Error,
    },
    /// The file is there already.
    #[error("{} exists already: choose another name, or have it replaced", .0.display())]
    Exists(PathBuf),
    /// Another download writes the unfinished file.
    #[error("{} is being written by another download: wait for it, or choose another file", .0.display())]
    InUse(PathBuf),
    /// The unfinished file is none of ours.
    #[error("{} is no unfinished download ({cause}): move it away", file.display())]
    Foreign {
        /// Which.
        file: PathBuf,
        /// Why not.
        cause: HeaderError,
    },
    /// The unfinished file is of another logger.
    #[error(
        "{} is the unfinished download of logger {of}, and this is logger {this}: connect that one, or choose another file",
        file.display()
    )]
    OtherLogger {
        /// Which file.
        file: PathBuf,
        /// The logger it came from.
        of: String,
        /// The logger on the line.
        this: String,
    },
    /// The logger's memory was cleared since the unfinished file was begun.
    #[error(
        "{}: the logger now holds another record under sector {sector} than this unfinished download: choose another file, and keep this one",
        file.display()
    )]
    OtherRecord {
        /// Which file.
        file: PathBuf,
        /// The sector that differs.
        sector: u32,
    },
    /// The logger names sectors as none can hold them.
    #[error("the logger names its sectors {0} to {1}: its memory is in disorder; have it repaired")]
    BadRange(u32, u32),
    /// The logger stopped sending pages. What came so far is kept.
    #[error(
        "the logger sent no usable page for sector {}, page {}; what came so far is kept, repeat to go on",
        .0.sector, .0.page
    )]
    Stuck(PageAddress),
    /// The disk gives back other bytes than were written.
    #[error("{} was not read back as it was written: the disk is failing; choose another", .0.display())]
    NotAsWritten(PathBuf),
    /// The file is finished and verified, but the logger could not be told.
    #[error("{} is complete and verified, but the logger could not be told to release its memory: {cause}", file.display())]
    NotReleased {
        /// The finished file.
        file: PathBuf,
        /// Why not.
        cause: ClientError,
    },
}

/// How far it is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Progress {
    /// Pages in the file.
    pub done: u64,
    /// Pages in all.
    pub total: u64,
}

/// What to download into which file.
#[derive(Clone, Copy, Debug)]
pub struct Download<'a> {
    /// The file.
    pub file: &'a Path,
    /// Replace it if it exists.
    pub replace: bool,
    /// Tell the logger afterwards that it may reuse the memory; only when nothing is missing in the
    /// file and no link of its chain is broken.
    pub release: bool,
    /// The host's clock now, ms since 1970.
    pub host_clock_ms: i64,
    /// Who collects it, for the head of the file; empty when that is not said. What goes beyond
    /// [`COLLECTED_BY_BYTES`] is cut off.
    pub collected_by: &'a str,
}

/// Most bytes of the name of who collected it.
pub const COLLECTED_BY_BYTES: usize = 64;

/// A finished download.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Downloaded {
    /// The logger, as it introduced itself when the download began.
    pub identity: Identity,
    /// Sectors in the file.
    pub sectors: u32,
    /// Pages in the file, those that are gone included.
    pub pages: u64,
    /// Pages the logger no longer held; they are zeros in the file.
    pub pages_gone: u32,
    /// Pages of which nothing can be believed, as the logger holds them.
    pub pages_damaged: u32,
    /// Pages whose end cannot be believed; a power cut leaves one.
    pub pages_torn: u32,
    /// Pages that were in the file before this attempt.
    pub resumed_at: u64,
    /// Pages that were fetched once more because the disk had not kept them.
    pub pages_mended: u64,
    /// Sectors whose successor names another hash: changed since they were closed.
    pub chain_broken: Vec<u32>,
    /// Links of the chain that cannot be checked, for one of their sectors is not whole.
    pub chain_unknown: u32,
    /// SHA-256 of the finished file.
    pub sha256: [u8; 32],
    /// The logger may reuse the memory. False when that was not asked for, or not everything is in
    /// the file.
    pub released: bool,
}

impl Downloaded {
    /// True when every sector is followed by one that names its hash.
    pub fn chain_ok(&self) -> bool {
        self.chain_broken.is_empty() && self.chain_unknown == 0
    }
}

/// Version of this program, major · minor · patch.
pub const PROGRAM: [u8; 3] = [
    number(env!("CARGO_PKG_VERSION_MAJOR")),
    number(env!("CARGO_PKG_VERSION_MINOR")),
    number(env!("CARGO_PKG_VERSION_PATCH")),
];

/// A number in decimal, 255 at most.
const fn number(text: &str) -> u8 {
    match u8::from_str_radix(text, 10) {
        Ok(number) => number,
        Err(_) => u8::MAX,
    }
}

/// Name of the unfinished file.
pub fn part_of(file: &Path) -> PathBuf {
    let mut name = OsString::from(file);
    name.push(".part");
    PathBuf::from(name)
}

impl Download<'_> {
    /// Downloads, or goes on with an earlier attempt. `progress` is called for each page.
    pub fn run<T: Transport>(
        &self,
        client: &mut Client<T>,
        mut progress: impl FnMut(Progress),
    ) -> Result<Downloaded, DownloadError> {
        if !self.replace && self.file.exists() {
            return Err(DownloadError::Exists(self.file.to_owned()));
        }
        let identity = client.hello()?;
        let mut part = self.open(client, identity)?;
        let resumed_at = part.done;
        let total = part.pages.total();
        let mut gone = BTreeSet::new();
        progress(Progress { done: resumed_at, total });
        let mut plan = Plan::one(part.pages, resumed_at..total);
        let outcome = fetch(client, &mut plan, |taken| {
            if taken.bytes.is_none() {
                gone.insert(taken.page);
            }
            part.put(taken.page, taken.bytes)?;
            progress(Progress { done: taken.page + 1, total });
            Ok(())
        });
        // What came before the line broke is kept.
        part.flush()?;
        outcome?;
        part.sync()?;
        let mut found = read_back(&mut part, resumed_at, &gone)?;
        let mut pages_mended = 0;
        if !found.suspects.is_empty() {
            pages_mended = mend(client, &mut part, &found, &mut gone)?;
            found = read_back(&mut part, resumed_at, &gone)?;
        }
        let (header, pages) = (part.header.clone(), part.pages);
        let end = trailer(pages.sectors(), found.sha256);
        part.write_at(Pages::offset(total), &end)?;
        part.sync()?;
        let sha256 = verify(&mut part, found.sha256)?;
        part.rename(self.file, self.replace)?;
        let released = self.release && found.pages_gone == 0 && found.chain_broken.is_empty();
        if released {
            client.release(header.range.last_sector).map_err(|cause| {
                DownloadError::NotReleased { file: self.file.to_owned(), cause }
            })?;
        }
        Ok(Downloaded {
            identity: header.identity,
            sectors: pages.sectors(),
            pages: total,
            pages_gone: found.pages_gone,
            pages_damaged: found.pages_damaged,
            pages_torn: found.pages_torn,
            resumed_at,
            pages_mended,
            chain_broken: found.chain_broken,
            chain_unknown: found.chain_unknown,
            sha256,
            released,
        })
    }

    /// The unfinished file of an earlier attempt, or a new one with its head.
    fn open<T: Transport>(
        &self,
        client: &mut Client<T>,
        identity: Identity,
    ) -> Result<Part, DownloadError> {
        match part::open(&part_of(self.file))? {
            Opened::Unfinished(mut part) => {
                part.check_logger(&identity)?;
                check_record(client, &mut part)?;
                part.trim()?;
                Ok(*part)
            }
            Opened::Blank(blank) => match self.head(client, identity) {
                Ok(header) => blank.begin(header),
                Err(error) => {
                    blank.discard();
                    Err(error.into())
                }
            },
        }
    }

    /// Asks for everything that stands in the head of an archive. Only an attempt that begins the
    /// file does: one that goes on leaves the head as it is.
    fn head<T: Transport>(
        &self,
        client: &mut Client<T>,
        identity: Identity,
    ) -> Result<ArchiveHeader, ClientError> {
        let settings = client.settings()?;
        let site_text = client.site_text()?;
        let calibration = client.calibration()?;
        let range = client.snapshot()?;
        // Without a wait between: it is to vouch for the sectors of the snapshot.
        let sealed = client.seal()?;
        let mut collected_by = heapless::String::new();
        self.collected_by.chars().take_while(|c| collected_by.push(*c).is_ok()).for_each(drop);
        Ok(ArchiveHeader {
            identity,
            range,
            host_clock_ms: self.host_clock_ms,
            settings,
            site_text,
            calibration,
            public_key: sealed.map_or([0; 32], |(public_key, _)| public_key),
            seal: sealed.map(|(_, seal)| seal),
            collected_by,
            program: PROGRAM,
        })
    }
}

/// Fails when the logger holds another record than the unfinished file: the newest sector header in
/// the file must be that of the logger. One that either side cannot read proves nothing.
fn check_record<T: Transport>(
    client: &mut Client<T>,
    part: &mut Part,
) -> Result<(), DownloadError> {
    let Some((page, ours)) = part.newest_sector()? else { return Ok(()) };
    let mut theirs = None;
    fetch(client, &mut Plan::one(part.pages, page..page + 1), |taken| {
        theirs = taken.bytes.and_then(|bytes| SectorHeader::decode(bytes));
        Ok(())
    })?;
    if theirs.is_some_and(|theirs| theirs != ours) {
        let file = part.path().to_owned();
        return Err(DownloadError::OtherRecord { file, sector: ours.sequence });
    }
    Ok(())
}

/// Asks for the suspect pages once more; gives how many the logger held otherwise than the disk
/// did. What it does not hold stays as it is.
fn mend<T: Transport>(
    client: &mut Client<T>,
    part: &mut Part,
    found: &ReadBack,
    gone: &mut BTreeSet<u64>,
) -> Result<u64, DownloadError> {
    let mut mended = 0;
    let mut plan = Plan::new(part.pages, found.suspects.iter().cloned());
    let outcome = fetch(client, &mut plan, |taken| {
        match taken.bytes {
            Some(bytes) => mended += u64::from(part.replace(taken.page, bytes)?),
            None => drop(gone.insert(taken.page)),
        }
        Ok(())
    });
    part.flush()?;
    outcome?;
    part.sync()?;
    Ok(mended)
}

/// Runs a plan to its end; each page is handed to `store`. The next window is asked for while
/// the last pages of one come.
fn fetch<T: Transport>(
    client: &mut Client<T>,
    plan: &mut Plan,
    mut store: impl FnMut(Taken<'_>) -> Result<(), DownloadError>,
) -> Result<(), DownloadError> {
    let mut memory_failed = None;
    loop {
        let window = match (plan.ask(), memory_failed.take()) {
            (Ok(None), _) => return Ok(()),
            (Ok(Some(window)), _) => window,
            (Err(_), Some(error)) => return Err(ClientError::Device(error).into()),
            (Err(page), None) => return Err(DownloadError::Stuck(page)),
        };
        let mut failure = None;
        let outcome =
            client.read_pages(window.first, window.count, window.then, |address, bytes| {
                let Some(taken) = plan.take(address, bytes) else { return false };
                failure = store(taken).err();
                failure.is_none()
            });
        if let Some(failure) = failure {
            return Err(failure);
        }
        match outcome {
            // A memory that could not be read may be readable in the next moment.
            Err(ClientError::Device(error @ DeviceError { refusal: Refusal::Memory, .. })) => {
                memory_failed = Some(error);
            }
            Ok(_) => {}
            Err(error) => return Err(error.into()),
        }
    }
}

/// Bytes of a finished archive of `sectors` sectors.
pub fn archive_bytes(sectors: u32) -> u64 {
    ARCHIVE_HEADER_BYTES as u64 + u64::from(sectors) * SECTOR_BYTES as u64 + TRAILER_BYTES as u64
}

#[cfg(test)]
#[path = "download_tests.rs"]
mod tests;
