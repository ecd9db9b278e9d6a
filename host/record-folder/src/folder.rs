//! Adding archives, and reading what belongs to a record.

use crate::error::FolderError;
use crate::list::{self, Listing, Remake};
use crate::sidecar::{Fingerprint, Sidecar, Standing, written_ms};
use crate::slug::{INCOMING, slug};
use crate::summary::{Record, Summary};
use crate::write;
use pumpwitness_protocol::hex::Hex;
use sha2::{Digest, Sha256};
use std::collections::BTreeSet;
use std::fs;
use std::io;
use std::path::{Path, PathBuf};

/// Ending of archives.
pub(crate) const ARCHIVE: &str = "pwa";
/// Ending of sidecars.
pub(crate) const SIDECAR: &str = "json";
/// Ending of kept pages.
pub(crate) const VIEW: &str = "html";
/// Name of a site's file.
pub(crate) const SITE_FILE: &str = "site.toml";

/// Most bytes of an archive that are read.
pub const ARCHIVE_BYTES_MAX: u64 = 4 << 30;

/// The folder of recordings.
#[derive(Clone, Debug)]
pub struct Folder {
    root: PathBuf,
    maker: String,
    afresh: bool,
}

/// What became of an archive that was to be added.
#[derive(Debug)]
pub struct Added {
    /// The record.
    pub record: Record,
    /// False when the same bytes were there already; nothing was changed then.
    pub new: bool,
    /// Why the sidecar could not be written. The archive is safe; the list makes the sidecar anew.
    pub unindexed: Option<FolderError>,
}

impl Folder {
    /// The folder at `root`, which is made when something is first put there. `maker` names what
    /// summaries are made by, with its version: sidecars by another are made anew.
    ///
    /// # Errors
    ///
    /// [`FolderError::NoFolder`] where `root` is a file.
    pub fn open(root: impl Into<PathBuf>, maker: impl Into<String>) -> Result<Self, FolderError> {
        let root = root.into();
        if root.exists() && !root.is_dir() {
            return Err(FolderError::NoFolder(root));
        }
        Ok(Self { root, maker: maker.into(), afresh: false })
    }

    /// Where it is.
    pub fn root(&self) -> &Path {
        &self.root
    }

    /// What summaries are made by.
    pub(crate) fn maker(&self) -> &str {
        &self.maker
    }

    /// Files an archive under its site, start and logger. Nothing that is there is ever replaced: the
    /// same bytes are not filed twice, others get a name of their own.
    ///
    /// # Errors
    ///
    /// [`FolderError::File`] where the archive cannot be written; nothing is left half-written.
    pub fn add(&self, archive: &[u8], summary: Summary) -> Result<Added, FolderError> {
        let sha256 = hash(archive);
        if let Some(known) = self.known(archive.len() as u64, &sha256) {
            return self.index(known, sha256, summary, false);
        }
        let place = self.root.join(slug(&summary.site));
        fs::create_dir_all(&place).map_err(FolderError::at(&place))?;
        let taken: BTreeSet<_> = list::archives(&self.root).iter().map(|path| stem(path)).collect();
        let base = name(&summary);
        let mut n = 1;
        loop {
            let stem = if n == 1 { base.clone() } else { format!("{base}-{n}") };
            n += 1;
            if taken.contains(&stem) {
                continue;
            }
            let path = place.join(format!("{stem}.{ARCHIVE}"));
            if write::create(&path, archive)? {
                // Left of an archive that was taken away.
                let _ = fs::remove_file(path.with_extension(VIEW));
                return self.index(path, sha256, summary, true);
            }
            // Another program has filed something there just now.
            if read(&path).is_ok_and(|bytes| hash(&bytes) == sha256) {
                return self.index(path, sha256, summary, false);
            }
        }
    }

    /// The archive of these bytes, if it is here.
    fn known(&self, bytes: u64, sha256: &str) -> Option<PathBuf> {
        list::archives(&self.root).into_iter().find(|path| {
            let Ok(metadata) = fs::metadata(path) else { return false };
            if metadata.len() != bytes {
                return false;
            }
            match Sidecar::read(&path.with_extension(SIDECAR), &self.maker, &metadata) {
                Standing::Fits(sidecar) => sidecar.archive.sha256 == sha256,
                _ => read(path).is_ok_and(|file| hash(&file) == sha256),
            }
        })
    }

    /// Writes the sidecar of an archive that is in its place.
    fn index(
        &self,
        path: PathBuf,
        sha256: String,
        summary: Summary,
        new: bool,
    ) -> Result<Added, FolderError> {
        let metadata = fs::metadata(&path).map_err(FolderError::at(&path))?;
        let sidecar_path = path.with_extension(SIDECAR);
        let archive =
            Fingerprint { sha256, bytes: metadata.len(), written_ms: written_ms(&metadata) };
        let sidecar = Sidecar::new(&self.maker, archive, summary);
        let fits = !new
            && matches!(Sidecar::read(&sidecar_path, &self.maker, &metadata), Standing::Fits(_));
        let unindexed = if fits { None } else { sidecar.write(&sidecar_path).err() };
        let id = list::id(&path, &sidecar.archive.sha256);
        Ok(Added { record: record(id, path, sidecar), new, unindexed })
    }

