//! Slots: what outlives a power cut beside the records. Each kind has a pair of sectors that take
//! turns: settings and site text (FORMAT.md §5), key and calibration of the device (§7).

use crate::error::Error;
use crate::ring::{Journal, read};
use embedded_storage_async::nor_flash::NorFlash;
use pumpwitness_protocol::device_slot::{DEVICE_SLOT_BYTES_MAX, DeviceSlot};
use pumpwitness_protocol::page::SECTOR_BYTES;
use pumpwitness_protocol::slot::{SLOT_BYTES_MAX, Slot};

/// Sectors at the start of the flash that are no part of the ring: the two pairs of slots and the
/// rest sector.
pub const FIXED: u32 = 5;
/// Sectors of a kind.
const PAIR: u32 = 2;
/// Largest word of a flash that fits the format.
const WORD_MAX: usize = 16;

/// A kind of slot.
trait Kept: Clone + PartialEq {
    /// Its first sector.
    const FIRST: u32;
    /// Room for the longest and what fills up its last word.
    type Room: AsRef<[u8]> + AsMut<[u8]>;
    /// That room, blank.
    fn room() -> Self::Room;
    /// Greater than that of the slot it replaces, by signed difference modulo 2³².
    fn number(&self) -> u32;
    /// Writes it to the start of `room`; gives the bytes used.
    fn write(&self, room: &mut Self::Room) -> usize;
    /// Reads it.
    fn read(bytes: &[u8]) -> Option<Self>;
}

macro_rules! kept {
    ($kind:ty, $first:literal, $bytes:ident) => {
        impl Kept for $kind {
            const FIRST: u32 = $first;
            type Room = [u8; ($bytes + WORD_MAX).next_multiple_of(WORD_MAX)];

            fn room() -> Self::Room {
                [0xFF; ($bytes + WORD_MAX).next_multiple_of(WORD_MAX)]
            }

            fn number(&self) -> u32 {
                self.number
            }

            fn write(&self, room: &mut Self::Room) -> usize {
                // There is room for more than the longest.
                room.first_chunk_mut::<$bytes>().map_or(0, |out| self.encode(out).len())
            }

            fn read(bytes: &[u8]) -> Option<Self> {
                Self::decode(bytes)
            }
        }
    };
}

kept!(Slot, 0, SLOT_BYTES_MAX);
kept!(DeviceSlot, 2, DEVICE_SLOT_BYTES_MAX);

impl<F: NorFlash> Journal<F> {
    /// The slot in force, if there is one.
    pub async fn load_slot(&mut self) -> Result<Option<Slot>, Error<F::Error>> {
        Ok(newest(self.flash_mut()).await?.map(|(slot, _)| slot))
    }

    /// Makes `slot` the one in force. Until it stands whole, the one before does.
    ///
    /// Its number must be greater than that of the slot in force. The sector of the slot in force is
    /// never erased for a new one: when the other one is worn out, this ends with [`Error::Worn`].
    pub async fn store_slot(&mut self, slot: &Slot) -> Result<(), Error<F::Error>> {
        store(self.flash_mut(), slot).await
    }

    /// The device slot in force, if there is one.
    pub async fn load_device_slot(&mut self) -> Result<Option<DeviceSlot>, Error<F::Error>> {
        Ok(newest(self.flash_mut()).await?.map(|(slot, _)| slot))
    }

    /// Makes `slot` the device slot in force, in the same way as [`Self::store_slot`].
    pub async fn store_device_slot(&mut self, slot: &DeviceSlot) -> Result<(), Error<F::Error>> {
        store(self.flash_mut(), slot).await
    }
}

async fn store<F: NorFlash, K: Kept>(flash: &mut F, slot: &K) -> Result<(), Error<F::Error>> {
    let (first, tries) = match newest::<F, K>(flash).await? {
        Some((_, place)) => (place + 1, PAIR - 1),
        None => (0, PAIR),
    };
    for place in (first..first + tries).map(|place| place % PAIR) {
        let erased = program(flash, place, slot).await;
        let stands = newest::<F, K>(flash).await?.is_some_and(|(stored, _)| stored == *slot);
        if erased && stands {
            return Ok(());
        }
    }
    Err(Error::Worn)
}

/// Erases and programs; false when the erasure failed. Whether the slot stands is to be read.
async fn program<F: NorFlash, K: Kept>(flash: &mut F, place: u32, slot: &K) -> bool {
    let address = (K::FIRST + place) * SECTOR_BYTES as u32;
    if flash.erase(address, address + SECTOR_BYTES as u32).await.is_err() {
        return false;
    }
    let mut room = K::room();
    let used = slot.write(&mut room);
    let whole_words = used.next_multiple_of(F::WRITE_SIZE);
    let bytes = &mut room.as_mut()[..whole_words];
    bytes[used..].fill(0xFF);
    let _ = flash.write(address, bytes).await;
    true
}

async fn newest<F: NorFlash, K: Kept>(flash: &mut F) -> Result<Option<(K, u32)>, Error<F::Error>> {
    let mut newest: Option<(K, u32)> = None;
    for place in 0..PAIR {
        // A multiple of the largest word, which every read size divides.
        let mut room = K::room();
        read(flash, (K::FIRST + place) * SECTOR_BYTES as u32, room.as_mut()).await?;
        let Some(slot) = K::read(room.as_ref()) else { continue };
        let newer = newest
            .as_ref()
            .is_none_or(|(before, _)| (slot.number().wrapping_sub(before.number()) as i32) > 0);
        if newer {
            newest = Some((slot, place));
        }
    }
    Ok(newest)
}
