use super::*;
use crate::testing::Shelf;
use proptest::prelude::*;
use pumpwitness_protocol::message::SnapshotRange;

const DEVICE: [u8; 8] = *b"logger 1";

fn header(shelf: &Shelf) -> ArchiveHeader {
    ArchiveHeader {
        identity: shelf.identity.clone(),
        range: SnapshotRange { first_sector: shelf.first, last_sector: shelf.last(), clock_ms: 0 },
        host_clock_ms: 0,
        settings: shelf.settings.clone(),
        site_text: heapless::Vec::new(),
        calibration: pumpwitness_protocol::calibration::Calibration::default(),
        public_key: [0; 32],
        seal: None,
        collected_by: heapless::String::new(),
        program: [0, 1, 0],
    }
}

fn bytes(shelf: &Shelf, address: PageAddress) -> [u8; PAGE_BYTES] {
    shelf.page(address).unwrap().try_into().unwrap()
}

#[test]
fn pages_have_their_places() {
    let shelf = Shelf::new(DEVICE, u32::MAX - 2, 3, 0);
    let pages = Pages::of(&header(&shelf)).unwrap();
    assert_eq!((pages.total(), pages.sectors()), (12, 3));
    assert_eq!(pages.address(0), PageAddress { sector: u32::MAX - 2, page: 0 });
    assert_eq!(pages.address(11), PageAddress { sector: u32::MAX, page: 3 });
    assert_eq!(Pages::offset(0), 8192);
    assert_eq!(Pages::offset(12), 8192 + 3 * 4096);
    for (length, whole) in [(0, 0), (8192, 0), (9215, 0), (9216, 1), (20_479, 11), (1 << 40, 12)] {
        assert_eq!(pages.whole(length), whole, "{length}");
    }
}

#[test]
fn ranges_no_logger_names_are_refused() {
    let mut header = header(&Shelf::new(DEVICE, 5, 1, 0));
    for (first_sector, last_sector) in [(5, 4), (0, u32::MAX), (0, 1 << 16)] {
        header.range = SnapshotRange { first_sector, last_sector, clock_ms: 0 };
        assert_eq!(Pages::of(&header), Err(BadRange), "{first_sector} to {last_sector}");
    }
}

#[test]
fn a_page_of_another_place_or_logger_is_not_taken() {
    let shelf = Shelf::new(DEVICE, 5, 2, 0);
    let other = Shelf::new(*b"logger 2", 5, 2, 0);
    let pages = Pages::of(&header(&shelf)).unwrap();
    let address = |sector, page| PageAddress { sector, page };
    let mut plan = Plan::one(pages, 0..8);
    // Says it is another.
    let first = bytes(&shelf, address(5, 0));
    assert_eq!(plan.take(address(5, 1), Some(&first)), None);
    assert_eq!(plan.take(address(5, 1), None), None);
    assert_eq!(plan.take(address(4, 0), None), None);
    // Is another: by its page header, its sector header, its device.
    for wrong in [bytes(&shelf, address(5, 1)), bytes(&shelf, address(6, 0))] {
        assert_eq!(plan.clone().take(address(5, 0), Some(&wrong)), None);
    }
    let wrong = bytes(&other, address(5, 0));
    assert_eq!(plan.clone().take(address(5, 0), Some(&wrong)), None);
    let mut second = Plan::one(pages, 1..8);
    assert_eq!(second.take(address(5, 1), Some(&first)), None);
    // The same with a sector header that cannot be read.
    let mut wrong = bytes(&shelf, address(6, 0));
    wrong[0] ^= 1;
    assert_eq!(plan.take(address(5, 0), Some(&wrong)), None);
    // A damaged one and a blank one say nothing against themselves.
    let mut damaged = first;
    damaged[0] ^= 1;
    damaged[96] ^= 1;
    for told in [damaged, [0xFF; PAGE_BYTES]] {
        let taken = plan.clone().take(address(5, 0), Some(&told)).map(|taken| taken.bytes.copied());
        assert_eq!(taken, Some(Some(told)));
    }
}

