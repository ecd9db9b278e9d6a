//! The download: an archive file (FORMAT.md §4), page by page, gone on with after any interruption,
//! and verified from the disk before it gets its name.
//!
//! While it grows it is called FILE.part. Everything the next attempt needs is in it: the head says
//! which logger and which sectors, its length how far it came.

use crate::client::{Client, LinkError, next_page};
use crate::transport::Transport;
use pumpwitness_protocol::archive::{
    ARCHIVE_HEADER_BYTES, ArchiveHeader, HeaderError, TRAILER_BYTES, trailer,
};
use pumpwitness_protocol::message::{Identity, PageAddress, WINDOW_PAGES_MAX};
use pumpwitness_protocol::page::{
    PAGE_BYTES, PAGES_PER_SECTOR, SECTOR_BYTES, area_start, read_header,
};
use pumpwitness_protocol::sector::SectorHeader;
use sha2::{Digest, Sha256};
use std::ffi::OsString;
use std::fs::{self, File, OpenOptions};
use std::io::{self, BufReader, Read, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};

/// Windows in a row that may bring nothing before the logger is given up.
const EMPTY_WINDOWS_MAX: u32 = 4;
/// Pages a logger may hold at most: those of 256 MiB.
const PAGES_MAX: u64 = 1 << 18;

/// Why there is no archive (yet).
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum DownloadError {
    /// The line or the logger. What came so far is kept.
    #[error("{0}")]
    Link(#[from] LinkError),
    /// A file could not be written or read.
    #[error("{}: {cause}", file.display())]
    File {
        /// Which.
        file: PathBuf,
        /// What the system says.
        cause: io::Error,
    },
    /// The file is there already.
    #[error("{} exists already: choose another name, or have it replaced", .0.display())]
    Exists(PathBuf),
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
    /// The logger names more memory than any logger has.
    #[error("the logger names {0} sectors, more than any logger has: its memory is in disorder")]
    TooLarge(u64),
    /// The logger stopped sending pages.
    #[error(
        "the logger sent no usable page for sector {}, page {}; what came so far is kept, repeat to go on",
        .0.sector, .0.page
    )]
    Stuck(PageAddress),
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
    /// Tell the logger afterwards that it may reuse the memory.
    pub release: bool,
    /// The host's clock now, ms since 1970.
    pub host_clock_ms: i64,
}

/// A finished download.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Downloaded {
    /// The logger.
    pub identity: Identity,
    /// Sectors in the file.
    pub sectors: u32,
    /// Pages the logger no longer held.
    pub pages_gone: u32,
    /// Pages that were in the file before this attempt.
    pub resumed_at: u64,
    /// Sectors whose successor names another hash: changed since they were closed.
    pub chain_broken: Vec<u32>,
    /// SHA-256 of the finished file.
    pub sha256: [u8; 32],
}

/// Name of the unfinished file.
pub fn part_of(file: &Path) -> PathBuf {
    let mut name = OsString::from(file);
    name.push(".part");
    PathBuf::from(name)
}

impl Download<'_> {
    /// Downloads, or goes on with an earlier attempt.
    pub fn run<T: Transport>(
        &self,
        client: &mut Client<T>,
        mut progress: impl FnMut(Progress),
    ) -> Result<Downloaded, DownloadError> {
        if !self.replace && self.file.exists() {
            return Err(DownloadError::Exists(self.file.to_owned()));
        }
        let identity = client.hello()?;
        let path = part_of(self.file);
        let mut part = match Part::reopen(&path, &identity)? {
            Some(part) => part,
            None => Part::begin(&path, client, &identity, self.host_clock_ms)?,
        };
        let resumed_at = part.done;
        while part.done < part.total {
            progress(Progress { done: part.done, total: part.total });
            part.fetch_window(client)?;
        }
        progress(Progress { done: part.done, total: part.total });
        let verified = part.verify(client)?;
        let sha256 = part.finish(self.file, verified.sha256)?;
        if self.release && verified.chain_broken.is_empty() && verified.pages_gone == 0 {
            client.release(part.header.range.last_sector)?;
        }
        Ok(Downloaded {
            identity: part.header.identity.clone(),
            sectors: part.header.sectors(),
            pages_gone: verified.pages_gone,
            resumed_at,
            chain_broken: verified.chain_broken,
            sha256,
        })
    }
}

struct Verified {
    /// SHA-256 of the file before its trailer.
    sha256: [u8; 32],
    pages_gone: u32,
    chain_broken: Vec<u32>,
}

/// The unfinished file.
struct Part {
    path: PathBuf,
    file: File,
    header: ArchiveHeader,
    done: u64,
    total: u64,
}

