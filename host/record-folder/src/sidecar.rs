//! The sidecar of an archive: its summary, and which archive that is a summary of.

use crate::error::FolderError;
use crate::summary::Summary;
use crate::write;
use serde::{Deserialize, Serialize};
use std::fs::Metadata;
use std::io::Read;
use std::path::Path;
use std::time::UNIX_EPOCH;

/// Schema of the whole.
const SCHEMA: &str = "pumpwitness.record/1";

/// Longest sidecar that is read.
const BYTES_MAX: u64 = 4 << 20;

/// A sidecar, as it stands in its file.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(crate) struct Sidecar {
    /// [`SCHEMA`].
    pub schema: String,
    /// What made the summary, with its version: another may see more in the same archive.
    pub maker: String,
    /// The archive it describes.
    pub archive: Fingerprint,
    /// What is known of it.
    pub summary: Summary,
}

/// An archive, told by its bytes.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub(crate) struct Fingerprint {
    /// SHA-256, hex.
    pub sha256: String,
    /// Length.
    pub bytes: u64,
    /// When the file was last written, ms since 1970: while that and the length stay, it is not
    /// hashed again.
    pub written_ms: i64,
}

/// How a sidecar stands to its archive.
pub(crate) enum Standing {
    /// It describes it.
    Fits(Box<Sidecar>),
    /// It describes it if the archive's hash is still the same.
    Touched(Box<Sidecar>),
    /// There is none.
    Missing,
    /// Why it cannot be used.
    Broken(String),
}

impl Sidecar {
    pub(crate) fn new(maker: &str, archive: Fingerprint, summary: Summary) -> Self {
        Self { schema: SCHEMA.to_owned(), maker: maker.to_owned(), archive, summary }
    }

    /// Reads the sidecar at `path` and holds it against the archive's metadata.
    pub(crate) fn read(path: &Path, maker: &str, archive: &Metadata) -> Standing {
        let text = match text(path) {
            Ok(Some(text)) => text,
            Ok(None) => return Standing::Missing,
            Err(why) => return Standing::Broken(why),
        };
        let sidecar: Self = match serde_json::from_str(&text) {
            Ok(sidecar) => sidecar,
            Err(error) => return Standing::Broken(error.to_string()),
        };
        if sidecar.schema != SCHEMA {
            return Standing::Broken("it is of another kind".to_owned());
        }
        if sidecar.maker != maker || sidecar.archive.bytes != archive.len() {
            // Nothing is wrong: another version of the program, or another archive.
            return Standing::Missing;
        }
        let touched = sidecar.archive.written_ms != written_ms(archive);
        let sidecar = Box::new(sidecar);
        if touched { Standing::Touched(sidecar) } else { Standing::Fits(sidecar) }
    }

    /// Writes it.
    pub(crate) fn write(&self, path: &Path) -> Result<(), FolderError> {
        let text = serde_json::to_string_pretty(self)
            .map_err(|cause| FolderError::Summary { path: path.to_owned(), cause })?;
        write::replace(path, (text + "\n").as_bytes())
    }
}

/// When a file was last written, ms since 1970; 0 where the system does not say.
pub(crate) fn written_ms(file: &Metadata) -> i64 {
    let since = |time: std::time::SystemTime| time.duration_since(UNIX_EPOCH).ok();
    file.modified().ok().and_then(since).map_or(0, |since| since.as_millis() as i64)
}

fn text(path: &Path) -> Result<Option<String>, String> {
    let file = match std::fs::File::open(path) {
        Ok(file) => file,
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => return Ok(None),
        Err(error) => return Err(error.to_string()),
    };
    let mut text = String::new();
    match file.take(BYTES_MAX + 1).read_to_string(&mut text) {
        Ok(bytes) if bytes as u64 > BYTES_MAX => Err("it is too long".to_owned()),
        Ok(_) => Ok(Some(text)),
        Err(error) => Err(error.to_string()),
    }
}
