//! What the head says of logger and record, against the seal of the download and the record itself.
//!
//! All of the head is asked of the logger in one go, so the seal of the download states the same
//! start and the same last sector. What the head says beyond that is held against the record where
//! the record speaks of it; FORMAT.md §6.1 lists what stands under nothing.

use super::layout::Expected;
use super::reading::Reading;
use super::{Checked, head_place};
use crate::outcome::{Kind, Part, Place, SealResult, Trouble};
use pumpwitness_protocol::archive::ArchiveHeader;
use pumpwitness_protocol::seal::{Occasion, Statement};

/// What in the head cannot be.
pub fn against_record(
    header: &ArchiveHeader,
    checks: &[Checked],
    reading: &Reading,
    expected: Expected,
) -> Vec<Trouble> {
    let contradicted =
        |text: String| Trouble { kind: Kind::HeadContradicted, place: head_place(), text };
    let mut troubles = Vec::new();
    let who = &header.identity;
    if let Some(statement) = download_seal(checks) {
        if statement.boot != who.boot {
            troubles.push(contradicted(format!(
                "By the head the record was collected in start {} of the logger, by the seal of \
                 the download in start {}.",
                who.boot, statement.boot
            )));
        }
        let (sealed, last) = (statement.sector, header.range.last_sector);
        if sealed > last {
            troubles.push(Trouble {
                kind: Kind::CutOff,
                place: Place {
                    part: Part::Record,
                    sector: Some(last.wrapping_add(1)),
                    page: None,
                    byte: super::end_of(expected),
                    bytes: 0,
                },
                text: format!(
                    "The record ends with sector {last}, and the seal of the download names sector \
                     {sealed}: what was behind was taken out, and head and end mark made to fit."
                ),
            });
        } else if sealed < last {
            troubles.push(contradicted(format!(
                "The seal of the download names sector {sealed} as the last one, and by the head \
                 the record goes on to sector {last}: what is behind was put in, or the head \
                 changed."
            )));
        }
    }
    let other =
        reading.starts.iter().find(|(boot, ours)| *boot == who.boot && *ours != who.firmware);
    if let Some((boot, firmware)) = other {
        let version = |[major, minor, patch]: [u8; 3]| format!("{major}.{minor}.{patch}");
        troubles.push(contradicted(format!(
            "By the head the logger's program is version {}, by the mark of its start {boot} in \
             the record version {}.",
            version(who.firmware),
            version(*firmware)
        )));
    }
    troubles
}

/// What the seal of the download states, where its signature is right.
fn download_seal(checks: &[Checked]) -> Option<&Statement> {
    let (check, statement) = checks.last().filter(|(check, _)| check.place.part == Part::Head)?;
    let signed = matches!(
        check.result,
        SealResult::Holds | SealResult::OutOfReach | SealResult::Contradicted
    );
    (signed && statement.occasion == Occasion::Download).then_some(statement)
}
