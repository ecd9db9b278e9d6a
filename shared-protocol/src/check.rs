//! The one checksum: CRC-32/ISO-HDLC.

use crc::{CRC_32_ISO_HDLC, Crc, Digest, Table};

/// A byte at a time takes a table of 1 KiB, sixteen at a time one of 16 KiB: not for a small core.
#[cfg(not(target_pointer_width = "64"))]
type Tables = Table<1>;
#[cfg(target_pointer_width = "64")]
type Tables = Table<16>;

static CRC: Crc<u32, Tables> = Crc::<u32, Tables>::new(&CRC_32_ISO_HDLC);

/// CRC-32/ISO-HDLC of `bytes`.
pub fn crc32(bytes: &[u8]) -> u32 {
    CRC.checksum(bytes)
}

/// A running CRC-32/ISO-HDLC.
pub(crate) type Running = Digest<'static, u32, Tables>;

/// One that has seen nothing yet.
pub(crate) fn running() -> Running {
    CRC.digest()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Check values: the CRC catalogue's `123456789`, and three short inputs computed bit by bit.
    #[test]
    fn catalogue_check_values() {
        assert_eq!(crc32(b"123456789"), 0xCBF4_3926);
        assert_eq!(crc32(b""), 0);
        assert_eq!(crc32(&[0; 4]), 0x2144_DF1C);
        assert_eq!(crc32(&[0xFF; 4]), 0xFFFF_FFFF);
    }
}
