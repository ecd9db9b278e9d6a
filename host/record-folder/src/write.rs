//! Files written whole or not at all: beside their place, to the disk, then named.

use crate::error::FolderError;
use std::fs::{self, File};
use std::io::{self, Write};
use std::path::Path;
use tempfile::{Builder, NamedTempFile};

/// How files on their way are named; what is left of one after a crash can be told by it.
pub(crate) const UNFINISHED: &str = ".filing-";

/// Writes a file in the place of any other of that name.
pub(crate) fn replace(path: &Path, bytes: &[u8]) -> Result<(), FolderError> {
    let file = beside(path, bytes)?;
    file.persist(path).map_err(|failed| FolderError::at(path)(failed.error))?;
    keep_name(path);
    Ok(())
}

/// Writes a file of a new name; false where there is one of that name, which is left as it is.
pub(crate) fn create(path: &Path, bytes: &[u8]) -> Result<bool, FolderError> {
    let file = beside(path, bytes)?;
    match file.persist_noclobber(path) {
        Ok(_) => {
            keep_name(path);
            Ok(true)
        }
        Err(failed) if failed.error.kind() == io::ErrorKind::AlreadyExists => Ok(false),
        Err(failed) => Err(FolderError::at(path)(failed.error)),
    }
}

fn beside(path: &Path, bytes: &[u8]) -> Result<NamedTempFile, FolderError> {
    let folder = path.parent().unwrap_or(Path::new("."));
    let write = || -> io::Result<NamedTempFile> {
        let mut file = Builder::new().prefix(UNFINISHED).tempfile_in(folder)?;
        file.write_all(bytes)?;
        // Temporary files are private; records are shown around as the folder allows.
        #[cfg(unix)]
        {
            use std::os::unix::fs::PermissionsExt;
            fs::set_permissions(file.path(), fs::Permissions::from_mode(0o644))?;
        }
        file.as_file().sync_all()?;
        Ok(file)
    };
    write().map_err(FolderError::at(path))
}

/// Has the name reach the disk too. Not every system can; the file itself is there already.
fn keep_name(path: &Path) {
    if let Some(folder) = path.parent()
        && let Ok(folder) = File::open(folder)
    {
        let _ = folder.sync_all();
    }
}
