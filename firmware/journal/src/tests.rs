use crate::ram::{RamError, RamFlash};
use crate::{Error, Journal};
use embassy_futures::block_on;
use proptest::prelude::*;
use pumpwitness_protocol::message::PageAddress;
use pumpwitness_protocol::page::{
    PAGE_BYTES, PAGES_PER_SECTOR, PageState, SECTOR_BYTES, read_page,
};
use pumpwitness_protocol::record::{Interval, Record, Spread};
use pumpwitness_protocol::sector::SectorHeader;
use pumpwitness_protocol::settings::{Settings, WhenFull};
use pumpwitness_protocol::slot::Slot;
use sha2::{Digest, Sha256};
use std::vec::Vec;

const DEVICE: [u8; 8] = *b"logger 1";

/// A record that says its own number, with the noise of a running pump.
fn record(number: u32) -> Record {
    let noise = (number.wrapping_mul(2_654_435_761) >> 24) as i32;
    let mean = 2300 + noise % 9;
    Record::Interval(Interval {
        end_ms: i64::from(number) * 200,
        span_ms: 200,
        count: 1,
        voltage_dv: Spread { mean, min: mean - noise % 5, max: mean + noise % 4 },
        current_ca: Spread { mean: 500 + noise % 7, min: 495, max: 510 },
        power_w: 1100 + noise % 13,
        signal: Spread { mean: 4000 + noise % 21, min: 3980, max: 4040 },
        frequency_chz: 5000,
        flags: 0,
    })
}

fn number(record: &Record) -> u32 {
    match record {
        Record::Interval(interval) => (interval.end_ms / 200) as u32,
        other => panic!("a record nobody appended: {other:?}"),
    }
}

fn mount<const WORD: usize>(flash: RamFlash<WORD>) -> Journal<RamFlash<WORD>> {
    block_on(Journal::mount(flash, DEVICE)).unwrap()
}

/// Numbers of all records held, in order, after closing the open sector.
fn contents<const WORD: usize>(journal: &mut Journal<RamFlash<WORD>>) -> Vec<u32> {
    let range = block_on(journal.close_sector(0)).unwrap();
    let mut numbers = Vec::new();
    for sector in range.first_sector..=range.last_sector {
        for page in 0..PAGES_PER_SECTOR as u8 {
            let address = PageAddress { sector, page };
            let mut bytes = [0; PAGE_BYTES];
            assert!(block_on(journal.read_page(address, &mut bytes)).unwrap(), "{address:?}");
            read_page(&bytes, address, WORD, |record| numbers.push(number(&record)));
        }
    }
    numbers
}

fn fill<const WORD: usize>(journal: &mut Journal<RamFlash<WORD>>, numbers: core::ops::Range<u32>) {
    for number in numbers {
        block_on(journal.append(&record(number), i64::from(number) * 200)).unwrap();
        if number % 50 == 49 {
            block_on(journal.commit(0)).unwrap();
        }
    }
    block_on(journal.commit(0)).unwrap();
}

#[test]
fn records_come_back_in_order_and_the_oldest_go_first() {
    fn check<const WORD: usize>() {
        let mut journal = mount(RamFlash::<WORD>::erased(10));
        fill(&mut journal, 0..30_000);
        let numbers = contents(&mut journal);
        assert_eq!(numbers.last(), Some(&29_999));
        assert!(numbers.windows(2).all(|pair| pair[1] == pair[0] + 1));
        // Eight sectors of about 600 records; two of them may be just begun or just erased.
        assert!(numbers.len() > 6 * 450, "{} records", numbers.len());
        let status = journal.status();
        assert_eq!((status.sectors, status.sectors_bad, status.pages_damaged), (8, 0, 0));
    }
    check::<1>();
    check::<4>();
    check::<16>();
}

