use super::{FIRST, bulky, contents, fill, mount, number, record};
use crate::ram::{Fault, RamFlash};
use crate::{Error, Journal};
use embassy_futures::block_on;
use pumpwitness_protocol::message::PageAddress;
use pumpwitness_protocol::page::{
    PAGE_BYTES, PAGES_PER_SECTOR, PageState, SECTOR_BYTES, read_page,
};
use pumpwitness_protocol::sector::{SECTOR_HEADER_BYTES, SectorHeader};
use pumpwitness_protocol::settings::WhenFull;
use std::collections::BTreeSet;
use std::vec::Vec;

const FAULTS: [Fault; 4] =
    [Fault::Ignores, Fault::EraseFails, Fault::ProgramFails, Fault::StuckBits];

/// All records held with their sectors, and whether any page was missing, torn or damaged.
fn sifted(journal: &mut Journal<RamFlash<1>>) -> (Vec<(u32, u32)>, bool) {
    let status = journal.status();
    let (mut found, mut noticed) = (Vec::new(), false);
    for sector in status.oldest_sector..=status.newest_sector {
        for page in 0..PAGES_PER_SECTOR as u8 {
            let address = PageAddress { sector, page };
            let mut bytes = [0; PAGE_BYTES];
            if !block_on(journal.read_page(address, &mut bytes)).unwrap() {
                noticed = true;
                continue;
            }
            let state =
                read_page(&bytes, address, 1, |record| found.push((number(&record), sector)));
            noticed |= matches!(state, PageState::Torn { .. } | PageState::Damaged);
        }
    }
    (found, noticed)
}

#[test]
fn bad_sectors_are_passed_over_and_nothing_is_lost() {
    let mut flash = RamFlash::<1>::erased(15);
    flash.spoil(FIRST + 2);
    let mut journal = mount(flash);
    fill(&mut journal, 0..3_000);
    // A sector that goes bad while it is being written.
    let at = journal.status().newest_sector;
    let mut flash = journal.into_flash();
    flash.spoil(FIRST + 5);
    flash.spoil(FIRST + at as usize % 10);
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
    let mut journal = mount(RamFlash::<1>::erased(13));
    fill(&mut journal, 0..100);
    for number in 100..120 {
        block_on(journal.append(&record(number), 0)).unwrap();
    }
    // Sector 0 of the ring lies behind the two slots.
    journal.flash_mut().spoil(FIRST);
    block_on(journal.commit(0)).unwrap();
    fill(&mut journal, 120..400);
    assert_eq!(contents(&mut journal), (0..400).collect::<Vec<_>>());
    assert_eq!(journal.status().sectors_bad, 1);
}

/// However the sector under the pen fails, the records in memory go to the next one; also where
/// they fill more than its first, smaller page.
#[test]
fn a_page_that_does_not_stand_moves_whole() {
    for fault in FAULTS {
        for length in (1..400).step_by(3) {
            let mut journal = mount(RamFlash::<1>::erased(33));
            fill(&mut journal, 0..100);
            for number in 100..100 + length {
                block_on(journal.append(&bulky(number), 0)).unwrap();
            }
            let place = journal.status().newest_sector as usize;
            journal.flash_mut().spoil_with(FIRST + place, fault);
            for number in 100 + length..110 + length {
                block_on(journal.append(&bulky(number), 0)).unwrap();
            }
            block_on(journal.commit(0)).unwrap();
            let held = contents(&mut journal);
            assert_eq!(held, (0..110 + length).collect::<Vec<_>>(), "{fault:?} {length}");
            assert_eq!(contents(&mut mount(journal.into_flash())), held, "{fault:?} {length}");
        }
    }
}

