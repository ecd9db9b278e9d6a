//! The bundle: one zip file with everything somebody needs who was not there. The same input gives
//! the same bytes: names sorted, times those of the record, nothing of the machine.

use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use flate2::Compression;
use flate2::write::DeflateEncoder;
use pumpwitness_protocol::archive::ArchiveHeader;
use pumpwitness_protocol::hex::Hex;
use rawzip::time::UtcDateTime;
use rawzip::{CompressionMethod, ZipArchiveWriter};
use sha2::{Digest, Sha256};
use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::io::Write;

/// Name of the list of hashes.
pub const SUMS: &str = "SHA256SUMS";
/// The stand-alone check, as anybody can run it.
pub const CHECKER: &str = include_str!("../../../shared-protocol/verify_archive.py");
/// How DER begins for an Ed25519 public key (RFC 8410 §4).
const ED25519_DER: [u8; 12] =
    [0x30, 0x2a, 0x30, 0x05, 0x06, 0x03, 0x2b, 0x65, 0x70, 0x03, 0x21, 0x00];

/// Why a bundle could not be made.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum BundleError {
    /// The zip writer refused.
    #[error("the bundle cannot be written: {0}")]
    Zip(#[from] rawzip::Error),
    /// The compressor refused.
    #[error("the bundle cannot be compressed: {0}")]
    Compress(#[from] std::io::Error),
}

/// Files of a bundle by name.
pub type Files = BTreeMap<String, Vec<u8>>;

/// The zip file of `files`, with a list of their hashes. `time_ms` (ms since 1970) stands as the
/// time of every file.
pub fn zip(mut files: Files, time_ms: i64) -> Result<Vec<u8>, BundleError> {
    let sums = sums(&files);
    files.insert(SUMS.to_owned(), sums.into_bytes());
    let mut archive = ZipArchiveWriter::new(Vec::new());
    let time = UtcDateTime::from_unix(time_ms.div_euclid(1000));
    for (name, bytes) in &files {
        let (mut entry, config) = archive
            .new_file(name.as_str())
            .compression_method(CompressionMethod::DEFLATE)
            .last_modified(time)
            .unix_permissions(0o644)
            .start()?;
        let mut writer = config.wrap(DeflateEncoder::new(&mut entry, Compression::default()));
        writer.write_all(bytes)?;
        let (encoder, descriptor) = writer.finish()?;
        encoder.finish()?;
        entry.finish(descriptor)?;
    }
    Ok(archive.finish()?)
}

/// Hashes as `sha256sum -c` reads them.
fn sums(files: &Files) -> String {
    files.iter().fold(String::new(), |mut text, (name, bytes)| {
        // Writing to a string does not fail.
        let _ = writeln!(text, "{}  {name}", Hex(&Sha256::digest(bytes)));
        text
    })
}

/// The seal of the download in the form common tools read: statement, signature, public key.
pub fn seal_files(header: &ArchiveHeader) -> Files {
    let mut files = Files::new();
    if header.public_key != [0; 32] {
        files.insert("seal/public-key.pem".to_owned(), pem(&header.public_key).into_bytes());
    }
    if let Some(seal) = &header.seal {
        let statement = seal.statement.signed_bytes().to_vec();
        files.insert("seal/statement.bin".to_owned(), statement);
        files.insert("seal/signature.bin".to_owned(), seal.signature.bytes().to_vec());
    }
    files
}

/// The public key as PEM (RFC 7468, RFC 8410).
fn pem(key: &[u8; 32]) -> String {
    let der = [&ED25519_DER[..], key].concat();
    format!("-----BEGIN PUBLIC KEY-----\n{}\n-----END PUBLIC KEY-----\n", STANDARD.encode(der))
}

/// What the text that goes with a bundle depends on.
#[derive(Clone, Copy, Debug)]
pub struct About<'a> {
    /// Number of the logger, where the recording is an archive.
    pub device: Option<&'a str>,
    /// Name of the recording in the bundle, or of the one left out.
    pub recording: &'a str,
    /// SHA-256 of the recording.
    pub sha256: &'a str,
    /// Names were left out.
    pub private: bool,
    /// The recording itself is in the bundle.
    pub with_recording: bool,
    /// A seal of the download is there.
    pub sealed: bool,
    /// Number of captures.
    pub captures: usize,
    /// Version of the program.
    pub version: &'a str,
}

/// The text that goes with a bundle.
pub fn readme(about: &About<'_>) -> String {
    let mut text = format!(
        "EVIDENCE BUNDLE OF A WATER-PUMP INSTALLATION\nmade by pumpwitness {}\n\n",
        about.version
    );
    let archive = about.device.is_some();
    let mut file = |name: &str, what: &str| {
        let _ = writeln!(text, "{name:<24} {what}");
    };
    file("report.html", "the report: open it in any browser, it needs no network");
    file("report.pdf", "the same on paper");
    file("analysis.json", "the same for programs");
    file("site.toml", "what the installation is, as declared");
    if about.with_recording {
        let what = if archive {
            "the record as the logger gave it, every bit"
        } else {
            "the table that was analysed"
        };
        file(about.recording, what);
    }
    file("tables/rows.*", "the record as a table (CSV, Parquet), times in UTC");
    file("tables/runs.*", "each run of the pump");
    if archive {
        file("tables/marks.*", "what happened to the logger itself");
    }
    if about.captures > 0 {
        file("captures/*.cfg, *.dat", "half cycles around events (COMTRADE, IEEE C37.111-2013)");
    }
    if archive {
        file(
            "verification.txt",
            "what the record proved to who packed this, by the keys they know",
        );
    }
    if about.sealed {
        file("seal/", "the logger's seal in the form common tools read");
        file("verify_archive.py", "a check of the record that needs Python only");
    }
    file(SUMS, "SHA-256 of every file here");
    let _ = writeln!(
        text,
        "\nThe time of the files, and the time of making in the report, is that at which the record \
         was collected\n(or ends), so that the same record gives the same bundle, bit for bit."
    );
    if about.private {
        text.push_str(&private(about));
    }
    text.push_str(&checking(about));
    text.push_str(CAPTURES);
    text
}

