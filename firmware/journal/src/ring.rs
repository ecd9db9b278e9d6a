//! The ring: records into pages, pages into sectors, the oldest sector overwritten first.
//!
//! A page is built in memory and programmed chunk by chunk; what [`Journal::commit`] has programmed
//! is safe. After a power cut a mounted journal does not go on in the sector of the boot before: the
//! page under way when the power went, and the one behind it, may hold half-programmed bits that
//! read as erased, so blank is not proof, and flash is never programmed over half-programmed bits. It
//! opens the next sector. Only where the supply was lost in good order (`resting.rs`) it goes on in
//! the next page.
//!
//! A new sector goes to the next place round the ring, so that all wear alike. It is erased before it
//! is needed ([`Journal::tidy`]), so that the flush at a power failure never waits for an erasure;
//! even where it reads blank (an erasure may have been cut short); and both erasure and header are
//! read back. A place that fails, then or while its pages are programmed, is passed over from then on
//! (`place.rs`); its records that did not stand are still in memory and go to the next place, and
//! what stood in it before is read as long as the ring holds it.
//!
//! Sequence numbers do not wrap: 2³² sectors are more than a flash lives for (4096 sectors, each
//! erased a million times), and after the last one appending ends with
//! [`Error::SequenceExhausted`].

mod mount;
mod place;
mod resting;

use crate::error::Error;
use core::ops::Range;
use embedded_storage_async::nor_flash::NorFlash;
use place::{BadPlaces, Head, Held, PIECE, place_address, read_header, reads_blank};
use pumpwitness_protocol::codec::EncodeError;
use pumpwitness_protocol::message::{PageAddress, SnapshotRange, Status};
use pumpwitness_protocol::page::{
    PAGE_BYTES, PAGES_PER_SECTOR, PageWriter, SECTOR_BYTES, read_page,
};
use pumpwitness_protocol::record::Record;
use pumpwitness_protocol::rest::Ahead;
use pumpwitness_protocol::sector::SectorHeader;
use pumpwitness_protocol::settings::WhenFull;
use resting::Resting;
use sha2::{Digest, Sha256};

