//! The file of known keys.

use crate::failure::{Context, Failure, FileContext, unread};
use crate::output;
use etcetera::BaseStrategy;
use pumpwitness_evidence::Trust;
use std::fs;
use std::io::ErrorKind;
use std::path::{Path, PathBuf};

/// Name of the file in the program's configuration folder.
const NAME: &str = "known-loggers.toml";

/// The trust file: the one named, or that of the user.
pub fn path(named: Option<&Path>) -> Result<PathBuf, Failure> {
    if let Some(path) = named {
        return Ok(path.to_owned());
    }
    let folders = etcetera::choose_base_strategy()
        .or_input("your configuration folder cannot be found: name a file with --trust")?;
    Ok(folders.config_dir().join("pumpwitness").join(NAME))
}

/// What is known. A file that is not there knows nothing, unless it was named and must be there.
pub fn load(path: &Path, must_exist: bool) -> Result<Trust, Failure> {
    match fs::read_to_string(path) {
        Ok(text) => Trust::parse(&text).or_input(format_args!("trust file {}", path.display())),
        Err(error) if error.kind() == ErrorKind::NotFound && !must_exist => Ok(Trust::default()),
        Err(error) => Err(unread(format_args!("trust file {}", path.display()), &error)),
    }
}

/// Writes what is known.
pub fn store(path: &Path, trust: &Trust) -> Result<(), Failure> {
    if let Some(folder) = path.parent().filter(|folder| !folder.as_os_str().is_empty()) {
        fs::create_dir_all(folder)
            .or_unwritten(format_args!("cannot make {}", folder.display()))?;
    }
    output::write_file(path, trust.to_toml().as_bytes())
}
