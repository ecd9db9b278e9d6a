//! Pages taken out, put in, swapped, repeated, taken from elsewhere; files cut off or added to.

use super::fixture::{Story, end, page_at};
use super::{Kind, kinds, state, told, verified};
use crate::outcome::{PageState, Verification};
use proptest::prelude::*;
use pumpwitness_protocol::archive::{MAGIC, TRAILER_BYTES};
use pumpwitness_protocol::page::{PAGE_BYTES, SECTOR_BYTES};

/// Pages of the default story.
const PAGES: usize = 16;

/// Changes the bytes before the end mark, and makes a mark that fits.
fn with_body(file: &[u8], change: impl FnOnce(&mut Vec<u8>)) -> Vec<u8> {
    let mut body = file[..file.len() - TRAILER_BYTES].to_vec();
    change(&mut body);
    end(body)
}

fn at(index: usize) -> usize {
    page_at(index / 4, index % 4)
}

fn address(index: usize) -> (u32, Option<u8>) {
    (40 + (index / 4) as u32, Some((index % 4) as u8))
}

fn changed(change: impl FnOnce(&mut Vec<u8>)) -> Verification {
    let story = Story::default();
    verified(&with_body(&story.archive(), change), &story)
}

/// The last page is blank: it has no address of its own, and moved about it shows by its hash only.
const LAST_NAMED: usize = PAGES - 1;

proptest! {
    #![proptest_config(ProptestConfig::with_cases(200))]

    #[test]
    fn a_removed_page_is_told(index in 0..LAST_NAMED) {
        let verification = changed(|body| drop(body.drain(at(index)..at(index) + PAGE_BYTES)));
        let (sector, page) = address(index);
        told(&verification, Kind::PageRemoved, sector, page);
        prop_assert_eq!(state(&verification, index / 4, index % 4), PageState::Missing);
        let misread = verification.pages.damaged + verification.pages.misplaced;
        prop_assert_eq!(misread, 0, "{:?}", verification.troubles);
    }

    #[test]
    fn two_swapped_pages_are_told(a in 0..LAST_NAMED, b in 0..LAST_NAMED) {
        prop_assume!(a != b);
        let (a, b) = (a.min(b), a.max(b));
        let verification = changed(|body| {
            let (left, right) = body.split_at_mut(at(b));
            left[at(a)..at(a) + PAGE_BYTES].swap_with_slice(&mut right[..PAGE_BYTES]);
        });
        for index in [a, b] {
            let (sector, page) = address(index);
            told(&verification, Kind::PageSwapped, sector, page);
        }
    }

    #[test]
    fn a_page_repeated_in_the_place_of_another_is_told(from in 0..LAST_NAMED, to in 0..LAST_NAMED) {
        prop_assume!(from != to);
        let verification =
            changed(|body| body.copy_within(at(from)..at(from) + PAGE_BYTES, at(to)));
        let (sector, page) = address(to);
        told(&verification, Kind::PageRepeated, sector, page);
    }

    #[test]
    fn a_page_put_in_twice_is_told(from in 0..LAST_NAMED, to in 0..LAST_NAMED) {
        let verification = changed(|body| {
            let copy = body[at(from)..at(from) + PAGE_BYTES].to_vec();
            drop(body.splice(at(to)..at(to), copy));
        });
        prop_assert!(kinds(&verification).contains(&Kind::PageRepeated), "{:?}", verification.troubles);
        prop_assert_eq!(verification.pages.missing, 0);
    }

    #[test]
    fn a_blanked_page_is_told(index in 0..PAGES) {
        let verification = changed(|body| body[at(index)..at(index) + PAGE_BYTES].fill(0));
        let (sector, page) = address(index);
        told(&verification, Kind::PageMissing, sector, page);
    }

    #[test]
    fn an_erased_page_is_told(index in 0..LAST_NAMED) {
        let verification = changed(|body| body[at(index)..at(index) + PAGE_BYTES].fill(0xFF));
        let (sector, page) = address(index);
        if page == Some(0) {
            told(&verification, Kind::SectorHeaderDamaged, sector, page);
        } else {
            // A page that was never written passes; what the logger closed it with does not.
            told(&verification, Kind::SectorAltered, sector, None);
        }
    }

    #[test]
    fn a_page_of_another_logger_is_told(index in 0..LAST_NAMED) {
        let other = Story { device: *b"logger 8", secret: [8; 32], salt: 9, ..Story::default() };
        let theirs = other.archive();
        let verification = changed(|body| {
            body[at(index)..at(index) + PAGE_BYTES]
                .copy_from_slice(&theirs[at(index)..at(index) + PAGE_BYTES]);
        });
        let (sector, page) = address(index);
        // Only the first page of a sector names its logger.
        let kind = if page == Some(0) { Kind::FromElsewhere } else { Kind::SectorAltered };
        told(&verification, kind, sector, None);
    }

    #[test]
    fn a_page_of_another_start_is_told(index in 0..LAST_NAMED) {
        let other = Story { boots: vec![9; 4], salt: 9, ..Story::default() };
        let theirs = other.archive();
        let story = Story::default();
        let file = with_body(&story.archive(), |body| {
            body[at(index) + 96..at(index) + PAGE_BYTES]
                .copy_from_slice(&theirs[at(index) + 96..at(index) + PAGE_BYTES]);
            if index % 4 > 0 {
                body[at(index)..at(index) + 96].copy_from_slice(&theirs[at(index)..at(index) + 96]);
            }
        });
        let (sector, page) = address(index);
        told(&verified(&file, &story), Kind::FromElsewhere, sector, page);
    }

    /// Anywhere behind the bytes that say what it is.
    #[test]
    fn a_file_cut_off_anywhere_is_told(
        length in MAGIC.len()..page_at(4, 0) + TRAILER_BYTES - 1,
    ) {
        let story = Story::default();
        let verification = verified(&story.archive()[..length], &story);
        let kinds = kinds(&verification);
        prop_assert!(
            kinds.contains(&Kind::EndMarkMissing) || kinds.contains(&Kind::EndMarkDamaged),
            "{:?}", kinds
        );
        if length >= page_at(0, 0) && length < page_at(4, 0) {
            prop_assert!(kinds.contains(&Kind::CutOff));
        }
    }

    #[test]
    fn bytes_added_behind_are_told(bytes in prop::collection::vec(any::<u8>(), 1..3000)) {
        let story = Story::default();
        let mut file = story.archive();
        let length = file.len();
        file.extend_from_slice(&bytes);
        let verification = verified(&file, &story);
        prop_assert_eq!(kinds(&verification), [Kind::BytesAdded]);
        prop_assert_eq!(verification.troubles[0].place.byte, length as u64);
        prop_assert_eq!(verification.pages.proven, 16);
    }

    /// Bytes taken out or put in anywhere: told, and what is not touched is still found.
    #[test]
    fn any_bytes_taken_out_or_put_in_are_told(
        from in page_at(0, 0)..page_at(4, 0),
        out in 0_usize..3000,
        put in prop::collection::vec(any::<u8>(), 0..3000),
    ) {
        prop_assume!(out > 0 || !put.is_empty());
        let story = Story::default();
        let whole = story.archive();
        let to = (from + out).min(page_at(4, 0));
        let mut file = whole.clone();
        file.splice(from..to, put);
        prop_assume!(file != whole);
        let verification = verified(&file, &story);
        prop_assert!(!verification.troubles.is_empty());
        let untouched = (from - page_at(0, 0)) / SECTOR_BYTES;
        for sector in 0..untouched.min(verification.sectors.len()) {
            prop_assert_ne!(state(&verification, sector, 1), PageState::Damaged);
        }
        let behind = to.next_multiple_of(SECTOR_BYTES);
        for sector in (behind - page_at(0, 0)) / SECTOR_BYTES..4 {
            prop_assert_eq!(state(&verification, sector, 1), PageState::Proven);
        }
    }

    #[test]
    fn whatever_is_put_together_is_never_believed_and_never_fatal(
        parts in prop::collection::vec((0..PAGES, any::<bool>()), 0..40),
        head in any::<bool>(),
    ) {
        let story = Story::default();
        let whole = story.archive();
        let mut file = if head { whole[..page_at(0, 0)].to_vec() } else { Vec::new() };
        for (index, half) in parts {
            let length = if half { PAGE_BYTES / 2 } else { PAGE_BYTES };
            file.extend_from_slice(&whole[at(index)..at(index) + length]);
        }
        if let Ok(verification) = crate::verify(&file, &super::trust_of(&story)) {
            prop_assert!(!verification.troubles.is_empty());
        }
    }
}

