//! What must be found after any history: a plain list of what was committed, beside what may or may
//! not have come to stand.

use super::{DEVICE, number};
use crate::Journal;
use crate::ram::RamFlash;
use embassy_futures::block_on;
use pumpwitness_protocol::message::PageAddress;
use pumpwitness_protocol::page::{PAGE_BYTES, PAGES_PER_SECTOR, read_page};
use pumpwitness_protocol::sector::SectorHeader;
use sha2::{Digest, Sha256};
use std::string::String;
use std::vec::Vec;

/// The list.
#[derive(Clone, Debug, Default)]
pub(super) struct Oracle {
    /// Committed, in order, each with the sector that was newest before it was appended: it lies in
    /// that one or a later one.
    pub(super) committed: Vec<(u32, u32)>,
    /// Appended before a cut and not committed, in order: may be found or not.
    pub(super) perhaps: Vec<(u32, u32)>,
    /// Appended since the last commit.
    pub(super) pending: Vec<(u32, u32)>,
    /// Number of the next record.
    pub(super) next: u32,
    /// Sectors that went bad.
    pub(super) spoilt: u32,
    /// Nothing may ever be overwritten but what was released.
    pub(super) keeps_all: bool,
    /// Sectors up to this one were released.
    pub(super) released: Option<u32>,
    /// A torn sector may read otherwise than when it was hashed.
    pub(super) unstable: bool,
}

/// What a ring holds, sector by sector.
struct Found {
    /// Sector and number of each record.
    records: Vec<(u32, u32)>,
    /// Pairs of sectors, by the later one, whose chain holds or not.
    links: Vec<(u32, bool)>,
}

fn find<const WORD: usize>(journal: &mut Journal<RamFlash<WORD>>) -> Found {
    let mut found = Found { records: Vec::new(), links: Vec::new() };
    let status = journal.status();
    if status.sectors_used == 0 {
        return found;
    }
    let mut before: Option<[u8; 32]> = None;
    for sector in status.oldest_sector..=status.newest_sector {
        let mut bytes = Vec::new();
        for page in 0..PAGES_PER_SECTOR as u8 {
            let address = PageAddress { sector, page };
            let mut part = [0; PAGE_BYTES];
            if block_on(journal.read_page(address, &mut part)).unwrap() {
                read_page(&part, address, WORD, |record| {
                    found.records.push((sector, number(&record)));
                });
                bytes.extend(part);
            }
        }
        let header = SectorHeader::decode(&bytes);
        if let (Some(hash), Some(header)) = (before, header) {
            found.links.push((sector, hash == header.previous));
        }
        before = header.map(|_| Sha256::digest(&bytes).into());
    }
    found
}

impl Oracle {
    /// Record `next` was appended when `sector` was the newest.
    pub(super) fn appended(&mut self, sector: u32) {
        self.pending.push((self.next, sector));
        self.next += 1;
    }

    pub(super) fn committed(&mut self) {
        self.committed.append(&mut self.pending);
    }

    /// The power went: what was pending may stand or not.
    pub(super) fn cut(&mut self) {
        self.perhaps.append(&mut self.pending);
    }

    /// Checks what a journal holds that has just been mounted over `flash`.
    pub(super) fn check<const WORD: usize>(&self, flash: &RamFlash<WORD>) -> Result<(), String> {
        let mut flash = flash.clone();
        flash.set_fuse(None);
        let mut journal = block_on(Journal::mount(flash, DEVICE)).expect("powered");
        let status = journal.status();
        let found = find(&mut journal);
        let fail = |what: String| Err(std::format!("{what}; {status:?}"));

        if !found.records.is_sorted_by(|(_, a), (_, b)| a < b) {
            return fail(std::format!("order or doubles: {:?}", found.records));
        }
        let known = |list: &[(u32, u32)], number: u32| {
            list.binary_search_by_key(&number, |(number, _)| *number).is_ok()
        };
        for (sector, number) in &found.records {
            if !known(&self.committed, *number) && !known(&self.perhaps, *number) {
                return fail(std::format!("{number} in sector {sector} was invented"));
            }
        }
        // Of a ring that is full, the oldest sector is the next to be erased, and a cut may have
        // gone half-way through that. No other may miss anything; nor may that one before the ring
        // has come round. Bad places on the way there are given up with it, and may still show what
        // they held.
        let full = status.sectors_used + self.spoilt >= status.sectors;
        let whole_from = status.oldest_sector + if full { 1 + self.spoilt } else { 0 };
        let round = status.newest_sector + 1 + self.spoilt >= status.sectors;
        let held: Vec<u32> = found.records.iter().map(|(_, number)| *number).collect();
        let lost = self.committed.iter().find(|(number, sector)| {
            let kept = self.keeps_all && self.released.is_none_or(|up_to| *sector > up_to);
            (kept || !round || *sector >= whole_from) && held.binary_search(number).is_err()
        });
        if let Some(lost) = lost {
            return fail(std::format!("record and sector {lost:?} were lost"));
        }
        // A header cut short may read as good until the sector behind it has been erased, and as bad
        // afterwards.
        let given_up = 1 + u32::from(self.unstable);
        if round && status.sectors_used + given_up + self.spoilt < status.sectors {
            return fail(String::from("too much was given up"));
        }
        let broken = found.links.iter().find(|(sector, holds)| !holds && *sector > whole_from);
        if let Some((sector, _)) = broken
            && !self.unstable
        {
            return fail(std::format!("the chain breaks before sector {sector}"));
        }
        Ok(())
    }
}
