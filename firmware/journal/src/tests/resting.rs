//! What a start costs the ring, and what is done ahead of time.

use super::{FIRST, contents, fill, mount, record};
use crate::Journal;
use crate::ram::{Fault, RamFlash};
use embassy_futures::block_on;
use pumpwitness_protocol::page::SECTOR_BYTES;

type Ram = RamFlash<1>;

fn erasures(flash: &Ram) -> u64 {
    flash.counts().erased.iter().map(|erased| u64::from(*erased)).sum()
}

fn rest_and_start(mut journal: Journal<Ram>) -> Journal<Ram> {
    block_on(journal.commit(0)).unwrap();
    block_on(journal.tidy()).unwrap();
    block_on(journal.tidy()).unwrap();
    block_on(journal.rest()).unwrap();
    mount(journal.into_flash())
}

#[test]
fn after_a_rest_the_next_start_goes_on_in_the_same_sector() {
    let mut journal = mount(Ram::erased(13));
    for boot in 0..6 {
        assert_eq!(journal.boot(), boot as u16 + 1);
        fill(&mut journal, boot * 10..boot * 10 + 10);
        journal = rest_and_start(journal);
    }
    // Four pages to a sector.
    assert_eq!(journal.status().newest_sector, 1);
    assert_eq!(contents(&mut journal), (0..60).collect::<std::vec::Vec<_>>());
    assert_eq!(journal.flash().counts().reprogrammed, 0);
}

/// A start that stores nothing erases and programs nothing, and the next goes on where it would.
#[test]
fn starts_that_store_nothing_cost_no_sector() {
    let mut journal = mount(Ram::erased(13));
    fill(&mut journal, 0..10);
    let mut flash = rest_and_start(journal).into_flash();
    let (before, bytes) = (erasures(&flash), flash.bytes().to_vec());
    for _ in 0..100 {
        flash = mount(flash).into_flash();
    }
    assert_eq!(erasures(&flash), before);
    assert!(flash.bytes() == bytes);
    let mut journal = mount(flash);
    fill(&mut journal, 10..20);
    assert_eq!((journal.status().newest_sector, journal.boot()), (0, 2));
}

/// Without a rest told, the start opens a new sector, as the tail may be torn.
#[test]
fn a_start_after_a_cut_opens_a_new_sector() {
    let mut journal = mount(Ram::erased(13));
    fill(&mut journal, 0..10);
    let mut journal = mount(journal.into_flash());
    fill(&mut journal, 10..20);
    assert_eq!(journal.status().newest_sector, 1);
    // A rest holds for one start only.
    let mut journal = rest_and_start(journal);
    fill(&mut journal, 20..30);
    assert_eq!(journal.status().newest_sector, 1);
    let mut journal = mount(journal.into_flash());
    fill(&mut journal, 30..40);
    assert_eq!(journal.status().newest_sector, 2);
    assert_eq!(contents(&mut journal), (0..40).collect::<std::vec::Vec<_>>());
}

/// Once tidied up, filling a sector and opening the next costs no erasure at that moment.
#[test]
fn no_erasure_is_waited_for() {
    let mut journal = mount(Ram::erased(13));
    fill(&mut journal, 0..10);
    block_on(journal.tidy()).unwrap();
    block_on(journal.tidy()).unwrap();
    let mut next = 10;
    for sector in 1..40 {
        let before = erasures(journal.flash());
        while journal.status().newest_sector < sector {
            fill(&mut journal, next..next + 1);
            next += 1;
        }
        block_on(journal.commit(0)).unwrap();
        assert_eq!(erasures(journal.flash()), before, "sector {sector}");
        block_on(journal.tidy()).unwrap();
        assert_eq!(erasures(journal.flash()), before + 1);
        block_on(journal.tidy()).unwrap();
        assert_eq!(erasures(journal.flash()), before + 1);
    }
    // And all wear alike.
    let erased = &journal.flash().counts().erased[FIRST..];
    assert!(erased.iter().max().unwrap() - erased.iter().min().unwrap() <= 1, "{erased:?}");
}

/// A rest sector that fails costs the rest, and nothing else.
#[test]
fn a_bad_rest_sector_costs_no_record() {
    for fault in [Fault::Ignores, Fault::EraseFails, Fault::ProgramFails, Fault::StuckBits] {
        for good_at_first in [false, true] {
            let mut flash = Ram::erased(25);
            if !good_at_first {
                flash.spoil_with(FIRST - 1, fault);
            }
            let mut journal = mount(flash);
            for boot in 0..8 {
                fill(&mut journal, boot * 10..boot * 10 + 10);
                block_on(journal.tidy()).unwrap();
                block_on(journal.tidy()).unwrap();
                // What the flash says of it is not of interest.
                let _ = block_on(journal.rest());
                let mut flash = journal.into_flash();
                if boot == 1 && good_at_first {
                    flash.spoil_with(FIRST - 1, fault);
                }
                journal = mount(flash);
            }
            assert_eq!(contents(&mut journal), (0..80).collect::<std::vec::Vec<_>>(), "{fault:?}");
            assert_eq!(journal.flash().counts().reprogrammed, 0, "{fault:?}");
        }
    }
}

/// A read that fails while records move off a bad sector doubles none.
#[test]
fn a_failing_read_doubles_no_record() {
    let mut tried = 0;
    for read in 0..40 {
        let mut journal = mount(Ram::erased(13));
        fill(&mut journal, 0..100);
        for number in 100..300 {
            block_on(journal.append(&super::bulky(number), 0)).unwrap();
        }
        let place = journal.status().newest_sector as usize;
        journal.flash_mut().spoil_with(FIRST + place, Fault::ProgramFails);
        journal.flash_mut().fail_read_after(read);
        // What fails is tried once more, as the logger does with the next record.
        for number in 300..310 {
            let record = super::bulky(number);
            if block_on(journal.append(&record, 0)).is_err() {
                tried += 1;
                block_on(journal.append(&record, 0)).unwrap();
            }
        }
        if block_on(journal.commit(0)).is_err() {
            tried += 1;
            block_on(journal.commit(0)).unwrap();
        }
        journal.flash_mut().fail_read_after(usize::MAX);
        for number in 310..400 {
            block_on(journal.append(&record(number), 0)).unwrap();
        }
        let held = contents(&mut journal);
        assert_eq!(held, (0..400).collect::<std::vec::Vec<_>>(), "read {read}");
    }
    assert!(tried > 10, "{tried}");
}

/// The sectors before the ring: two pairs of slots and this one.
#[test]
fn the_rest_lies_before_the_ring() {
    let mut journal = mount(Ram::erased(13));
    fill(&mut journal, 0..10);
    let journal = rest_and_start(journal);
    let rest = &journal.flash().bytes()[4 * SECTOR_BYTES..];
    assert_eq!(&rest[..8], b"PWREST1\n");
}
