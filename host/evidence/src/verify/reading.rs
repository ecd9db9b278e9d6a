//! Each page and sector by its own checks, and what the record says about seals and the clock.

use super::layout::{Declared, Expected, Layout, Spot};
use crate::outcome::{Part, Place};
use pumpwitness_protocol::message::PageAddress;
use pumpwitness_protocol::page::{
    PAGE_BYTES, PAGES_PER_SECTOR, PageState, area_start, read_header, read_page,
};
use pumpwitness_protocol::record::{Mark, Record};
use pumpwitness_protocol::seal::Seal;
use pumpwitness_protocol::sector::SectorHeader;
use sha2::{Digest, Sha256};

/// A page by its own checks.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum OwnCheck {
    /// All pass.
    Good,
    /// Never written.
    Blank,
    /// They fail from this byte of the page on.
    Torn(usize),
    /// Nothing in it is believed.
    Damaged,
    /// All zeros: the file gives it as no longer held by the logger.
    Gone,
    /// Passes, but was written in another start of the logger than its sector.
    OtherBoot,
    /// Something else stands here: index into the layout's strays.
    Taken(usize),
    /// Taken out of the file.
    Removed,
    /// Behind the end of the file.
    CutOff,
}

impl OwnCheck {
    /// True when the page's bytes are in the file, whatever they are worth.
    pub fn in_place(self) -> bool {
        matches!(self, Self::Good | Self::Blank | Self::Torn(_) | Self::Damaged | Self::OtherBoot)
    }
}

/// A page of the file.
#[derive(Clone, Copy, Debug)]
pub struct ReadPage {
    /// By its own checks.
    pub own: OwnCheck,
    /// Where it lies; 0 when it does not.
    pub at: usize,
}

/// A sector of the file.
#[derive(Clone, Debug)]
pub struct ReadSector {
    /// Its number.
    pub sequence: u32,
    /// Its header, if it passes its check and is that of this sector.
    pub header: Option<SectorHeader>,
    /// The header passes, but is of another device.
    pub foreign: bool,
    /// Its pages.
    pub pages: [ReadPage; PAGES_PER_SECTOR],
    /// Its hash, when all four pages are in the file.
    pub sha256: Option<[u8; 32]>,
}

/// A moment the record tells about the clock, in the order of the file.
#[derive(Clone, Copy, Debug)]
pub enum Tick {
    /// A page was begun at this time.
    Page {
        /// Base time.
        time_ms: i64,
        /// Boot.
        boot: u16,
    },
    /// The clock was set.
    Set {
        /// What it showed before.
        before_ms: i64,
        /// What it was set to.
        after_ms: i64,
    },
    /// Recording was armed.
    Armed {
        /// When.
        time_ms: i64,
    },
}

/// All that was read.
#[derive(Debug, Default)]
pub struct Reading {
    /// Sectors.
    pub sectors: Vec<ReadSector>,
    /// Seals in the record, each with its page.
    pub seals: Vec<(Place, Seal)>,
    /// What the record tells about the clock, each with its page.
    pub ticks: Vec<(Place, Tick)>,
    /// Starts of the logger that the record tells of, each with the version of its program.
    pub starts: Vec<(u16, [u8; 3])>,
}

/// Place of a page.
pub fn place_of(sequence: u32, page: u8, at: usize) -> Place {
    Place {
        part: Part::Record,
        sector: Some(sequence),
        page: Some(page),
        byte: at as u64,
        bytes: PAGE_BYTES as u64,
    }
}

/// Reads every page where the layout says it is. `collected`: the boot in which the record was
/// collected, where the head of the file says it.
pub fn read(
    file: &[u8],
    layout: &Layout,
    expected: Expected,
    device: [u8; 8],
    collected: Option<u16>,
) -> Reading {
    let mut reading = Reading::default();
    let mut align = 1;
    for (n, spots) in layout.spots.chunks_exact(PAGES_PER_SECTOR).enumerate() {
        let sequence = expected.first.wrapping_add(n as u32);
        let sector = read_sector(file, sequence, spots, device, &mut align, &mut reading);
        reading.sectors.push(sector);
    }
    find_other_boots(file, &mut reading.sectors, collected);
    reading
}

