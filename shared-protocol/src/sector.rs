//! Sector headers (FORMAT.md §2.1): the links of the hash chain.

use crate::check;

/// Bytes of a sector header.
pub const SECTOR_HEADER_BYTES: usize = 96;

const MAGIC: &[u8; 8] = b"PWSECTOR";
const VERSION: u16 = 1;

/// What a sector header says.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct SectorHeader {
    /// Alignment of chunks, bytes.
    pub align: u8,
    /// Sequence number.
    pub sequence: u32,
    /// Device number.
    pub device: [u8; 8],
    /// SHA-256 of the sector before; zeros in the first ever.
    pub previous: [u8; 32],
    /// Times this sector has been erased.
    pub erased: u32,
    /// Boot that opened it.
    pub boot: u16,
    /// When, ms since 1970.
    pub opened_ms: i64,
}

impl SectorHeader {
    /// The header's bytes.
    pub fn encode(&self) -> [u8; SECTOR_HEADER_BYTES] {
        let mut bytes = [0; SECTOR_HEADER_BYTES];
        bytes[0..8].copy_from_slice(MAGIC);
        bytes[8..10].copy_from_slice(&VERSION.to_le_bytes());
        bytes[10] = self.align;
        bytes[12..16].copy_from_slice(&self.sequence.to_le_bytes());
        bytes[16..24].copy_from_slice(&self.device);
        bytes[24..56].copy_from_slice(&self.previous);
        bytes[56..60].copy_from_slice(&self.erased.to_le_bytes());
        bytes[60..62].copy_from_slice(&self.boot.to_le_bytes());
        bytes[64..72].copy_from_slice(&self.opened_ms.to_le_bytes());
        let crc = check::crc32(&bytes[..92]);
        bytes[92..96].copy_from_slice(&crc.to_le_bytes());
        bytes
    }

    /// Reads a header from the start of `sector`; `None` when it does not pass its check.
    pub fn decode(sector: &[u8]) -> Option<Self> {
        let bytes: &[u8; SECTOR_HEADER_BYTES] = sector.first_chunk()?;
        let passes = bytes[0..8] == *MAGIC
            && bytes[8..10] == VERSION.to_le_bytes()
            && matches!(bytes[10], 1 | 2 | 4 | 8 | 16)
            && check::crc32(&bytes[..92]).to_le_bytes() == bytes[92..96];
        if !passes {
            return None;
        }
        Some(Self {
            align: bytes[10],
            sequence: u32::from_le_bytes(field(bytes, 12)),
            device: field(bytes, 16),
            previous: field(bytes, 24),
            erased: u32::from_le_bytes(field(bytes, 56)),
            boot: u16::from_le_bytes(field(bytes, 60)),
            opened_ms: i64::from_le_bytes(field(bytes, 64)),
        })
    }
}

fn field<const N: usize>(bytes: &[u8; SECTOR_HEADER_BYTES], at: usize) -> [u8; N] {
    let mut out = [0; N];
    out.copy_from_slice(&bytes[at..at + N]);
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    fn header() -> SectorHeader {
        SectorHeader {
            align: 1,
            sequence: u32::MAX - 3,
            device: *b"\x01\x02\x03\x04\x05\x06\x07\x08",
            previous: [0xA5; 32],
            erased: 100_000,
            boot: 7,
            opened_ms: -5,
        }
    }

    #[test]
    fn a_header_comes_back() {
        assert_eq!(SectorHeader::decode(&header().encode()), Some(header()));
    }

    #[test]
    fn any_flipped_bit_is_noticed() {
        let good = header().encode();
        for bit in 0..good.len() * 8 {
            let mut bad = good;
            bad[bit / 8] ^= 1 << (bit % 8);
            assert_eq!(SectorHeader::decode(&bad), None, "bit {bit}");
        }
        assert_eq!(SectorHeader::decode(&good[..95]), None);
    }
}
