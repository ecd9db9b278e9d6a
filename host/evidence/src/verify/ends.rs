//! Head, end mark and length of a file.

use super::layout::{EndMark, Expected, Layout, Spot};
use super::{end_mark_place, head_place};
use crate::outcome::{Kind, Part, Place, Trouble};
use pumpwitness_protocol::archive::{ARCHIVE_HEADER_BYTES, TRAILER_BYTES};
use pumpwitness_protocol::page::PAGES_PER_SECTOR;
use sha2::{Digest, Sha256};

/// Bytes of the head before its own text.
const HEAD: usize = 12;
/// Bytes of the check behind it.
const CRC: usize = 4;

/// What is wrong with the head.
pub fn head(file: &[u8], decoded: bool) -> Vec<Trouble> {
    let trouble =
        |text: String| vec![Trouble { kind: Kind::HeadDamaged, place: head_place(), text }];
    if !decoded {
        let cut = if file.len() < ARCHIVE_HEADER_BYTES { "is cut off" } else { "fails its check" };
        return trouble(format!(
            "The head of the file {cut}: logger, settings, site, calibration and seal of the \
             download cannot be read. The rest was checked as far as it speaks for itself."
        ));
    }
    let used = u32::from_le_bytes([file[8], file[9], file[10], file[11]]) as usize;
    let fill = file.get(HEAD + used..ARCHIVE_HEADER_BYTES - CRC).unwrap_or(&[]);
    match fill.iter().position(|byte| *byte != 0) {
        Some(at) => trouble(format!(
            "There are bytes in the head, from byte {} on, where the format has zeros.",
            HEAD + used + at
        )),
        None => Vec::new(),
    }
}

/// What is wrong with the end of the file: end mark, length.
pub fn end(
    file: &[u8],
    layout: &Layout,
    expected: Expected,
    end_mark: Option<&EndMark>,
    head_known: bool,
) -> Vec<Trouble> {
    let mut troubles = Vec::new();
    let file_place = |byte: usize, bytes: usize| Place {
        part: Part::File,
        sector: None,
        page: None,
        byte: byte as u64,
        bytes: bytes as u64,
    };
    let listed_cut = layout.spots.iter().filter(|spot| matches!(spot, Spot::CutOff)).count() as u64;
    let cut = listed_cut + u64::from(layout.unlisted) * PAGES_PER_SECTOR as u64;
    if cut > 0 {
        let from = layout
            .spots
            .iter()
            .position(|spot| matches!(spot, Spot::CutOff))
            .unwrap_or(layout.spots.len());
        let sector = expected.first.wrapping_add((from / PAGES_PER_SECTOR) as u32);
        let page = (from % PAGES_PER_SECTOR) as u8;
        troubles.push(Trouble {
            kind: Kind::CutOff,
            place: Place {
                part: Part::Record,
                sector: Some(sector),
                page: Some(page),
                byte: file.len() as u64,
                bytes: 0,
            },
            text: format!(
                "The record ends before page {page} of sector {sector}: {cut} of {} pages are not \
                 in the file.",
                u64::from(expected.sectors) * PAGES_PER_SECTOR as u64
            ),
        });
    }
    let Some(mark) = end_mark else {
        let left = file.len().saturating_sub(layout.end);
        let text = if cut == 0 && left == TRAILER_BYTES {
            troubles.push(Trouble {
                kind: Kind::EndMarkDamaged,
                place: Place { part: Part::EndMark, ..file_place(layout.end, left) },
                text: "The end mark of the file is damaged.".to_owned(),
            });
            return troubles;
        } else if cut > 0 {
            "The file has no end mark: its download was not finished, or it was cut off."
        } else {
            "The file has no end mark, although the record is there to its end."
        };
        troubles.push(Trouble {
            kind: Kind::EndMarkMissing,
            place: file_place(layout.end.min(file.len()), left),
            text: text.to_owned(),
        });
        return troubles;
    };
    if head_known && mark.sectors != expected.sectors {
        troubles.push(Trouble {
            kind: Kind::EndMarkDamaged,
            place: end_mark_place(mark),
            text: format!(
                "The end mark is damaged, or of another file: it gives {} sectors, and the head {}.",
                mark.sectors, expected.sectors
            ),
        });
    }
    let behind = file.len() - mark.at - TRAILER_BYTES;
    if behind > 0 {
        troubles.push(Trouble {
            kind: Kind::BytesAdded,
            place: file_place(mark.at + TRAILER_BYTES, behind),
            text: format!("{behind} bytes were added behind the end mark."),
        });
    }
    troubles
}

/// The file's hash against that of its end mark. `alone`: nothing else was found.
pub fn file_hash(file: &[u8], end_mark: Option<&EndMark>, alone: bool) -> Option<Trouble> {
    let mark = end_mark?;
    let hash: [u8; 32] = Sha256::digest(&file[..mark.at]).into();
    if hash == mark.sha256 {
        return None;
    }
    let (place, why) = if alone {
        (
            end_mark_place(mark),
            "As no other check fails, that is most likely in the end mark itself.",
        )
    } else {
        (
            Place { part: Part::File, byte: 0, bytes: mark.at as u64, ..end_mark_place(mark) },
            "It was changed after the download, as the other lines say.",
        )
    };
    Some(Trouble {
        kind: Kind::FileHashDiffers,
        place,
        text: format!("The file's SHA-256 is not the one in its end mark. {why}"),
    })
}
