//! Bits in bytes, most significant first.
// On a large machine reading speed counts, on a small core the room.
#![allow(clippy::inline_always)]

/// No room for the bits asked for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct NoRoom;

/// Writes bits into a byte slice.
pub struct BitWriter<'a> {
    bytes: &'a mut [u8],
    at: usize,
}

impl<'a> BitWriter<'a> {
    /// Starts at bit `at` of `bytes`; bits before it stand.
    pub fn new(bytes: &'a mut [u8], at: usize) -> Self {
        Self { bytes, at }
    }

    /// Bits written so far, counted from the start of the slice.
    pub fn position(&self) -> usize {
        self.at
    }

    /// Appends the `width` (≤ 32) low bits of `value`.
    pub fn put(&mut self, value: u32, width: u32) -> Result<(), NoRoom> {
        if self.at + width as usize > self.bytes.len() * 8 {
            return Err(NoRoom);
        }
        let mut left = width;
        while left > 0 {
            let (byte, bit) = (self.at / 8, (self.at % 8) as u32);
            let take = left.min(8 - bit);
            let part = ((value >> (left - take)) & ((1 << take) - 1)) as u8;
            let shift = 8 - bit - take;
            let mask = (((1u32 << take) - 1) << shift) as u8;
            self.bytes[byte] = (self.bytes[byte] & !mask) | (part << shift);
            self.at += take as usize;
            left -= take;
        }
        Ok(())
    }

    /// Appends `count` (≤ 31) one bits and a zero.
    pub fn put_unary(&mut self, count: u32) -> Result<(), NoRoom> {
        self.put(((1u32 << count) - 1) << 1, count + 1)
    }
}

/// Bits that are surely in the window after a refill.
pub(crate) const WINDOW_BITS: u32 = 56;

/// Reads bits from a byte slice through a 64-bit window. It also reads behind the end, and gives
/// whatever is there or zeros: who reads asks [`BitReader::overran`] when a record is complete, not
/// at every code.
pub struct BitReader<'a> {
    bytes: &'a [u8],
    /// How many of the bytes are to be read.
    length: usize,
    /// First byte of which no bit is in the window yet.
    next: usize,
    /// The next bits, first one on top.
    window: u64,
    /// How many of them are valid; the bits below are zeros, or those that a refill puts there.
    held: u32,
}

impl<'a> BitReader<'a> {
    /// Reads `bytes` from their first bit.
    pub fn new(bytes: &'a [u8]) -> Self {
        Self::within(bytes, bytes.len())
    }

    /// Reads the first `length` of `bytes`. What is behind them does no harm and makes for fewer
    /// steps near the end.
    pub(crate) fn within(bytes: &'a [u8], length: usize) -> Self {
        Self { bytes, length: length.min(bytes.len()), next: 0, window: 0, held: 0 }
    }

    /// Bits read so far.
    pub fn position(&self) -> usize {
        self.next * 8 - self.held as usize
    }

    /// True when more bits were read than there are.
    pub fn overran(&self) -> bool {
        self.position() > self.length * 8
    }

    /// Bits not read yet.
    pub fn left(&self) -> usize {
        (self.length * 8).saturating_sub(self.position())
    }

    /// The next [`WINDOW_BITS`] or more bits, first one on top.
    #[cfg_attr(target_pointer_width = "64", inline(always))]
    pub(crate) fn window(&mut self) -> u64 {
        if let Some(eight) = self.bytes.get(self.next..).and_then(<[u8]>::first_chunk::<8>) {
            self.window |= u64::from_be_bytes(*eight) >> self.held;
            // As many whole bytes as fit; bits of one more may stand below the valid ones, where
            // the next refill finds them already in place.
            self.next += ((63 - self.held) >> 3) as usize;
            self.held |= WINDOW_BITS;
        } else {
            self.refill_at_the_end();
        }
        self.window
    }

    #[cold]
    fn refill_at_the_end(&mut self) {
        while self.held <= WINDOW_BITS {
            let byte = self.bytes.get(self.next).copied().unwrap_or(0);
            self.window |= u64::from(byte) << (WINDOW_BITS - self.held);
            self.next += 1;
            self.held += 8;
        }
    }

    /// The window as it is: the bits of the last [`Self::window`] less those stepped over since.
    /// Codes that surely fit in it together cost one refill.
    #[cfg_attr(target_pointer_width = "64", inline(always))]
    pub(crate) fn at_hand(&self) -> u64 {
        self.window
    }

    /// Steps over `width` bits of what [`Self::window`] has given: at most [`WINDOW_BITS`] in all.
    #[cfg_attr(target_pointer_width = "64", inline(always))]
    pub(crate) fn skip(&mut self, width: u32) {
        self.window <<= width;
        self.held -= width;
    }

    /// The next `width` (≤ 32) bits.
    #[inline]
    pub fn take(&mut self, width: u32) -> u32 {
        let window = self.window();
        self.skip(width);
        // In two steps, so that no bits at all is no shift by 64.
        (window >> 1 >> (63 - width)) as u32
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        /// Against a plain picture of the bits: a string of zeros and ones.
        #[test]
        fn bits_come_as_they_were_put(
            parts in proptest::collection::vec((any::<u32>(), 0u32..=32), 0..60),
        ) {
            let mut bytes = [0xFF; 256];
            let mut writer = BitWriter::new(&mut bytes, 0);
            let mut picture = std::string::String::new();
            for (value, width) in &parts {
                writer.put(*value, *width).unwrap();
                for bit in (0..*width).rev() {
                    picture.push(if value >> bit & 1 == 1 { '1' } else { '0' });
                }
            }
            let at = writer.position();
            prop_assert_eq!(at, picture.len());
            let bytes = &bytes[..at.div_ceil(8)];
            let seen = |at: usize| if bytes[at / 8] >> (7 - at % 8) & 1 == 1 { '1' } else { '0' };
            let seen: std::string::String = (0..at).map(seen).collect();
            prop_assert_eq!(seen, picture);
            let mut reader = BitReader::new(bytes);
            for (value, width) in &parts {
                let kept = if *width == 0 { 0 } else { value << (32 - width) >> (32 - width) };
                prop_assert_eq!(reader.take(*width), kept);
            }
            prop_assert_eq!((reader.position(), reader.overran()), (at, false));
            prop_assert_eq!(reader.left(), bytes.len() * 8 - at);
            // The same with more behind the end.
            let mut longer = [0xA5; 300];
            longer[..bytes.len()].copy_from_slice(bytes);
            let mut among = BitReader::within(&longer, bytes.len());
            for (value, width) in &parts {
                let kept = if *width == 0 { 0 } else { value << (32 - width) >> (32 - width) };
                prop_assert_eq!(among.take(*width), kept);
            }
            prop_assert_eq!((among.position(), among.left()), (at, reader.left()));
            among.take(among.left() as u32);
            prop_assert!(!among.overran());
            among.take(1);
            prop_assert!(among.overran());
        }

        #[test]
        fn behind_the_end_are_zeros_and_they_are_noticed(
            bytes in proptest::collection::vec(any::<u8>(), 0..20), more in 1u32..=32,
        ) {
            let mut reader = BitReader::new(&bytes);
            for byte in &bytes {
                prop_assert_eq!(reader.take(8), u32::from(*byte));
            }
            prop_assert!(!reader.overran());
            prop_assert_eq!(reader.take(more), 0);
            prop_assert!(reader.overran());
            prop_assert_eq!((reader.position(), reader.left()), (bytes.len() * 8 + more as usize, 0));
        }
    }

    extern crate std;
}
