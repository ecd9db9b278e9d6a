//! Every single bit of a small archive, flipped.

use super::fixture::{Story, page_at};
use super::{Kind, told, verified};
use crate::outcome::{PageState, Part, Verdict, Verification};
use crate::trust::Trust;
use crate::verify::verify;
use pumpwitness_protocol::archive::{ARCHIVE_HEADER_BYTES, TRAILER_BYTES};
use pumpwitness_protocol::page::PAGE_BYTES;
use std::thread;

fn story() -> Story {
    Story { boots: vec![3, 3], hours: vec![1], ..Story::default() }
}

/// Checks that one flipped bit is told with its place and a kind that fits the place.
fn check(file: &mut [u8], at: usize, bit: usize, end: usize, trust: &Trust) -> Result<(), String> {
    file[at] ^= 1 << bit;
    let verification = verify(file, trust).map_err(|error| format!("byte {at}: {error}"))?;
    file[at] ^= 1 << bit;
    let first = verification.troubles.first().ok_or(format!("byte {at} bit {bit}: not told"))?;
    let (place, kind) = (first.place, first.kind);
    let holds = place.byte <= at as u64 && (at as u64) < place.byte + place.bytes;
    let fits = if at < ARCHIVE_HEADER_BYTES {
        kind == Kind::HeadDamaged && place.part == Part::Head
    } else if at < end {
        matches!(kind, Kind::PageDamaged | Kind::SectorHeaderDamaged)
            && place.bytes == PAGE_BYTES as u64
    } else {
        matches!(kind, Kind::EndMarkDamaged | Kind::FileHashDiffers) && place.part == Part::EndMark
    };
    let found = verification.verdict == Verdict::DamageFound;
    if holds && fits && found && others_stand(&verification, at) {
        Ok(())
    } else {
        Err(format!("byte {at} bit {bit}: {:#?}", verification.troubles))
    }
}

/// Pages that were not touched are not called damaged.
fn others_stand(verification: &Verification, at: usize) -> bool {
    verification.sectors.iter().enumerate().all(|(n, sector)| {
        sector.pages.iter().enumerate().all(|(page, read)| {
            let touched = (page_at(n, page)..page_at(n, page) + PAGE_BYTES).contains(&at);
            let bad = matches!(
                read.state,
                PageState::Damaged | PageState::Altered | PageState::Misplaced | PageState::Missing
            );
            touched == bad
        })
    })
}

#[test]
fn every_flipped_bit_is_told_with_place_and_kind() {
    let story = story();
    let file = story.archive();
    let end = file.len() - TRAILER_BYTES;
    let trust = super::trust_of(&story);
    let bits: Vec<(usize, usize)> =
        (0..file.len()).flat_map(|at| (0..8).map(move |bit| (at, bit))).collect();
    let (left, right) = bits.split_at(bits.len() / 2);
    let failures: Vec<String> = thread::scope(|scope| {
        [left, right]
            .map(|part| {
                let (mut file, trust) = (file.clone(), &trust);
                scope.spawn(move || {
                    part.iter()
                        .filter_map(|(at, bit)| check(&mut file, *at, *bit, end, trust).err())
                        .take(3)
                        .collect::<Vec<_>>()
                })
            })
            .into_iter()
            .flat_map(|thread| thread.join().unwrap())
            .collect()
    });
    assert!(failures.is_empty(), "{}", failures.join("\n"));
}

#[test]
fn a_flipped_bit_leaves_the_rest_as_it_was_sealed() {
    let story = Story::default();
    let mut file = story.archive();
    file[page_at(2, 1) + 70] ^= 4;
    let verification = verified(&file, &story);
    told(&verification, Kind::PageDamaged, 42, Some(1));
    // The seal of sector 42 is lost with it; that of the hour still reaches sector 40.
    assert_eq!(super::state(&verification, 0, 0), PageState::Proven);
    assert_eq!(super::state(&verification, 2, 0), PageState::Consistent);
    assert_eq!(super::state(&verification, 3, 0), PageState::Proven);
    insta::assert_snapshot!(crate::text::full(&verification, "pump.pwa"));
}
