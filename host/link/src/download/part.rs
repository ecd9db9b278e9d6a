//! The unfinished file, FILE.part. Everything the next attempt needs is in it: its head says which
//! logger and which sectors, its length how far it came.

use super::DownloadError;
use super::plan::Pages;
use pumpwitness_protocol::archive::{ARCHIVE_HEADER_BYTES, ArchiveHeader, HeaderError};
use pumpwitness_protocol::hex::Hex;
use pumpwitness_protocol::message::Identity;
use pumpwitness_protocol::page::{PAGE_BYTES, PAGES_PER_SECTOR};
use pumpwitness_protocol::sector::SectorHeader;
use std::fs::{self, File, OpenOptions, TryLockError};
use std::io::{self, BufWriter, Read, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};

/// Pages gathered before the system is troubled with them; an attempt that is killed loses no more.
const BUFFER_BYTES: usize = 1 << 16;
const ZEROS: [u8; PAGE_BYTES] = [0; PAGE_BYTES];

/// What was found under the unfinished file's name.
pub(super) enum Opened {
    /// Nothing to go on with: there was none, or it broke off inside its head.
    Blank(Blank),
    /// A head, and maybe pages.
    Unfinished(Box<Part>),
}

/// A file to begin in, held by this program alone.
pub(super) struct Blank {
    path: PathBuf,
    file: File,
}

/// An unfinished file with its head, held by this program alone.
pub(super) struct Part {
    path: PathBuf,
    out: BufWriter<File>,
    /// Where `out` stands.
    at: u64,
    pub(super) header: ArchiveHeader,
    pub(super) pages: Pages,
    /// Whole pages in it.
    pub(super) done: u64,
}

/// Opens the unfinished file at `path`, or begins one.
pub(super) fn open(path: &Path) -> Result<Opened, DownloadError> {
    let failed = |cause| DownloadError::File { file: path.to_owned(), cause };
    let mut file = OpenOptions::new()
        .read(true)
        .write(true)
        .create(true)
        .truncate(false)
        .open(path)
        .map_err(failed)?;
    match file.try_lock() {
        Err(TryLockError::WouldBlock) => return Err(DownloadError::InUse(path.to_owned())),
        // Some file systems have no locks; the port is locked all the same.
        Err(TryLockError::Error(_)) | Ok(()) => {}
    }
    let mut head = Vec::new();
    (&mut file).take(ARCHIVE_HEADER_BYTES as u64).read_to_end(&mut head).map_err(failed)?;
    let path = path.to_owned();
    let header = match ArchiveHeader::decode(&head) {
        Ok(header) => header,
        Err(HeaderError::CutOff(_)) => return Ok(Opened::Blank(Blank { path, file })),
        Err(_) if head.is_empty() => return Ok(Opened::Blank(Blank { path, file })),
        Err(cause) => return Err(DownloadError::Foreign { file: path, cause }),
    };
    let Ok(pages) = Pages::of(&header) else {
        return Err(DownloadError::Foreign { file: path, cause: HeaderError::Damaged });
    };
    let done = pages.whole(file.metadata().map_err(failed)?.len());
    // Reading the head has moved the file's own place; nothing is written before it is set.
    let at = u64::MAX;
    let out = BufWriter::with_capacity(BUFFER_BYTES, file);
    Ok(Opened::Unfinished(Box::new(Part { path, out, at, header, pages, done })))
}

impl Blank {
    /// Writes the head.
    pub(super) fn begin(self, header: ArchiveHeader) -> Result<Part, DownloadError> {
        let Ok(pages) = Pages::of(&header) else {
            self.discard();
            let range = header.range;
            return Err(DownloadError::BadRange(range.first_sector, range.last_sector));
        };
        let mut head = [0; ARCHIVE_HEADER_BYTES];
        header.encode(&mut head);
        let Self { path, mut file } = self;
        let written = file
            .rewind()
            .and_then(|()| file.set_len(0))
            .and_then(|()| file.write_all(&head))
            .and_then(|()| file.sync_all());
        match written {
            Ok(()) => {
                let out = BufWriter::with_capacity(BUFFER_BYTES, file);
                Ok(Part { path, out, at: Pages::offset(0), header, pages, done: 0 })
            }
            Err(cause) => {
                Self { path: path.clone(), file }.discard();
                Err(DownloadError::File { file: path, cause })
            }
        }
    }

    /// Takes the file away: there is nothing in it.
    pub(super) fn discard(self) {
        drop(self.file);
        // If it stays, the next attempt begins in it.
        let _ = fs::remove_file(&self.path);
    }
}

impl Part {
    pub(super) fn path(&self) -> &Path {
        &self.path
    }