impl Part {
    /// The unfinished file of an earlier attempt, if there is one; what is no whole page is cut off.
    fn reopen(path: &Path, identity: &Identity) -> Result<Option<Self>, DownloadError> {
        let failed = |cause| DownloadError::File { file: path.to_owned(), cause };
        let mut file = match OpenOptions::new().read(true).write(true).open(path) {
            Ok(file) => file,
            Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(None),
            Err(error) => return Err(failed(error)),
        };
        let mut head = Vec::new();
        (&mut file).take(ARCHIVE_HEADER_BYTES as u64).read_to_end(&mut head).map_err(failed)?;
        let header = match ArchiveHeader::decode(&head) {
            Ok(header) => header,
            // Cut off before the head was whole: nothing to go on with, nothing lost.
            Err(HeaderError::CutOff(_)) => return Ok(None),
            Err(_) if head.is_empty() => return Ok(None),
            Err(cause) => return Err(DownloadError::Foreign { file: path.to_owned(), cause }),
        };
        if header.identity.device != identity.device {
            return Err(DownloadError::OtherLogger {
                file: path.to_owned(),
                of: hex(&header.identity.device),
                this: hex(&identity.device),
            });
        }
        let total = pages(&header)?;
        let length = file.metadata().map_err(failed)?.len();
        let done = ((length - ARCHIVE_HEADER_BYTES as u64) / PAGE_BYTES as u64).min(total);
        let part = Self { path: path.to_owned(), file, header, done, total };
        part.file.set_len(offset(done)).map_err(failed)?;
        Ok(Some(part))
    }

    /// A new unfinished file with its head.
    fn begin<T: Transport>(
        path: &Path,
        client: &mut Client<T>,
        identity: &Identity,
        host_clock_ms: i64,
    ) -> Result<Self, DownloadError> {
        let failed = |cause| DownloadError::File { file: path.to_owned(), cause };
        // Before anything is asked of the logger: a folder that cannot be written to.
        let mut file = OpenOptions::new()
            .read(true)
            .write(true)
            .create(true)
            .truncate(true)
            .open(path)
            .map_err(failed)?;
        let header = ArchiveHeader {
            identity: identity.clone(),
            settings: client.settings()?,
            site_text: client.site_text()?,
            range: client.snapshot()?,
            host_clock_ms,
        };
        let total = pages(&header)?;
        let mut head = [0; ARCHIVE_HEADER_BYTES];
        header.encode(&mut head);
        file.write_all(&head).map_err(failed)?;
        file.sync_all().map_err(failed)?;
        Ok(Self { path: path.to_owned(), file, header, done: 0, total })
    }

    fn failed(&self, cause: io::Error) -> DownloadError {
        DownloadError::File { file: self.path.clone(), cause }
    }

    fn address(&self, page: u64) -> PageAddress {
        let pages = PAGES_PER_SECTOR as u64;
        PageAddress {
            sector: self.header.range.first_sector + (page / pages) as u32,
            page: (page % pages) as u8,
        }
    }

    /// Asks for the next pages until some come, and writes them.
    fn fetch_window<T: Transport>(&mut self, client: &mut Client<T>) -> Result<(), DownloadError> {
        let left = self.total - self.done;
        let count = left.min(WINDOW_PAGES_MAX.into()) as u16;
        let bytes = self.fetch(client, self.done, count)?;
        let at = offset(self.done);
        self.file.seek(SeekFrom::Start(at)).map_err(|cause| self.failed(cause))?;
        self.file.write_all(&bytes).map_err(|cause| self.failed(cause))?;
        self.done += (bytes.len() / PAGE_BYTES) as u64;
        Ok(())
    }

    /// Pages from `first` on, at least one and at most `count`. Those the logger no longer holds
    /// are zeros.
    fn fetch<T: Transport>(
        &self,
        client: &mut Client<T>,
        first: u64,
        count: u16,
    ) -> Result<Vec<u8>, DownloadError> {
        let mut bytes = Vec::with_capacity(usize::from(count) * PAGE_BYTES);
        let address = self.address(first);
        let mut expected = address;
        for _ in 0..EMPTY_WINDOWS_MAX {
            let outcome = client.read_pages(address, count, |address, page| {
                let page = page.unwrap_or(&[0; PAGE_BYTES]);
                let fits = address == expected && belongs(page, address, &self.header.identity);
                if fits {
                    bytes.extend_from_slice(page);
                    expected = next_page(expected);
                }
                fits
            });
            // What came before the line broke is kept; the next request will tell of it again.
            if !bytes.is_empty() {
                return Ok(bytes);
            }
            outcome?;
        }
        Err(DownloadError::Stuck(address))
    }

