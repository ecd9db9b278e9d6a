//! Forgeries whose checks were made to fit, and clocks.

use super::fixture::{PAGE_MS, START_MS, Story, end, file, page_at};
use super::{Kind, kinds, state, told, verified};
use crate::outcome::{KeyStanding, PageState, Papers, SealResult, Verdict};
use crate::trust::Trust;
use crate::verify::verify;
use pumpwitness_protocol::check::crc32;
use pumpwitness_protocol::record::{Mark, TimedMark};
use pumpwitness_protocol::seal::Occasion;
use sha2::{Digest, Sha256};

/// Another record of the same logger, with valid checks throughout.
fn other() -> Story {
    Story { salt: 5, ..Story::default() }
}

#[test]
fn a_sector_altered_with_its_checks_is_told() {
    let story = Story::default();
    let (mut sectors, theirs) = (story.sectors(), other().sectors());
    let hash = Sha256::digest(&sectors[3]).into();
    sectors[2][1024..].copy_from_slice(&theirs[2][1024..]);
    let verification = verified(&file(&story.head(hash), &sectors.concat()), &story);
    told(&verification, Kind::SectorAltered, 42, None);
    assert_eq!(kinds(&verification), [Kind::SectorAltered]);
    assert_eq!(state(&verification, 2, 0), PageState::Altered);
    assert_eq!(state(&verification, 3, 0), PageState::Proven);
    assert_eq!(state(&verification, 1, 0), PageState::Consistent);
    assert_eq!(state(&verification, 0, 0), PageState::Proven);
    assert!(verification.troubles[0].text.contains("the logger sealed at"));
}

#[test]
fn a_chain_made_to_fit_is_told_by_the_seals() {
    let story = Story::default();
    // All sectors from the second on rewritten and chained anew, by somebody without the key.
    let forger = Story { secret: [66; 32], ..other() };
    let mut sectors = story.sectors();
    let mut previous = Sha256::digest(&sectors[0]).into();
    for (n, sector) in sectors.iter_mut().enumerate().skip(1) {
        *sector = forger.sector(n, previous);
        previous = Sha256::digest(&sector).into();
    }
    // With the genuine head, its seal contradicts.
    let genuine = Sha256::digest(&story.sectors()[3]).into();
    let verification = verified(&file(&story.head(genuine), &sectors.concat()), &story);
    told(&verification, Kind::SectorAltered, 43, None);
    told(&verification, Kind::SealForged, 41, Some(1));
    assert_eq!(verification.pages.proven, 0);
    // With a head of their own, the key differs from the known one.
    let verification = verified(&file(&forger.head(previous), &sectors.concat()), &story);
    assert!(kinds(&verification).contains(&Kind::KeyDiffers));
    assert!(kinds(&verification).contains(&Kind::SealOfOtherKey));
    assert_eq!(verification.key.standing, KeyStanding::Differs);
    assert_eq!(verification.pages.proven + verification.pages.sealed, 0);
    // Who does not know the key cannot see it, and is told as much.
    let verification = verify(&file(&forger.head(previous), &sectors.concat()), &Trust::default());
    assert_eq!(verification.unwrap().verdict, Verdict::SealedByUnknownKey);
}

#[test]
fn a_forged_seal_is_told_where_it_stands() {
    let story = Story::default();
    let sectors = story.sectors();
    let hash = Sha256::digest(&sectors[3]).into();
    let mut head = story.head(hash);
    let forger = Story { secret: [66; 32], ..Story::default() };
    head.seal = Some(forger.seal(forger.statement(Occasion::Download, 3, hash)));
    let verification = verified(&file(&head, &sectors.concat()), &story);
    assert_eq!(kinds(&verification), [Kind::SealForged]);
    assert_eq!(verification.seals.last().unwrap().result, SealResult::Forged);
    assert_eq!(verification.papers, Papers::Unproven);
    // The hourly seals still stand.
    assert_eq!(verification.pages.proven, 12);
    // A right signature under another statement.
    let mut head = story.head(hash);
    let mut seal = head.seal.unwrap();
    seal.statement.time_ms -= 3_600_000;
    head.seal = Some(seal);
    let verification = verified(&file(&head, &sectors.concat()), &story);
    assert_eq!(kinds(&verification), [Kind::SealForged]);
    // The seal of another record of the same logger.
    let mut head = story.head(hash);
    head.seal = other().head([9; 32]).seal;
    let verification = verified(&file(&head, &sectors.concat()), &story);
    told(&verification, Kind::SectorAltered, 43, None);
    // A seal of another logger.
    let mut head = story.head(hash);
    let stranger = Story { device: *b"logger 8", ..Story::default() };
    head.seal = Some(stranger.seal(stranger.statement(Occasion::Download, 3, hash)));
    let verification = verified(&file(&head, &sectors.concat()), &story);
    assert_eq!(kinds(&verification), [Kind::SealOfOtherDevice]);
}