#[test]
fn wear_is_even() {
    let mut journal = mount(RamFlash::<1>::erased(12));
    fill(&mut journal, 0..60_000);
    let erased = &journal.flash().counts().erased[2..];
    let (least, most) = (erased.iter().min().unwrap(), erased.iter().max().unwrap());
    assert!(most - least <= 1 && *most > 5, "{erased:?}");
}

#[test]
fn sectors_are_chained_by_hash() {
    let mut journal = mount(RamFlash::<1>::erased(8));
    fill(&mut journal, 0..9_000);
    let range = block_on(journal.close_sector(0)).unwrap();
    let mut before: Option<[u8; 32]> = None;
    for sector in range.first_sector..=range.last_sector {
        let mut bytes = Vec::new();
        for page in 0..PAGES_PER_SECTOR as u8 {
            let mut part = [0; PAGE_BYTES];
            assert!(block_on(journal.read_page(PageAddress { sector, page }, &mut part)).unwrap());
            bytes.extend(part);
        }
        let header = SectorHeader::decode(&bytes).unwrap();
        assert!(before.is_none_or(|hash| hash == header.previous), "sector {sector}");
        before = Some(Sha256::digest(&bytes).into());
    }
}

#[test]
fn keeping_the_oldest_stops_until_released() {
    let mut journal = mount(RamFlash::<1>::erased(6));
    journal.set_when_full(WhenFull::KeepOldest);
    let mut next = 0;
    let error = loop {
        match block_on(journal.append(&record(next), 0)) {
            Ok(()) => next += 1,
            Err(error) => break error,
        }
    };
    assert_eq!(error, Error::Full);
    assert!(journal.status().full);
    let held = contents(&mut journal);
    assert_eq!(held.first(), Some(&0));
    assert_eq!(held.len() as u32, next);
    journal.release(0);
    block_on(journal.append(&record(next), 0)).unwrap();
    assert!(!journal.status().full);
    let held = contents(&mut journal);
    assert_eq!(held.last(), Some(&next));
    assert!(held[0] > 0);
}

#[test]
fn garbage_and_foreign_flashes_are_started_afresh() {
    let noise: Vec<u8> =
        (0..8 * SECTOR_BYTES as u32).map(|n| (n.wrapping_mul(2_654_435_761) >> 13) as u8).collect();
    let mut journal = mount(RamFlash::<1>::from_bytes(noise));
    assert!(journal.status().pages_damaged > 0);
    fill(&mut journal, 0..500);
    assert_eq!(contents(&mut journal).len(), 500);
    let mut other = block_on(Journal::mount(journal.into_flash(), *b"logger 2")).unwrap();
    assert_eq!(other.status().sectors_used, 0);
    fill(&mut other, 0..10);
    assert_eq!(contents(&mut other), (0..10).collect::<Vec<_>>());
}

#[test]
fn bad_sectors_are_passed_over_and_nothing_is_lost() {
    let mut flash = RamFlash::<1>::erased(12);
    flash.spoil(4);
    let mut journal = mount(flash);
    fill(&mut journal, 0..3_000);
    // A sector that goes bad while it is being written.
    let at = journal.status().newest_sector;
    let mut flash = journal.into_flash();
    flash.spoil(7);
    flash.spoil(2 + at as usize % 10);
    let mut journal = mount(flash);
    fill(&mut journal, 3_000..30_000);
    let numbers = contents(&mut journal);
    assert_eq!(numbers.last(), Some(&29_999));
    assert!(numbers.windows(2).all(|pair| pair[1] == pair[0] + 1));
    assert!(numbers.len() > 4 * 450, "{}", numbers.len());
    assert!(journal.status().sectors_bad > 0);
    let mut again = mount(journal.into_flash());
    assert_eq!(contents(&mut again), numbers);
}