    /// Reads the file back, following the hash chain. A sector that its successor contradicts is
    /// fetched once more: the file may have been damaged on the disk since.
    fn verify<T: Transport>(&mut self, client: &mut Client<T>) -> Result<Verified, DownloadError> {
        self.file.sync_all().map_err(|cause| self.failed(cause))?;
        let first = self.read_back()?;
        if first.chain_broken.is_empty() {
            return Ok(first);
        }
        for sector in &first.chain_broken {
            let page = u64::from(sector - self.header.range.first_sector) * PAGES_PER_SECTOR as u64;
            let mut have = Vec::new();
            while have.len() < SECTOR_BYTES {
                let done = (have.len() / PAGE_BYTES) as u64;
                let count = (PAGES_PER_SECTOR as u64 - done) as u16;
                have.extend(self.fetch(client, page + done, count)?);
            }
            let at = offset(page);
            self.file.seek(SeekFrom::Start(at)).map_err(|cause| self.failed(cause))?;
            self.file.write_all(&have).map_err(|cause| self.failed(cause))?;
        }
        self.file.sync_all().map_err(|cause| self.failed(cause))?;
        self.read_back()
    }

    fn read_back(&mut self) -> Result<Verified, DownloadError> {
        self.file.rewind().map_err(|cause| self.failed(cause))?;
        let mut reader = BufReader::with_capacity(1 << 16, &self.file);
        let mut whole = Sha256::new();
        let mut head = [0; ARCHIVE_HEADER_BYTES];
        reader.read_exact(&mut head).map_err(|cause| self.failed(cause))?;
        whole.update(head);
        let mut before: Option<[u8; 32]> = None;
        let mut verified = Verified { sha256: [0; 32], pages_gone: 0, chain_broken: Vec::new() };
        for index in 0..self.header.sectors() {
            let mut sector = [0; SECTOR_BYTES];
            reader.read_exact(&mut sector).map_err(|cause| self.failed(cause))?;
            whole.update(sector);
            let gone = sector.as_chunks::<PAGE_BYTES>().0.iter();
            let gone = gone.filter(|page| **page == [0; PAGE_BYTES]).count() as u32;
            verified.pages_gone += gone;
            if let (Some(before), Some(header)) = (before, SectorHeader::decode(&sector))
                && header.previous != before
            {
                verified.chain_broken.push(self.header.range.first_sector + index - 1);
            }
            before = (gone == 0).then(|| Sha256::digest(sector).into());
        }
        verified.sha256 = whole.finalize().into();
        Ok(verified)
    }

    /// Adds the trailer and gives the file its name; gives the hash of the finished file.
    fn finish(&mut self, file: &Path, sha256: [u8; 32]) -> Result<[u8; 32], DownloadError> {
        let end = trailer(self.header.sectors(), sha256);
        self.file.seek(SeekFrom::Start(offset(self.total))).map_err(|c| self.failed(c))?;
        self.file.write_all(&end).map_err(|cause| self.failed(cause))?;
        self.file.sync_all().map_err(|cause| self.failed(cause))?;
        // Read once more, trailer and all: what is named in reports is what lies on the disk.
        self.file.rewind().map_err(|cause| self.failed(cause))?;
        let mut whole = Sha256::new();
        io::copy(&mut BufReader::new(&self.file), &mut Hashing(&mut whole))
            .map_err(|cause| self.failed(cause))?;
        fs::rename(&self.path, file).map_err(|cause| self.failed(cause))?;
        Ok(whole.finalize().into())
    }
}

struct Hashing<'a>(&'a mut Sha256);

impl Write for Hashing<'_> {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.0.update(bytes);
        Ok(bytes.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

/// Where page `page` of the range lies in the file.
fn offset(page: u64) -> u64 {
    ARCHIVE_HEADER_BYTES as u64 + page * PAGE_BYTES as u64
}

/// Pages in the range of a head.
fn pages(header: &ArchiveHeader) -> Result<u64, DownloadError> {
    let pages = u64::from(header.sectors()) * PAGES_PER_SECTOR as u64;
    if pages == 0 || pages > PAGES_MAX {
        return Err(DownloadError::TooLarge(u64::from(header.sectors())));
    }
    Ok(pages)
}

/// Whether a page that says where it belongs belongs here. Blank and damaged ones say nothing and
/// are kept as they are: they are evidence too.
fn belongs(page: &[u8; PAGE_BYTES], address: PageAddress, identity: &Identity) -> bool {
    if address.page == 0
        && let Some(header) = SectorHeader::decode(page)
        && (header.sequence != address.sector || header.device != identity.device)
    {
        return false;
    }
    read_header(&page[area_start(address.page)..]).is_none_or(|header| header.address == address)
}

/// Lower-case hex.
pub fn hex(bytes: &[u8]) -> String {
    use std::fmt::Write as _;
    bytes.iter().fold(String::new(), |mut text, byte| {
        // Writing to a string does not fail.
        let _ = write!(text, "{byte:02x}");
        text
    })
}

/// Bytes of a finished archive of `sectors` sectors.
pub fn archive_bytes(sectors: u32) -> u64 {
    ARCHIVE_HEADER_BYTES as u64 + u64::from(sectors) * SECTOR_BYTES as u64 + TRAILER_BYTES as u64
}

#[cfg(test)]
#[path = "download_tests.rs"]
mod tests;
