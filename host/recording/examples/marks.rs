//! Prints the device's key and the marks of an archive, for tests and for looking at a logger that
//! behaves oddly: a line `key`, tab, public key in hex (zeros: none), tab, whether the archive is
//! sealed; then one line a mark: time (ms since 1970), tab, the mark as the logger stored it.
//!
//! Usage: marks ARCHIVE

use pumpwitness_protocol::archive::ArchiveHeader;
use pumpwitness_recording::{ImportOptions, read_any};
use std::fmt::Write as _;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let path = std::env::args().nth(1).ok_or("usage: marks ARCHIVE")?;
    let header = ArchiveHeader::decode(&std::fs::read(&path)?)?;
    let mut key = String::new();
    for byte in header.public_key {
        write!(key, "{byte:02x}")?;
    }
    println!("key\t{key}\t{}", header.seal.is_some());
    let recording = read_any(path.as_ref(), &ImportOptions::default(), None)?;
    for mark in &recording.marks {
        println!("{}\t{:?}", mark.time_ms, mark.mark);
    }
    Ok(())
}
