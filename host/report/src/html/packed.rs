//! Values packed small for the page's viewer: differences as variable-length integers, deflated
//! (RFC 1951), in base64 (RFC 4648). `viewer/unpack.js` unpacks them.
//!
//! Every value is a count of a channel's step. A plane of means is written as differences from the
//! last one, zig-zag, plus one; nought stands for a missing value. Smallest and largest follow as
//! distances from the mean.

use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use flate2::Compression;
use flate2::write::DeflateEncoder;
use std::io::Write;

/// Integers in the making.
#[derive(Debug, Default)]
pub struct Packer {
    bytes: Vec<u8>,
}

impl Packer {
    /// Adds a number from 0: seven bits a byte, the lowest first.
    pub fn count(&mut self, mut value: u64) {
        while value >= 0x80 {
            self.bytes.push(value as u8 | 0x80);
            value >>= 7;
        }
        self.bytes.push(value as u8);
    }

    /// Adds means in steps, `None` where there is none.
    pub fn means(&mut self, values: impl Iterator<Item = Option<i64>>) {
        let mut last = 0;
        for value in values {
            let Some(value) = value else {
                self.count(0);
                continue;
            };
            let step = value - last;
            last = value;
            self.count((((step << 1) ^ (step >> 63)) as u64).saturating_add(1));
        }
    }

    /// Adds distances that are never below nought.
    pub fn distances(&mut self, values: impl Iterator<Item = i64>) {
        for value in values {
            self.count(value.max(0) as u64);
        }
    }

    /// All of it, deflated, as text.
    pub fn finish(self) -> String {
        let mut encoder = DeflateEncoder::new(Vec::new(), Compression::new(7));
        // Writing to memory does not fail.
        let packed = encoder.write_all(&self.bytes).and_then(|()| encoder.finish());
        STANDARD.encode(packed.unwrap_or_default())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::io::Read;

    fn unpacked(text: &str) -> Vec<u64> {
        let mut bytes = Vec::new();
        let packed = STANDARD.decode(text).unwrap();
        flate2::read::DeflateDecoder::new(&packed[..]).read_to_end(&mut bytes).unwrap();
        let mut values = Vec::new();
        let (mut value, mut shift) = (0, 0);
        for byte in bytes {
            value |= u64::from(byte & 0x7f) << shift;
            shift += 7;
            if byte & 0x80 == 0 {
                values.push(value);
                (value, shift) = (0, 0);
            }
        }
        values
    }

    #[test]
    fn numbers_come_back() {
        let mut packer = Packer::default();
        packer.means([Some(5), None, Some(3), Some(300)].into_iter());
        packer.distances([0, 127, 128, -4].into_iter());
        assert_eq!(unpacked(&packer.finish()), [11, 0, 4, 595, 0, 127, 128, 0]);
    }
}