#[test]
fn a_logger_that_insists_on_a_wrong_page_loses_that_page_only() {
    let shelf = Shelf::new(DEVICE, 5, 1, 0);
    let pages = Pages::of(&header(&shelf)).unwrap();
    let mut plan = Plan::one(pages, 0..4);
    let wrong = bytes(&shelf, PageAddress { sector: 5, page: 1 });
    for _ in 1..FOREIGN_MAX {
        assert!(plan.ask().is_ok());
        assert_eq!(plan.take(pages.address(0), Some(&wrong)), None);
    }
    assert!(plan.ask().is_ok());
    let taken = plan.take(pages.address(0), Some(&wrong));
    assert_eq!(taken, Some(Taken { page: 0, bytes: None }));
    let taken = plan.take(pages.address(1), Some(&wrong));
    assert_eq!(taken, Some(Taken { page: 1, bytes: Some(&wrong) }));
}

#[test]
fn asking_in_vain_ends() {
    let pages = Pages::of(&header(&Shelf::new(DEVICE, 5, 1, 0))).unwrap();
    let mut plan = Plan::one(pages, 2..4);
    for _ in 0..2 {
        for _ in 0..FRUITLESS_MAX - 1 {
            assert!(plan.ask().is_ok_and(|window| window.is_some()));
        }
        let due = plan.ask().unwrap().unwrap().first;
        // A page in the last moment starts the count anew.
        assert!(plan.take(due, None).is_some());
        if due.page == 2 {
            continue;
        }
        assert_eq!(plan.ask(), Ok(None));
        return;
    }
}

#[test]
fn a_stuck_plan_names_the_page() {
    let pages = Pages::of(&header(&Shelf::new(DEVICE, 5, 1, 0))).unwrap();
    let mut plan = Plan::one(pages, 2..4);
    for _ in 0..FRUITLESS_MAX {
        assert!(plan.ask().is_ok());
    }
    assert_eq!(plan.ask(), Err(PageAddress { sector: 5, page: 2 }));
}

proptest! {
    /// Whatever comes in whatever order: every page wanted is taken once, in order, and none else.
    #[test]
    fn every_page_wanted_is_taken_once(
        wanted in proptest::collection::vec((0u64..1200, 0u64..600), 0..4),
        answers in proptest::collection::vec(0u64..4, 0..3000),
    ) {
        let mut header = header(&Shelf::new(DEVICE, 5, 1, 0));
        header.range.last_sector = 5 + 299;
        let pages = Pages::of(&header).unwrap();
        // Ascending, apart from each other.
        let mut start = 0;
        let wanted: Vec<Range<u64>> = wanted.into_iter().map(|(skip, length)| {
            let from = (start + skip).min(pages.total());
            start = (from + length).min(pages.total());
            from..start
        }).collect();
        let mut plan = Plan::new(pages, wanted.clone());
        let mut answers = answers.into_iter();
        let mut got = Vec::new();
        let mut asked = 0;
        let finished = loop {
            let window = match plan.ask() {
                Ok(Some(window)) => window,
                Ok(None) => break true,
                Err(_) => break false,
            };
            prop_assert!((1..=WINDOW_PAGES_MAX).contains(&window.count));
            asked += 1;
            prop_assert!(asked < 20_000);
            let mut address = window.first;
            for _ in 0..window.count {
                // A lost frame, a foreign one, and mostly the right one.
                let skip = answers.next().unwrap_or(3) == 0;
                let said = if skip { PageAddress { sector: 9999, page: 0 } } else { address };
                match plan.take(said, None) {
                    Some(taken) => got.push(taken.page),
                    None => break,
                }
                address = crate::client::next_page(address);
            }
        };
        let expected: Vec<u64> = wanted.into_iter().flatten().collect();
        prop_assert!(expected.starts_with(&got));
        prop_assert_eq!(finished, got == expected);
    }

    #[test]
    fn ranges_hold_their_pages(pages in proptest::collection::btree_set(0u64..60, 0..40)) {
        let ranges = ranges(pages.iter().copied());
        prop_assert!(ranges.windows(2).all(|pair| pair[0].end < pair[1].start));
        prop_assert!(ranges.into_iter().flatten().eq(pages));
    }
}
