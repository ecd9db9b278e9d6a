//! Where each page of an archive lies in the file, whatever was taken out of it, put into it or
//! moved about. Pages and sectors carry their own address under a check, so those that can be read
//! say where the others must be.

use super::order;
use pumpwitness_protocol::archive::{ARCHIVE_HEADER_BYTES, TRAILER_BYTES, read_trailer};
use pumpwitness_protocol::page::{
    PAGE_BYTES, PAGES_PER_SECTOR, SECTOR_BYTES, area_start, read_header,
};
use pumpwitness_protocol::sector::{SECTOR_HEADER_BYTES, SectorHeader};
use std::collections::HashMap;
use std::ops::Range;

/// Sectors looked for behind those that the file has room for; more than the largest flash holds.
/// What a file claims beyond is counted, not listed.
const LISTED_BEYOND: u32 = 65_536;
const TRAILER_MAGIC: &[u8] = b"PWARCEND";

/// A page that says where it belongs.
#[derive(Clone, Copy, Debug)]
pub struct Declared {
    /// Byte of the file at which the page begins.
    pub at: usize,
    /// Sector it was written for.
    pub sector: u32,
    /// Page within the sector.
    pub page: u8,
    /// Device, where a sector header says it.
    pub device: Option<[u8; 8]>,
}

/// The end mark.
#[derive(Clone, Copy, Debug)]
pub struct EndMark {
    /// Where it begins.
    pub at: usize,
    /// Number of sectors it gives.
    pub sectors: u32,
    /// Hash it gives of all before.
    pub sha256: [u8; 32],
}

/// Which pages a file should hold.
#[derive(Clone, Copy, Debug)]
pub struct Expected {
    /// First sector.
    pub first: u32,
    /// Number of sectors.
    pub sectors: u32,
}

/// Where a page is.
#[derive(Clone, Copy, Debug)]
pub enum Spot {
    /// Here.
    At(usize),
    /// Here, but something else stands in its place: index into [`Layout::strays`].
    Taken(usize),
    /// Its bytes were taken out of the file.
    Removed,
    /// The file ends before it.
    CutOff,
}

/// A place at which bytes are missing or too many.
#[derive(Clone, Debug)]
pub struct Shift {
    /// Byte of the file.
    pub at: usize,
    /// Bytes put in (positive) or taken out (negative).
    pub by: i64,
    /// Index of the first page behind it.
    pub index: u64,
    /// Indices of pages wholly or partly taken out.
    pub removed: Range<u64>,
    /// What was put in are pages of this record.
    pub repeats: bool,
}

/// Where everything is. Pages are counted from the first of the first sector: their *index*.
#[derive(Debug)]
pub struct Layout {
    /// By index.
    pub spots: Vec<Spot>,
    /// Sectors claimed by the head and not listed in `spots`: nothing of them is in the file.
    pub unlisted: u32,
    /// Pages in places where they do not belong.
    pub strays: Vec<Declared>,
    /// Bytes taken out or put in.
    pub shifts: Vec<Shift>,
    /// Byte behind the last page, by the layout.
    pub end: usize,
}

/// Index of a declared page, when the first sector is `first`; may lie outside the file.
pub fn index_of(declared: &Declared, first: u32) -> i64 {
    (i64::from(declared.sector) - i64::from(first)) * PAGES_PER_SECTOR as i64
        + i64::from(declared.page)
}

/// Byte at which the page of this index lies in an undisturbed file.
pub fn home(index: i64) -> i64 {
    ARCHIVE_HEADER_BYTES as i64 + index * PAGE_BYTES as i64
}

