//! Any history against a plain list.

use super::oracle::Oracle;
use super::{FIRST, bulky, mount_again, record};
use crate::Error;
use crate::ram::{Fault, RamFlash};
use embassy_futures::block_on;
use proptest::prelude::*;
use pumpwitness_protocol::settings::WhenFull;
use std::vec::Vec;

const PLACES: usize = 9;

#[derive(Clone, Debug)]
enum Step {
    Append {
        count: u8,
        bulky: bool,
    },
    Commit,
    Close,
    Remount,
    /// Makes ready what will be needed.
    Tidy,
    /// The supply is lost in good order; it comes back before the logger has stopped, or after.
    Rest {
        stays_away: bool,
    },
    Cut {
        steps: u16,
    },
    Spoil {
        place: u8,
        fault: Fault,
    },
    /// Releases the sectors up to so many before the newest.
    Release {
        back: u8,
    },
}

fn steps() -> impl Strategy<Value = Vec<Step>> {
    let fault = prop_oneof![
        Just(Fault::Ignores),
        Just(Fault::EraseFails),
        Just(Fault::ProgramFails),
        Just(Fault::StuckBits),
    ];
    let step = prop_oneof![
        12 => (any::<u8>(), any::<bool>()).prop_map(|(count, bulky)| Step::Append { count, bulky }),
        6 => Just(Step::Commit),
        1 => Just(Step::Close),
        1 => Just(Step::Remount),
        4 => Just(Step::Tidy),
        2 => any::<bool>().prop_map(|stays_away| Step::Rest { stays_away }),
        3 => (0..4_000_u16).prop_map(|steps| Step::Cut { steps }),
        1 => (0..PLACES as u8).prop_map(|back| Step::Release { back }),
        1 => (0..PLACES as u8, fault).prop_map(|(place, fault)| Step::Spoil { place, fault }),
    ];
    proptest::collection::vec(step, 1..80)
}

fn run<const WORD: usize>(
    steps: &[Step],
    when_full: WhenFull,
    unstable: bool,
) -> Result<(), TestCaseError> {
    let mut flash = RamFlash::<WORD>::erased(PLACES + FIRST);
    if unstable {
        flash.leave_unstable_bits();
    }
    let mut oracle =
        Oracle { unstable, keeps_all: when_full == WhenFull::KeepOldest, ..Oracle::default() };
    let mount = |flash: RamFlash<WORD>| {
        let (mut journal, _) = mount_again(flash);
        journal.set_when_full(when_full);
        journal
    };
    let mut journal = mount(flash);
    for (index, step) in steps.iter().enumerate() {
        let outcome = match step {
            Step::Append { count, bulky: large } => (0..*count).try_for_each(|_| {
                let make = if *large { bulky } else { record };
                let sector = journal.status().newest_sector;
                block_on(journal.append(&make(oracle.next), 0))?;
                oracle.appended(sector);
                Ok(())
            }),
            Step::Commit => block_on(journal.commit(0)).inspect(|()| oracle.committed()),
            // Of a full ring it leaves in memory what it has no room for.
            Step::Close => block_on(journal.close_sector(0)).map(|_| ()),
            Step::Remount => {
                oracle.cut();
                journal = mount(journal.into_flash());
                Ok(())
            }
            Step::Tidy => block_on(journal.tidy()),
            Step::Rest { stays_away } => {
                let rested = block_on(journal.commit(0)).and_then(|()| {
                    oracle.committed();
                    block_on(journal.rest())
                });
                if rested.is_ok() && *stays_away {
                    journal = mount(journal.into_flash());
                }
                rested
            }
            Step::Cut { steps } => {
                let mut flash = journal.into_flash();
                oracle.cut();
                flash.set_fuse(Some(usize::from(*steps) + 1));
                journal = mount(flash);
                Ok(())
            }
            Step::Release { back } => {
                let newest = journal.status().newest_sector;
                if let Some(up_to) = newest.checked_sub(u32::from(*back)) {
                    journal.release(up_to);
                    oracle.released = oracle.released.max(Some(up_to));
                }
                Ok(())
            }
            Step::Spoil { place, fault } => {
                // With most of a ring bad its order can no longer be told; two of nine are many.
                if oracle.spoilt < 2 {
                    journal.flash_mut().spoil_with(FIRST + usize::from(*place), *fault);
                    oracle.spoilt += 1;
                }
                Ok(())
            }
        };
        let went = matches!(outcome, Err(Error::Flash { .. }));
        match outcome {
            Ok(()) => {}
            // Not taken, or waiting in memory.
            Err(Error::Full) => prop_assert_eq!(when_full, WhenFull::KeepOldest),
            Err(Error::Flash { .. }) => {
                oracle.cut();
                let mut flash = journal.into_flash();
                flash.set_fuse(None);
                journal = mount(flash);
            }
            Err(error) => prop_assert!(false, "{error:?} at {step:?}"),
        }
        prop_assert_eq!(journal.flash().counts().reprogrammed, 0);
        let last = index + 1 == steps.len();
        if went || last || matches!(step, Step::Remount | Step::Rest { .. } | Step::Cut { .. }) {
            let mut so_far = oracle.clone();
            so_far.cut();
            if let Err(wrong) = so_far.check(journal.flash()) {
                prop_assert!(false, "{} after step {}, {:?}", wrong, index, step);
            }
        }
    }
    Ok(())
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(100))]

    /// Nothing committed is lost but what the ring overwrites; nothing is invented.
    #[test]
    fn keeping_the_newest(steps in steps(), unstable in any::<bool>()) {
        run::<1>(&steps, WhenFull::KeepNewest, unstable)?;
        run::<8>(&steps, WhenFull::KeepNewest, unstable)?;
    }

    /// Nothing committed is lost but what was released.
    #[test]
    fn keeping_the_oldest(steps in steps(), unstable in any::<bool>()) {
        run::<1>(&steps, WhenFull::KeepOldest, unstable)?;
        run::<16>(&steps, WhenFull::KeepOldest, unstable)?;
    }
}

/// The power goes at each byte from a record to the end of a rest, the last one included.
#[test]
fn a_rest_cut_at_any_byte() {
    for cut in 0..600 {
        let steps = [
            Step::Append { count: 1, bulky: false },
            Step::Cut { steps: cut },
            Step::Tidy,
            Step::Rest { stays_away: true },
            Step::Append { count: 1, bulky: false },
            Step::Commit,
        ];
        for when_full in [WhenFull::KeepNewest, WhenFull::KeepOldest] {
            run::<1>(&steps, when_full, false).unwrap();
            run::<16>(&steps, when_full, true).unwrap();
        }
    }
}