#[test]
fn swapped_and_repeated_sectors_are_told() {
    let verification = changed(|body| {
        let (left, right) = body.split_at_mut(page_at(3, 0));
        left[page_at(2, 0)..].swap_with_slice(right);
    });
    told(&verification, Kind::PageSwapped, 42, Some(0));
    told(&verification, Kind::PageSwapped, 43, Some(2));
    let verification = changed(|body| {
        body.copy_within(page_at(1, 0)..page_at(2, 0), page_at(2, 0));
    });
    for page in 0..4 {
        told(&verification, Kind::PageRepeated, 42, Some(page));
    }
    // Sector 40 is sealed by the hour; the seal of sector 42 has nothing left to speak of.
    assert_eq!(state(&verification, 1, 0), PageState::Consistent);
}

#[test]
fn a_sector_of_another_logger_is_told_as_such() {
    let other = Story { device: *b"logger 8", secret: [8; 32], salt: 9, ..Story::default() };
    let theirs = other.archive();
    let verification = changed(|body| {
        body[page_at(2, 0)..page_at(3, 0)].copy_from_slice(&theirs[page_at(2, 0)..page_at(3, 0)]);
    });
    told(&verification, Kind::FromElsewhere, 42, None);
    for page in 0..4 {
        assert_eq!(state(&verification, 2, page), PageState::Misplaced);
    }
    // A sector of another record, from elsewhere in it.
    let other = Story { first: 900, ..other };
    let theirs = other.archive();
    let verification = changed(|body| {
        body[page_at(2, 0)..page_at(3, 0)].copy_from_slice(&theirs[page_at(1, 0)..page_at(2, 0)]);
    });
    told(&verification, Kind::FromElsewhere, 42, Some(0));
    told(&verification, Kind::FromElsewhere, 42, Some(3));
}
