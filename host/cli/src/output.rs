//! Files written whole or not at all, and lines on the terminal.

use crate::failure::{Failure, FileContext, unwritten};
use pumpwitness_recording::{FileError, Problem};
use std::fs;
use std::io::Write;
use std::path::Path;
use tempfile::NamedTempFile;

/// Writes `bytes` to `path` by way of a temporary file beside it.
pub fn write_file(path: &Path, bytes: &[u8]) -> Result<(), Failure> {
    let folder = match path.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder,
        _ => Path::new("."),
    };
    let place = || format!("cannot write {}", path.display());
    let mut file = NamedTempFile::new_in(folder).or_unwritten(place())?;
    file.write_all(bytes).or_unwritten(place())?;
    file.as_file().sync_all().or_unwritten(place())?;
    // Temporary files are private; a report is for showing around.
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        fs::set_permissions(file.path(), fs::Permissions::from_mode(0o644)).or_unwritten(place())?;
    }
    file.persist(path).map_err(|error| error.error).or_unwritten(place())?;
    Ok(())
}

/// Why a table was not written.
pub fn not_written(error: FileError) -> Failure {
    match error.problem {
        Problem::Io(problem) => unwritten(format_args!("cannot write {}", error.file), &problem),
        _ => Failure::input(error),
    }
}

/// Refuses to overwrite a file unless told to.
pub fn may_write(path: &Path, replace: bool) -> Result<(), Failure> {
    if path.is_dir() {
        return Err(Failure::usage(format_args!("{} is a folder: name a file", path.display())));
    }
    if !replace && path.exists() {
        return Err(Failure::input(format_args!(
            "{} exists already: choose another name, or add --replace",
            path.display()
        )));
    }
    Ok(())
}

/// Prints to standard output; a reader that has gone away (`| head`) is no failure.
pub fn print(text: &str) -> Result<(), Failure> {
    match std::io::stdout().lock().write_all(text.as_bytes()) {
        Err(error) if error.kind() != std::io::ErrorKind::BrokenPipe => {
            Err(Failure::input(format_args!("cannot print: {error}")))
        }
        _ => Ok(()),
    }
}
