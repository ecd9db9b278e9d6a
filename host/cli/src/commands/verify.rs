//! `verify`: what an archive proves.

use crate::args::Verify;
use crate::failure::{Context, Failure};
use crate::{filing, output, trust};
use jiff::Timestamp;
use pumpwitness_evidence::{Trust, Verdict, Verification, text, verify};
use pumpwitness_protocol::archive::ArchiveHeader;
use pumpwitness_protocol::hex::Hex;
use pumpwitness_recording::clock::utc_text;

/// Verifies an archive and says so by text and exit code.
pub fn run(arguments: &Verify) -> Result<(), Failure> {
    let place = arguments.archive.display();
    let file = filing::read(&arguments.archive)?;
    let trust_file = trust::path(arguments.trust.as_deref())?;
    let must_exist = arguments.trust.is_some() && !arguments.remember;
    let mut known = trust::load(&trust_file, must_exist)?;
    let mut verification = verify(&file, &known).or_input(&place)?;
    let mut remembered = None;
    if arguments.remember {
        let fresh = remember(&file, &verification, &mut known, arguments.note.clone())?;
        if fresh {
            trust::store(&trust_file, &known)?;
        }
        remembered = Some(fresh);
        verification = verify(&file, &known).or_input(&place)?;
    }
    if arguments.json {
        let json = serde_json::to_string_pretty(&verification).or_input("cannot write JSON")?;
        output::print(&format!("{json}\n"))?;
    } else {
        let name = arguments
            .archive
            .file_name()
            .map_or_else(|| place.to_string(), |name| name.to_string_lossy().into_owned());
        output::print(&text::full(&verification, &name))?;
    }
    match remembered {
        Some(true) => eprintln!(
            "pumpwitness: key of logger {} noted in {}",
            verification.file.device,
            trust_file.display()
        ),
        Some(false) => eprintln!("pumpwitness: that key was noted already"),
        None => {}
    }
    outcome(&verification, arguments, &place)
}

/// The exit code, as a failure where it is not 0.
fn outcome(
    verification: &Verification,
    arguments: &Verify,
    place: impl std::fmt::Display,
) -> Result<(), Failure> {
    let line = text::line(verification);
    match verification.verdict {
        Verdict::DamageFound => Err(Failure::damage(format_args!("{place}: {line}"))),
        Verdict::Proven => Ok(()),
        _ if arguments.require_proof => {
            Err(Failure::damage(format_args!("{place}: not proven: {line}")))
        }
        _ => Ok(()),
    }
}

/// Notes the key of a sound archive; false when it was known already.
fn remember(
    file: &[u8],
    verification: &Verification,
    known: &mut Trust,
    note: Option<String>,
) -> Result<bool, Failure> {
    let header = ArchiveHeader::decode(file).or_input("--remember")?;
    if header.public_key == [0; 32] {
        return Err(Failure::input("there is no key in this archive to remember"));
    }
    let device = header.identity.device;
    let now = utc_text(Timestamp::now().as_millisecond());
    // A changed key is told before all else.
    let fresh = known.remember(&device, &header.public_key, now, note).map_err(Failure::damage)?;
    if verification.verdict == Verdict::DamageFound {
        return Err(Failure::damage(format_args!(
            "the key of logger {} was not noted, for the archive is not sound: {}",
            Hex(&device),
            text::line(verification)
        )));
    }
    Ok(fresh)
}
