//! The journal against a plain list: any operations, the power cut at any step, sectors bad from
//! the start.
//!
//! What holds after every start: the ring holds an unbroken end of what was committed, followed by
//! what happened to be programmed before a cut; until the ring is full, that end is the whole.

use arbitrary::Arbitrary;
use pumpwitness_journal::ram::{RamFlash, now};
use pumpwitness_journal::slots::FIXED;
use pumpwitness_journal::{Error, Journal};
use pumpwitness_protocol::message::PageAddress;
use pumpwitness_protocol::page::{PAGE_BYTES, PAGES_PER_SECTOR, read_page};
use pumpwitness_protocol::record::{Interval, Record, Spread};
use pumpwitness_protocol::settings::WhenFull;

const DEVICE: [u8; 8] = *b"logger 7";

#[derive(Arbitrary, Debug)]
enum Step {
    /// Appends this many records, of this much noise.
    Append {
        count: u8,
        noise: u8,
    },
    Commit,
    Close,
    Release(u8),
    Remount,
    /// Lets the power go after so many steps of the flash.
    Fuse(u16),
}

#[derive(Arbitrary, Debug)]
struct History {
    sectors: u8,
    bad: Option<u8>,
    keep_oldest: bool,
    steps: Vec<Step>,
}

fn record(number: u32, noise: u8) -> Record {
    let chance = number.wrapping_mul(2_654_435_761) >> (32 - u32::from(noise % 24) - 1);
    let mean = chance as i32;
    Record::Interval(Interval {
        end_ms: i64::from(number) * 200,
        span_ms: 200,
        count: 1,
        voltage_dv: Spread { mean, min: mean - 3, max: mean + 4 },
        current_ca: Spread { mean: -mean, min: -mean, max: -mean },
        power_w: mean / 2,
        signal: Spread { mean: mean / 3, min: 0, max: mean },
        frequency_chz: 5000,
        flags: 0,
    })
}

/// Numbers of the records a start would find in `flash`, and sectors ever begun.
fn contents<const WORD: usize>(mut flash: RamFlash<WORD>) -> (Vec<u32>, u32) {
    flash.set_fuse(None);
    let mut journal = now(Journal::mount(flash, DEVICE)).expect("powered");
    let status = journal.status();
    let mut numbers = Vec::new();
    if status.sectors_used == 0 {
        return (numbers, 0);
    }
    for sector in status.oldest_sector..=status.newest_sector {
        for page in 0..PAGES_PER_SECTOR as u8 {
            let address = PageAddress { sector, page };
            let mut bytes = [0; PAGE_BYTES];
            assert!(now(journal.read_page(address, &mut bytes)).expect("powered"), "{address:?}");
            read_page(&bytes, address, WORD, |record| match record {
                Record::Interval(interval) => numbers.push((interval.end_ms / 200) as u32),
                other => panic!("a record nobody appended: {other:?}"),
            });
        }
    }
    (numbers, status.newest_sector + 1)
}

struct Model {
    committed: Vec<u32>,
    pending: Vec<u32>,
    /// Sectors that can be written.
    sound: u32,
}

impl Model {
    /// After a start or a cut: takes over what survived and checks it.
    fn settle<const WORD: usize>(&mut self, flash: &RamFlash<WORD>) {
        let (held, begun) = contents(flash.clone());
        let last = held.last();
        let survived = self.pending.iter().take_while(|number| last >= Some(number)).count();
        self.committed.extend(self.pending.drain(..).take(survived));
        assert!(self.committed.ends_with(&held), "{held:?} is no end of {:?}", self.committed);
        assert!(
            begun >= self.sound || held == self.committed,
            "{} of {} records lost with {begun} of {} sectors begun",
            self.committed.len() - held.len(),
            self.committed.len(),
            self.sound
        );
    }
}

fn work<const WORD: usize>(history: &History) {
    let places = 3 + u32::from(history.sectors % 4) + u32::from(history.bad.is_some());
    let mut flash = RamFlash::<WORD>::erased(FIXED as usize + places as usize);
    if let Some(bad) = history.bad {
        flash.spoil(FIXED as usize + usize::from(bad) % places as usize);
    }
    let sound = places - u32::from(history.bad.is_some());
    let mut model = Model { committed: Vec::new(), pending: Vec::new(), sound };
    let when_full = if history.keep_oldest { WhenFull::KeepOldest } else { WhenFull::KeepNewest };
    let mount = |mut flash: RamFlash<WORD>| {
        flash.set_fuse(None);
        let mut journal = now(Journal::mount(flash, DEVICE)).expect("powered");
        journal.set_when_full(when_full);
        journal
    };
    let mut journal = mount(flash);
    let mut next = 0;
    for step in history.steps.iter().take(64) {
        let outcome = match step {
            Step::Append { count, noise } => (0..*count).try_for_each(|_| {
                let number = next;
                next += 1;
                now(journal.append(&record(number, *noise), i64::from(number) * 200))?;
                model.pending.push(number);
                Ok(())
            }),
            Step::Commit => now(journal.commit(0)),
            Step::Close => now(journal.close_sector(0)).map(|_| ()),
            Step::Release(sector) => {
                journal.release((*sector).into());
                continue;
            }
            Step::Remount => {
                journal = mount(journal.into_flash());
                model.settle(journal.flash());
                continue;
            }
            Step::Fuse(steps) => {
                let mut flash = journal.into_flash();
                flash.set_fuse(Some(usize::from(*steps)));
                match now(Journal::mount(flash.clone(), DEVICE)) {
                    Ok(mounted) => journal = mounted,
                    Err(Error::Flash { .. }) => journal = mount(flash),
                    Err(error) => panic!("{error:?}"),
                }
                journal.set_when_full(when_full);
                model.settle(journal.flash());
                continue;
            }
        };
        match outcome {
            Ok(()) => {
                if !matches!(step, Step::Append { .. }) {
                    model.committed.append(&mut model.pending);
                    model.settle(journal.flash());
                }
            }
            // What was appended before is safe; the new one is refused.
            Err(Error::Full) => {
                assert!(history.keep_oldest);
                model.committed.append(&mut model.pending);
                model.settle(journal.flash());
            }
            Err(Error::LogicBug) => panic!("{step:?}: a bug of the journal's own"),
            // The power is gone: start again.
            Err(_) => {
                journal = mount(journal.into_flash());
                model.settle(journal.flash());
            }
        }
    }
}

/// Runs the target on one input.
pub fn run(bytes: &[u8]) {
    let Some(history) = crate::input::<History>(bytes) else { return };
    match history.sectors / 64 {
        0 | 1 => work::<1>(&history),
        2 => work::<4>(&history),
        _ => work::<16>(&history),
    }
}
