//! What the emulated logger is fed with and measured against, in subcommands that `run.py` calls:
//!
//! | subcommand | what it does | file |
//! |---|---|---|
//! | `waves` | conversions of an invented site, its lamps and the truth | `stage` |
//! | `replay` | the same conversions through the core on the host; every record compared | `replay` |
//! | `fill` | a flash that already holds a journal | `fill` |
//! | `archive` | an archive page by page against the flash it came from | `records` |
//!
//! Each prints one line of JSON; exit 1 with a reason when what it was asked for cannot be done.
#![forbid(unsafe_code)]

mod fill;
mod records;
mod replay;
mod stage;

use serde_json::Value;
use std::process::ExitCode;

/// Any failure, as text: a test's tool.
type Outcome<T> = Result<T, Box<dyn std::error::Error>>;

const USAGE: &str = "emulator waves quiet|day|storm|sixty OUT_DIR | replay WAVES_DIR FLASH_BEFORE \
     ARCHIVE BOOT_MS | fill FLASH BYTES [CAPACITY] | archive ARCHIVE FLASH";

fn run(arguments: &[&str]) -> Outcome<Value> {
    match arguments {
        ["waves", stage, out] => stage::write(stage, out.as_ref()),
        ["replay", waves, before, archive, boot_ms] => {
            replay::compare(waves.as_ref(), before.as_ref(), archive.as_ref(), boot_ms.parse()?)
        }
        ["fill", flash, bytes] => fill::fill(flash.as_ref(), bytes.parse()?, 16 << 20),
        ["fill", flash, bytes, capacity] => {
            fill::fill(flash.as_ref(), bytes.parse()?, capacity.parse()?)
        }
        ["archive", archive, flash] => records::verbatim(archive.as_ref(), flash.as_ref()),
        _ => Err(USAGE.into()),
    }
}

fn main() -> ExitCode {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let arguments: Vec<&str> = arguments.iter().map(String::as_str).collect();
    match run(&arguments) {
        Ok(value) => {
            println!("{value}");
            ExitCode::SUCCESS
        }
        Err(error) => {
            eprintln!("{error}");
            ExitCode::FAILURE
        }
    }
}
