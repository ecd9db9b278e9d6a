//! `collect`: the record of a logger into a file, or into the folder of recordings.

use crate::args::Collect;
use crate::failure::{Context, Failure};
use crate::{filing, integrity, line, output, progress};
use jiff::Timestamp;
use pumpwitness_evidence::text::{line as proof_line, wrapped};
use pumpwitness_evidence::{Trust, Verification, verify};
use pumpwitness_link::download::COLLECTED_BY_BYTES;
use pumpwitness_link::{Client, Download, Downloaded, Transport};
use pumpwitness_protocol::hex::Hex;
use std::fmt::Write;
use std::path::Path;

/// Downloads from the logger on a port.
pub fn run(arguments: &Collect) -> Result<(), Failure> {
    if let Some(file) = &arguments.out {
        output::may_write(file, arguments.replace)?;
    }
    if let Some(name) = &arguments.by
        && name.len() > COLLECTED_BY_BYTES
    {
        return Err(Failure::usage(format_args!(
            "--by: the name has {} bytes and the archive keeps {COLLECTED_BY_BYTES}: shorten it",
            name.len()
        )));
    }
    let known = integrity::known(None)?;
    match &arguments.out {
        Some(file) => {
            let mut client = line::open(&arguments.port)?;
            let (done, mut text) = into(&mut client, file, arguments)?;
            let proof = verify(&filing::read(file)?, &known).or_input(file.display())?;
            said(&mut text, "written to", file, &done, &proof);
            output::print(&text)
        }
        None => into_folder(arguments, &known),
    }
}

/// Downloads, files the record and says what it shows.
fn into_folder(arguments: &Collect, known: &Trust) -> Result<(), Failure> {
    let folder = filing::open(arguments.folder.as_deref())?;
    // Of an earlier visit that broke off between download and filing: its place is wanted.
    for path in folder.waiting() {
        let (added, _) = filing::file_download(&folder, &path, known)?;
        eprintln!("pumpwitness: note: an earlier download is filed now as {}", added.record.id);
    }
    let mut client = line::open(&arguments.port)?;
    let device = client.hello().map_err(Failure::input)?.device;
    let file = folder.incoming(&Hex(&device).to_string()).map_err(Failure::input)?;
    let (done, mut text) = into(&mut client, &file, arguments)?;
    let (added, proof) = filing::file_download(&folder, &file, known)?;
    if let Some(error) = &added.unindexed {
        eprintln!("pumpwitness: note: {error}");
    }
    let record = &added.record;
    said(&mut text, "filed as", &record.file, &done, &proof);
    if !added.new {
        text.push_str("that record was here already\n");
    }
    match record.summary.causes.first() {
        Some(cause) => {
            let confidence = (cause.confidence * 100.0).round();
            let _ = writeln!(text, "Verdict {} (confidence {confidence:.0} %)", cause.cause);
            wrapped(&mut text, "  ", &cause.says);
        }
        None => text.push_str("Verdict none: the record gives no cause\n"),
    }
    output::print(&text)
}

/// Downloads into a file; gives what is to be said beside where it went.
fn into<T: Transport>(
    client: &mut Client<T>,
    file: &Path,
    arguments: &Collect,
) -> Result<(Downloaded, String), Failure> {
    let download = Download {
        file,
        replace: arguments.replace,
        release: arguments.release,
        host_clock_ms: Timestamp::now().as_millisecond(),
        collected_by: arguments.by.as_deref().unwrap_or_default(),
    };
    let done = collect(client, &download)?;
    let text = remarks(&done, &download);
    Ok((done, text))
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

/// Puts in front of the remarks where the record went, and behind them what it proves.
fn said(text: &mut String, went: &str, file: &Path, done: &Downloaded, proof: &Verification) {
    let head = format!(
        "{} sectors of logger {} read back and {went} {}\nSHA-256 {}\n",
        done.sectors,
        Hex(&done.identity.device),
        file.display(),
        Hex(&done.sha256)
    );
    text.insert_str(0, &head);
    let _ = writeln!(text, "Proof   {}", proof_line(proof));
}

fn remarks(done: &Downloaded, download: &Download<'_>) -> String {
    let mut text = String::new();
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
