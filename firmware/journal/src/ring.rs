//! The ring: records into pages, pages into sectors, the oldest sector overwritten first.
//!
//! A page is built in memory and programmed chunk by chunk; what [`Journal::commit`] has programmed
//! is safe. A mounted journal never goes on in a sector of the boot before: the page under way when
//! the power went, and the one behind it, may hold half-programmed bits that read as erased, so
//! blank is not proof. It opens the next sector, which costs at most one a boot, and flash is never
//! programmed over half-programmed bits.
//!
//! A new sector goes to the next place round the ring, so that all wear alike. It is erased even
//! where it reads blank (an erasure may have been cut short), and both erasure and header are read
//! back. A place that fails, then or while its pages are programmed, is passed over from then on
//! (`place.rs`); its records that did not stand are still in memory and go to the next place, and
//! what stood in it before is read as long as the ring holds it.
//!
//! Sequence numbers do not wrap: 2³² sectors are more than a flash lives for (4096 sectors, each
//! erased a million times), and after the last one appending ends with
//! [`Error::SequenceExhausted`].

mod mount;
mod place;

use crate::error::Error;
use core::ops::Range;
use embedded_storage_async::nor_flash::NorFlash;
use place::{BadPlaces, Head, Held, PIECE, is_blank, place_address, read_header, reads_back};
use pumpwitness_protocol::codec::EncodeError;
use pumpwitness_protocol::message::{PageAddress, SnapshotRange, Status};
use pumpwitness_protocol::page::{
    PAGE_BYTES, PAGES_PER_SECTOR, PageWriter, SECTOR_BYTES, read_page,
};
use pumpwitness_protocol::record::Record;
use pumpwitness_protocol::sector::SectorHeader;
use pumpwitness_protocol::settings::WhenFull;
use sha2::{Digest, Sha256};

pub(crate) use place::read;

/// Fewest sectors of a ring: one being written, one being erased, one to read.
const PLACES_MIN: u32 = 3;

/// The page being built.
struct Open {
    held: Held,
    page: PageWriter,
    /// Records pushed into the page, and those of them that are seen to stand in the flash.
    pushed: usize,
    stand: usize,
    /// Bytes of the page that were programmed and not yet seen to stand.
    doubtful: Option<Range<usize>>,
}

impl Open {
    fn new(held: Held, page: PageWriter) -> Self {
        Self { held, page, pushed: 0, stand: 0, doubtful: None }
    }
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
    /// Times the newest sector has been erased.
    wear: u32,
    open: Option<Open>,
    /// Sectors up to this one may be overwritten although the oldest are kept.
    released: Option<u32>,
    bad: BadPlaces,
    records: u32,
    pages_damaged: u32,
    full: bool,
}