/// The end mark: at the end of the file, or before bytes that were added behind it.
pub fn find_end_mark(file: &[u8]) -> Option<EndMark> {
    let end_mark = |at: usize| {
        let (sectors, sha256) = read_trailer(file.get(at..at + TRAILER_BYTES)?)?;
        Some(EndMark { at, sectors, sha256 })
    };
    let last = file.len().checked_sub(TRAILER_BYTES)?;
    end_mark(last).or_else(|| {
        let body = file.get(ARCHIVE_HEADER_BYTES..)?;
        let found = body.windows(TRAILER_MAGIC.len()).rposition(|bytes| bytes == TRAILER_MAGIC)?;
        end_mark(ARCHIVE_HEADER_BYTES + found)
    })
}

/// Every page in `file[from..to]` that declares its address, in the order of the file.
pub fn scan(file: &[u8], from: usize, to: usize) -> Vec<Declared> {
    let to = to.min(file.len());
    let mut found = Vec::new();
    let mut at = from;
    while at + 2 <= to {
        // Both marks begin with this letter.
        let Some(next) = file[at..to].iter().position(|byte| *byte == b'P') else { break };
        at += next;
        match file.get(at + 1) {
            Some(b'W') => {
                if let Some(header) = SectorHeader::decode(&file[at..to]) {
                    found.push(Declared {
                        at,
                        sector: header.sequence,
                        page: 0,
                        device: Some(header.device),
                    });
                }
            }
            Some(b'G') => found.extend(page_at(file, from, at, to)),
            _ => {}
        }
        at += 1;
    }
    found.sort_by_key(|declared| declared.at);
    found
}

/// The page whose area begins at `area`, unless its sector header declares it already.
fn page_at(file: &[u8], from: usize, area: usize, to: usize) -> Option<Declared> {
    let header = read_header(&file[area..to])?;
    if usize::from(header.address.page) >= PAGES_PER_SECTOR {
        return None;
    }
    let at = area.checked_sub(area_start(header.address.page)).filter(|at| *at >= from)?;
    let declared = header.address.page == 0
        && SectorHeader::decode(&file[at..at + SECTOR_HEADER_BYTES])
            .is_some_and(|sector| sector.sequence == header.address.sector);
    (!declared).then_some(Declared {
        at,
        sector: header.address.sector,
        page: header.address.page,
        device: None,
    })
}

/// What a file without a readable head should hold, by what is in it.
pub fn guess(found: &[Declared], file_bytes: usize, end_mark: Option<&EndMark>) -> Expected {
    let first = found.first().map_or(0, |declared| {
        // Sectors before the first that can be read.
        let before = declared.at.saturating_sub(ARCHIVE_HEADER_BYTES) / SECTOR_BYTES;
        declared.sector.saturating_sub(before as u32)
    });
    let room = file_bytes.saturating_sub(ARCHIVE_HEADER_BYTES) / SECTOR_BYTES;
    Expected { first, sectors: end_mark.map_or(room as u32, |mark| mark.sectors) }
}

/// Lays the pages out. `end` is where the end mark begins, or the end of the file.
pub fn lay_out(
    found: &[Declared],
    expected: Expected,
    end: usize,
    end_mark: Option<&EndMark>,
) -> Layout {
    let room = end.saturating_sub(ARCHIVE_HEADER_BYTES).div_ceil(SECTOR_BYTES) as u32;
    let listed = expected.sectors.min(room.saturating_add(LISTED_BEYOND));
    let pages = listed as usize * PAGES_PER_SECTOR;
    let end_mark = end_mark.filter(|_| listed == expected.sectors);
    // A page whose end is not there is none.
    let found: Vec<(Declared, i64)> = found
        .iter()
        .filter(|declared| declared.at + PAGE_BYTES <= end)
        .map(|declared| (*declared, index_of(declared, expected.first)))
        .collect();
    let end_offset = end_mark.map(|mark| mark.at as i64 - home(pages as i64));
    let in_order = order::in_order(&found, pages, end_offset);
    let mut walk = Walk::new(pages);
    for ((declared, index), in_order) in found.iter().zip(in_order) {
        if in_order {
            walk.take(declared, *index as u64);
        } else {
            walk.strays.push(*declared);
        }
    }
    walk.close(end_mark);
    let mut layout = walk.finish(end);
    // What is not in the file at all needs no list.
    let present = layout
        .spots
        .iter()
        .rposition(|spot| !matches!(spot, Spot::CutOff))
        .map_or(0, |last| last / PAGES_PER_SECTOR + 1);
    layout.spots.truncate(present * PAGES_PER_SECTOR);
    layout.unlisted = expected.sectors - present as u32;
    layout
}

