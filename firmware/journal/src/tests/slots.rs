use super::{DEVICE, mount};
use crate::ram::{Fault, RamFlash};
use crate::{Error, Journal};
use embassy_futures::block_on;
use pumpwitness_protocol::calibration::Calibration;
use pumpwitness_protocol::device_slot::{DeviceSlot, Seed};
use pumpwitness_protocol::settings::Settings;
use pumpwitness_protocol::slot::Slot;

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
    let mut journal = mount(RamFlash::<1>::erased(8));
    assert_eq!(block_on(journal.load_slot()), Ok(None));
    block_on(journal.store_slot(&slot(7))).unwrap();
    block_on(journal.store_slot(&slot(8))).unwrap();
    let start = journal.into_flash();
    for (fuse, unstable) in (0..400).flat_map(|fuse| [(fuse, false), (fuse, true)]) {
        let mut flash = start.clone();
        if unstable {
            flash.leave_unstable_bits();
        }
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

#[test]
fn a_bad_slot_sector_costs_no_slot_that_stood() {
    for fault in [Fault::Ignores, Fault::EraseFails, Fault::ProgramFails, Fault::StuckBits] {
        for bad in [0, 1] {
            let mut flash = RamFlash::<1>::erased(8);
            flash.spoil_with(bad, fault);
            let mut journal = mount(flash);
            let mut in_force = None;
            for number in 1..5 {
                match block_on(journal.store_slot(&slot(number))) {
                    Ok(()) => in_force = Some(slot(number)),
                    Err(error) => assert_eq!(error, Error::Worn),
                }
                assert_eq!(block_on(journal.load_slot()), Ok(in_force.clone()));
            }
            // Stuck bits lie behind so short a slot: nothing is wrong with it.
            assert!(in_force.is_some_and(|slot| slot.number == 1 || fault == Fault::StuckBits));
        }
    }
}

fn device_slot(number: u32) -> DeviceSlot {
    let calibration = Calibration { made_ms: number.into(), ..Calibration::default() };
    DeviceSlot { number, seed: Some(Seed([number as u8; 32])), released: Some(number), calibration }
}

/// The key is never lost, whenever the power goes while another calibration is stored.
#[test]
fn a_device_slot_survives_a_cut_at_any_step() {
    let mut journal = mount(RamFlash::<1>::erased(8));
    assert_eq!(block_on(journal.load_device_slot()), Ok(None));
    block_on(journal.store_device_slot(&device_slot(u32::MAX))).unwrap();
    block_on(journal.store_slot(&slot(1))).unwrap();
    let start = journal.into_flash();
    for (fuse, unstable) in (0..200).flat_map(|fuse| [(fuse, false), (fuse, true)]) {
        let mut flash = start.clone();
        if unstable {
            flash.leave_unstable_bits();
        }
        flash.set_fuse(Some(fuse));
        let Ok(mut journal) = block_on(Journal::mount(flash.clone(), DEVICE)) else { continue };
        // Numbers go on past their end.
        let stored = block_on(journal.store_device_slot(&device_slot(0)));
        let mut flash = journal.into_flash();
        flash.set_fuse(None);
        let mut journal = mount(flash);
        let found = block_on(journal.load_device_slot()).unwrap().unwrap();
        assert!(found == device_slot(u32::MAX) || found == device_slot(0), "cut {fuse}");
        assert!(stored.is_err() || found == device_slot(0), "cut {fuse}");
        assert_eq!(block_on(journal.load_slot()), Ok(Some(slot(1))), "cut {fuse}");
    }
}

/// Filling the ring, over and over, leaves the fixed sectors alone.
#[test]
fn the_ring_keeps_off_the_slots() {
    let mut journal = mount(RamFlash::<1>::erased(9));
    block_on(journal.store_slot(&slot(1))).unwrap();
    block_on(journal.store_device_slot(&device_slot(1))).unwrap();
    super::fill(&mut journal, 0..10_000);
    assert!(journal.status().newest_sector > 8);
    assert_eq!(block_on(journal.load_slot()), Ok(Some(slot(1))));
    assert_eq!(block_on(journal.load_device_slot()), Ok(Some(device_slot(1))));
}