impl<F: NorFlash> Journal<F> {
    /// Number of this start: one more than that of the newest sector in the flash.
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
        self.full &= when_full == WhenFull::KeepOldest;
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
            sectors_bad: self.bad.count(),
            oldest_sector: oldest.map_or(0, |held| held.sequence),
            newest_sector: newest.map_or(0, |held| held.sequence),
            records: self.records,
            pages_damaged: self.pages_damaged,
            full: self.full,
            ..Status::default()
        }
    }

    /// Appends a record to the page in memory; older pages are programmed as they fill up.
    /// `now_ms` (ms since 1970) dates pages and sectors. When this fails the record was not taken;
    /// those before it are still in memory or in the flash.
    pub async fn append(&mut self, record: &Record, now_ms: i64) -> Result<(), Error<F::Error>> {
        // In the worst case: a page that is full, the last of its sector, then a fresh one.
        for _ in 0..3 {
            if self.open.as_ref().is_some_and(|open| open.doubtful.is_some()) {
                self.commit(now_ms).await?;
            }
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

    /// Programs what is in memory. What was appended before is then safe from power cuts. When this
    /// fails it is still in memory, and the next commit tries again.
    pub async fn commit(&mut self, now_ms: i64) -> Result<(), Error<F::Error>> {
        // One try for each sector that may turn out bad on the way.
        for _ in 0..=self.places {
            if self.program_chunk().await? {
                return Ok(());
            }
            self.rescue(now_ms).await?;
        }
        Err(Error::Worn)
    }

    /// Programs the open chunk, if it has records, and reads it back; false when it did not stand.
    /// What the driver says of the programming does not count, only what the flash then holds:
    /// records that stand must not be stored again elsewhere.
    async fn program_chunk(&mut self) -> Result<bool, Error<F::Error>> {
        let Some(open) = &mut self.open else { return Ok(true) };
        let page = u32::from(open.page.address().page) * PAGE_BYTES as u32;
        let address = place_address(open.held.place) + page;
        let range = if let Some(range) = &open.doubtful {
            range.clone()
        } else {
            if !open.page.pending() {
                return Ok(true);
            }
            let Some(range) = open.page.close_chunk() else { return Err(Error::LogicBug) };
            open.doubtful = Some(range.clone());
            let bytes = &open.page.bytes()[range.clone()];
            let _ = self.flash.write(address + range.start as u32, bytes).await;
            range
        };
        let at = address + range.start as u32;
        let stands = reads_back(&mut self.flash, at, &open.page.bytes()[range]).await?;
        if stands {
            open.stand = open.pushed;
            open.doubtful = None;
        } else {
            self.bad.note(open.held.place);
        }
        Ok(stands)
    }

    /// Carries the records that did not stand into a new sector. Where there is none they stay
    /// where they are.
    async fn rescue(&mut self, now_ms: i64) -> Result<(), Error<F::Error>> {
        let Some(mut failed) = self.open.take() else { return Err(Error::LogicBug) };
        let outcome = self.carry(&mut failed, now_ms).await;
        if outcome.is_err() {
            self.open = Some(failed);
        }
        outcome
    }

    /// Moves what did not stand of `failed` into the open page of a new sector; what fills a page
    /// (the first of a sector is smaller than the others) is programmed on the way.
    async fn carry(&mut self, failed: &mut Open, now_ms: i64) -> Result<(), Error<F::Error>> {
        for _ in 0..=self.places {
            self.open_sector(now_ms).await?;
            loop {
                let Some(open) = &mut self.open else { return Err(Error::LogicBug) };
                let (mut index, mut fits) = (0, true);
                let stand = failed.stand;
                read_page(failed.page.bytes(), failed.page.address(), F::WRITE_SIZE, |record| {
                    index += 1;
                    if index > stand && fits {
                        fits = open.page.push(&record).is_ok();
                        open.pushed += usize::from(fits);
                    }
                });
                let moved = open.pushed;
                if fits {
                    return Ok(());
                }
                if moved == 0 {
                    return Err(Error::LogicBug);
                }
                if !self.program_chunk().await? {
                    break;
                }
                failed.stand += moved;
                self.turn_page(now_ms);
            }
        }
        Err(Error::Worn)
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
        open.stand = 0;
    }

    /// Erases the next sector that takes it and heads it with the hash of the one before.
    async fn open_sector(&mut self, now_ms: i64) -> Result<(), Error<F::Error>> {
        let places = self.places;
        let (sequence, first, tries) = match self.newest {
            None => (0, 0, places),
            Some(newest) => (
                newest.sequence.checked_add(1).ok_or(Error::SequenceExhausted)?,
                newest.place + 1,
                // The newest itself is not given up.
                places - 1,
            ),
        };
        let mut previous = None;
        for place in (first..first + tries).map(|place| place % places) {
            self.make_room_at(place).await?;
            if self.bad.contains(place) {
                continue;
            }
            let hash = match (previous, self.newest) {
                (Some(hash), _) => hash,
                (None, Some(newest)) => self.hash(newest.place).await?,
                (None, None) => [0; 32],
            };
            previous = Some(hash);
            let header = SectorHeader {
                align: F::WRITE_SIZE as u8,
                sequence,
                device: self.device,
                previous: hash,
                erased: self.erased_before(place).await?.saturating_add(1),
                boot: self.boot,
                opened_ms: now_ms,
            };
            if self.prepare(place, &header).await? {
                let held = Held { sequence, place };
                self.newest = Some(held);
                self.oldest = self.oldest.or(Some(held));
                self.wear = header.erased;
                self.full = false;
                let address = PageAddress { sector: sequence, page: 0 };
                let page = PageWriter::new(address, F::WRITE_SIZE, self.boot, now_ms);
                self.open = Some(Open::new(held, page));
                return Ok(());
            }
            self.bad.note(place);
        }
        Err(Error::Worn)
    }

    /// Times the sector at `place` has been erased, by its header. One whose header was lost with a
    /// torn erasure is taken to have come as far as the sector before it, all wearing alike.
    async fn erased_before(&mut self, place: u32) -> Result<u32, Error<F::Error>> {
        Ok(match read_header(&mut self.flash, place, self.device).await? {
            Head::Of(header) | Head::Foreign(header) => header.erased,
            Head::Garbage | Head::Blank => self.wear.saturating_sub(1),
        })
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
        self.oldest = Some(newest);
        for further in 1..self.places {
            let next = (place + further) % self.places;
            let head = read_header(&mut self.flash, next, self.device).await?;
            if let Head::Of(header) = head
                && header.sequence > oldest.sequence
                && newest.continues(header.sequence, next, self.places)
            {
                self.oldest = Some(Held { sequence: header.sequence, place: next });
                break;
            }
        }
        Ok(())
    }

    /// Erases `place` and programs `header`; false when either does not read back.
    async fn prepare(
        &mut self,
        place: u32,
        header: &SectorHeader,
    ) -> Result<bool, Error<F::Error>> {
        let address = place_address(place);
        // One that reads blank although erasing failed may not keep what is programmed into it.
        let erased = self.flash.erase(address, address + SECTOR_BYTES as u32).await.is_ok();
        if !is_blank(&mut self.flash, place).await? || !erased {
            return Ok(false);
        }
        let bytes = header.encode();
        let _ = self.flash.write(address, &bytes).await;
        reads_back(&mut self.flash, address, &bytes).await
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
    /// Records for which a full or worn flash has no room stay in memory.
    pub async fn close_sector(&mut self, now_ms: i64) -> Result<SnapshotRange, Error<F::Error>> {
        match self.commit(now_ms).await {
            Ok(()) => self.open = None,
            // Only a page that waits for another sector ends so: nothing goes on in this one.
            Err(Error::Full | Error::Worn) => {}
            Err(error) => return Err(error),
        }
        if self.newest.is_none() {
            self.open_sector(now_ms).await?;
            self.open = None;
        }
        let (Some(oldest), Some(newest)) = (self.oldest, self.newest) else {
            return Err(Error::LogicBug);
        };
        Ok(SnapshotRange {
            first_sector: oldest.sequence,
            last_sector: newest.sequence,
            clock_ms: now_ms,
        })
    }

    /// The newest sector that nothing is written to any more, and the SHA-256 of its 4096 bytes;
    /// `None` where there is none. While another is being written it is the hash that one was
    /// headed with: what the chain holds it to.
    pub async fn newest_closed(&mut self) -> Result<Option<(u32, [u8; 32])>, Error<F::Error>> {
        let Some(newest) = self.newest else { return Ok(None) };
        if self.open.is_none() {
            return Ok(Some((newest.sequence, self.hash(newest.place).await?)));
        }
        let Some(before) = newest.sequence.checked_sub(1) else { return Ok(None) };
        Ok(match read_header(&mut self.flash, newest.place, self.device).await? {
            Head::Of(header) if before >= self.oldest.map_or(0, |held| held.sequence) => {
                Some((before, header.previous))
            }
            _ => None,
        })
    }

    /// Sequence of the sector that [`Self::newest_closed`] would name.
    pub fn newest_closed_sequence(&self) -> Option<u32> {
        let newest = self.newest?.sequence;
        if self.open.is_none() { Some(newest) } else { newest.checked_sub(1) }
    }

    /// Reads a page into `out`, of the sector being written what is programmed so far; false when
    /// the ring does not hold it (any more).
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
        for back in newest.sequence - address.sector..self.places {
            let place = (newest.place + self.places - back) % self.places;
            let head = read_header(&mut self.flash, place, self.device).await?;
            let Head::Of(header) = head else { continue };
            if header.sequence == address.sector {
                let page = u32::from(address.page) * PAGE_BYTES as u32;
                read(&mut self.flash, place_address(place) + page, out).await?;
                return Ok(true);
            }
            if header.sequence < address.sector
                && newest.continues(header.sequence, place, self.places)
            {
                break;
            }
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
