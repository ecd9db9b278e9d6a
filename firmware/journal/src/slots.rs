//! Slots: settings and site text in the first two sectors, taking turns (FORMAT.md §5).

use crate::error::Error;
use crate::ring::{Journal, read};
use embedded_storage_async::nor_flash::NorFlash;
use pumpwitness_protocol::page::SECTOR_BYTES;
use pumpwitness_protocol::slot::{SLOT_BYTES_MAX, Slot};

/// Sectors at the start of the flash that hold the slots.
pub const SLOTS: u32 = 2;

/// Largest word of a flash that fits the format.
const WORD_MAX: usize = 16;

impl<F: NorFlash> Journal<F> {
    /// The slot in force, if there is one.
    pub async fn load_slot(&mut self) -> Result<Option<Slot>, Error<F::Error>> {
        Ok(self.newest_slot().await?.map(|(slot, _)| slot))
    }

    /// Makes `slot` the one in force. Until it stands whole, the one before does.
    ///
    /// Its number must be greater than that of the slot in force. The sector of the slot in force is
    /// never erased for a new one: when the other one is worn out, this ends with [`Error::Worn`].
    pub async fn store_slot(&mut self, slot: &Slot) -> Result<(), Error<F::Error>> {
        let (first, tries) = match self.newest_slot().await? {
            Some((_, place)) => (place + 1, SLOTS - 1),
            None => (0, SLOTS),
        };
        for place in (first..first + tries).map(|place| place % SLOTS) {
            let erased = self.program_slot(place, slot).await;
            let stands = self.newest_slot().await?.is_some_and(|(stored, _)| stored == *slot);
            if erased && stands {
                return Ok(());
            }
        }
        Err(Error::Worn)
    }

    /// Erases and programs; false when the erasure failed. Whether the slot stands is to be read.
    async fn program_slot(&mut self, place: u32, slot: &Slot) -> bool {
        let address = place * SECTOR_BYTES as u32;
        let flash = self.flash_mut();
        if flash.erase(address, address + SECTOR_BYTES as u32).await.is_err() {
            return false;
        }
        let mut bytes = [0xFF; SLOT_BYTES_MAX + WORD_MAX];
        let mut plain = [0; SLOT_BYTES_MAX];
        let used = slot.encode(&mut plain);
        bytes[..used.len()].copy_from_slice(used);
        let whole_words = used.len().next_multiple_of(F::WRITE_SIZE);
        let _ = flash.write(address, &bytes[..whole_words]).await;
        true
    }

    async fn newest_slot(&mut self) -> Result<Option<(Slot, u32)>, Error<F::Error>> {
        let mut newest: Option<(Slot, u32)> = None;
        for place in 0..SLOTS {
            // Rounded up to the largest word, which every read size divides.
            let mut bytes = [0; SLOT_BYTES_MAX.next_multiple_of(WORD_MAX)];
            read(self.flash_mut(), place * SECTOR_BYTES as u32, &mut bytes).await?;
            let Some(slot) = Slot::decode(&bytes) else { continue };
            let newer = newest
                .as_ref()
                .is_none_or(|(before, _)| (slot.number.wrapping_sub(before.number) as i32) > 0);
            if newer {
                newest = Some((slot, place));
            }
        }
        Ok(newest)
    }
}