struct Walk {
    spots: Vec<Option<Spot>>,
    /// How far pages lie from home at present.
    offset: i64,
    /// Offsets from which index on.
    segments: Vec<(u64, i64)>,
    /// Index of the first page not yet passed.
    next: u64,
    strays: Vec<Declared>,
    shifts: Vec<Shift>,
}

impl Walk {
    fn new(pages: usize) -> Self {
        Self {
            spots: vec![None; pages],
            offset: 0,
            segments: vec![(0, 0)],
            next: 0,
            strays: Vec::new(),
            shifts: Vec::new(),
        }
    }

    /// Takes a page that is in order, by the index it declares.
    fn take(&mut self, declared: &Declared, index: u64) {
        let offset = declared.at as i64 - home(index as i64);
        if offset != self.offset {
            self.shift(declared.at, index, offset);
        }
        self.spots[index as usize] = Some(Spot::At(declared.at));
        self.next = index + 1;
    }

    /// From `index` on, at byte `at`, pages lie `offset` from home.
    fn shift(&mut self, at: usize, index: u64, offset: i64) {
        let by = offset - self.offset;
        // Of pages without an address, which of them is gone cannot be told.
        let removed = if by <= -(PAGE_BYTES as i64) { self.next..index } else { index..index };
        for gone in removed.clone() {
            self.spots[gone as usize] = Some(Spot::Removed);
        }
        let repeats = self.strays.last().is_some_and(|stray| {
            stray.at + PAGE_BYTES <= at && at - stray.at <= by.max(0) as usize
        });
        self.shifts.push(Shift { at, by, index, removed, repeats });
        self.segments.push((index, offset));
        self.offset = offset;
    }

    fn close(&mut self, end_mark: Option<&EndMark>) {
        let Some(mark) = end_mark else { return };
        let pages = self.spots.len() as u64;
        let offset = mark.at as i64 - home(pages as i64);
        if offset != self.offset {
            self.shift(mark.at, pages, offset);
        }
    }

    fn finish(self, end: usize) -> Layout {
        let strays_at: HashMap<usize, usize> =
            self.strays.iter().enumerate().map(|(n, stray)| (stray.at, n)).collect();
        let mut segments = self.segments.iter().peekable();
        let mut offset = 0;
        let mut last_end = ARCHIVE_HEADER_BYTES;
        let mut spots = Vec::with_capacity(self.spots.len());
        for (index, spot) in self.spots.into_iter().enumerate() {
            while let Some((_, here)) = segments.next_if(|(from, _)| *from <= index as u64) {
                offset = *here;
            }
            let spot = spot.unwrap_or_else(|| {
                let at = home(index as i64) + offset;
                let Ok(at) = usize::try_from(at) else { return Spot::CutOff };
                if at < ARCHIVE_HEADER_BYTES || at + PAGE_BYTES > end {
                    return Spot::CutOff;
                }
                strays_at.get(&at).map_or(Spot::At(at), |stray| Spot::Taken(*stray))
            });
            if let Spot::At(at) = spot {
                last_end = last_end.max(at + PAGE_BYTES);
            } else if let Spot::Taken(stray) = spot {
                last_end = last_end.max(self.strays[stray].at + PAGE_BYTES);
            }
            spots.push(spot);
        }
        Layout { spots, unlisted: 0, strays: self.strays, shifts: self.shifts, end: last_end }
    }
}