#[test]
fn a_sector_failing_under_the_pen_is_left_with_its_records() {
    let mut journal = mount(RamFlash::<1>::erased(10));
    fill(&mut journal, 0..100);
    for number in 100..120 {
        block_on(journal.append(&record(number), 0)).unwrap();
    }
    // Sector 0 of the ring lies behind the two slots.
    journal.flash_mut().spoil(2);
    block_on(journal.commit(0)).unwrap();
    fill(&mut journal, 120..400);
    assert_eq!(contents(&mut journal), (0..400).collect::<Vec<_>>());
    assert_eq!(journal.status().sectors_bad, 1);
}

/// What mounting 16 MiB reads, at 1 µs a byte (8 MHz SPI): well below the goal of 2 s.
#[test]
fn mounting_reads_little() {
    let mut journal = mount(RamFlash::<1>::erased(4096));
    fill(&mut journal, 0..2_000_000);
    let flash = journal.into_flash();
    let before = flash.counts().read;
    let journal = mount(flash);
    let read = journal.flash().counts().read - before;
    std::eprintln!("mounting 4096 sectors reads {read} bytes");
    assert!(read < 1_000_000, "{read} bytes");
}

#[test]
fn any_rotten_byte_is_noticed() {
    let mut journal = mount(RamFlash::<1>::erased(6));
    fill(&mut journal, 0..900);
    let whole = contents(&mut journal);
    let flash = journal.into_flash();
    for at in (2 * SECTOR_BYTES..4 * SECTOR_BYTES).step_by(7) {
        let mut rotten = flash.clone();
        rotten.bytes_mut()[at] ^= 0x04;
        let mut journal = mount(rotten);
        let range = block_on(journal.close_sector(0)).unwrap();
        let mut numbers = Vec::new();
        let mut noticed = journal.status().pages_damaged > 0;
        for sector in range.first_sector..=range.last_sector {
            for page in 0..PAGES_PER_SECTOR as u8 {
                let address = PageAddress { sector, page };
                let mut bytes = [0; PAGE_BYTES];
                if !block_on(journal.read_page(address, &mut bytes)).unwrap() {
                    noticed = true;
                    continue;
                }
                let state = read_page(&bytes, address, 1, |record| numbers.push(number(&record)));
                noticed |= matches!(state, PageState::Torn { .. } | PageState::Damaged);
            }
        }
        assert!(noticed, "byte {at}");
        assert!(numbers.iter().all(|number| whole.contains(number)), "byte {at}");
    }
}

/// Writes until the power goes; gives the flash and how many records were surely durable.
fn until_cut(flash: RamFlash, from: u32) -> (RamFlash, Option<u32>, u32) {
    let mut journal = match block_on(Journal::mount(flash.clone(), DEVICE)) {
        Ok(journal) => journal,
        Err(error) => {
            assert!(matches!(error, Error::Flash { inner: RamError::PowerCut, .. }));
            return (flash, None, from);
        }
    };
    let mut durable = None;
    let mut next = from;
    while next < from + 4_000 {
        if block_on(journal.append(&record(next), 0)).is_err() {
            break;
        }
        next += 1;
        if next.is_multiple_of(20) {
            if block_on(journal.commit(0)).is_err() {
                break;
            }
            durable = Some(next);
        }
    }
    (journal.into_flash(), durable, next)
}

