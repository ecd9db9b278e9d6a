//! Prints the marks of an archive, one a line: time (ms since 1970), a tab, the mark as the logger
//! stored it. For tests, and for looking at a logger that behaves oddly.
//!
//! Usage: marks ARCHIVE

use pumpwitness_recording::{ImportOptions, read_any};

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let path = std::env::args().nth(1).ok_or("usage: marks ARCHIVE")?;
    let recording = read_any(path.as_ref(), &ImportOptions::default(), None)?;
    for mark in &recording.marks {
        println!("{}\t{:?}", mark.time_ms, mark.mark);
    }
    Ok(())
}
