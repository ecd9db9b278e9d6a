//! The ring: records into pages, pages into sectors, the oldest sector overwritten first.
//!
//! A page is built in memory and programmed chunk by chunk; what [`Journal::commit`] has programmed
//! is safe. A mounted journal never goes on in a sector of the boot before, whose tail may be torn
//! in ways a read does not show: it opens the next one. That costs at most one sector a boot and
//! buys that flash is never programmed over half-programmed bits.
//!
//! A sector whose erasure or programming does not read back is passed over; it is tried again when
//! the ring comes round, and passed over again if it fails again.

use crate::error::Error;
use crate::slots::SLOTS;
use embedded_storage_async::nor_flash::NorFlash;
use pumpwitness_protocol::codec::EncodeError;
use pumpwitness_protocol::message::{PageAddress, SnapshotRange, Status};
use pumpwitness_protocol::page::{
    PAGE_BYTES, PAGES_PER_SECTOR, PageWriter, SECTOR_BYTES, read_page,
};
use pumpwitness_protocol::record::Record;
use pumpwitness_protocol::sector::{SECTOR_HEADER_BYTES, SectorHeader};
use pumpwitness_protocol::settings::WhenFull;
use sha2::{Digest, Sha256};

/// Fewest sectors of a ring: one being written, one being erased, one to read.
const PLACES_MIN: u32 = 3;
/// Bytes read at once when a sector is hashed or checked.
const PIECE: usize = 256;

/// A sector of the ring and where it lies.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Held {
    sequence: u32,
    place: u32,
}

/// The page being built.
struct Open {
    held: Held,
    page: PageWriter,
    /// Records pushed into the page, and those of them that were programmed.
    pushed: usize,
    programmed: usize,
}

/// The journal over a flash.
pub struct Journal<F> {
    flash: F,
    device: [u8; 8],
    places: u32,
    boot: u16,
    when_full: WhenFull,
    oldest: Option<Held>,
    newest: Option<Held>,
    open: Option<Open>,
    /// Sectors up to this one may be overwritten although the oldest are kept.
    released: Option<u32>,
    records: u32,
    sectors_bad: u32,
    pages_damaged: u32,
    full: bool,
}

impl<F: NorFlash> Journal<F> {
    /// Finds the ring in `flash`. Reads one header a sector, and once more those of the sectors
    /// held.
    pub async fn mount(mut flash: F, device: [u8; 8]) -> Result<Self, Error<F::Error>> {
        let sectors = u32::try_from(flash.capacity() / SECTOR_BYTES).unwrap_or(u32::MAX);
        let fits = SECTOR_BYTES.is_multiple_of(F::ERASE_SIZE)
            && matches!(F::WRITE_SIZE, 1 | 2 | 4 | 8 | 16)
            && matches!(F::READ_SIZE, 1 | 2 | 4 | 8 | 16);
        if !fits || sectors < SLOTS + PLACES_MIN {
            return Err(Error::Geometry);
        }
        let places = sectors - SLOTS;
        let mut newest: Option<Held> = None;
        let mut boot = 0;
        let mut pages_damaged = 0;
        for place in 0..places {
            match read_header(&mut flash, place, device).await? {
                Head::Of(header) => {
                    boot = boot.max(header.boot);
                    if newest.is_none_or(|newest| header.sequence > newest.sequence) {
                        newest = Some(Held { sequence: header.sequence, place });
                    }
                }
                Head::Garbage => pages_damaged += PAGES_PER_SECTOR as u32,
                Head::Blank => {}
            }
        }
        let mut journal = Self {
            flash,
            device,
            places,
            boot: boot.wrapping_add(1),
            when_full: WhenFull::KeepNewest,
            oldest: newest,
            newest,
            open: None,
            released: None,
            records: 0,
            sectors_bad: 0,
            pages_damaged,
            full: false,
        };
        journal.find_oldest().await?;
        Ok(journal)
    }