fn private(about: &About<'_>) -> String {
    let mut text = "\nNAMES LEFT OUT\nName of the site, name and address of the customer, and the \
                    reason given for fitting were left out of\nreport, site file, tables and \
                    captures. "
        .to_owned();
    if about.with_recording && about.device.is_some() {
        text.push_str(
            "THE RECORD ITSELF IS HERE BY CHOICE, AND CARRIES THEM: it is\nsealed, so nothing can be \
             taken out of it without breaking the seal.\n",
        );
    } else {
        let _ = write!(
            text,
            "The record itself is not here: it carries them, and as it\nis sealed nothing can be \
             taken out of it. It can be asked for, and is the right one if its SHA-256 is\n{}\n",
            about.sha256
        );
    }
    text
}

fn checking(about: &About<'_>) -> String {
    let mut text = format!(
        "\nHOW TO CHECK\n1. That no file of this bundle was damaged on the way (this alone proves \
         nothing against intent):\n     sha256sum -c {SUMS}\n"
    );
    if about.device.is_none() {
        text.push_str(
            "The record came as a table of another program: it carries no seal, and nothing here can \
             show\nwhether it was changed before.\n",
        );
        return text;
    }
    if !about.with_recording {
        text.push_str("2. For all else the record itself is needed.\n");
        return text;
    }
    let name = about.recording;
    if !about.sealed {
        let _ = writeln!(
            text,
            "2. That the record agrees with itself:\n     pumpwitness verify {name}\n   The logger did \
             not seal it: a change by somebody with the skill to make its checks fit would not be seen."
        );
        return text;
    }
    let _ = write!(
        text,
        "2. That the record is as the logger sealed it, with the program itself:\n     pumpwitness \
         verify {name}\n   or without it:\n     pip install cryptography\n     python3 \
         verify_archive.py {name}\n   or by hand. The seal is a right signature of the key:\n     \
         openssl pkeyutl -verify -pubin -inkey seal/public-key.pem -rawin \\\n         -in \
         seal/statement.bin -sigfile seal/signature.bin\n   It names the hash of the last sector \
         (4096 bytes before the 64 of the end mark); the two lines agree:\n     tail -c 4160 {name} | \
         head -c 4096 | sha256sum\n     tail -c +25 seal/statement.bin | head -c 32 | od -An -v -tx1\n   \
         Bytes 24 to 55 of each sector are the hash of the one before, back to the first.\n\
         3. Whose key it is, this bundle cannot say. Compare seal/public-key.pem with the key had from \
         the logger\n   itself.\n\nWHAT THIS SHOWS, AND WHAT IT DOES NOT\n"
    );
    for limit in crate::text::LIMITS {
        text.push_str("- ");
        let mut column = 2;
        for word in limit.split_whitespace() {
            if column + word.chars().count() > 100 {
                text.push_str("\n ");
                column = 1;
            }
            if column > 2 || !text.ends_with("- ") {
                text.push(' ');
                column += 1;
            }
            text.push_str(word);
            column += word.chars().count();
        }
        text.push('\n');
    }
    text
}

const CAPTURES: &str = "\nTHE CAPTURES\nA sample is not an instantaneous value: voltage and current are \
    r.m.s. values, and power the mean, over a\nwhole cycle, renewed each half cycle and stamped with \
    the end of the cycle. The sampling rate is given as\n0 and the time stamps count. The moment of \
    the trigger is the nominal one: 0.2 s behind the first sample\nfor starts of the pump, 1 s for all \
    else.\n";

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_same_files_give_the_same_bytes() {
        let files = || {
            let mut files = Files::new();
            files.insert("b.txt".to_owned(), b"second".repeat(100));
            files.insert("a/first.txt".to_owned(), b"first".to_vec());
            files
        };
        let first = zip(files(), 1_770_000_000_000).unwrap();
        assert_eq!(first, zip(files(), 1_770_000_000_000).unwrap());
        assert_ne!(first, zip(files(), 1_770_000_100_000).unwrap());
        assert!(first.starts_with(b"PK\x03\x04"));
    }

    /// The key of RFC 8410 §10.1.
    #[test]
    fn a_public_key_reads_as_rfc_8410_has_it() {
        let key = crate::hex::bytes::<32>(
            "19bf44096984cdfe8541bac167dc3b96c85086aa30b6b6cb0c5c38ad703166e1",
        )
        .unwrap();
        assert_eq!(
            pem(&key),
            "-----BEGIN PUBLIC KEY-----\n\
             MCowBQYDK2VwAyEAGb9ECWmEzf6FQbrBZ9w7lshQhqowtrbLDFw4rXAxZuE=\n\
             -----END PUBLIC KEY-----\n"
        );
    }
}
