//! What is in the folder, whatever else lies around: nothing found there keeps the rest from being
//! listed.

use crate::folder::{
    ARCHIVE, Folder, SIDECAR, SITE_FILE, VIEW, hash, read as read_file, record, stem,
};
use crate::query::Query;
use crate::sidecar::{Fingerprint, Sidecar, Standing, written_ms};
use crate::slug::{INCOMING, is_plain};
use crate::summary::{Record, Summary};
use crate::write::UNFINISHED;
use serde::Serialize;
use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Display;
use std::fs::{self, DirEntry};
use std::io;
use std::path::{Path, PathBuf};

/// Gives the summary of an archive's bytes, or says why there is none.
pub type Remake<'a> = dyn FnMut(&[u8]) -> Result<Summary, String> + 'a;

/// Files that systems leave in every folder they are shown.
const LITTER: [&str; 2] = ["desktop.ini", "thumbs.db"];

/// What is in the folder.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Listing {
    /// Records, newest first.
    pub records: Vec<Record>,
    /// What is wrong with a file or folder, and what became of it.
    pub troubles: Vec<Trouble>,
    /// Files and folders that do not belong here; they were left alone.
    pub foreign: Vec<PathBuf>,
}

/// What is wrong with a file or folder.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Trouble {
    /// Which.
    pub path: PathBuf,
    /// What, and what became of it.
    pub says: String,
}

impl Listing {
    /// The record of this id.
    pub fn get(&self, id: &str) -> Option<&Record> {
        self.records.iter().find(|record| record.id == id)
    }

    /// Records that match, newest first.
    pub fn search(&self, query: &Query) -> Vec<&Record> {
        self.records.iter().filter(|record| query.matches(record)).collect()
    }

    /// Names of the sites that have records, each once.
    pub fn sites(&self) -> BTreeSet<&str> {
        self.records.iter().map(|record| record.summary.site.as_str()).collect()
    }

    /// Causes that records give as the likeliest, each once.
    pub fn causes(&self) -> BTreeSet<&str> {
        let first = |record: &'_ Record| record.summary.causes.first().map(|_| ());
        let with = self.records.iter().filter(|record| first(record).is_some());
        with.map(|record| record.summary.causes[0].cause.as_str()).collect()
    }

    fn trouble(&mut self, path: &Path, says: impl Display) {
        self.troubles.push(Trouble { path: path.to_owned(), says: says.to_string() });
    }
}

/// Lists everything.
pub(crate) fn read(folder: &Folder, remake: &mut Remake<'_>) -> Listing {
    let mut listing = Listing::default();
    let places = match site_folders(folder.root()) {
        Ok(places) => places,
        Err(error) => {
            listing.trouble(folder.root(), error);
            return listing;
        }
    };
    for other in entries(folder.root()).unwrap_or_default() {
        if !other.file_type().is_ok_and(|kind| kind.is_dir()) {
            stray(&mut listing, &other.path());
        }
    }
    let mut by_hash: BTreeMap<String, PathBuf> = BTreeMap::new();
    for (_, place) in places {
        site(folder, &place, remake, &mut listing, &mut by_hash);
    }
    for path in files_ending(&folder.root().join(INCOMING), ARCHIVE) {
        listing.trouble(&path, "was downloaded and not filed yet");
    }
    listing
        .records
        .sort_by(|a, b| b.summary.start.cmp(&a.summary.start).then_with(|| a.file.cmp(&b.file)));
    let mut taken = BTreeSet::new();
    for record in &mut listing.records {
        if !taken.insert(record.id.clone()) {
            record.id = by_bytes(&record.sha256);
            taken.insert(record.id.clone());
        }
    }
    listing
}

/// Lists the folder of a site.
fn site(
    folder: &Folder,
    place: &Path,
    remake: &mut Remake<'_>,
    listing: &mut Listing,
    by_hash: &mut BTreeMap<String, PathBuf>,
) {
    let entries = match entries(place) {
        Ok(entries) => entries,
        Err(error) => return listing.trouble(place, format_args!("cannot be read: {error}")),
    };
    let is_file = |entry: &DirEntry| entry.file_type().is_ok_and(|kind| kind.is_file());
    let stems: BTreeSet<String> = entries
        .iter()
        .filter(|entry| is_file(entry) && ends(&entry.path(), ARCHIVE))
        .map(|entry| stem(&entry.path()))
        .collect();
    for entry in entries {
        let path = entry.path();
        let ours = is_file(&entry) && stems.contains(&stem(&path));
        if ours && ends(&path, ARCHIVE) {
            match of_archive(folder, &path, remake, listing) {
                Ok(record) => {
                    if let Some(first) = by_hash.get(&record.sha256) {
                        let says = format!("is the same record as {}", first.display());
                        listing.trouble(&path, says);
                    } else {
                        by_hash.insert(record.sha256.clone(), path);
                        listing.records.push(record);
                    }
                }
                Err(says) => listing.trouble(&path, says),
            }
        } else if ours && (ends(&path, SIDECAR) || ends(&path, VIEW)) {
            // With its archive.
        } else if is_file(&entry) && entry.file_name() == SITE_FILE {
        } else {
            stray(listing, &path);
        }
    }
}