pub(crate) use place::{read, reads_back};

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
    /// A page whose sector failed under it, while its records that did not stand are carried into
    /// the open one.
    failed: Option<Open>,
    /// The next place, erased.
    ahead: Option<Ahead>,
    resting: Resting,
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
            let in_doubt = self.open.as_ref().is_some_and(|open| open.doubtful.is_some());
            if in_doubt || self.failed.is_some() {
                self.commit(now_ms).await?;
            }
            if self.open.is_none() && !self.go_on(now_ms).await? {
                self.open_sector(now_ms).await?;
            }
            let Some(open) = &mut self.open else { return Err(Error::LogicBug) };
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
            if self.failed.is_some() {
                self.carry(now_ms).await?;
            } else if self.program_chunk().await? {
                return Ok(());
            } else {
                self.failed = self.open.take();
            }
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
            self.retract().await?;
            let Some(open) = &mut self.open else { return Err(Error::LogicBug) };
            let Some(range) = open.page.close_chunk() else { return Err(Error::LogicBug) };
            open.doubtful = Some(range.clone());
            let bytes = &open.page.bytes()[range.clone()];
            let _ = self.flash.write(address + range.start as u32, bytes).await;
            range
        };
        let at = address + range.start as u32;
        let Some(open) = &mut self.open else { return Err(Error::LogicBug) };
        let stands = reads_back(&mut self.flash, at, &open.page.bytes()[range]).await?;
        if stands {
            open.stand = open.pushed;
            open.doubtful = None;
        } else {
            self.bad.note(open.held.place);
        }
        Ok(stands)
    }

    /// Moves what did not stand of the failed page into a new sector; what fills a page (the first of
    /// a sector is smaller than the others) is programmed on the way. Done when none is left that
    /// failed, or the new sector failed in its turn; an error leaves all as it is, to be gone on with.
    async fn carry(&mut self, now_ms: i64) -> Result<(), Error<F::Error>> {
        if self.open.is_none() {
            self.open_sector(now_ms).await?;
        }
        loop {
            let (Some(open), Some(failed)) = (&mut self.open, &self.failed) else {
                return Err(Error::LogicBug);
            };
            // Of the open page all is carried; after an error it may hold some already.
            let (mut index, mut fits) = (0, open.doubtful.is_none());
            let moved = failed.stand + open.pushed;
            read_page(failed.page.bytes(), failed.page.address(), F::WRITE_SIZE, |record| {
                index += 1;
                if index > moved && fits {
                    fits = open.page.push(&record).is_ok();
                    open.pushed += usize::from(fits);
                }
            });
            if fits {
                self.failed = None;
                return Ok(());
            }
            let moved = open.pushed;
            if moved == 0 {
                return Err(Error::LogicBug);
            }
            if !self.program_chunk().await? {
                self.open = None;
                return Ok(());
            }
            if let Some(failed) = &mut self.failed {
                failed.stand += moved;
            }
            self.turn_page(now_ms);
            if self.open.is_none() {
                self.open_sector(now_ms).await?;
            }
        }
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

    /// Heads the next sector that takes it with the hash of the one before; erases it first where
    /// that was not done ahead.
    async fn open_sector(&mut self, now_ms: i64) -> Result<(), Error<F::Error>> {
        if self.full {
            return Err(Error::Full);
        }
        let sequence = match self.newest {
            None => 0,
            Some(newest) => newest.sequence.checked_add(1).ok_or(Error::SequenceExhausted)?,
        };
        self.retract().await?;
        let mut previous = None;
        let mut tried = 0;
        loop {
            let (Ahead { place, erased }, next) = match self.ahead.take() {
                Some(ahead) => (ahead, tried),
                None => self.erase_next(tried).await?,
            };
            tried = next;
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
                erased,
                boot: self.boot,
                opened_ms: now_ms,
            };
            let (bytes, address) = (header.encode(), place_address(place));
            let _ = self.flash.write(address, &bytes).await;
            if reads_back(&mut self.flash, address, &bytes).await? {
                let held = Held { sequence, place };
                self.newest = Some(held);
                self.oldest = self.oldest.or(Some(held));
                self.wear = erased;
                let address = PageAddress { sector: sequence, page: 0 };
                let page = PageWriter::new(address, F::WRITE_SIZE, self.boot, now_ms);
                self.open = Some(Open::new(held, page));
                return Ok(());
            }
            self.bad.note(place);
        }
    }

    /// Erases the next place that takes it, having passed over `tried`; gives it, and how many are
    /// passed over then.
    async fn erase_next(&mut self, tried: u32) -> Result<(Ahead, u32), Error<F::Error>> {
        let places = self.places;
        let (first, most) = match self.newest {
            None => (0, places),
            // The newest itself is not given up.
            Some(newest) => (newest.place + 1, places - 1),
        };
        for further in tried..most {
            let place = (first + further) % places;
            self.make_room_at(place).await?;
            if self.bad.contains(place) {
                continue;
            }
            let erased = self.erased_before(place).await?.saturating_add(1);
            let address = place_address(place);
            // One that reads blank although erasing failed may not keep what is programmed into it.
            let done = self.flash.erase(address, address + SECTOR_BYTES as u32).await.is_ok();
            if reads_blank(&mut self.flash, address, SECTOR_BYTES).await? && done {
                return Ok((Ahead { place, erased }, further + 1));
            }
            self.bad.note(place);
        }
        Err(Error::Worn)
    }

    /// Makes ready what will be needed: the next sector of the ring, then the one in which a rest is
    /// told. Erases one sector at most; to be called when everything is committed and nothing is
    /// urgent, for an erasure takes as long as many half waves.
    pub async fn tidy(&mut self) -> Result<(), Error<F::Error>> {
        if self.ahead.is_none() && self.open.is_some() && self.failed.is_none() {
            let was_full = self.full;
            match self.erase_next(0).await {
                Ok((ahead, _)) => {
                    self.ahead = Some(ahead);
                    return Ok(());
                }
                // It is not yet needed, and told when it is.
                Err(Error::Full | Error::Worn) => self.full = was_full,
                Err(error) => return Err(error),
            }
        }
        self.make_rest_ready().await
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
        self.resting.page = None;
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
        if self.is_closed() {
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
        if self.is_closed() { Some(newest) } else { newest.checked_sub(1) }
    }

    /// Whether nothing is written to the newest sector any more.
    fn is_closed(&self) -> bool {
        self.open.is_none() && self.resting.page.is_none()
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
