//! Rest (FORMAT.md §8): what a logger leaves behind that lost its supply in good order.

use crate::check;
use crate::page::PAGES_PER_SECTOR;

/// Bytes of it.
pub const REST_BYTES: usize = 36;

const MAGIC: &[u8; 8] = b"PWREST1\n";
const CRC_AT: usize = 32;

/// A sector that lies erased.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Ahead {
    /// Its place in the ring, counted from 0.
    pub place: u32,
    /// Times it has been erased.
    pub erased: u32,
}

/// Where no operation can have been cut short.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Rest {
    /// Device number.
    pub device: [u8; 8],
    /// Sequence of the newest sector.
    pub sector: u32,
    /// Its first page in which nothing is programmed; as many as a sector has: none.
    pub page: u8,
    /// Another sector that lies erased.
    pub ahead: Option<Ahead>,
}

impl Rest {
    /// Its bytes.
    pub fn encode(&self) -> [u8; REST_BYTES] {
        let mut bytes = [0; REST_BYTES];
        bytes[0..8].copy_from_slice(MAGIC);
        bytes[8..16].copy_from_slice(&self.device);
        bytes[16..20].copy_from_slice(&self.sector.to_le_bytes());
        bytes[20] = self.page;
        if let Some(Ahead { place, erased }) = self.ahead {
            bytes[21] = 1;
            bytes[24..28].copy_from_slice(&place.to_le_bytes());
            bytes[28..32].copy_from_slice(&erased.to_le_bytes());
        }
        let crc = check::crc32(&bytes[..CRC_AT]);
        bytes[CRC_AT..].copy_from_slice(&crc.to_le_bytes());
        bytes
    }

    /// Reads it from the start of `bytes`; `None` when it does not pass its checks.
    pub fn decode(bytes: &[u8]) -> Option<Self> {
        let bytes: &[u8; REST_BYTES] = bytes.first_chunk()?;
        let number = |at: usize| {
            u32::from_le_bytes([bytes[at], bytes[at + 1], bytes[at + 2], bytes[at + 3]])
        };
        let passes = bytes[0..8] == *MAGIC
            && usize::from(bytes[20]) <= PAGES_PER_SECTOR
            && bytes[21] <= 1
            && bytes[22..24] == [0; 2]
            && check::crc32(&bytes[..CRC_AT]) == number(CRC_AT);
        if !passes {
            return None;
        }
        let mut device = [0; 8];
        device.copy_from_slice(&bytes[8..16]);
        Some(Self {
            device,
            sector: number(16),
            page: bytes[20],
            ahead: (bytes[21] == 1).then(|| Ahead { place: number(24), erased: number(28) }),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn it_comes_back_and_any_flipped_bit_is_noticed() {
        let ahead = Some(Ahead { place: 4090, erased: u32::MAX });
        let rest = Rest { device: *b"device01", sector: u32::MAX, page: 4, ahead };
        for rest in [rest, Rest { ahead: None, page: 0, ..rest }] {
            let good = rest.encode();
            assert_eq!(Rest::decode(&good), Some(rest));
            for bit in 0..good.len() * 8 {
                let mut bad = good;
                bad[bit / 8] ^= 1 << (bit % 8);
                assert_eq!(Rest::decode(&bad), None, "bit {bit}");
            }
            assert_eq!(Rest::decode(&good[..35]), None);
        }
        assert_eq!(Rest::decode(&[0xFF; 64]), None);
    }
}
