//! Slots: what outlives a power cut beside the records. Each kind has a pair of sectors that take
//! turns: settings and site text (FORMAT.md §5), key and calibration of the device (§7).

use crate::error::Error;
use crate::ring::{Journal, read, reads_back};
use embedded_storage_async::nor_flash::NorFlash;
use pumpwitness_protocol::device_slot::{DEVICE_SLOT_BYTES_MAX, DeviceSlot};
use pumpwitness_protocol::page::SECTOR_BYTES;
use pumpwitness_protocol::slot::{SLOT_BYTES_MAX, Slot};

/// Sectors at the start of the flash that are no part of the ring: the two pairs of slots and the
/// rest sector.
pub const FIXED: u32 = 5;
/// Sectors of a kind.
const PAIR: usize = 2;
/// Largest word of a flash that fits the format.
const WORD_MAX: usize = 16;

/// A kind of slot.
trait Kept: Sized {
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
        load(self.flash_mut()).await
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
        load(self.flash_mut()).await
    }

    /// Makes `slot` the device slot in force, in the same way as [`Self::store_slot`].
    pub async fn store_device_slot(&mut self, slot: &DeviceSlot) -> Result<(), Error<F::Error>> {
        store(self.flash_mut(), slot).await
    }
}

async fn store<F: NorFlash, K: Kept>(flash: &mut F, slot: &K) -> Result<(), Error<F::Error>> {
    let (first, tries) = match standing::<F, K>(flash).await? {
        [Some(place), _] => (place + 1, PAIR as u32 - 1),
        _ => (0, PAIR as u32),
    };
    for place in (first..first + tries).map(|place| place % PAIR as u32) {
        if program(flash, place, slot).await?
            && standing::<F, K>(flash).await?.first() == Some(&Some(place))
        {
            return Ok(());
        }
    }
    Err(Error::Worn)
}

/// Erases and programs; true when all of it reads back.
async fn program<F: NorFlash, K: Kept>(
    flash: &mut F,
    place: u32,
    slot: &K,
) -> Result<bool, Error<F::Error>> {
    let address = address::<K>(place);
    if flash.erase(address, address + SECTOR_BYTES as u32).await.is_err() {
        return Ok(false);
    }
    let mut room = K::room();
    let used = slot.write(&mut room);
    let whole_words = used.next_multiple_of(F::WRITE_SIZE);
    let bytes = &mut room.as_mut()[..whole_words];
    bytes[used..].fill(0xFF);
    // What came of it is read, whatever the flash says.
    let _ = flash.write(address, bytes).await;
    reads_back(flash, address, &room.as_ref()[..used]).await
}

/// The newest slot that passes its checks.
async fn load<F: NorFlash, K: Kept>(flash: &mut F) -> Result<Option<K>, Error<F::Error>> {
    for place in standing::<F, K>(flash).await?.into_iter().flatten() {
        let mut room = K::room();
        read(flash, address::<K>(place), room.as_mut()).await?;
        // A torn one may read now so and now otherwise: then there is the one before it.
        if let Some(slot) = K::read(room.as_ref()) {
            return Ok(Some(slot));
        }
    }
    Ok(None)
}

/// Places whose slot passes its checks, the newest first. A slot is large and a board's stack small:
/// one at a time is looked at and none is kept.
async fn standing<F: NorFlash, K: Kept>(
    flash: &mut F,
) -> Result<[Option<u32>; PAIR], Error<F::Error>> {
    let mut numbers = [None; PAIR];
    for (number, place) in numbers.iter_mut().zip(0..) {
        // A multiple of the largest word, which every read size divides.
        let mut room = K::room();
        read(flash, address::<K>(place), room.as_mut()).await?;
        *number = number_in::<K>(room.as_ref());
    }
    Ok(match numbers {
        [Some(first), Some(second)] if (second.wrapping_sub(first) as i32) > 0 => {
            [Some(1), Some(0)]
        }
        [Some(_), Some(_)] => [Some(0), Some(1)],
        [Some(_), None] => [Some(0), None],
        [None, Some(_)] => [Some(1), None],
        [None, None] => [None, None],
    })
}

/// The number of the slot in `bytes`, if it passes its checks.
#[inline(never)] // else the slot takes its place in the caller's stack
fn number_in<K: Kept>(bytes: &[u8]) -> Option<u32> {
    K::read(bytes).map(|slot| slot.number())
}

const fn address<K: Kept>(place: u32) -> u32 {
    (K::FIRST + place) * SECTOR_BYTES as u32
}
