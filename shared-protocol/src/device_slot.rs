//! Device slots (FORMAT.md §7): what belongs to the device and not to the site it stands at: its
//! key, its calibration, and how far its record is safe elsewhere.

use crate::calibration::Calibration;
use crate::check;
use crate::page::SECTOR_BYTES;
use core::fmt;

const MAGIC: &[u8; 8] = b"PWDEVC1\n";
const HEAD: usize = 52;
const HAS_KEY: u8 = 1;
const HAS_RELEASED: u8 = 2;
const CRC_BYTES: usize = 4;

/// Room for the postcard bytes of a calibration (its own tests hold it to that).
pub const CALIBRATION_BYTES_MAX: usize = 512;
/// Most bytes of a device slot that are ever used.
pub const DEVICE_SLOT_BYTES_MAX: usize = HEAD + CALIBRATION_BYTES_MAX + CRC_BYTES;
const _: () = assert!(DEVICE_SLOT_BYTES_MAX <= SECTOR_BYTES);

/// Seed of an Ed25519 key: the secret itself. It is not shown by `Debug`.
#[derive(Clone, Copy, PartialEq, Eq)]
pub struct Seed(pub [u8; 32]);

impl fmt::Debug for Seed {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Seed(secret)")
    }
}

/// Contents of a device slot.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct DeviceSlot {
    /// Greater than that of the slot it replaces, by signed difference modulo 2³².
    pub number: u32,
    /// Seed of the device's key, if it has one.
    pub seed: Option<Seed>,
    /// Sectors up to this one are safe elsewhere and may be overwritten.
    pub released: Option<u32>,
    /// Calibration in force.
    pub calibration: Calibration,
}

impl DeviceSlot {
    /// Writes the slot into `out`; gives the bytes used.
    pub fn encode<'a>(&self, out: &'a mut [u8; DEVICE_SLOT_BYTES_MAX]) -> &'a [u8] {
        out.fill(0);
        out[0..8].copy_from_slice(MAGIC);
        out[8..12].copy_from_slice(&self.number.to_le_bytes());
        if let Some(Seed(seed)) = &self.seed {
            out[14] |= HAS_KEY;
            out[16..48].copy_from_slice(seed);
        }
        if let Some(released) = self.released {
            out[14] |= HAS_RELEASED;
            out[48..52].copy_from_slice(&released.to_le_bytes());
        }
        // Bounded by its types to less than the room.
        let length = match postcard::to_slice(
            &self.calibration,
            &mut out[HEAD..][..CALIBRATION_BYTES_MAX],
        ) {
            Ok(bytes) => bytes.len(),
            Err(_) => 0,
        };
        out[12..14].copy_from_slice(&(length as u16).to_le_bytes());
        let end = HEAD + length;
        let crc = check::crc32(&out[..end]);
        out[end..end + CRC_BYTES].copy_from_slice(&crc.to_le_bytes());
        &out[..end + CRC_BYTES]
    }

    /// Reads a slot from the start of `bytes`; `None` when it does not pass its checks.
    pub fn decode(bytes: &[u8]) -> Option<Self> {
        let head: &[u8; HEAD] = bytes.first_chunk()?;
        if head[0..8] != *MAGIC || head[14] > (HAS_KEY | HAS_RELEASED) || head[15] != 0 {
            return None;
        }
        let length = usize::from(u16::from_le_bytes([head[12], head[13]]));
        if length > CALIBRATION_BYTES_MAX {
            return None;
        }
        let end = HEAD + length;
        let crc = bytes.get(end..end + CRC_BYTES)?;
        if check::crc32(&bytes[..end]).to_le_bytes() != *crc {
            return None;
        }
        let (calibration, rest) =
            postcard::take_from_bytes::<Calibration>(&bytes[HEAD..end]).ok()?;
        if !rest.is_empty() || calibration.check().is_err() {
            return None;
        }
        let mut seed = [0; 32];
        seed.copy_from_slice(&head[16..48]);
        Some(Self {
            number: u32::from_le_bytes([head[8], head[9], head[10], head[11]]),
            seed: (head[14] & HAS_KEY != 0).then_some(Seed(seed)),
            released: (head[14] & HAS_RELEASED != 0)
                .then_some(u32::from_le_bytes([head[48], head[49], head[50], head[51]])),
            calibration,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use heapless::Vec;

    fn fullest() -> DeviceSlot {
        let mut calibration = Calibration { made_ms: i64::MAX, ..Calibration::default() };
        while calibration.by.push('x').is_ok() {}
        while calibration.reference.push('y').is_ok() {}
        calibration.voltage.gain_nano = u32::MAX;
        calibration.current.offset_q8 = i32::MIN;
        DeviceSlot {
            number: u32::MAX,
            seed: Some(Seed([0xA5; 32])),
            released: Some(u32::MAX),
            calibration,
        }
    }

    #[test]
    fn the_fullest_slot_and_one_without_a_key_come_back() {
        let without = DeviceSlot { seed: None, released: None, ..fullest() };
        for slot in [fullest(), without, DeviceSlot::default()] {
            let mut out = [0xFF; DEVICE_SLOT_BYTES_MAX];
            assert_eq!(DeviceSlot::decode(slot.encode(&mut out)), Some(slot));
        }
    }

    #[test]
    fn flipped_and_cut_slots_are_not_believed() {
        let mut out = [0; DEVICE_SLOT_BYTES_MAX];
        let good: Vec<u8, DEVICE_SLOT_BYTES_MAX> =
            Vec::from_slice(fullest().encode(&mut out)).unwrap();
        for bit in 0..good.len() * 8 {
            let mut bad = good.clone();
            bad[bit / 8] ^= 1 << (bit % 8);
            assert_eq!(DeviceSlot::decode(&bad), None, "bit {bit}");
        }
        for cut in 0..good.len() {
            assert_eq!(DeviceSlot::decode(&good[..cut]), None, "cut at {cut}");
        }
        assert_eq!(DeviceSlot::decode(&[0xFF; SECTOR_BYTES]), None);
    }

    #[test]
    fn a_seed_is_not_shown() {
        extern crate std;
        assert!(!std::format!("{:?}", fullest()).contains("165"));
    }
}
