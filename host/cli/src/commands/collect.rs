//! `collect`: the record of a logger into a file.

use crate::args::Collect;
use crate::failure::Failure;
use crate::{line, output, progress};
use jiff::Timestamp;
use pumpwitness_link::download::COLLECTED_BY_BYTES;
use pumpwitness_link::{Client, Download, Downloaded, Transport};
use pumpwitness_protocol::hex::Hex;
use std::fmt::Write;

/// Downloads from the logger on a port.
pub fn run(arguments: &Collect) -> Result<(), Failure> {
    output::may_write(&arguments.out, arguments.replace)?;
    if let Some(name) = &arguments.by
        && name.len() > COLLECTED_BY_BYTES
    {
        return Err(Failure::usage(format_args!(
            "--by: the name has {} bytes and the archive keeps {COLLECTED_BY_BYTES}: shorten it",
            name.len()
        )));
    }
    let mut client = line::open(&arguments.port)?;
    let download = Download {
        file: &arguments.out,
        replace: arguments.replace,
        release: arguments.release,
        host_clock_ms: Timestamp::now().as_millisecond(),
        collected_by: arguments.by.as_deref().unwrap_or_default(),
    };
    let done = collect(&mut client, &download)?;
    output::print(&summary(&done, &download))
}

/// Downloads with a progress bar.
pub fn collect<T: Transport>(
    client: &mut Client<T>,
    download: &Download<'_>,
) -> Result<Downloaded, Failure> {
    let bar = progress::bar("downloading", 1);
    let outcome = download.run(client, |progress| {
        bar.set_length(progress.total);
        bar.set_position(progress.done);
    });
    bar.finish_and_clear();
    outcome.map_err(Failure::input)
}

fn summary(done: &Downloaded, download: &Download<'_>) -> String {
    let mut text = format!(
        "{} sectors of logger {} written to {} and read back\nSHA-256 {}\n",
        done.sectors,
        Hex(&done.identity.device),
        download.file.display(),
        Hex(&done.sha256)
    );
    if done.resumed_at > 0 {
        let _ =
            writeln!(text, "gone on with after {} pages of an earlier attempt", done.resumed_at);
    }
    if done.pages_gone > 0 {
        let _ = writeln!(
            text,
            "{} pages were overwritten in the logger before they could be read",
            done.pages_gone
        );
    }
    for sector in &done.chain_broken {
        let _ = writeln!(
            text,
            "sector {sector} was changed after the logger closed it: the next one names another hash"
        );
    }
    if download.release && !done.released {
        text.push_str("the logger keeps its memory: it is released only after a whole record\n");
    }
    text
}