    /// Walks back from the newest sector as long as the sequence is unbroken. A place that does not
    /// continue it is passed over: it may be a bad one that still shows what it held before.
    async fn find_oldest(&mut self) -> Result<(), Error<F::Error>> {
        let Some(mut oldest) = self.newest else { return Ok(()) };
        let mut place = oldest.place;
        for _ in 1..self.places {
            place = (place + self.places - 1) % self.places;
            let head = read_header(&mut self.flash, place, self.device).await?;
            if let Head::Of(header) = head
                && Some(header.sequence) == oldest.sequence.checked_sub(1)
            {
                oldest = Held { sequence: header.sequence, place };
            }
        }
        self.oldest = Some(oldest);
        Ok(())
    }

    /// Number of this start: one more than the highest in the flash.
    pub fn boot(&self) -> u16 {
        self.boot
    }

    /// The flash.
    pub fn flash(&self) -> &F {
        &self.flash
    }

    pub(crate) fn flash_mut(&mut self) -> &mut F {
        &mut self.flash
    }

    /// Gives the flash back; what was not committed is lost.
    pub fn into_flash(self) -> F {
        self.flash
    }

    /// What to do when the ring is full.
    pub fn set_when_full(&mut self, when_full: WhenFull) {
        self.when_full = when_full;
    }

    /// Memory figures; the counters of the recorder are left at 0.
    pub fn status(&self) -> Status {
        let (oldest, newest) = (self.oldest, self.newest);
        Status {
            sectors: self.places,
            sectors_used: match (oldest, newest) {
                (Some(oldest), Some(newest)) => newest.sequence - oldest.sequence + 1,
                _ => 0,
            },
            sectors_bad: self.sectors_bad,
            oldest_sector: oldest.map_or(0, |held| held.sequence),
            newest_sector: newest.map_or(0, |held| held.sequence),
            records: self.records,
            pages_damaged: self.pages_damaged,
            full: self.full,
            ..Status::default()
        }
    }

    /// Appends a record to the page in memory; older pages are programmed as they fill up.
    /// `now_ms` (ms since 1970) dates pages and sectors.
    pub async fn append(&mut self, record: &Record, now_ms: i64) -> Result<(), Error<F::Error>> {
        // In the worst case: a page that is full, the last of its sector, then a fresh one.
        for _ in 0..3 {
            let Some(open) = &mut self.open else {
                self.open_sector(now_ms).await?;
                continue;
            };
            match open.page.push(record) {
                Ok(()) => {
                    open.pushed += 1;
                    self.records = self.records.saturating_add(1);
                    return Ok(());
                }
                Err(EncodeError::MarkTooLong) => return Err(Error::RecordTooLong),
                Err(EncodeError::NoRoom) if open.pushed == 0 => return Err(Error::RecordTooLong),
                Err(EncodeError::NoRoom) => {}
            }
            self.commit(now_ms).await?;
            self.turn_page(now_ms);
        }
        Err(Error::LogicBug)
    }

    /// Programs what is in memory. What was appended before is then safe from power cuts.
    pub async fn commit(&mut self, now_ms: i64) -> Result<(), Error<F::Error>> {
        // One try for each sector that may turn out bad on the way.
        for _ in 0..self.places {
            match &self.open {
                Some(open) if open.page.pending() => {}
                _ => return Ok(()),
            }
            if self.program_chunk().await {
                return Ok(());
            }
            self.sectors_bad += 1;
            self.rescue(now_ms).await?;
        }
        Err(Error::Worn)
    }

    /// Programs the open chunk and reads it back; false when it did not stand.
    async fn program_chunk(&mut self) -> bool {
        let Some(open) = &mut self.open else { return false };
        let Some(range) = open.page.close_chunk() else { return false };
        let page = u32::from(open.page.address().page) * PAGE_BYTES as u32;
        let address = place_address(open.held.place) + page + range.start as u32;
        let bytes = &open.page.bytes()[range];
        if self.flash.write(address, bytes).await.is_err() {
            return false;
        }
        let stands = reads_back(&mut self.flash, address, bytes).await;
        if stands {
            open.programmed = open.pushed;
        }
        stands
    }

