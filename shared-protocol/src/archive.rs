//! Archive files (FORMAT.md §4): what a download writes.

use crate::calibration::Calibration;
use crate::check;
use crate::message::{Identity, SnapshotRange};
use crate::seal::Seal;
use crate::settings::{SITE_TEXT_MAX, Settings};
use heapless::{String, Vec};
use serde::{Deserialize, Serialize};

/// Bytes before the first sector.
pub const ARCHIVE_HEADER_BYTES: usize = 8192;
/// Bytes behind the last sector.
pub const TRAILER_BYTES: usize = 64;
/// How an archive begins.
pub const MAGIC: &[u8; 8] = b"PWARCH1\n";

const TRAILER_MAGIC: &[u8; 8] = b"PWARCEND";
const HEAD: usize = 12;
const CRC_AT: usize = ARCHIVE_HEADER_BYTES - 4;

/// What the head of an archive says.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct ArchiveHeader {
    /// The logger, as it introduced itself.
    pub identity: Identity,
    /// Sectors in the file.
    pub range: SnapshotRange,
    /// The host's clock when the snapshot was taken, ms since 1970.
    pub host_clock_ms: i64,
    /// Settings in force.
    pub settings: Settings,
    /// Text of the site file kept in the logger.
    pub site_text: Vec<u8, SITE_TEXT_MAX>,
    /// Calibration in force.
    pub calibration: Calibration,
    /// The device's public key; zeros when it has none.
    pub public_key: [u8; 32],
    /// The device's seal over the sectors of this file, if it could make one.
    pub seal: Option<Seal>,
    /// Who collected it; empty when not stated.
    pub collected_by: String<64>,
    /// Version of the program that collected it, major · minor · patch.
    pub program: [u8; 3],
}

/// Why the head of a file is not that of an archive.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum HeaderError {
    /// It begins otherwise.
    #[error("this is not a pumpwitness archive")]
    Foreign,
    /// It is shorter than a head.
    #[error("the archive is cut off inside its head ({0} of {ARCHIVE_HEADER_BYTES} bytes)")]
    CutOff(usize),
    /// The head fails its check.
    #[error("the head of the archive is damaged")]
    Damaged,
}

impl ArchiveHeader {
    /// Number of sectors, by the range; 0 when the range is upside down.
    pub fn sectors(&self) -> u32 {
        self.range
            .last_sector
            .checked_sub(self.range.first_sector)
            .map_or(0, |n| n.saturating_add(1))
    }

    /// Writes the head into `out`.
    pub fn encode(&self, out: &mut [u8; ARCHIVE_HEADER_BYTES]) {
        out.fill(0);
        out[0..8].copy_from_slice(MAGIC);
        // Bounded by its types to less than half the room.
        let used = match postcard::to_slice(self, &mut out[HEAD..CRC_AT]) {
            Ok(bytes) => bytes.len(),
            Err(_) => 0,
        };
        out[8..12].copy_from_slice(&(used as u32).to_le_bytes());
        let crc = check::crc32(&out[..CRC_AT]);
        out[CRC_AT..].copy_from_slice(&crc.to_le_bytes());
    }

    /// Reads the head of a file.
    pub fn decode(file: &[u8]) -> Result<Self, HeaderError> {
        if !file.starts_with(MAGIC) {
            return Err(HeaderError::Foreign);
        }
        let head: &[u8; ARCHIVE_HEADER_BYTES] =
            file.first_chunk().ok_or(HeaderError::CutOff(file.len()))?;
        if check::crc32(&head[..CRC_AT]).to_le_bytes() != head[CRC_AT..] {
            return Err(HeaderError::Damaged);
        }
        let used = u32::from_le_bytes([head[8], head[9], head[10], head[11]]) as usize;
        let bytes = head.get(HEAD..HEAD.saturating_add(used)).ok_or(HeaderError::Damaged)?;
        postcard::from_bytes(bytes).map_err(|_| HeaderError::Damaged)
    }
}

/// The trailer of an archive of `sectors` sectors whose bytes before it hash to `sha256`.
pub fn trailer(sectors: u32, sha256: [u8; 32]) -> [u8; TRAILER_BYTES] {
    let mut bytes = [0; TRAILER_BYTES];
    bytes[0..8].copy_from_slice(TRAILER_MAGIC);
    bytes[8..12].copy_from_slice(&sectors.to_le_bytes());
    bytes[32..64].copy_from_slice(&sha256);
    bytes
}

/// Number of sectors and hash of a trailer, if `bytes` are one.
pub fn read_trailer(bytes: &[u8]) -> Option<(u32, [u8; 32])> {
    let bytes: &[u8; TRAILER_BYTES] = bytes.try_into().ok()?;
    if bytes[0..8] != *TRAILER_MAGIC || bytes[12..32] != [0; 20] {
        return None;
    }
    let mut sha256 = [0; 32];
    sha256.copy_from_slice(&bytes[32..]);
    Some((u32::from_le_bytes([bytes[8], bytes[9], bytes[10], bytes[11]]), sha256))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn header() -> ArchiveHeader {
        ArchiveHeader {
            identity: Identity {
                protocol: 1,
                device: *b"device01",
                firmware: [0, 1, 0],
                boot: 3,
                clock_ms: 1_770_000_000_000,
                clock_good: true,
            },
            range: SnapshotRange { first_sector: 5, last_sector: 9, clock_ms: 1_770_000_000_001 },
            host_clock_ms: 1_770_000_000_500,
            settings: Settings::default(),
            site_text: core::iter::repeat_n(b'#', SITE_TEXT_MAX).collect(),
            calibration: Calibration::default(),
            public_key: [7; 32],
            seal: None,
            collected_by: String::new(),
            program: [0, 1, 0],
        }
    }

    #[test]
    fn a_head_comes_back() {
        let mut bytes = [0; ARCHIVE_HEADER_BYTES];
        header().encode(&mut bytes);
        assert_eq!(ArchiveHeader::decode(&bytes), Ok(header()));
        assert_eq!(header().sectors(), 5);
    }

    #[test]
    fn foreign_cut_and_damaged_heads_are_told_apart() {
        let mut bytes = [0; ARCHIVE_HEADER_BYTES];
        header().encode(&mut bytes);
        assert_eq!(ArchiveHeader::decode(b"PAR1"), Err(HeaderError::Foreign));
        assert_eq!(ArchiveHeader::decode(b""), Err(HeaderError::Foreign));
        assert_eq!(ArchiveHeader::decode(&bytes[..100]), Err(HeaderError::CutOff(100)));
        for at in [8, 20, 4000, ARCHIVE_HEADER_BYTES - 1] {
            let mut bad = bytes;
            bad[at] ^= 0x10;
            assert_eq!(ArchiveHeader::decode(&bad), Err(HeaderError::Damaged), "byte {at}");
        }
    }

    #[test]
    fn a_trailer_comes_back() {
        assert_eq!(read_trailer(&trailer(7, [9; 32])), Some((7, [9; 32])));
        assert_eq!(read_trailer(&[0; TRAILER_BYTES]), None);
        assert_eq!(read_trailer(&[]), None);
    }
}