/// Tells pages of another start than can have written there: starts follow each other, and a later
/// one goes on in a sector only when the supply was lost in good order (FORMAT.md §8). None is later
/// than the one in which the record was `collected`.
fn find_other_boots(file: &[u8], sectors: &mut [ReadSector], collected: Option<u16>) {
    // Boots are counted modulo 2¹⁶.
    let earlier = |boot: u16, than: u16| (boot.wrapping_sub(than) as i16) < 0;
    for n in 0..sectors.len() {
        let next = match sectors.get(n + 1) {
            Some(next) => next.header.map(|next| next.boot),
            None => collected,
        };
        let ReadSector { header: Some(header), foreign: false, pages, .. } = &mut sectors[n] else {
            continue;
        };
        let mut boots = [None; PAGES_PER_SECTOR];
        for ((page, read), boot) in (0..).zip(pages.iter()).zip(&mut boots) {
            if matches!(read.own, OwnCheck::Good | OwnCheck::Torn(_)) {
                *boot = read_header(&file[read.at + area_start(page)..]).map(|found| found.boot);
            }
        }
        for (page, read) in pages.iter_mut().enumerate() {
            let Some(boot) = boots[page] else { continue };
            let mut later = boots[page + 1..].iter().copied().flatten().chain(next);
            if earlier(boot, header.boot) || later.any(|later| earlier(later, boot)) {
                read.own = OwnCheck::OtherBoot;
            }
        }
    }
}

fn read_sector(
    file: &[u8],
    sequence: u32,
    spots: &[Spot],
    device: [u8; 8],
    align: &mut u8,
    reading: &mut Reading,
) -> ReadSector {
    let decoded = match spots[0] {
        Spot::At(at) => SectorHeader::decode(&file[at..at + PAGE_BYTES]),
        _ => None,
    };
    let foreign = decoded.is_some_and(|header| header.device != device);
    let header = decoded.filter(|header| header.sequence == sequence && !foreign);
    if let Some(header) = &header {
        *align = header.align;
    }
    let mut hash = Sha256::new();
    let mut pages = [ReadPage { own: OwnCheck::CutOff, at: 0 }; PAGES_PER_SECTOR];
    for (page, (spot, read)) in spots.iter().zip(&mut pages).enumerate() {
        *read = match spot {
            Spot::At(at) => {
                let bytes = &file[*at..*at + PAGE_BYTES];
                hash.update(bytes);
                let address = PageAddress { sector: sequence, page: page as u8 };
                // Of a sector of another device nothing is to be told here.
                let visitor = (!foreign).then_some(&mut *reading);
                let own = own_check(bytes, address, usize::from(*align), *at, visitor);
                ReadPage { own, at: *at }
            }
            Spot::Taken(stray) => ReadPage { own: OwnCheck::Taken(*stray), at: 0 },
            Spot::Removed => ReadPage { own: OwnCheck::Removed, at: 0 },
            Spot::CutOff => ReadPage { own: OwnCheck::CutOff, at: 0 },
        };
    }
    let whole = pages.iter().all(|page| page.own.in_place());
    ReadSector { sequence, header, foreign, pages, sha256: whole.then(|| hash.finalize().into()) }
}

fn own_check(
    bytes: &[u8],
    address: PageAddress,
    align: usize,
    at: usize,
    reading: Option<&mut Reading>,
) -> OwnCheck {
    if bytes.iter().all(|byte| *byte == 0) {
        return OwnCheck::Gone;
    }
    let Ok(bytes) = bytes.try_into() else { return OwnCheck::Damaged };
    let place = place_of(address.sector, address.page, at);
    let (mut seals, mut ticks, mut starts) = (Vec::new(), Vec::new(), Vec::new());
    let state = read_page(bytes, address, align, |record| {
        let Record::Mark(mark) = record else { return };
        match mark.mark {
            Mark::Seal(seal) => seals.push((place, seal)),
            Mark::ClockSet { before_ms } => {
                ticks.push((place, Tick::Set { before_ms, after_ms: mark.time_ms }));
            }
            Mark::Armed => ticks.push((place, Tick::Armed { time_ms: mark.time_ms })),
            Mark::Boot { boot, firmware, .. } => starts.push((boot, firmware)),
            _ => {}
        }
    });
    let (own, header) = match state {
        PageState::Blank => return OwnCheck::Blank,
        PageState::Damaged => return OwnCheck::Damaged,
        PageState::Good { header } => (OwnCheck::Good, header),
        PageState::Torn { header, at } => (OwnCheck::Torn(at), header),
    };
    if let Some(reading) = reading {
        let tick = Tick::Page { time_ms: header.base_ms, boot: header.boot };
        reading.ticks.push((place, tick));
        reading.ticks.append(&mut ticks);
        reading.seals.append(&mut seals);
        reading.starts.append(&mut starts);
    }
    own
}

/// What a stray page is called.
pub fn name_of(stray: &Declared) -> String {
    format!("page {} of sector {}", stray.page, stray.sector)
}
