//! Places: where the sectors of the ring lie, what stands at their heads, and which of them have
//! failed.

use crate::error::Error;
use crate::slots::FIXED;
use embedded_storage_async::nor_flash::NorFlash;
use pumpwitness_protocol::page::SECTOR_BYTES;
use pumpwitness_protocol::sector::{SECTOR_HEADER_BYTES, SectorHeader};

/// Bytes read at once when a sector is hashed or checked.
pub(super) const PIECE: usize = 256;
/// Reads begin and end on this, which every read size divides.
const READ_ALIGN: u32 = 16;
/// Bad places remembered.
const BAD_MAX: usize = 16;

/// A sector of the ring and where it lies.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Held {
    pub(super) sequence: u32,
    pub(super) place: u32,
}

impl Held {
    /// Whether a header with `sequence` found at `place` can be of the run that ends here, in a
    /// ring of `places`. Each sector takes the next sequence and a place further on, so going back
    /// over so many places the sequence falls by at most as many; what a bad place still shows of
    /// the round before has fallen by more.
    pub(super) fn continues(self, sequence: u32, place: u32, places: u32) -> bool {
        let back = (self.place + places - place) % places;
        self.sequence.checked_sub(sequence).is_some_and(|fallen| fallen <= back)
    }
}

/// What stands at the head of a sector.
pub(super) enum Head {
    /// A header of this device.
    Of(SectorHeader),
    /// A header of another device.
    Foreign(SectorHeader),
    /// Nothing.
    Blank,
    /// Something else: a torn erasure or header, or rot.
    Garbage,
}

/// Reads what stands at the head of the sector at `place`.
pub(super) async fn read_header<F: NorFlash>(
    flash: &mut F,
    place: u32,
    device: [u8; 8],
) -> Result<Head, Error<F::Error>> {
    let mut bytes = [0; SECTOR_HEADER_BYTES];
    read(flash, place_address(place), &mut bytes).await?;
    Ok(match SectorHeader::decode(&bytes) {
        Some(header) if header.device == device => Head::Of(header),
        Some(header) => Head::Foreign(header),
        None if bytes == [0xFF; SECTOR_HEADER_BYTES] => Head::Blank,
        None => Head::Garbage,
    })
}

/// Whether the flash now reads as `bytes` from `address` on.
pub(crate) async fn reads_back<F: NorFlash>(
    flash: &mut F,
    address: u32,
    bytes: &[u8],
) -> Result<bool, Error<F::Error>> {
    let mut piece = [0; PIECE + 2 * READ_ALIGN as usize];
    let mut at = address;
    for expected in bytes.chunks(PIECE) {
        let end = at + expected.len() as u32;
        let from = at / READ_ALIGN * READ_ALIGN;
        let length = end.next_multiple_of(READ_ALIGN) - from;
        let got = &mut piece[..length as usize];
        read(flash, from, got).await?;
        if &got[(at - from) as usize..][..expected.len()] != expected {
            return Ok(false);
        }
        at = end;
    }
    Ok(true)
}

/// Whether `length` bytes from `address` on, a multiple of [`PIECE`], read as erased.
pub(super) async fn reads_blank<F: NorFlash>(
    flash: &mut F,
    address: u32,
    length: usize,
) -> Result<bool, Error<F::Error>> {
    for at in (address..address + length as u32).step_by(PIECE) {
        if !reads_back(flash, at, &[0xFF; PIECE]).await? {
            return Ok(false);
        }
    }
    Ok(true)
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
pub(super) const fn place_address(place: u32) -> u32 {
    (place + FIXED) * SECTOR_BYTES as u32
}

/// Places that did not take an erasure or a programming since the start. They are passed over
/// until the next start, which tries each once more: nothing about them is kept in the flash, where
/// a list would itself have to survive bad sectors. Beyond the first sixteen they are tried again
/// each time the ring comes round.
#[derive(Clone, Debug, Default)]
pub(super) struct BadPlaces {
    places: [u32; BAD_MAX],
    count: u32,
}

impl BadPlaces {
    /// How many failures were noted.
    pub(super) fn count(&self) -> u32 {
        self.count
    }

    /// Whether `place` is known to be bad.
    pub(super) fn contains(&self, place: u32) -> bool {
        self.places.iter().take(self.count as usize).any(|bad| *bad == place)
    }

    /// Notes a failure.
    pub(super) fn note(&mut self, place: u32) {
        if self.contains(place) {
            return;
        }
        if let Some(free) = self.places.get_mut(self.count as usize) {
            *free = place;
        }
        self.count = self.count.saturating_add(1);
    }
}
