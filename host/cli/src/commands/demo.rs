//! `demo`: the whole journey on an invented site. The record is made by the logger's own code and
//! fetched over a virtual serial port by the code that talks to real ones.

use crate::args::Demo;
use crate::commands::report::Form;
use crate::commands::{analyse as analyse_command, collect, report};
use crate::failure::{Context, Failure, FileContext};
use crate::load::{self, Loaded};
use crate::{integrity, output, progress, summary};
use jiff::Timestamp;
use pumpwitness_analysis::analyse;
use pumpwitness_evidence::{Trust, Verification, verify};
use pumpwitness_link::{Client, Download, Limits, arming};
use pumpwitness_protocol::archive::ArchiveHeader;
use pumpwitness_recording::clock::utc_text;
use pumpwitness_recording::{ImportOptions, read_any};
use pumpwitness_site_file::Site;
use pumpwitness_site_model::{DEFAULT_SCENARIO, Scenario, scenario, scenarios};
use pumpwitness_virtual_logger::{FLASH_BYTES, VirtualLogger};
use std::fmt::Write;
use std::fs;
use std::path::Path;
use std::sync::{Arc, Mutex, PoisonError};

/// The demo's logger.
const DEVICE: [u8; 8] = *b"DEMO0001";
/// Site time between two looks at the progress bar, ms.
const STEP_MS: i64 = 6 * 3_600_000;

/// Names of the files in the folder.
const ARCHIVE: &str = "recording.pwa";
const SITE: &str = "site.toml";
const ANALYSIS: &str = "analysis.json";
const REPORT: &str = "report.html";
const TRUST: &str = "known-loggers.toml";

/// Runs a scenario from the sensors to the report.
pub fn run(arguments: &Demo) -> Result<(), Failure> {
    if arguments.list {
        return output::print(&list());
    }
    let name = arguments.scenario.as_deref().unwrap_or(DEFAULT_SCENARIO);
    let story = scenario(name).ok_or_else(|| {
        Failure::usage(format_args!(
            "there is no scenario {name}: see `pumpwitness demo --list` for those there are"
        ))
    })?;
    let folder = &arguments.out;
    fs::create_dir_all(folder).or_unwritten(format_args!("cannot make {}", folder.display()))?;
    output::print(&format!("{}\n{}\n\n", story.title, story.story))?;

    let site_file = folder.join(SITE);
    output::write_file(&site_file, story.site_toml().as_bytes())?;
    let (site, text) = load::site(&site_file)?;
    let archive = folder.join(ARCHIVE);
    record(story, (&site, &text), story.end_ms(), &archive)?;

    let recording =
        read_any(&archive, &ImportOptions::default(), Some(&site)).map_err(Failure::input)?;
    let zone = load::zone(&site)?;
    let loaded = Loaded { recording, site, zone };
    let analysis = analyse(&loaded.recording, &loaded.site);
    let (proof, trust) = proof(&archive)?;
    let json = analyse_command::json(&analysis, Some(&proof))?;
    output::write_file(&folder.join(ANALYSIS), json.as_bytes())?;
    output::write_file(&folder.join(TRUST), trust.to_toml().as_bytes())?;
    let integrity = integrity::told(&proof);
    let input = report::input(&loaded, &analysis, Some(&integrity), Timestamp::now());
    output::write_file(&folder.join(REPORT), &report::bytes(&input, Form::Html)?)?;

    let mut text = summary::short(&analysis, &loaded.zone);
    let _ = writeln!(text, "\nProof    {}", integrity.headline);
    let _ = writeln!(text, "Report   {}", folder.join(REPORT).display());
    let _ = writeln!(text, "Analysis {}", folder.join(ANALYSIS).display());
    let _ = writeln!(text, "Archive  {}", archive.display());
    let _ = writeln!(
        text,
        "\nThe site is invented. On a real one a qualified person fits the sensors, with the\n\
         circuit isolated and proved dead."
    );
    output::print(&text)
}

