#[path = "tests/fixture.rs"]
mod fixture;
#[path = "tests/flipped_bits.rs"]
mod flipped_bits;
#[path = "tests/forged.rs"]
mod forged;
#[path = "tests/forged_heads.rs"]
mod forged_heads;
#[path = "tests/moved_pages.rs"]
mod moved_pages;

use super::*;
use crate::outcome::PageState;
use fixture::{Story, page_at};

/// A trust file that knows the story's logger.
fn trust_of(story: &Story) -> Trust {
    let mut trust = Trust::default();
    trust.remember(&story.device, &story.public(), "2026-02-01".to_owned(), None).unwrap();
    trust
}

fn verified(file: &[u8], story: &Story) -> Verification {
    verify(file, &trust_of(story)).unwrap()
}

fn kinds(verification: &Verification) -> Vec<Kind> {
    verification.troubles.iter().map(|trouble| trouble.kind).collect()
}

/// Asserts that there is a trouble of this kind at this sector and page.
#[track_caller]
fn told(verification: &Verification, kind: Kind, sector: u32, page: Option<u8>) {
    assert_eq!(verification.verdict, Verdict::DamageFound);
    let there = verification.troubles.iter().any(|trouble| {
        trouble.kind == kind
            && trouble.place.sector == Some(sector)
            && (page.is_none() || trouble.place.page == page)
    });
    assert!(there, "no {kind:?} at {sector}/{page:?}: {:#?}", verification.troubles);
}

fn state(verification: &Verification, sector: usize, page: usize) -> PageState {
    verification.sectors[sector].pages[page].state
}

#[test]
fn a_sealed_archive_is_proven_to_who_knows_the_key() {
    let story = Story::default();
    let verification = verified(&story.archive(), &story);
    assert_eq!(verification.troubles, []);
    assert_eq!(verification.verdict, Verdict::Proven);
    assert_eq!(verification.pages, PageCounts { proven: 16, blank: 1, ..PageCounts::default() });
    assert_eq!(verification.papers, Papers::Sealed);
    assert_eq!(verification.key.standing, KeyStanding::Trusted);
    let results: Vec<SealResult> = verification.seals.iter().map(|seal| seal.result).collect();
    assert_eq!(results, [SealResult::Holds; 3]);
    assert_eq!(verification.remarks, [""; 0]);
    insta::assert_snapshot!(crate::text::full(&verification, "pump.pwa"));
}

#[test]
fn who_does_not_know_the_key_is_told_so() {
    let story = Story::default();
    let verification = verify(&story.archive(), &Trust::default()).unwrap();
    assert_eq!(verification.verdict, Verdict::SealedByUnknownKey);
    assert_eq!(verification.pages.sealed, 16);
    assert_eq!(verification.key.standing, KeyStanding::Unknown);
    insta::assert_snapshot!(crate::text::full(&verification, "pump.pwa"));
}

#[test]
fn without_seals_nothing_is_proven_and_nothing_alleged() {
    let story = Story { hours: vec![], ..Story::default() };
    let sectors = story.sectors();
    let mut head = story.head([0; 32]);
    (head.seal, head.public_key) = (None, [0; 32]);
    let file = fixture::file(&head, &sectors.concat());
    let verification = verify(&file, &Trust::default()).unwrap();
    assert_eq!(verification.troubles, []);
    assert_eq!(verification.verdict, Verdict::Unproven);
    assert_eq!(verification.pages.consistent, 16);
    // But a logger that is known to seal should have.
    told_missing(&verified(&file, &story));
    head.public_key = story.public();
    told_missing(&verified(&fixture::file(&head, &sectors.concat()), &story));
}

fn told_missing(verification: &Verification) {
    assert_eq!(verification.verdict, Verdict::DamageFound);
    assert!(kinds(verification).contains(&Kind::SealMissing));
}

#[test]
fn hourly_seals_alone_prove_a_part() {
    let story = Story::default();
    let sectors = story.sectors();
    let mut head = story.head([0; 32]);
    let hash = Sha256::digest(&sectors[1]).into();
    // An older seal of the hour in the head: the file may have been cut short there.
    head.seal = Some(story.seal(story.statement(Occasion::Hour, 1, hash)));
    let verification = verified(&fixture::file(&head, &sectors.concat()), &story);
    assert_eq!(verification.troubles, []);
    assert_eq!(verification.verdict, Verdict::PartlyProven);
    assert_eq!((verification.pages.proven, verification.pages.consistent), (12, 4));
    assert!(verification.remarks[0].contains("went on"), "{:?}", verification.remarks);
    // Cut short at an hourly seal, with all else made to fit: not proven whole either.
    head.range.last_sector = story.first + 1;
    let verification = verified(&fixture::file(&head, &sectors[..2].concat()), &story);
    assert_eq!(verification.verdict, Verdict::PartlyProven);
    assert_eq!(verification.pages.proven, 8);
}

#[test]
fn a_break_behind_a_torn_sector_proves_no_editing() {
    let story =
        Story { boots: vec![3, 3, 4, 4, 4], torn: Some(1), hours: vec![1], ..Story::default() };
    let whole = verified(&story.archive(), &story);
    assert_eq!(whole.troubles, []);
    assert_eq!(whole.verdict, Verdict::Proven);
    assert_eq!(whole.pages.torn, 1);
    // The half-written cells read otherwise this time.
    let mut file = story.archive();
    file[page_at(1, 3) + 900] = 0x7F;
    let file = fixture::end(file[..file.len() - 64].to_vec());
    let verification = verified(&file, &story);
    assert_eq!(verification.troubles, []);
    assert_eq!(verification.verdict, Verdict::PartlyProven);
    // What was sealed before power failed stays proven, and so does what came after.
    assert_eq!(state(&verification, 0, 0), PageState::Proven);
    assert_eq!(state(&verification, 1, 0), PageState::Doubtful);
    assert_eq!(state(&verification, 2, 0), PageState::Proven);
    assert!(verification.remarks[0].contains("cannot be told"), "{:?}", verification.remarks);
    // The same in the middle of a start is damage.
    let story = Story { boots: vec![3; 5], ..story };
    let mut file = story.archive();
    file[page_at(1, 3) + 900] = 0x7F;
    told(&verified(&file, &story), Kind::PageDamaged, 41, Some(3));
}

#[test]
fn a_sector_gone_on_with_by_the_next_start_is_sound() {
    let story =
        Story { boots: vec![3, 3, 4, 4], gone_on: Some(1), hours: vec![1], ..Story::default() };
    assert_eq!(verified(&story.archive(), &story).verdict, Verdict::Proven);
    // A bit flipped in it is that, and casts no doubt on its other pages.
    let mut file = story.archive();
    file[page_at(1, 0) + 200] ^= 1;
    let verification = verified(&file, &story);
    told(&verification, Kind::PageDamaged, 41, Some(0));
    assert!(!kinds(&verification).contains(&Kind::FromElsewhere), "{:?}", verification.troubles);
}

#[test]
fn what_is_no_archive_is_said_to_be_none() {
    assert_eq!(verify(b"", &Trust::default()).unwrap_err(), Unreadable::Empty);
    // An archive of which so little is left may be anything.
    let left = &MAGIC[..MAGIC.len() - 1];
    for foreign in [&b"%PDF-1.7"[..], &[0; 9000], &[0xFF; 9000], left, &left[..1]] {
        assert_eq!(verify(foreign, &Trust::default()).unwrap_err(), Unreadable::Foreign);
    }
}
