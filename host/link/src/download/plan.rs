//! What to ask a logger for next, and where in the file what comes belongs: a pure state machine.
//! It sees neither line nor file.

use pumpwitness_protocol::archive::{ARCHIVE_HEADER_BYTES, ArchiveHeader};
use pumpwitness_protocol::message::{PageAddress, WINDOW_PAGES_MAX};
use pumpwitness_protocol::page::{PAGE_BYTES, PAGES_PER_SECTOR, area_start, read_header};
use pumpwitness_protocol::sector::SectorHeader;
use std::collections::VecDeque;
use std::ops::Range;

/// Windows in a row that may bring nothing before the logger is given up.
const FRUITLESS_MAX: u32 = 4;
/// Times a page that belongs elsewhere is asked for before it counts as missing.
const FOREIGN_MAX: u32 = 3;
/// Sectors a logger may hold at most: 256 MiB of them.
const SECTORS_MAX: u32 = 1 << 16;

/// A range no logger names.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct BadRange;

/// The pages of an archive, counted from 0 in file order.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Pages {
    device: [u8; 8],
    first_sector: u32,
    sectors: u32,
}

impl Pages {
    /// Those the head of an archive names.
    pub(crate) fn of(header: &ArchiveHeader) -> Result<Self, BadRange> {
        let sectors = header.sectors();
        if !(1..=SECTORS_MAX).contains(&sectors) {
            return Err(BadRange);
        }
        let first_sector = header.range.first_sector;
        Ok(Self { device: header.identity.device, first_sector, sectors })
    }

    /// How many.
    pub(crate) fn total(&self) -> u64 {
        u64::from(self.sectors) * PAGES_PER_SECTOR as u64
    }

    /// Sectors.
    pub(crate) fn sectors(&self) -> u32 {
        self.sectors
    }

    /// Sequence number of sector `index`.
    pub(crate) fn sequence(&self, index: u32) -> u32 {
        self.first_sector + index
    }

    /// Where the logger keeps page `page`.
    pub(crate) fn address(&self, page: u64) -> PageAddress {
        let pages = PAGES_PER_SECTOR as u64;
        PageAddress { sector: self.sequence((page / pages) as u32), page: (page % pages) as u8 }
    }

    /// Where in the file page `page` begins; that of [`Self::total`] is the trailer's place.
    pub(crate) fn offset(page: u64) -> u64 {
        ARCHIVE_HEADER_BYTES as u64 + page * PAGE_BYTES as u64
    }

    /// Whole pages in a file of `bytes`.
    pub(crate) fn whole(&self, bytes: u64) -> u64 {
        (bytes.saturating_sub(ARCHIVE_HEADER_BYTES as u64) / PAGE_BYTES as u64).min(self.total())
    }

    /// Whether a page that says where it belongs belongs at `address`. Blank and damaged ones say
    /// nothing and are kept as they are: they are evidence too.
    fn belongs(&self, bytes: &[u8; PAGE_BYTES], address: PageAddress) -> bool {
        // The first page of a sector begins with the sector's header, all others with their own:
        // both are looked for in any page, for it may be of either kind.
        if let Some(header) = SectorHeader::decode(bytes) {
            let page = read_header(&bytes[area_start(0)..]);
            return address.page == 0
                && header.sequence == address.sector
                && header.device == self.device
                && page.is_none_or(|page| page.address == address);
        }
        let at_start =
            read_header(bytes).is_none_or(|page| address.page != 0 && page.address == address);
        let behind_sector = address.page != 0
            || read_header(&bytes[area_start(0)..]).is_none_or(|page| page.address == address);
        at_start && behind_sector
    }
}

/// Pages to ask for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Window {
    pub(crate) first: PageAddress,
    pub(crate) count: u16,
    /// How many will be asked for next, if they follow these.
    pub(crate) then: Option<u16>,
}

/// A page to be put in its place.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Taken<'b> {
    /// Its number in the file.
    pub(crate) page: u64,
    /// Its bytes, or `None` when the logger does not hold it (any more).
    pub(crate) bytes: Option<&'b [u8; PAGE_BYTES]>,
}

/// Pages still to come, in order.
#[derive(Clone, Debug)]
pub(crate) struct Plan {
    pages: Pages,
    /// None of them empty.
    wanted: VecDeque<Range<u64>>,
    /// Windows since the last page that was taken.
    fruitless: u32,
    /// Times the next page came with another's header.
    foreign: u32,
}

impl Plan {
    /// Asks for the pages of one range.
    pub(crate) fn one(pages: Pages, wanted: Range<u64>) -> Self {
        Self::new(pages, std::iter::once(wanted))
    }

    /// Asks for the pages of several ranges, in that order.
    pub(crate) fn new(pages: Pages, wanted: impl IntoIterator<Item = Range<u64>>) -> Self {
        let wanted = wanted.into_iter().filter(|range| !range.is_empty()).collect();
        Self { pages, wanted, fruitless: 0, foreign: 0 }
    }

    /// What to ask for; `None` when everything has come. The page at which the logger is stuck when
    /// it has been asked often enough.
    pub(crate) fn ask(&mut self) -> Result<Option<Window>, PageAddress> {
        let Some(next) = self.wanted.front() else { return Ok(None) };
        let first = self.pages.address(next.start);
        if self.fruitless == FRUITLESS_MAX {
            return Err(first);
        }
        self.fruitless += 1;
        let left = next.end - next.start;
        let count = left.min(WINDOW_PAGES_MAX.into());
        let then = (left - count).min(WINDOW_PAGES_MAX.into()) as u16;
        Ok(Some(Window { first, count: count as u16, then: (then > 0).then_some(then) }))
    }

    /// A page has come as that at `address`. `None` when it is not the one that is due, or belongs
    /// elsewhere by its own header: what follows is of no use then, and it is to be asked for again.
    pub(crate) fn take<'b>(
        &mut self,
        address: PageAddress,
        bytes: Option<&'b [u8; PAGE_BYTES]>,
    ) -> Option<Taken<'b>> {
        let next = self.wanted.front_mut()?;
        let page = next.start;
        if address != self.pages.address(page) {
            return None;
        }
        let mut taken = Taken { page, bytes };
        if bytes.is_some_and(|bytes| !self.pages.belongs(bytes, address)) {
            self.foreign += 1;
            if self.foreign < FOREIGN_MAX {
                return None;
            }
            // It insists. The rest of the record shall not be lost for it.
            taken.bytes = None;
        }
        self.foreign = 0;
        self.fruitless = 0;
        next.start += 1;
        if next.is_empty() {
            self.wanted.pop_front();
        }
        Some(taken)
    }
}

/// Single pages, in order, as ranges.
pub(crate) fn ranges(pages: impl IntoIterator<Item = u64>) -> Vec<Range<u64>> {
    let mut ranges: Vec<Range<u64>> = Vec::new();
    for page in pages {
        match ranges.last_mut() {
            Some(last) if last.end == page => last.end += 1,
            _ => ranges.push(page..page + 1),
        }
    }
    ranges
}

/// The pages of sector `index`.
pub(crate) fn of_sector(index: u32) -> Range<u64> {
    let pages = PAGES_PER_SECTOR as u64;
    u64::from(index) * pages..(u64::from(index) + 1) * pages
}

#[cfg(test)]
#[path = "plan_tests.rs"]
mod tests;
