//! Mounting: the ring found anew from the headers of its sectors.
//!
//! The sector with the highest sequence is the newest. From there back, every header whose sequence
//! fits its distance belongs to the ring (`Held::continues`). One that is missing in between, by
//! rot or a torn write that reads now so and now otherwise, costs that sector and none before it.

use super::place::{BadPlaces, Head, Held, place_address, read, read_header};
use super::resting::Resting;
use super::{Journal, PLACES_MIN};
use crate::error::Error;
use crate::slots::FIXED;
use embedded_storage_async::nor_flash::NorFlash;
use pumpwitness_protocol::message::PageAddress;
use pumpwitness_protocol::page::{self, PAGE_BYTES, PAGES_PER_SECTOR, SECTOR_BYTES, area_start};
use pumpwitness_protocol::settings::WhenFull;

impl<F: NorFlash> Journal<F> {
    /// The journal of `device` in `flash`, which has not looked for its ring yet: [`Self::find`] is
    /// to follow.
    pub fn new(flash: F, device: [u8; 8]) -> Self {
        let sectors = u32::try_from(flash.capacity() / SECTOR_BYTES).unwrap_or(u32::MAX);
        Self {
            flash,
            device,
            places: sectors.saturating_sub(FIXED),
            boot: 0,
            when_full: WhenFull::KeepNewest,
            oldest: None,
            newest: None,
            wear: 0,
            open: None,
            failed: None,
            ahead: None,
            resting: Resting::default(),
            released: None,
            bad: BadPlaces::default(),
            records: 0,
            pages_damaged: 0,
            full: false,
        }
    }

    /// [`Self::new`] and [`Self::find`].
    pub async fn mount(flash: F, device: [u8; 8]) -> Result<Self, Error<F::Error>> {
        let mut journal = Self::new(flash, device);
        journal.find().await?;
        Ok(journal)
    }

    /// Finds the ring in the flash; nothing is written. Reads 96 bytes a sector, and once more from
    /// the newest back to find the oldest. To be called once, before anything else; where it failed
    /// it can be tried again.
    ///
    /// A flash that is blank, holds garbage or another device's records is an empty ring; sectors
    /// are erased as they come into use. Boot numbers go on from the newest sector's, 0 after
    /// 65535.
    pub async fn find(&mut self) -> Result<(), Error<F::Error>> {
        let fits = SECTOR_BYTES.is_multiple_of(F::ERASE_SIZE)
            && matches!(F::WRITE_SIZE, 1 | 2 | 4 | 8 | 16)
            && matches!(F::READ_SIZE, 1 | 2 | 4 | 8 | 16);
        if !fits || self.places < PLACES_MIN {
            return Err(Error::Geometry);
        }
        let mut newest: Option<Held> = None;
        let mut boot = 0;
        let mut pages_damaged = 0;
        for place in 0..self.places {
            match read_header(&mut self.flash, place, self.device).await? {
                Head::Of(header) => {
                    if newest.is_none_or(|newest| {
                        supersedes(header.sequence, place, newest, self.places)
                    }) {
                        newest = Some(Held { sequence: header.sequence, place });
                        (boot, self.wear) = (header.boot, header.erased);
                    }
                }
                Head::Garbage => pages_damaged += PAGES_PER_SECTOR as u32,
                Head::Foreign(_) | Head::Blank => {}
            }
        }
        self.boot = boot.wrapping_add(1);
        (self.oldest, self.newest) = (newest, newest);
        self.pages_damaged = pages_damaged;
        self.find_oldest().await?;
        self.find_boot().await?;
        self.find_rest().await
    }

    /// The boot that wrote last: that of the last page in the newest sector, where a later one than
    /// that which opened it has gone on.
    async fn find_boot(&mut self) -> Result<(), Error<F::Error>> {
        let Some(newest) = self.newest else { return Ok(()) };
        for page in (0..PAGES_PER_SECTOR as u8).rev() {
            let at = usize::from(page) * PAGE_BYTES + area_start(page);
            // More than a page header, and whole reads of any size.
            let mut bytes = [0; 32];
            read(&mut self.flash, place_address(newest.place) + at as u32, &mut bytes).await?;
            if let Some(header) = page::read_header(&bytes)
                && header.address == (PageAddress { sector: newest.sequence, page })
            {
                self.boot = header.boot.wrapping_add(1);
                return Ok(());
            }
        }
        Ok(())
    }

    /// Walks back once round the ring. What does not belong to the run is passed over.
    async fn find_oldest(&mut self) -> Result<(), Error<F::Error>> {
        let Some(newest) = self.newest else { return Ok(()) };
        let mut oldest = newest;
        for back in 1..self.places {
            let place = (newest.place + self.places - back) % self.places;
            let head = read_header(&mut self.flash, place, self.device).await?;
            if let Head::Of(header) = head
                && header.sequence < oldest.sequence
                && newest.continues(header.sequence, place, self.places)
            {
                oldest = Held { sequence: header.sequence, place };
            }
        }
        self.oldest = Some(oldest);
        Ok(())
    }
}

/// Whether a header at a higher `place` is newer than `newest`. Of two with the same sequence the
/// later one in the ring counts: the other was headed and then passed over as bad.
fn supersedes(sequence: u32, place: u32, newest: Held, places: u32) -> bool {
    sequence > newest.sequence
        || (sequence == newest.sequence && place - newest.place <= places / 2)
}