/// Where there is no other sector for them, they wait in memory until there is.
#[test]
fn records_that_have_no_place_wait_for_one() {
    let mut journal = mount(RamFlash::<1>::erased(9));
    journal.set_when_full(WhenFull::KeepOldest);
    let mut next = 0;
    while journal.status().newest_sector < 3 {
        block_on(journal.append(&record(next), 0)).unwrap();
        next += 1;
    }
    block_on(journal.commit(0)).unwrap();
    block_on(journal.append(&record(next), 0)).unwrap();
    journal.flash_mut().spoil_with(FIRST + 3, Fault::ProgramFails);
    assert_eq!(block_on(journal.commit(0)), Err(Error::Full));
    assert_eq!(block_on(journal.append(&record(next + 1), 0)), Err(Error::Full));
    // A download goes on all the same.
    let range = block_on(journal.close_sector(0)).unwrap();
    assert_eq!((range.first_sector, range.last_sector), (0, 3));
    journal.release(0);
    block_on(journal.commit(0)).unwrap();
    assert_eq!(contents(&mut journal).last(), Some(&next));
    assert!(!journal.status().full);
}

/// Of a full ring that keeps the oldest, a bad sector is not erased again at every record.
#[test]
fn a_full_ring_leaves_its_bad_sector_alone() {
    let mut flash = RamFlash::<1>::erased(10);
    flash.spoil(FIRST + 4);
    let mut journal = mount(flash);
    journal.set_when_full(WhenFull::KeepOldest);
    let mut next = 0;
    while block_on(journal.append(&record(next), 0)).is_ok() {
        next += 1;
    }
    let before = journal.flash().counts().clone();
    for _ in 0..100 {
        assert_eq!(block_on(journal.append(&record(next), 0)), Err(Error::Full));
    }
    assert_eq!(journal.flash().counts().erased, before.erased);
    assert!(journal.flash().counts().read - before.read < 100 * 1024);
    assert_eq!(journal.status().sectors_bad, 1);
    journal.set_when_full(WhenFull::KeepNewest);
    block_on(journal.append(&record(next), 0)).unwrap();
}

#[test]
fn a_flash_that_takes_nothing_says_so() {
    for fault in FAULTS {
        let mut flash = RamFlash::<1>::erased(11);
        (FIRST..FIRST + 6).for_each(|sector| flash.spoil_with(sector, fault));
        let mut journal = mount(flash);
        assert_eq!(block_on(journal.append(&record(0), 0)), Err(Error::Worn), "{fault:?}");
        assert_eq!(journal.status().sectors_bad, 6);
    }
}

/// What mounting 16 MiB reads, at 1 µs a byte (8 MHz SPI): well below the goal of 2 s.
#[test]
fn mounting_reads_little() {
    let mut journal = mount(RamFlash::<1>::erased(4096));
    fill(&mut journal, 0..4_000_000);
    let flash = journal.into_flash();
    let before = flash.counts().read;
    let journal = mount(flash);
    let read = journal.flash().counts().read - before;
    std::eprintln!("mounting 4096 sectors reads {read} bytes");
    assert!(read < 1_000_000, "{read} bytes");
}

/// One bit of every byte of the ring in turn: noticed, nothing invented, and no other sector the
/// poorer for it.
#[test]
fn any_rotten_byte_is_noticed() {
    let mut journal = mount(RamFlash::<1>::erased(9));
    let mut next = 0;
    while journal.status().newest_sector < 4 || next % 100 != 0 {
        fill(&mut journal, next..next + 1);
        next += 1;
    }
    let whole = sifted(&mut journal).0;
    let all: BTreeSet<u32> = whole.iter().map(|(number, _)| *number).collect();
    assert_eq!(journal.status().oldest_sector, 1, "the ring has come round");
    let flash = journal.into_flash();
    for at in FIRST * SECTOR_BYTES..(FIRST + 4) * SECTOR_BYTES {
        let place = (at / SECTOR_BYTES - FIRST) as u32;
        let sector = if place == 0 { 4 } else { place };
        let mut rotten = flash.clone();
        rotten.bytes_mut()[at] ^= 1 << (at * 5 % 8);
        let mut journal = mount(rotten);
        let (found, mut noticed) = sifted(&mut journal);
        let numbers: BTreeSet<u32> = found.iter().map(|(number, _)| *number).collect();
        noticed |= journal.status().pages_damaged > 0;
        assert!(noticed, "byte {at}");
        let others = whole.iter().filter(|(_, of)| *of != sector);
        let lost = others.map(|(number, _)| number).find(|number| !numbers.contains(number));
        assert_eq!(lost, None, "byte {at}: more lost");
        let invented = numbers.iter().find(|number| !all.contains(number));
        assert_eq!(invented, None, "byte {at}: invented");
    }
}

