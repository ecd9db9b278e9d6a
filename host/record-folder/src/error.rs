//! What can go wrong when the folder is written to or read.

use std::io;
use std::path::PathBuf;

/// Why the folder could not do what it was asked to.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum FolderError {
    /// A file or folder cannot be read or written.
    #[error("{}: {cause}{}", path.display(), remedy(cause))]
    File {
        /// Which.
        path: PathBuf,
        /// What the system says.
        cause: io::Error,
    },
    /// The root is a file.
    #[error("{} is no folder: name the folder of your recordings", .0.display())]
    NoFolder(PathBuf),
    /// An archive is longer than any is.
    #[error("{} has {bytes} bytes, and an archive has at most {max}", path.display())]
    TooLong {
        /// Which.
        path: PathBuf,
        /// Its length.
        bytes: u64,
        /// Most that is read.
        max: u64,
    },
    /// The archive was changed since it was listed.
    #[error("{} was changed since it was listed: look at the list again", .0.display())]
    Changed(PathBuf),
    /// The summary cannot be written as JSON.
    #[error("the summary of {} cannot be written: {cause}", path.display())]
    Summary {
        /// The sidecar.
        path: PathBuf,
        /// Why not.
        cause: serde_json::Error,
    },
}

impl FolderError {
    /// An error of the system, with its place.
    pub(crate) fn at(path: impl Into<PathBuf>) -> impl FnOnce(io::Error) -> Self {
        move |cause| Self::File { path: path.into(), cause }
    }
}

fn remedy(cause: &io::Error) -> &'static str {
    match cause.kind() {
        io::ErrorKind::StorageFull | io::ErrorKind::QuotaExceeded => {
            "; make room, or name a folder on another disk"
        }
        io::ErrorKind::PermissionDenied | io::ErrorKind::ReadOnlyFilesystem => {
            "; name a folder that you may write to"
        }
        _ => "",
    }
}