/// The record of an archive; makes its sidecar anew where none fits.
fn of_archive(
    folder: &Folder,
    path: &Path,
    remake: &mut Remake<'_>,
    listing: &mut Listing,
) -> Result<Record, String> {
    let metadata = fs::metadata(path).map_err(|error| format!("cannot be read: {error}"))?;
    let sidecar_path = path.with_extension(SIDECAR);
    let standing = if folder.is_afresh() {
        Standing::Missing
    } else {
        Sidecar::read(&sidecar_path, folder.maker(), &metadata)
    };
    if let Standing::Fits(sidecar) = standing {
        return Ok(record(id(path, &sidecar.archive.sha256), path.to_owned(), *sidecar));
    }
    let bytes = read_file(path).map_err(|error| error.to_string())?;
    let archive = Fingerprint {
        sha256: hash(&bytes),
        bytes: bytes.len() as u64,
        written_ms: written_ms(&metadata),
    };
    let sidecar = match standing {
        Standing::Touched(sidecar) if sidecar.archive.sha256 == archive.sha256 => {
            Sidecar { archive, ..*sidecar }
        }
        other => {
            if let Standing::Broken(why) = other {
                listing.trouble(
                    &sidecar_path,
                    format_args!("could not be used and was made anew: {why}"),
                );
            }
            // The page belongs to the summary: it goes first, so that none outlives its time.
            let _ = fs::remove_file(path.with_extension(VIEW));
            let summary = remake(&bytes).map_err(|why| format!("is not listed: {why}"))?;
            Sidecar::new(folder.maker(), archive, summary)
        }
    };
    if let Err(error) = sidecar.write(&sidecar_path) {
        listing.trouble(&sidecar_path, error);
    }
    Ok(record(id(path, &sidecar.archive.sha256), path.to_owned(), sidecar))
}

/// The id of a record: the stem of its file, or, where that could be read as something else in an
/// address, the beginning of its hash.
pub(crate) fn id(path: &Path, sha256: &str) -> String {
    let stem = stem(path);
    if is_plain(&stem) { stem } else { by_bytes(sha256) }
}

fn by_bytes(sha256: &str) -> String {
    sha256.get(..16).unwrap_or(sha256).to_owned()
}

/// Names what does not belong here.
fn stray(listing: &mut Listing, path: &Path) {
    let name =
        path.file_name().map_or_else(String::new, |name| name.to_string_lossy().into_owned());
    if name.starts_with(UNFINISHED) {
        listing.trouble(path, "is left of an interrupted filing and may be deleted");
    } else if ends(path, SIDECAR) && is_plain(&stem(path)) {
        listing.trouble(path, "describes a record that is not there");
    } else if !name.starts_with('.') && !LITTER.contains(&name.to_ascii_lowercase().as_str()) {
        listing.foreign.push(path.to_owned());
    }
}

/// The folders of sites, by name.
pub(crate) fn site_folders(root: &Path) -> io::Result<Vec<(String, PathBuf)>> {
    let folders = entries(root)?.into_iter().filter_map(|entry| {
        let name = entry.file_name().to_string_lossy().into_owned();
        let folder = entry.file_type().is_ok_and(|kind| kind.is_dir());
        (folder && name != INCOMING && !name.starts_with('.')).then(|| (name, entry.path()))
    });
    Ok(folders.collect())
}

/// Every archive under the sites.
pub(crate) fn archives(root: &Path) -> Vec<PathBuf> {
    let folders = site_folders(root).unwrap_or_default();
    folders.iter().flat_map(|(_, folder)| files_ending(folder, ARCHIVE)).collect()
}

/// Files of a folder with this ending, by name; none where it cannot be read.
pub(crate) fn files_ending(folder: &Path, ending: &str) -> Vec<PathBuf> {
    let files = entries(folder).unwrap_or_default().into_iter();
    files
        .filter(|entry| entry.file_type().is_ok_and(|kind| kind.is_file()))
        .map(|entry| entry.path())
        .filter(|path| ends(path, ending))
        .collect()
}

/// What a folder holds, by name; nothing where it is not there.
fn entries(folder: &Path) -> io::Result<Vec<DirEntry>> {
    let mut entries: Vec<DirEntry> = match fs::read_dir(folder) {
        Ok(entries) => entries.filter_map(Result::ok).collect(),
        Err(error) if error.kind() == io::ErrorKind::NotFound => Vec::new(),
        Err(error) => return Err(error),
    };
    entries.sort_by_key(DirEntry::file_name);
    Ok(entries)
}

fn ends(path: &Path, ending: &str) -> bool {
    path.extension().is_some_and(|found| found.eq_ignore_ascii_case(ending))
}