/// A place whose header stood, although it was passed over as bad, shares its sequence with the
/// sector that was written instead: that one is read, also where the ring's end lies between them.
#[test]
fn of_two_sectors_with_one_sequence_the_later_is_read() {
    for turns in [0, 7] {
        let mut journal = mount(RamFlash::<1>::erased(13));
        for _ in 0..turns {
            fill(&mut journal, 0..1);
            block_on(journal.close_sector(0)).unwrap();
        }
        fill(&mut journal, 100..200);
        let sector = journal.status().newest_sector;
        // Its sector moved on by one place, and only its header left behind.
        let from = (FIRST + turns) * SECTOR_BYTES;
        let to = (FIRST + (turns + 1) % 8) * SECTOR_BYTES;
        let mut bytes = journal.into_flash().bytes().to_vec();
        bytes.copy_within(from..from + SECTOR_BYTES, to);
        bytes[from + SECTOR_HEADER_BYTES..from + SECTOR_BYTES].fill(0xFF);
        let mut journal = mount(RamFlash::<1>::from_bytes(bytes));
        assert_eq!(journal.status().newest_sector, sector);
        let held = sifted(&mut journal).0;
        let held = held.iter().filter(|(_, of)| *of == sector).map(|(number, _)| *number);
        assert!(held.eq(100..200), "{turns}");
        fill(&mut journal, 200..201);
        assert_eq!(journal.status().newest_sector, sector + 1);
    }
}

/// An erasure cut short takes the header and its count with it; the sector before tells how far
/// the ring has come.
#[test]
fn a_torn_erasure_does_not_set_the_wear_back() {
    let mut journal = mount(RamFlash::<1>::erased(9));
    fill(&mut journal, 0..20_000);
    let at = (journal.status().newest_sector as usize + 1) % 4;
    let mut flash = journal.into_flash();
    flash.bytes_mut()[(FIRST + at) * SECTOR_BYTES..][..100].fill(0x5A);
    let before = flash.counts().erased[FIRST + at];
    let mut journal = mount(flash);
    fill(&mut journal, 0..1);
    let bytes = &journal.flash().bytes()[(FIRST + at) * SECTOR_BYTES..];
    let told = SectorHeader::decode(bytes).unwrap().erased;
    assert!(before > 5 && told.abs_diff(before) <= 1, "{told} {before}");
}

/// A header rotten in the middle of the ring costs its own sector and none of those before it.
#[test]
fn a_rotten_header_hides_nothing_older() {
    let mut journal = mount(RamFlash::<1>::erased(15));
    fill(&mut journal, 0..5_000);
    let whole = sifted(&mut journal).0;
    let mut flash = journal.into_flash();
    flash.bytes_mut()[(FIRST + 3) * SECTOR_BYTES + 40] ^= 1;
    let mut journal = mount(flash);
    let left: Vec<_> = whole.into_iter().filter(|(_, sector)| *sector != 3).collect();
    assert_eq!(sifted(&mut journal), (left, true));
    // And so it stays while the ring goes on over it.
    for number in 5_000..9_000 {
        block_on(journal.append(&record(number), 0)).unwrap();
        let status = journal.status();
        assert!(status.sectors_used >= status.newest_sector.min(9), "{status:?}");
    }
}