    /// Carries the records of a chunk that did not stand into a new sector.
    async fn rescue(&mut self, now_ms: i64) -> Result<(), Error<F::Error>> {
        let Some(failed) = self.open.take() else { return Err(Error::LogicBug) };
        self.open_sector(now_ms).await?;
        let Some(open) = &mut self.open else { return Err(Error::LogicBug) };
        let mut index = 0;
        let mut lost = false;
        read_page(failed.page.bytes(), failed.page.address(), F::WRITE_SIZE, |record| {
            index += 1;
            if index > failed.programmed {
                // A chunk is part of a page; only one that filled its page may not fit again.
                match open.page.push(&record) {
                    Ok(()) => open.pushed += 1,
                    Err(_) => lost = true,
                }
            }
        });
        if lost { Err(Error::Worn) } else { Ok(()) }
    }

    fn turn_page(&mut self, now_ms: i64) {
        let Some(open) = &mut self.open else { return };
        let page = open.page.address().page + 1;
        if usize::from(page) == PAGES_PER_SECTOR {
            self.open = None;
            return;
        }
        let address = PageAddress { sector: open.held.sequence, page };
        open.page = PageWriter::new(address, F::WRITE_SIZE, self.boot, now_ms);
        open.pushed = 0;
        open.programmed = 0;
    }

    /// Erases the next sector that takes it and heads it with the hash of the one before.
    async fn open_sector(&mut self, now_ms: i64) -> Result<(), Error<F::Error>> {
        let (sequence, previous, mut place) = match self.newest {
            None => (0, [0; 32], 0),
            Some(newest) => (
                newest.sequence.checked_add(1).ok_or(Error::SequenceExhausted)?,
                self.hash(newest.place).await?,
                (newest.place + 1) % self.places,
            ),
        };
        for _ in 0..self.places {
            self.make_room_at(place).await?;
            let before = read_header(&mut self.flash, place, self.device).await?;
            let header = SectorHeader {
                align: F::WRITE_SIZE as u8,
                sequence,
                device: self.device,
                previous,
                erased: match before {
                    Head::Of(header) => header.erased.saturating_add(1),
                    Head::Garbage | Head::Blank => 1,
                },
                boot: self.boot,
                opened_ms: now_ms,
            };
            if self.prepare(place, &header).await {
                let held = Held { sequence, place };
                self.newest = Some(held);
                self.oldest = self.oldest.or(Some(held));
                self.full = false;
                let address = PageAddress { sector: sequence, page: 0 };
                let page = PageWriter::new(address, F::WRITE_SIZE, self.boot, now_ms);
                self.open = Some(Open { held, page, pushed: 0, programmed: 0 });
                return Ok(());
            }
            self.sectors_bad += 1;
            place = (place + 1) % self.places;
        }
        Err(Error::Worn)
    }

    /// Gives up the oldest sector if it lies at `place`.
    async fn make_room_at(&mut self, place: u32) -> Result<(), Error<F::Error>> {
        let (Some(oldest), Some(newest)) = (self.oldest, self.newest) else { return Ok(()) };
        if oldest.place != place {
            return Ok(());
        }
        let released = self.released.is_some_and(|up_to| oldest.sequence <= up_to);
        if self.when_full == WhenFull::KeepOldest && !released {
            self.full = true;
            return Err(Error::Full);
        }
        let mut next = place;
        for _ in 1..self.places {
            next = (next + 1) % self.places;
            let head = read_header(&mut self.flash, next, self.device).await?;
            if let Head::Of(header) = head
                && header.sequence == oldest.sequence.wrapping_add(1)
            {
                self.oldest = Some(Held { sequence: header.sequence, place: next });
                return Ok(());
            }
        }
        self.oldest = Some(newest);
        Ok(())
    }

    /// Erases `place` and programs `header`; false when either does not read back.
    async fn prepare(&mut self, place: u32, header: &SectorHeader) -> bool {
        let address = place_address(place);
        let end = address + SECTOR_BYTES as u32;
        if self.flash.erase(address, end).await.is_err() {
            return false;
        }
        for at in (address..end).step_by(PIECE) {
            if !reads_back(&mut self.flash, at, &[0xFF; PIECE]).await {
                return false;
            }
        }
        let bytes = header.encode();
        self.flash.write(address, &bytes).await.is_ok()
            && reads_back(&mut self.flash, address, &bytes).await
    }

