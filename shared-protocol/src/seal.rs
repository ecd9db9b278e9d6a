//! Seals (FORMAT.md §6): what the device signs, hourly and at a download, so that its record can be
//! told from an edited one. Signing and checking are done by the callers; here are the bytes.

use crate::calibration::Calibration;
use crate::settings::Settings;
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};

/// Bytes under a signature.
pub const SIGNED_BYTES: usize = 96;
/// How the bytes under a signature begin, so that they cannot be taken for anything else.
pub const MAGIC: &[u8; 8] = b"PWSEAL1\n";

/// What a seal was made for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[repr(u8)]
pub enum Occasion {
    /// The hour was over.
    Hour = 0,
    /// A download began.
    Download = 1,
}

/// An Ed25519 signature (RFC 8032), in its two halves.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Signature {
    /// R.
    pub r: [u8; 32],
    /// S.
    pub s: [u8; 32],
}

impl Signature {
    /// The signature's 64 bytes, R first.
    pub fn bytes(&self) -> [u8; 64] {
        let mut bytes = [0; 64];
        bytes[..32].copy_from_slice(&self.r);
        bytes[32..].copy_from_slice(&self.s);
        bytes
    }

    /// The signature of 64 bytes, R first.
    pub fn from_bytes(bytes: &[u8; 64]) -> Self {
        let (mut r, mut s) = ([0; 32], [0; 32]);
        r.copy_from_slice(&bytes[..32]);
        s.copy_from_slice(&bytes[32..]);
        Self { r, s }
    }
}

/// What the device states when it seals.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Statement {
    /// Device number.
    pub device: [u8; 8],
    /// Boot during which it was made.
    pub boot: u16,
    /// What for.
    pub occasion: Occasion,
    /// Newest closed sector.
    pub sector: u32,
    /// SHA-256 of that sector's 4096 bytes: as each sector holds the hash of the one before, all
    /// sectors up to this one are vouched for.
    pub chain: [u8; 32],
    /// When, by the device's clock, ms since 1970.
    pub time_ms: i64,
    /// [`papers`] in force.
    pub papers: [u8; 32],
}

impl Statement {
    /// The bytes under the signature.
    pub fn signed_bytes(&self) -> [u8; SIGNED_BYTES] {
        let mut bytes = [0; SIGNED_BYTES];
        bytes[0..8].copy_from_slice(MAGIC);
        bytes[8..16].copy_from_slice(&self.device);
        bytes[16..18].copy_from_slice(&self.boot.to_le_bytes());
        bytes[18] = self.occasion as u8;
        bytes[20..24].copy_from_slice(&self.sector.to_le_bytes());
        bytes[24..56].copy_from_slice(&self.chain);
        bytes[56..64].copy_from_slice(&self.time_ms.to_le_bytes());
        bytes[64..96].copy_from_slice(&self.papers);
        bytes
    }
}

/// A statement and its signature.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Seal {
    /// What is stated.
    pub statement: Statement,
    /// The device's signature over [`Statement::signed_bytes`].
    pub signature: Signature,
}

/// SHA-256 over what the numbers of a record mean: settings, site text and calibration, each with
/// its length in front as 4 bytes, little-endian.
pub fn papers(settings: &Settings, site_text: &[u8], calibration: &Calibration) -> [u8; 32] {
    let mut hash = Sha256::new();
    let mut part = |bytes: &[u8]| {
        hash.update((bytes.len() as u32).to_le_bytes());
        hash.update(bytes);
    };
    // Both are bounded by their types to less than the buffer (their modules test it).
    let mut buffer = [0; crate::settings::SETTINGS_BYTES_MAX];
    part(postcard::to_slice(settings, &mut buffer).map_or(&[], |bytes| &*bytes));
    part(site_text);
    part(postcard::to_slice(calibration, &mut buffer).map_or(&[], |bytes| &*bytes));
    hash.finalize().into()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::record::MARK_BYTES_MAX;

    fn seal() -> Seal {
        Seal {
            statement: Statement {
                device: *b"device01",
                boot: u16::MAX,
                occasion: Occasion::Download,
                sector: u32::MAX,
                chain: [0xC4; 32],
                time_ms: i64::MIN,
                papers: [0xFA; 32],
            },
            signature: Signature::from_bytes(&[0xFF; 64]),
        }
    }

    #[test]
    fn every_field_is_under_the_signature() {
        let base = seal().statement;
        let others = [
            Statement { device: *b"device02", ..base },
            Statement { boot: 0, ..base },
            Statement { occasion: Occasion::Hour, ..base },
            Statement { sector: 0, ..base },
            Statement { chain: [0; 32], ..base },
            Statement { time_ms: 0, ..base },
            Statement { papers: [0; 32], ..base },
        ];
        for other in others {
            assert_ne!(other.signed_bytes(), base.signed_bytes());
        }
    }

    #[test]
    fn a_seal_fits_a_mark_and_comes_back() {
        let mut buffer = [0; MARK_BYTES_MAX - 1];
        let bytes = postcard::to_slice(&seal(), &mut buffer).unwrap();
        assert_eq!(postcard::from_bytes::<Seal>(bytes), Ok(seal()));
        assert_eq!(Signature::from_bytes(&seal().signature.bytes()), seal().signature);
    }

    #[test]
    fn papers_tell_apart_what_belongs_where() {
        let (settings, calibration) = (Settings::default(), Calibration::default());
        let base = papers(&settings, b"[supply]", &calibration);
        assert_ne!(base, papers(&settings, b"[supply] ", &calibration));
        let other = Settings { nominal_hz: 60, ..settings.clone() };
        assert_ne!(base, papers(&other, b"[supply]", &calibration));
        let mut other = calibration.clone();
        other.voltage.late_ns = 1;
        assert_ne!(base, papers(&settings, b"[supply]", &other));
    }
}
