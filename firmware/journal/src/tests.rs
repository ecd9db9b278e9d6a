mod faults;
mod histories;
mod oracle;
mod power_cuts;
mod resting;
mod slots;

use crate::ram::{RamError, RamFlash};
use crate::{Error, Journal};
use embassy_futures::block_on;
use embedded_storage_async::nor_flash::{ErrorType, NorFlash, ReadNorFlash};
use pumpwitness_protocol::message::PageAddress;
use pumpwitness_protocol::page::{PAGE_BYTES, PAGES_PER_SECTOR, SECTOR_BYTES, read_page};
use pumpwitness_protocol::record::{CaptureBlock, CapturePoint, Interval, Record, Spread, Trigger};
use pumpwitness_protocol::sector::SectorHeader;
use pumpwitness_protocol::settings::WhenFull;
use sha2::{Digest, Sha256};
use std::vec::Vec;

const DEVICE: [u8; 8] = *b"logger 1";
/// First sector of the ring.
const FIRST: usize = crate::slots::FIXED as usize;

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

/// A record that says its own number and takes some 20 to 600 bytes, to fill pages soon and leave
/// odd ends.
fn bulky(number: u32) -> Record {
    let mut chance = number.wrapping_mul(2_654_435_761) | 1;
    let mut next = || {
        chance ^= chance << 13;
        chance ^= chance >> 17;
        chance ^= chance << 5;
        (chance >> 8) as i32
    };
    let points = if number.is_multiple_of(9) { 32 } else { 1 + next() % 12 };
    // Few bits for most, all of them for every ninth.
    let mask = if number.is_multiple_of(9) { 0x00FF_FFFF } else { 0x3FF };
    let mut point = || CapturePoint {
        voltage_dv: next() & mask,
        current_ca: next() & mask,
        power_w: next() & mask,
    };
    Record::Capture(CaptureBlock {
        capture: number as u16,
        first_index: 0,
        start_ms: i64::from(number) * 200,
        step_us: 10_000,
        trigger: Trigger::Start,
        points: (0..points).map(|_| point()).collect(),
    })
}

fn number(record: &Record) -> u32 {
    match record {
        Record::Interval(interval) => (interval.end_ms / 200) as u32,
        Record::Capture(block) => (block.start_ms / 200) as u32,
        Record::Mark(mark) => panic!("a record nobody appended: {mark:?}"),
    }
}

fn mount<const WORD: usize>(flash: RamFlash<WORD>) -> Journal<RamFlash<WORD>> {
    block_on(Journal::mount(flash, DEVICE)).unwrap()
}

/// Mounts a flash whose power may have gone with the last byte written (mounting only reads), and says
/// whether it had.
fn mount_again<const WORD: usize>(flash: RamFlash<WORD>) -> (Journal<RamFlash<WORD>>, bool) {
    let mut journal = Journal::new(flash, DEVICE);
    let found = block_on(journal.find());
    let went = matches!(found, Err(Error::Flash { inner: RamError::PowerCut, .. }));
    if went {
        journal.flash_mut().set_fuse(None);
        block_on(journal.find()).expect("powered");
    } else {
        found.expect("sound to read");
    }
    (journal, went)
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
        let mut journal = mount(RamFlash::<WORD>::erased(13));
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
    let mut journal = mount(RamFlash::<1>::erased(15));
    fill(&mut journal, 0..60_000);
    let erased = &journal.flash().counts().erased[FIRST..];
    let (least, most) = (erased.iter().min().unwrap(), erased.iter().max().unwrap());
    assert!(most - least <= 1 && *most > 5, "{erased:?}");
}

/// The words of the header, not only what the flash counted, tell how often a sector was erased.
#[test]
fn headers_tell_the_wear() {
    let mut journal = mount(RamFlash::<1>::erased(9));
    fill(&mut journal, 0..20_000);
    let flash = journal.into_flash();
    for (sector, bytes) in flash.bytes().chunks(SECTOR_BYTES).enumerate().skip(FIRST) {
        let header = SectorHeader::decode(bytes).unwrap();
        assert_eq!(header.erased, flash.counts().erased[sector], "sector {sector}");
    }
}

