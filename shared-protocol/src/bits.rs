//! Bits in bytes, most significant first.

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

    /// Appends `count` one bits and a zero.
    pub fn put_unary(&mut self, count: u32) -> Result<(), NoRoom> {
        self.put(((1u32 << count) - 1) << 1, count + 1)
    }
}

/// Reads bits from a byte slice through a 64-bit window.
pub struct BitReader<'a> {
    bytes: &'a [u8],
    at: usize,
}

impl<'a> BitReader<'a> {
    /// Reads `bytes` from their first bit.
    pub fn new(bytes: &'a [u8]) -> Self {
        Self { bytes, at: 0 }
    }

    /// Bits read so far.
    pub fn position(&self) -> usize {
        self.at
    }

    /// The next bits, first one on top; zeros beyond the end. At least 57 are real.
    fn window(&self) -> u64 {
        let byte = self.at / 8;
        let rest = self.bytes.get(byte..).unwrap_or(&[]);
        let word = rest.first_chunk::<8>().map_or_else(
            || {
                let mut last = [0; 8];
                last[..rest.len()].copy_from_slice(rest);
                u64::from_be_bytes(last)
            },
            |eight| u64::from_be_bytes(*eight),
        );
        word << (self.at % 8)
    }

    fn advance(&mut self, width: u32) -> Option<()> {
        let next = self.at + width as usize;
        (next <= self.bytes.len() * 8).then(|| self.at = next)
    }

    /// The next `width` (≤ 32) bits.
    pub fn take(&mut self, width: u32) -> Option<u32> {
        let window = self.window();
        self.advance(width)?;
        Some(if width == 0 { 0 } else { (window >> (64 - width)) as u32 })
    }

    /// Counts one bits up to `limit` (≤ 32). A zero that ends them earlier is consumed too.
    pub fn take_unary(&mut self, limit: u32) -> Option<u32> {
        let ones = self.window().leading_ones();
        if ones >= limit {
            self.advance(limit)?;
            return Some(limit);
        }
        self.advance(ones + 1)?;
        Some(ones)
    }
}
