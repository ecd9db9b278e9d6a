//! Whole files or none: written beside their place, made durable, then moved into it.

use crate::error::{FileError, Problem};
use crate::file::at;
use std::fs::File;
use std::path::Path;

/// Writes a file by `write`. When anything fails, whatever was at `path` is still there, unchanged.
pub fn replace(
    path: &Path,
    write: impl FnOnce(&mut File) -> Result<(), Problem>,
) -> Result<(), FileError> {
    let run = || -> Result<(), Problem> {
        let folder = match path.parent() {
            Some(folder) if !folder.as_os_str().is_empty() => folder,
            _ => Path::new("."),
        };
        let mut builder = tempfile::Builder::new();
        builder.prefix(".pumpwitness-").suffix(".part");
        #[cfg(unix)]
        {
            use std::os::unix::fs::PermissionsExt;
            // As of any new file: the user's mask is taken off.
            builder.permissions(std::fs::Permissions::from_mode(0o666));
        }
        let mut file = builder.tempfile_in(folder)?;
        write(file.as_file_mut())?;
        file.as_file().sync_all()?;
        file.persist(path).map_err(|error| error.error)?;
        Ok(())
    };
    run().map_err(|problem| at(path, problem))
}