#[test]
fn sectors_are_chained_by_hash() {
    let mut journal = mount(RamFlash::<1>::erased(11));
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
    let mut journal = mount(RamFlash::<1>::erased(9));
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

/// A flash that can be read by 16 bytes only and erases by 1024.
struct Coarse(RamFlash<1>);

impl ErrorType for Coarse {
    type Error = RamError;
}

impl ReadNorFlash for Coarse {
    const READ_SIZE: usize = 16;

    async fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), RamError> {
        if !offset.is_multiple_of(16) || !bytes.len().is_multiple_of(16) {
            return Err(RamError::NotAligned);
        }
        self.0.read(offset, bytes).await
    }

    fn capacity(&self) -> usize {
        self.0.capacity()
    }
}

impl NorFlash for Coarse {
    const WRITE_SIZE: usize = 1;
    const ERASE_SIZE: usize = 1024;

    async fn erase(&mut self, from: u32, to: u32) -> Result<(), RamError> {
        self.0.erase(from, to).await
    }

    async fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), RamError> {
        self.0.write(offset, bytes).await
    }
}

#[test]
fn coarse_reads_and_fine_erasures_fit() {
    let mut journal = block_on(Journal::mount(Coarse(RamFlash::erased(9)), DEVICE)).unwrap();
    for number in 0..5_000 {
        block_on(journal.append(&record(number), 0)).unwrap();
        if number % 7 == 0 {
            block_on(journal.commit(0)).unwrap();
        }
    }
    block_on(journal.commit(0)).unwrap();
    assert_eq!(journal.status().sectors_bad, 0);
    assert_eq!(contents(&mut mount(journal.into_flash().0)).last(), Some(&4_999));
}

#[test]
fn a_flash_too_small_is_refused() {
    let outcome = block_on(Journal::mount(RamFlash::<1>::erased(7), DEVICE));
    assert!(matches!(outcome, Err(Error::Geometry)));
}

/// A flash whose newest sector has this sequence.
fn far_along(sequence: u32, boot: u16) -> RamFlash {
    let header = SectorHeader {
        align: 1,
        sequence,
        device: DEVICE,
        previous: [7; 32],
        erased: 3,
        boot,
        opened_ms: 0,
    };
    let mut flash = RamFlash::<1>::erased(9);
    block_on(flash.write((FIRST + 1) as u32 * SECTOR_BYTES as u32, &header.encode())).unwrap();
    flash
}

#[test]
fn sequences_end_with_an_error_and_boots_start_over() {
    let mut journal = mount(far_along(u32::MAX - 2, u16::MAX));
    assert_eq!(journal.boot(), 0);
    let mut next = 0;
    let error = loop {
        match block_on(journal.append(&record(next), 0)) {
            Ok(()) => next += 1,
            Err(error) => break error,
        }
    };
    assert_eq!(error, Error::SequenceExhausted);
    assert_eq!(contents(&mut journal), (0..next).collect::<Vec<_>>());
    assert_eq!(journal.status().newest_sector, u32::MAX);
    let mut again = mount(journal.into_flash());
    assert_eq!(again.boot(), 1);
    assert_eq!(contents(&mut again), (0..next).collect::<Vec<_>>());
}

/// What storing costs beyond the bits of the records: chunk heads and checks, page and sector
/// headers. Prints the figures.
#[test]
fn storing_costs_little_beyond_the_records() {
    let programmed = |every: u32| {
        let mut journal = mount(RamFlash::<1>::erased(37));
        for number in 0..10_000 {
            block_on(journal.append(&record(number), 0)).unwrap();
            if number % every == every - 1 {
                block_on(journal.commit(0)).unwrap();
            }
        }
        block_on(journal.commit(0)).unwrap();
        journal.flash().counts().programmed as f64 / 10_000.0
    };
    let full_pages = programmed(10_000);
    std::eprintln!("programmed a record: {full_pages:.2} bytes in full pages");
    for every in [10, 50] {
        let bytes = programmed(every);
        std::eprintln!("programmed a record: {bytes:.2} bytes with a commit every {every}");
        // A chunk has 7 bytes of its own, fills up a byte, and makes pages hold a little less.
        assert!(bytes < full_pages * 1.02 + 8.0 / f64::from(every), "{every}: {bytes}");
    }
}