    pub(super) fn failed(&self, cause: io::Error) -> DownloadError {
        DownloadError::File { file: self.path.clone(), cause }
    }

    /// Fails when the file is that of another logger.
    pub(super) fn check_logger(&self, identity: &Identity) -> Result<(), DownloadError> {
        if self.header.identity.device == identity.device {
            return Ok(());
        }
        Err(DownloadError::OtherLogger {
            file: self.path.clone(),
            of: Hex(&self.header.identity.device).to_string(),
            this: Hex(&identity.device).to_string(),
        })
    }

    /// Cuts off what is no whole page.
    pub(super) fn trim(&mut self) -> Result<(), DownloadError> {
        let length = Pages::offset(self.done);
        self.out.get_ref().set_len(length).map_err(|cause| self.failed(cause))
    }

    /// The newest readable sector header in the file, with its page's number.
    pub(super) fn newest_sector(&mut self) -> Result<Option<(u64, SectorHeader)>, DownloadError> {
        let pages = PAGES_PER_SECTOR as u64;
        for sector in (0..self.done.div_ceil(pages)).rev() {
            if let Some(header) = SectorHeader::decode(&self.read_page(sector * pages)?) {
                return Ok(Some((sector * pages, header)));
            }
        }
        Ok(None)
    }

    fn read_page(&mut self, page: u64) -> Result<[u8; PAGE_BYTES], DownloadError> {
        let mut bytes = ZEROS;
        self.at = u64::MAX;
        self.out
            .seek(SeekFrom::Start(Pages::offset(page)))
            .and_then(|_| self.out.get_mut().read_exact(&mut bytes))
            .map_err(|cause| self.failed(cause))?;
        Ok(bytes)
    }

    /// Puts a page in its place; zeros for one that the logger did not hold.
    pub(super) fn put(
        &mut self,
        page: u64,
        bytes: Option<&[u8; PAGE_BYTES]>,
    ) -> Result<(), DownloadError> {
        self.write_at(Pages::offset(page), bytes.unwrap_or(&ZEROS))?;
        self.done = self.done.max(page + 1);
        Ok(())
    }

    /// Puts a page in the place of another, if it differs; true when it does.
    pub(super) fn replace(
        &mut self,
        page: u64,
        bytes: &[u8; PAGE_BYTES],
    ) -> Result<bool, DownloadError> {
        let differs = self.read_page(page)? != *bytes;
        if differs {
            self.put(page, Some(bytes))?;
        }
        Ok(differs)
    }

    /// Writes at a place.
    pub(super) fn write_at(&mut self, at: u64, bytes: &[u8]) -> Result<(), DownloadError> {
        if self.at != at {
            self.out.seek(SeekFrom::Start(at)).map_err(|cause| self.failed(cause))?;
        }
        // Unknown until it has gone well.
        self.at = u64::MAX;
        self.out.write_all(bytes).map_err(|cause| self.failed(cause))?;
        self.at = at + bytes.len() as u64;
        Ok(())
    }

    /// Hands everything to the system.
    pub(super) fn flush(&mut self) -> Result<(), DownloadError> {
        self.out.flush().map_err(|cause| self.failed(cause))
    }

    /// Waits until everything is on the disk.
    pub(super) fn sync(&mut self) -> Result<(), DownloadError> {
        self.flush()?;
        self.out.get_ref().sync_all().map_err(|cause| self.failed(cause))
    }

    /// The file from its start, for reading.
    pub(super) fn rewound(&mut self) -> Result<&File, DownloadError> {
        self.at = u64::MAX;
        self.out.rewind().map_err(|cause| self.failed(cause))?;
        Ok(self.out.get_ref())
    }

    /// Gives the file its final name.
    pub(super) fn rename(self, file: &Path, replace: bool) -> Result<(), DownloadError> {
        // It may have come into being since the download began.
        if !replace && file.exists() {
            return Err(DownloadError::Exists(file.to_owned()));
        }
        fs::rename(&self.path, file)
            .and_then(|()| sync_folder(file))
            .map_err(|cause| DownloadError::File { file: file.to_owned(), cause })
    }
}

/// Makes a file's name as durable as its contents, where the system lets a program do that.
#[cfg(unix)]
fn sync_folder(file: &Path) -> io::Result<()> {
    let folder = match file.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder,
        _ => Path::new("."),
    };
    match File::open(folder)?.sync_all() {
        // Not every file system can.
        Err(error) if error.kind() == io::ErrorKind::InvalidInput => Ok(()),
        other => other,
    }
}

#[cfg(not(unix))]
#[allow(clippy::unnecessary_wraps)] // as its twin
fn sync_folder(_: &Path) -> io::Result<()> {
    Ok(())
}