    /// The same folder, for a list that takes no sidecar as it stands but makes all anew.
    #[must_use]
    pub fn afresh(&self) -> Self {
        Self { afresh: true, ..self.clone() }
    }

    /// Whether sidecars are taken as they stand.
    pub(crate) fn is_afresh(&self) -> bool {
        self.afresh
    }

    /// Everything that is here, newest first. Never fails: what cannot be read is named in the
    /// listing. `remake` gives the summary of an archive's bytes where no sidecar fits.
    pub fn list(&self, remake: &mut Remake<'_>) -> Listing {
        list::read(self, remake)
    }

    /// The bytes of a record's archive.
    ///
    /// # Errors
    ///
    /// [`FolderError::Changed`] where they are not those that were listed.
    pub fn archive(&self, record: &Record) -> Result<Vec<u8>, FolderError> {
        let bytes = read(&record.file)?;
        if hash(&bytes) == record.sha256 {
            Ok(bytes)
        } else {
            Err(FolderError::Changed(record.file.clone()))
        }
    }

    /// The page kept of a record, if there is one.
    pub fn view(&self, record: &Record) -> Option<Vec<u8>> {
        read(&record.file.with_extension(VIEW)).ok()
    }

    /// Keeps the page of a record.
    pub fn keep_view(&self, record: &Record, page: &[u8]) -> Result<(), FolderError> {
        write::replace(&record.file.with_extension(VIEW), page)
    }

    /// Keeps the site file of a site; gives its place.
    pub fn keep_site_file(&self, site: &str, text: &str) -> Result<PathBuf, FolderError> {
        let place = self.root.join(slug(site));
        fs::create_dir_all(&place).map_err(FolderError::at(&place))?;
        let path = place.join(SITE_FILE);
        write::replace(&path, text.as_bytes())?;
        Ok(path)
    }

    /// Site files kept here, by the names of their folders.
    pub fn site_files(&self) -> Vec<(String, PathBuf)> {
        let folders = list::site_folders(&self.root).unwrap_or_default();
        let file = |(name, folder): (String, PathBuf)| {
            let path = folder.join(SITE_FILE);
            path.is_file().then_some((name, path))
        };
        folders.into_iter().filter_map(file).collect()
    }

    /// Where the record of a logger is downloaded to, before it can be filed; the folder for it is
    /// made.
    pub fn incoming(&self, device: &str) -> Result<PathBuf, FolderError> {
        let place = self.root.join(INCOMING);
        fs::create_dir_all(&place).map_err(FolderError::at(&place))?;
        Ok(place.join(format!("{}.{ARCHIVE}", plain(device))))
    }

    /// Downloads that are complete and were not filed, as after a crash.
    pub fn waiting(&self) -> Vec<PathBuf> {
        list::files_ending(&self.root.join(INCOMING), ARCHIVE)
    }
}

/// SHA-256, hex.
pub(crate) fn hash(bytes: &[u8]) -> String {
    Hex(&Sha256::digest(bytes)).to_string()
}

/// A whole file, if it is not too long.
pub(crate) fn read(path: &Path) -> Result<Vec<u8>, FolderError> {
    let bytes = fs::metadata(path).map_err(FolderError::at(path))?.len();
    if bytes > ARCHIVE_BYTES_MAX {
        let path = path.to_owned();
        return Err(FolderError::TooLong { path, bytes, max: ARCHIVE_BYTES_MAX });
    }
    let bytes = fs::read(path).map_err(FolderError::at(path))?;
    if bytes.is_empty() {
        let cause = io::Error::new(io::ErrorKind::UnexpectedEof, "the file is empty");
        return Err(FolderError::File { path: path.to_owned(), cause });
    }
    Ok(bytes)
}

/// A record, of its archive and sidecar.
pub(crate) fn record(id: String, file: PathBuf, sidecar: Sidecar) -> Record {
    let Sidecar { archive, summary, .. } = sidecar;
    Record { id, sha256: archive.sha256, bytes: archive.bytes, file, summary }
}

/// Name of a file without folder and ending.
pub(crate) fn stem(path: &Path) -> String {
    path.file_stem().map_or_else(String::new, |stem| stem.to_string_lossy().into_owned())
}

/// Start (ISO 8601, basic form, UTC) and logger.
fn name(summary: &Summary) -> String {
    format!("{}_{}", summary.start.strftime("%Y%m%dT%H%M%SZ"), plain(&summary.device))
}

/// Letters and figures of a device number; it comes out of a file.
fn plain(device: &str) -> String {
    let plain: String = device.chars().filter(char::is_ascii_alphanumeric).take(32).collect();
    if plain.is_empty() { "unknown".to_owned() } else { plain }
}