/// Cuts the power at every step of writing several sectors round a small ring, mounts again, cuts
/// again some steps later, and checks after each cut.
#[test]
fn a_power_cut_at_any_step_loses_only_what_was_not_committed() {
    let mut start = mount(RamFlash::<1>::erased(5));
    fill(&mut start, 0..4_000);
    let start = start.into_flash();
    let mut cuts = 0;
    // A full sector costs 8 steps of erasure, 96 of header and its pages: 3 000 steps reach into
    // the second sector; stepping by primes beyond covers the wrap.
    let steps = (0..1_200).chain((1_200..12_000).step_by(37));
    for first in steps {
        let mut flash = start.clone();
        let mut from = 4_000;
        for (turn, fuse) in [first, first % 611 + 3].into_iter().enumerate() {
            flash.set_fuse(Some(fuse));
            let (cut, durable, appended) = until_cut(flash, from);
            flash = cut;
            flash.set_fuse(None);
            cuts += 1;
            let mut after = mount(flash.clone());
            let numbers = contents(&mut after);
            let last = *numbers.last().unwrap();
            let place = std::format!("cuts {first}, {}: turn {turn}", first % 611 + 3);
            assert!(
                durable.is_none_or(|durable| last + 1 >= durable),
                "{place}: {last} {durable:?}"
            );
            assert!(last < appended.max(from), "{place}: {last} was never appended");
            assert!(numbers.windows(2).all(|pair| pair[1] > pair[0]), "{place}");
            // Nothing durable is missing in between, apart from what the first cut lost.
            let missing = numbers.windows(2).filter(|pair| pair[1] != pair[0] + 1).count();
            assert!(missing <= turn, "{place}: {missing} breaks");
            from = appended + 100;
        }
    }
    std::eprintln!("{cuts} cuts");
}

fn slot(number: u32) -> Slot {
    Slot {
        number,
        settings: Settings::default(),
        site_text: (0..number % 300).map(|n| n as u8).collect(),
        armed: true,
    }
}

#[test]
fn a_slot_survives_a_cut_at_any_step() {
    let mut journal = mount(RamFlash::<1>::erased(5));
    assert_eq!(block_on(journal.load_slot()), Ok(None));
    block_on(journal.store_slot(&slot(7))).unwrap();
    block_on(journal.store_slot(&slot(8))).unwrap();
    let start = journal.into_flash();
    for fuse in 0..400 {
        let mut flash = start.clone();
        flash.set_fuse(Some(fuse));
        let Ok(mut journal) = block_on(Journal::mount(flash.clone(), DEVICE)) else { continue };
        let stored = block_on(journal.store_slot(&slot(9)));
        let mut flash = journal.into_flash();
        flash.set_fuse(None);
        let found = block_on(mount(flash).load_slot()).unwrap().unwrap();
        assert!(found == slot(8) || found == slot(9), "cut {fuse}");
        assert!(stored.is_err() || found == slot(9), "cut {fuse}");
    }
}

#[derive(Clone, Debug)]
enum Step {
    Append(u8),
    Commit,
    Close,
    Remount,
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    /// Any history, against a plain list: what the ring holds is an unbroken end of what was
    /// committed.
    #[test]
    fn any_history_keeps_an_unbroken_end(steps in proptest::collection::vec(prop_oneof![
        6 => any::<u8>().prop_map(Step::Append),
        3 => Just(Step::Commit),
        1 => Just(Step::Close),
        1 => Just(Step::Remount),
    ], 1..120)) {
        let mut journal = mount(RamFlash::<2>::erased(7));
        let mut committed: Vec<u32> = Vec::new();
        let mut pending: Vec<u32> = Vec::new();
        let mut next = 0;
        for step in steps {
            match step {
                Step::Append(count) => for _ in 0..count {
                    block_on(journal.append(&record(next), 0)).unwrap();
                    pending.push(next);
                    next += 1;
                },
                Step::Commit => {
                    block_on(journal.commit(0)).unwrap();
                    committed.append(&mut pending);
                }
                Step::Close => {
                    block_on(journal.close_sector(0)).unwrap();
                    committed.append(&mut pending);
                }
                Step::Remount => {
                    journal = mount(journal.into_flash());
                    // A full page may have been programmed without being asked for.
                    let held = contents(&mut journal);
                    committed.extend(pending.drain(..).filter(|number| held.contains(number)));
                    prop_assert!(committed.ends_with(&held));
                }
            }
        }
        committed.append(&mut pending);
        let held = contents(&mut journal);
        prop_assert!(committed.ends_with(&held));
        let status = journal.status();
        // Until the ring is full, that end is the whole.
        prop_assert!(status.newest_sector >= status.sectors || held == committed);
    }
}
