//! The power cut at every programming and erasure, at several points inside each, and again later,
//! over a history that wraps the ring.
//!
//! A failure names its cuts, in steps of the flash from start to start. To see one alone:
//! `CUTS=unstable,1,120,34 cargo test -p pumpwitness-journal given_cuts` (stable or unstable bits,
//! word size, cuts).

use super::oracle::Oracle;
use super::{DEVICE, FIRST, bulky, mount, mount_again};
use crate::Journal;
use crate::ram::RamFlash;
use embassy_futures::block_on;
use std::string::String;
use std::vec::Vec;

/// Sectors of the ring.
const PLACES: usize = 4;
/// Sectors begun in a history without cuts: the ring comes round twice and more.
const SECTORS: u32 = 10;

/// Appends and commits until so many sectors have been begun or the power goes; true when it went.
fn go_on<const WORD: usize>(
    journal: &mut Journal<RamFlash<WORD>>,
    oracle: &mut Oracle,
    until_sector: u32,
) -> bool {
    loop {
        let sector = journal.status().newest_sector;
        if block_on(journal.append(&bulky(oracle.next), i64::from(oracle.next))).is_err() {
            return true;
        }
        oracle.appended(sector);
        // Commits of one to seven records.
        if oracle.next % 7 == 3 || oracle.next.is_multiple_of(11) {
            if block_on(journal.commit(0)).is_err() {
                return true;
            }
            oracle.committed();
            if block_on(journal.tidy()).is_err() {
                return true;
            }
            // The supply is lost in good order, and comes back before the logger has stopped.
            if oracle.next.is_multiple_of(22) && block_on(journal.rest()).is_err() {
                return true;
            }
        }
        // As a download does now and then.
        if oracle.next.is_multiple_of(97) {
            if block_on(journal.close_sector(0)).is_err() {
                return true;
            }
            oracle.committed();
        }
        // The supply is lost in good order and stays away.
        if oracle.next % 29 == 14 {
            if block_on(journal.commit(0)).is_err() {
                return true;
            }
            oracle.committed();
            if block_on(journal.rest()).is_err() {
                return true;
            }
            let before = core::mem::replace(journal, mount(RamFlash::erased(PLACES + FIRST)));
            let (mounted, went) = mount_again(before.into_flash());
            *journal = mounted;
            if went {
                return true;
            }
        }
        if journal.status().newest_sector >= until_sector {
            return false;
        }
    }
}

fn start<const WORD: usize>(unstable: bool) -> RamFlash<WORD> {
    let mut flash = RamFlash::erased(PLACES + FIRST);
    if unstable {
        flash.leave_unstable_bits();
    }
    flash
}

/// A history with these cuts; says what is wrong after one of them.
fn with_cuts<const WORD: usize>(unstable: bool, cuts: &[usize]) -> Result<(), String> {
    let mut flash = start::<WORD>(unstable);
    let mut oracle = Oracle { unstable, ..Oracle::default() };
    for (turn, cut) in cuts.iter().map(|cut| Some(*cut)).chain([None]).enumerate() {
        flash.set_fuse(None);
        // Mounting only reads: the fuse may as well be lit afterwards.
        flash.set_fuse(cut.map(|cut| cut + 1));
        let mut journal = block_on(Journal::mount(flash, DEVICE)).expect("powered");
        let until = SECTORS.max(journal.status().newest_sector + PLACES as u32 + 1);
        let went = go_on(&mut journal, &mut oracle, until);
        if !went && cut.is_none() {
            block_on(journal.commit(0)).expect("powered");
            oracle.committed();
        }
        oracle.cut();
        let status = journal.status();
        flash = journal.into_flash();
        let place = |what| {
            std::format!(
                "cuts {:?} (unstable: {unstable}, words of {WORD}): {what}",
                &cuts[..=turn.min(cuts.len() - 1)]
            )
        };
        if status.sectors_bad > 0 || flash.counts().reprogrammed > 0 {
            return Err(place(std::format!("a sound sector passed over: {status:?}")));
        }
        // Twice: unstable bits may read otherwise the next time.
        for _ in 0..2 {
            oracle.check(&flash).map_err(place)?;
        }
    }
    Ok(())
}

/// The step of each operation of a history without cuts, and the steps it takes.
fn operations<const WORD: usize>() -> Vec<usize> {
    let mut flash = start::<WORD>(false);
    flash.note_operations();
    let mut journal = block_on(Journal::mount(flash, DEVICE)).unwrap();
    go_on(&mut journal, &mut Oracle::default(), SECTORS);
    let flash = journal.into_flash();
    let mut steps = flash.operations().to_vec();
    steps.push(flash.steps());
    steps
}

fn every_operation<const WORD: usize>(unstable: bool) -> usize {
    let steps = operations::<WORD>();
    let mut histories = 0;
    for (index, pair) in steps.windows(2).enumerate() {
        let length = pair[1] - pair[0];
        // Before the first step, in it, about the middle, in the last, and one by chance.
        let mut inside = [0, 1, length / 2, length - 1, index * 7919 % length];
        inside.sort_unstable();
        for (turn, at) in inside.into_iter().enumerate() {
            if turn > 0 && at == inside[turn - 1] {
                continue;
            }
            // The second cut falls near the start after the first: into erasure, header or the
            // first chunks; the third anywhere.
            let near = (index * 5 + turn * 3) % 140;
            let far = (index * 6151 + turn * 389) % 9_000;
            with_cuts::<WORD>(unstable, &[pair[0] + at, near, far]).unwrap();
            histories += 1;
        }
    }
    std::eprintln!("{} operations, {histories} histories of 3 cuts", steps.len() - 1);
    histories
}

#[test]
fn no_cut_loses_what_was_committed() {
    assert!(every_operation::<1>(false) > 500);
}

#[test]
fn no_cut_loses_what_was_committed_in_words() {
    assert!(every_operation::<4>(false) > 500);
    assert!(every_operation::<16>(true) > 500);
}

#[test]
fn no_cut_that_leaves_unstable_bits_loses_what_was_committed() {
    assert!(every_operation::<1>(true) > 500);
}

/// The power fails again and again soon after each start, for rounds of the ring.
#[test]
fn a_chattering_supply_loses_nothing_committed() {
    for seed in 0..40_usize {
        let cuts: Vec<usize> =
            (0..24).map(|turn| (seed * 1009 + turn * turn * 97) % 1_500).collect();
        with_cuts::<1>(seed % 2 == 1, &cuts).unwrap();
    }
}

/// Replays the cuts of `CUTS`, if there are any.
#[test]
fn given_cuts() {
    let Ok(given) = std::env::var("CUTS") else { return };
    let mut parts = given.split(',').map(str::trim);
    let unstable = parts.next() == Some("unstable");
    let word = parts.next();
    let cuts: Vec<usize> = parts.map(|cut| cut.parse().expect("a number of steps")).collect();
    match word {
        Some("1") => with_cuts::<1>(unstable, &cuts),
        Some("4") => with_cuts::<4>(unstable, &cuts),
        Some("16") => with_cuts::<16>(unstable, &cuts),
        _ => panic!("CUTS=stable|unstable,1|4|16,cut,…"),
    }
    .unwrap();
}
