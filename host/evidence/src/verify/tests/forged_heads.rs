//! Heads changed by somebody who makes their check and the end mark fit.

use super::fixture::{START_MS, Story, file};
use super::{Kind, Verdict, kinds, told, verified};
use crate::outcome::{PageState, Verification};
use pumpwitness_protocol::archive::ArchiveHeader;
use pumpwitness_protocol::record::{BootReason, Mark, TimedMark};
use sha2::{Digest, Sha256};

/// A record that tells of the start it was written in.
fn story() -> Story {
    let boot = Mark::Boot { boot: 3, reason: BootReason::PowerOn, firmware: [0, 1, 2] };
    Story { marks: vec![(0, TimedMark { time_ms: START_MS, mark: boot })], ..Story::default() }
}

fn with_head(change: impl FnOnce(&mut ArchiveHeader)) -> Verification {
    let story = story();
    let sectors = story.sectors();
    let mut head = story.head(Sha256::digest(&sectors[3]).into());
    change(&mut head);
    verified(&file(&head, &sectors.concat()), &story)
}

#[test]
fn what_seal_or_record_speak_of_is_held_against_them() {
    assert_eq!(with_head(|_| ()).verdict, Verdict::Proven);
    let boot = with_head(|head| head.identity.boot += 1);
    assert_eq!(kinds(&boot), [Kind::HeadContradicted]);
    assert!(boot.troubles[0].text.contains("start 4"), "{}", boot.troubles[0].text);
    let firmware = with_head(|head| head.identity.firmware[1] += 1);
    assert_eq!(kinds(&firmware), [Kind::HeadContradicted]);
    assert!(firmware.troubles[0].text.contains("0.2.2"), "{}", firmware.troubles[0].text);
    let device = with_head(|head| head.identity.device[0] ^= 1);
    assert!(kinds(&device).contains(&Kind::FromElsewhere), "{:?}", device.troubles);
    let key = with_head(|head| head.public_key[0] ^= 1);
    assert_eq!(kinds(&key), [Kind::KeyDiffers]);
    for by in [1, u32::MAX] {
        let first = with_head(|head| head.range.first_sector = 40_u32.wrapping_add(by));
        assert_eq!(first.verdict, Verdict::DamageFound, "{by}");
        let last = with_head(|head| head.range.last_sector = 43_u32.wrapping_add(by));
        assert_eq!(last.verdict, Verdict::DamageFound, "{by}");
    }
    let clock = with_head(|head| head.range.clock_ms += 3_600_000);
    assert!(clock.remarks[0].contains("seal of the download was made at"), "{:?}", clock.remarks);
}

/// FORMAT.md §6.1 says of these that nothing shows a change: should one come under a check, it is
/// to be said there.
#[test]
fn what_stands_under_nothing_is_no_more_than_it_says_to_be() {
    let changes: [fn(&mut ArchiveHeader); 6] = [
        |head| head.identity.protocol += 1,
        |head| head.identity.clock_ms += 3_600_000,
        |head| head.identity.clock_good = false,
        |head| head.host_clock_ms += 3_600_000,
        |head| head.collected_by = "Another".try_into().unwrap(),
        |head| head.program[2] += 1,
    ];
    for (n, change) in changes.into_iter().enumerate() {
        let verification = with_head(change);
        assert_eq!(verification.verdict, Verdict::Proven, "{n}: {:?}", verification.troubles);
    }
}

#[test]
fn a_record_cut_short_behind_its_seal_is_told() {
    let story = story();
    let sectors = story.sectors();
    let mut head = story.head(Sha256::digest(&sectors[3]).into());
    head.range.last_sector = 42;
    let verification = verified(&file(&head, &sectors[..3].concat()), &story);
    told(&verification, Kind::CutOff, 43, None);
    assert_eq!(kinds(&verification), [Kind::CutOff]);
    // What is left is as far proven as the hourly seals reach.
    assert_eq!(super::state(&verification, 0, 0), PageState::Proven);
}

#[test]
fn sectors_put_behind_the_seal_are_told() {
    let longer = Story { boots: vec![3; 5], ..story() };
    let sectors = longer.sectors();
    let shorter = Story { boots: vec![3; 4], ..story() };
    let mut head = shorter.head(Sha256::digest(&sectors[3]).into());
    head.range.last_sector = 44;
    let verification = verified(&file(&head, &sectors.concat()), &longer);
    assert_eq!(kinds(&verification), [Kind::HeadContradicted]);
    assert_eq!(super::state(&verification, 3, 0), PageState::Proven);
    assert_eq!(super::state(&verification, 4, 0), PageState::Consistent);
}