#[test]
fn papers_changed_afterwards_are_told() {
    let story = Story::default();
    let sectors = story.sectors();
    let hash = Sha256::digest(&sectors[3]).into();
    let genuine = story.head(hash);
    let mut settings = genuine.clone();
    settings.settings.rated_current_ma += 1;
    let mut site = genuine.clone();
    site.site_text[20] ^= 1;
    let mut calibration = genuine.clone();
    calibration.calibration.current.gain_nano += 1;
    for head in [settings, site, calibration] {
        let verification = verified(&file(&head, &sectors.concat()), &story);
        assert_eq!(kinds(&verification), [Kind::PapersChanged]);
        assert_eq!(verification.papers, Papers::Changed);
        assert_eq!(verification.pages.proven, 16);
    }
    // What hides in the fill of the head is told too.
    let mut hidden = file(&genuine, &sectors.concat());
    hidden[8000] = 1;
    let crc = crc32(&hidden[..8188]).to_le_bytes();
    hidden[8188..8192].copy_from_slice(&crc);
    let hidden = end(hidden[..page_at(4, 0)].to_vec());
    assert_eq!(kinds(&verified(&hidden, &story)), [Kind::HeadDamaged]);
}

#[test]
fn a_header_altered_with_its_check_is_told() {
    let story = Story::default();
    let mut sectors = story.sectors();
    let hash = Sha256::digest(&sectors[3]).into();
    // Another number of erasures in the header of sector 43, which the hourly seal does not reach.
    sectors[3][56] ^= 1;
    let crc = crc32(&sectors[3][..92]).to_le_bytes();
    sectors[3][92..96].copy_from_slice(&crc);
    let verification = verified(&file(&story.head(hash), &sectors.concat()), &story);
    told(&verification, Kind::SectorAltered, 43, None);
    // A link cut and knotted elsewhere, behind a sector that is sealed.
    let mut sectors = story.sectors();
    sectors[3][24] ^= 1;
    let crc = crc32(&sectors[3][..92]).to_le_bytes();
    sectors[3][92..96].copy_from_slice(&crc);
    let verification = verified(&file(&story.head(hash), &sectors.concat()), &story);
    told(&verification, Kind::SectorAltered, 43, Some(0));
    assert_eq!(state(&verification, 2, 0), PageState::Proven);
}

#[test]
fn a_clock_set_back_during_the_record_is_told() {
    let back = |by_ms: i64| {
        let before_ms = START_MS + 6 * PAGE_MS + 2000;
        let mark = TimedMark { time_ms: before_ms - by_ms, mark: Mark::ClockSet { before_ms } };
        Story { marks: vec![(1, mark)], step: Some((1, 3, -by_ms)), ..Story::default() }
    };
    let story = back(3_600_000);
    let verification = verified(&story.archive(), &story);
    told(&verification, Kind::ClockSetBack, 41, Some(2));
    assert_eq!(kinds(&verification), [Kind::ClockSetBack]);
    assert!(verification.troubles[0].text.contains("60 min 0 s"), "{:?}", verification.troubles);
    assert_eq!(verification.clock.sets.len(), 2);
    // What the logger wrote is nevertheless proven to be what it wrote.
    assert_eq!(verification.pages.proven, 16);
    // A correction within what a clock drifts is no trouble.
    let story = back(1500);
    assert_eq!(verified(&story.archive(), &story).troubles, []);
}

#[test]
fn times_that_run_backwards_by_themselves_are_told() {
    let story = Story { step: Some((2, 1, -3_600_000)), ..Story::default() };
    let verification = verified(&story.archive(), &story);
    told(&verification, Kind::TimeRunsBackwards, 42, Some(1));
    // At a restart a clock may be behind: told, but no trouble.
    let story =
        Story { step: Some((2, 0, -3_600_000)), boots: vec![3, 3, 4, 4], ..Story::default() };
    let verification = verified(&story.archive(), &story);
    assert_eq!(verification.troubles, []);
    assert_eq!(verification.clock.restarts_behind.len(), 1);
}

#[test]
fn drift_is_what_the_two_clocks_say() {
    let story = Story::default();
    let clock = verified(&story.archive(), &story).clock;
    assert_eq!(clock.computer_less_logger_ms, Some(750));
    assert_eq!(clock.uncertainty_ms, Some(750));
    // 750 ms in 16 minutes.
    assert_eq!(clock.drift_ppm, Some(781.3));
}