    /// SHA-256 of a whole sector as it stands.
    async fn hash(&mut self, place: u32) -> Result<[u8; 32], Error<F::Error>> {
        let mut hash = Sha256::new();
        let mut piece = [0; PIECE];
        let address = place_address(place);
        for at in (address..address + SECTOR_BYTES as u32).step_by(PIECE) {
            read(&mut self.flash, at, &mut piece).await?;
            hash.update(piece);
        }
        Ok(hash.finalize().into())
    }

    /// Closes the sector being written, so that a download may read it, and names those closed.
    pub async fn close_sector(&mut self, now_ms: i64) -> Result<SnapshotRange, Error<F::Error>> {
        self.commit(now_ms).await?;
        if self.newest.is_none() {
            self.open_sector(now_ms).await?;
        }
        self.open = None;
        let (Some(oldest), Some(newest)) = (self.oldest, self.newest) else {
            return Err(Error::LogicBug);
        };
        Ok(SnapshotRange {
            first_sector: oldest.sequence,
            last_sector: newest.sequence,
            clock_ms: now_ms,
        })
    }

    /// Reads a page into `out`; false when the ring does not hold it (any more).
    pub async fn read_page(
        &mut self,
        address: PageAddress,
        out: &mut [u8; PAGE_BYTES],
    ) -> Result<bool, Error<F::Error>> {
        let (Some(oldest), Some(newest)) = (self.oldest, self.newest) else { return Ok(false) };
        let held = (oldest.sequence..=newest.sequence).contains(&address.sector);
        if !held || usize::from(address.page) >= PAGES_PER_SECTOR {
            return Ok(false);
        }
        // Where it lies if no place was passed over since; else further back.
        let back = (newest.sequence - address.sector) % self.places;
        let mut place = (newest.place + self.places - back) % self.places;
        for _ in 0..self.places {
            let head = read_header(&mut self.flash, place, self.device).await?;
            if let Head::Of(header) = head
                && header.sequence == address.sector
            {
                let page = u32::from(address.page) * PAGE_BYTES as u32;
                read(&mut self.flash, place_address(place) + page, out).await?;
                return Ok(true);
            }
            place = (place + self.places - 1) % self.places;
        }
        Ok(false)
    }

    /// Sectors up to `sector` are safe elsewhere: they may be overwritten even where the oldest are
    /// kept.
    pub fn release(&mut self, sector: u32) {
        self.released = Some(self.released.map_or(sector, |before| before.max(sector)));
        self.full = false;
    }
}

/// What stands at the head of a sector.
enum Head {
    /// A header of this device.
    Of(SectorHeader),
    /// Nothing.
    Blank,
    /// Something else.
    Garbage,
}

async fn read_header<F: NorFlash>(
    flash: &mut F,
    place: u32,
    device: [u8; 8],
) -> Result<Head, Error<F::Error>> {
    let mut bytes = [0; SECTOR_HEADER_BYTES];
    read(flash, place_address(place), &mut bytes).await?;
    Ok(match SectorHeader::decode(&bytes) {
        Some(header) if header.device == device => Head::Of(header),
        None if bytes == [0xFF; SECTOR_HEADER_BYTES] => Head::Blank,
        _ => Head::Garbage,
    })
}

/// Whether the flash now reads as `bytes` from `address` on.
async fn reads_back<F: NorFlash>(flash: &mut F, address: u32, bytes: &[u8]) -> bool {
    let mut piece = [0; PIECE];
    let mut at = address;
    for expected in bytes.chunks(PIECE) {
        let got = &mut piece[..expected.len()];
        if flash.read(at, got).await.is_err() || got != expected {
            return false;
        }
        at += expected.len() as u32;
    }
    true
}

/// Reads, with the address in the error.
pub(crate) async fn read<F: NorFlash>(
    flash: &mut F,
    address: u32,
    bytes: &mut [u8],
) -> Result<(), Error<F::Error>> {
    flash.read(address, bytes).await.map_err(|inner| Error::Flash { address, inner })
}

/// Address of a place of the ring.
const fn place_address(place: u32) -> u32 {
    (place + SLOTS) * SECTOR_BYTES as u32
}