/// Arms a logger at the site of a scenario, lets it live there until `end_ms`, and downloads its
/// record into `archive`.
pub fn record(
    story: &Scenario,
    (site, text): (&Site, &str),
    end_ms: i64,
    archive: &Path,
) -> Result<(), Failure> {
    let logger = VirtualLogger::new(DEVICE, FLASH_BYTES, story.start_ms)
        .or_input("the virtual logger does not start")?;
    let logger = Arc::new(Mutex::new(logger));
    let mut line = plugged(&logger)?;
    arming::arm(&mut line.client, site, text, Some(story.start_ms)).map_err(Failure::input)?;
    drop(line);

    live_through(story, end_ms, &logger)?;

    let mut line = plugged(&logger)?;
    let download = Download {
        file: archive,
        replace: true,
        release: false,
        host_clock_ms: end_ms,
        collected_by: "the demo",
    };
    collect::collect(&mut line.client, &download)?;
    Ok(())
}

/// What the archive proves. The key is known: it came over the line from the logger itself.
fn proof(archive: &Path) -> Result<(Verification, Trust), Failure> {
    let place = archive.display();
    let file = fs::read(archive).or_input(&place)?;
    let header = ArchiveHeader::decode(&file).or_input(&place)?;
    let mut trust = Trust::default();
    let seen = utc_text(header.host_clock_ms);
    let note = "a simulated logger: anybody can make its key".to_owned();
    trust
        .remember(&header.identity.device, &header.public_key, seen, Some(note))
        .map_err(Failure::input)?;
    Ok((verify(&file, &trust).or_input(&place)?, trust))
}

fn list() -> String {
    scenarios().iter().fold(String::new(), |mut text, story| {
        let _ = writeln!(text, "{:<24} {}", story.name, story.title);
        text
    })
}

/// Lets the site's days pass.
fn live_through(
    story: &Scenario,
    end_ms: i64,
    logger: &Mutex<VirtualLogger>,
) -> Result<(), Failure> {
    let mut logger = logger.lock().unwrap_or_else(PoisonError::into_inner);
    let mut model = story.model();
    let steps = (end_ms - story.start_ms).div_euclid(STEP_MS).max(1);
    let bar = progress::bar("days on site", steps as u64);
    for step in 1..=steps {
        let until_ms = if step == steps { end_ms } else { story.start_ms + step * STEP_MS };
        model.run(until_ms, &mut *logger);
        bar.inc(1);
    }
    bar.finish_and_clear();
    match logger.failure() {
        Some(failure) => Err(Failure::input(format_args!("the virtual logger failed: {failure}"))),
        None => Ok(()),
    }
}

/// A client on the logger's virtual line, and what keeps it plugged in.
#[cfg(unix)]
struct Line {
    // Closed before the plug is pulled.
    client: Client<pumpwitness_link::SerialLine>,
    _plug: pumpwitness_virtual_logger::port::Plugged,
}

#[cfg(unix)]
fn plugged(logger: &Arc<Mutex<VirtualLogger>>) -> Result<Line, Failure> {
    use pumpwitness_virtual_logger::port::Plugged;
    let plug =
        Plugged::new(Arc::clone(logger), None).or_input("cannot make a virtual serial port")?;
    let line = pumpwitness_link::SerialLine::open(plug.path()).map_err(Failure::input)?;
    Ok(Line { client: Client::new(line, Limits::default()), _plug: plug })
}

/// The same over a pipe in memory, where there are no pseudo-terminals.
#[cfg(not(unix))]
struct Line {
    client: Client<pumpwitness_link::Pipe>,
}

#[cfg(not(unix))]
fn plugged(logger: &Arc<Mutex<VirtualLogger>>) -> Result<Line, Failure> {
    use pumpwitness_link::{Pipe, Transport};
    let (host, mut device) = Pipe::pair("virtual line");
    let logger = Arc::clone(logger);
    std::thread::spawn(move || {
        let mut heard = [0; 4096];
        while let Ok(count) = device.read(&mut heard, std::time::Duration::from_millis(20)) {
            let mut answer = Vec::new();
            logger
                .lock()
                .unwrap_or_else(PoisonError::into_inner)
                .answer(&heard[..count], &mut answer);
            if !answer.is_empty() && device.write_all(&answer).is_err() {
                break;
            }
        }
    });
    Ok(Line { client: Client::new(host, Limits::default()) })
}
