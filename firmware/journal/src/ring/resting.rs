//! Resting: the supply lost in good order (FORMAT.md §8), and the next start going on behind it.
//!
//! What is told holds as long as it stands, whatever is cut short later: before anything is
//! programmed to the ring its sector is erased, and only where that has worked is it made use of. Its
//! sector is erased once a boot, since one that reads blank may have been erased in part only.

use super::place::{place_address, read, reads_blank};
use super::{Journal, Open};
use crate::error::Error;
use crate::slots::FIXED;
use embedded_storage_async::nor_flash::NorFlash;
use pumpwitness_protocol::message::PageAddress;
use pumpwitness_protocol::page::{PAGE_BYTES, PAGES_PER_SECTOR, PageWriter, SECTOR_BYTES};
use pumpwitness_protocol::rest::{REST_BYTES, Rest};

/// Address of the rest sector.
const ADDRESS: u32 = (FIXED - 1) * SECTOR_BYTES as u32;
/// Bytes read and programmed: whole words of every size.
const ROOM: usize = REST_BYTES.next_multiple_of(16);

/// What is known of it.
#[derive(Clone, Debug, Default)]
pub(super) struct Resting {
    /// The page of the newest sector in which the boot before says one may go on.
    pub(super) page: Option<u8>,
    /// A rest is told there, or may be.
    told: bool,
    /// The sector has been erased in this boot and holds nothing.
    ready: bool,
    /// It did not take an erasure in this boot.
    worn: bool,
}

impl<F: NorFlash> Journal<F> {
    /// Reads what the boot before has told.
    pub(super) async fn find_rest(&mut self) -> Result<(), Error<F::Error>> {
        let mut bytes = [0; ROOM];
        read(&mut self.flash, ADDRESS, &mut bytes).await?;
        let Some(rest) = Rest::decode(&bytes) else { return Ok(()) };
        self.resting.told = true;
        let Some(newest) = self.newest else { return Ok(()) };
        if rest.device != self.device || rest.sector != newest.sequence {
            return Ok(());
        }
        if usize::from(rest.page) < PAGES_PER_SECTOR {
            // The first page begins behind the header.
            let from = usize::from(rest.page.max(1)) * PAGE_BYTES;
            let address = place_address(newest.place) + from as u32;
            let blank = reads_blank(&mut self.flash, address, SECTOR_BYTES - from).await?;
            self.resting.page = blank.then_some(rest.page);
        }
        if let Some(ahead) = rest.ahead
            && ahead.place < self.places
            && ahead.place != newest.place
            && reads_blank(&mut self.flash, place_address(ahead.place), SECTOR_BYTES).await?
        {
            self.ahead = Some(ahead);
        }
        Ok(())
    }

    /// Goes on in the newest sector, where the boot before has left it at rest; false where it has
    /// not.
    pub(super) async fn go_on(&mut self, now_ms: i64) -> Result<bool, Error<F::Error>> {
        if self.resting.page.is_none() {
            return Ok(false);
        }
        self.retract().await?;
        let (Some(page), Some(held)) = (self.resting.page.take(), self.newest) else {
            return Ok(false);
        };
        let address = PageAddress { sector: held.sequence, page };
        let page = PageWriter::new(address, F::WRITE_SIZE, self.boot, now_ms);
        self.open = Some(Open::new(held, page));
        Ok(true)
    }

    /// Takes back what is told, before anything is programmed. Where that fails nothing of it is
    /// made use of.
    pub(super) async fn retract(&mut self) -> Result<(), Error<F::Error>> {
        if !self.resting.told {
            return Ok(());
        }
        self.erase_rest().await?;
        if !self.resting.ready {
            self.resting.page = None;
            self.ahead = None;
        }
        self.resting.told = false;
        Ok(())
    }

    /// Erases the rest sector, if that is still to be done in this boot.
    pub(super) async fn make_rest_ready(&mut self) -> Result<(), Error<F::Error>> {
        let Resting { told, ready, worn, .. } = self.resting;
        if told || ready || worn {
            return Ok(());
        }
        self.erase_rest().await
    }

    async fn erase_rest(&mut self) -> Result<(), Error<F::Error>> {
        let done = self.flash.erase(ADDRESS, ADDRESS + SECTOR_BYTES as u32).await.is_ok();
        let blank = reads_blank(&mut self.flash, ADDRESS, SECTOR_BYTES).await?;
        self.resting.ready = done && blank;
        self.resting.worn = !self.resting.ready;
        Ok(())
    }

    /// The supply is going and everything is committed: tells the next start where it may go on.
    /// Programs a few bytes and never erases; where the sector for it is not ready, or something
    /// waits in memory, nothing is told. Logging may go on afterwards.
    pub async fn rest(&mut self) -> Result<(), Error<F::Error>> {
        let Some(newest) = self.newest else { return Ok(()) };
        if !self.resting.ready || self.failed.is_some() {
            return Ok(());
        }
        let page = match &self.open {
            None => PAGES_PER_SECTOR as u8,
            Some(open) if open.doubtful.is_some() || open.page.pending() => return Ok(()),
            Some(open) if open.pushed == 0 => open.page.address().page,
            Some(open) => open.page.address().page + 1,
        };
        let rest = Rest { device: self.device, sector: newest.sequence, page, ahead: self.ahead };
        let mut bytes = [0xFF; ROOM];
        bytes[..REST_BYTES].copy_from_slice(&rest.encode());
        self.resting.ready = false;
        self.resting.told = true;
        let words = REST_BYTES.next_multiple_of(F::WRITE_SIZE);
        self.flash
            .write(ADDRESS, &bytes[..words])
            .await
            .map_err(|inner| Error::Flash { address: ADDRESS, inner })
    }
}
