//! Files in: bytes, hash, and what kind of file it is.

use crate::archive;
use crate::error::{FileError, Problem};
use crate::table::ImportOptions;
use crate::{Recording, archive::read_archive};
use pumpwitness_site_file::Site;
#[cfg(any(test, feature = "tables"))]
use sha2::{Digest, Sha256};
use std::path::Path;

/// Most bytes of a file that are read.
pub const FILE_BYTES_MAX: u64 = 4 << 30;

/// Reads a recording: an archive or, with the feature `tables`, a table; told apart by the first
/// bytes. `site` takes the place of the site file that came with the recording.
pub fn read_any(
    path: &Path,
    options: &ImportOptions,
    site: Option<&Site>,
) -> Result<Recording, FileError> {
    let bytes = read_bytes(path)?;
    if bytes.starts_with(archive::MAGIC) {
        return read_archive(&name_of(path), &bytes).map_err(|problem| at(path, problem));
    }
    #[cfg(feature = "tables")]
    let recording = crate::tables::recording(path, &bytes, options, site);
    #[cfg(not(feature = "tables"))]
    let recording = {
        let _ = (options, site);
        Err(Problem::NoTableReader)
    };
    recording.map_err(|problem| at(path, problem))
}

/// The whole file, if it is not too long.
pub(crate) fn read_bytes(path: &Path) -> Result<Vec<u8>, FileError> {
    let read = || -> Result<Vec<u8>, Problem> {
        let bytes = std::fs::metadata(path)?.len();
        if bytes > FILE_BYTES_MAX {
            return Err(Problem::TooLong { bytes, max: FILE_BYTES_MAX });
        }
        let bytes = std::fs::read(path)?;
        if bytes.is_empty() { Err(Problem::Empty) } else { Ok(bytes) }
    };
    read().map_err(|problem| at(path, problem))
}

/// The error of a file.
pub(crate) fn at(path: &Path, problem: Problem) -> FileError {
    FileError { file: path.display().to_string(), problem }
}

/// Name of a file without its folders.
pub(crate) fn name_of(path: &Path) -> String {
    path.file_name().map_or_else(String::new, |name| name.to_string_lossy().into_owned())
}

/// SHA-256 in lower-case hex.
#[cfg(any(test, feature = "tables"))]
pub(crate) fn sha256_hex(bytes: &[u8]) -> String {
    pumpwitness_protocol::hex::Hex(&Sha256::digest(bytes)).to_string()
}
