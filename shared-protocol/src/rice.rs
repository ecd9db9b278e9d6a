//! The codes of numbers (FORMAT.md §3.1): Rice codes that learn their parameter from what they have
//! coded, distances against a running mean, times.
// On a large machine reading speed counts, on a small core the room.
#![allow(clippy::inline_always)]

use crate::bits::{BitReader, BitWriter, NoRoom};

/// Ones in a row that announce an escape.
const ESCAPE: u32 = 10;
/// Greatest code parameter.
const K_MAX: u32 = 20;
/// Samples after which a context forgets half.
const FORGET: u32 = 24;
/// Distances above this move a mean no further, so that sixteen of them fit an i32.
const MEAN_OF_MAX: u32 = 65_535;
/// A mean moves by at most a quarter of this, in 1/16.
const MEAN_STEP_MAX: i32 = 64;

pub(crate) const fn zigzag(value: i32) -> u32 {
    ((value << 1) ^ (value >> 31)) as u32
}

pub(crate) const fn unzigzag(value: u32) -> i32 {
    ((value >> 1) as i32) ^ -((value & 1) as i32)
}

const fn zigzag64(value: i64) -> u64 {
    ((value << 1) ^ (value >> 63)) as u64
}

const fn unzigzag64(value: u64) -> i64 {
    ((value >> 1) as i64) ^ -((value & 1) as i64)
}

/// Ones at the top of the window; any number from [`ESCAPE`] on stands for as many or more.
#[cfg(not(target_pointer_width = "64"))]
fn leading_ones(window: u64) -> u32 {
    window.leading_ones()
}

/// The same by a table of 1 KiB: processors without an instruction for it that is known when the
/// program is built take longer for the count than for a look at the nearest memory.
#[cfg(target_pointer_width = "64")]
#[inline(always)]
fn leading_ones(window: u64) -> u32 {
    const TOP: usize = 1 << ESCAPE;
    static ONES: [u8; TOP] = {
        let mut ones = [0; TOP];
        let mut top = 0;
        while top < TOP {
            ones[top] = ((top as u64) << (64 - ESCAPE)).leading_ones() as u8;
            top += 1;
        }
        ones
    };
    ONES[(window >> (64 - ESCAPE)) as usize].into()
}

/// FORMAT.md code A.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Context {
    sum: u32,
    seen: u32,
    /// The code parameter that follows from the two above.
    k: u32,
}

impl Context {
    pub(crate) const FRESH: Self = Self { sum: 4, seen: 1, k: 2 };

    #[cfg_attr(target_pointer_width = "64", inline(always))]
    fn learn(&mut self, value: u32) {
        // At most FORGET · ESCAPE · 2^K_MAX, which is below 2²⁸.
        self.sum += value;
        self.seen += 1;
        if self.seen == FORGET {
            self.sum /= 2;
            self.seen /= 2;
        }
        let target = self.sum - (self.sum >> 2) - (self.sum >> 4);
        // Mostly neither loop turns: the parameter changes seldom, and then by one.
        while self.k < K_MAX && (self.seen << self.k) < target {
            self.k += 1;
        }
        while self.k > 0 && (self.seen << (self.k - 1)) >= target {
            self.k -= 1;
        }
    }

    pub(crate) fn put(&mut self, bits: &mut BitWriter<'_>, value: u32) -> Result<(), NoRoom> {
        let k = self.k;
        let quotient = value >> k;
        if quotient < ESCAPE {
            bits.put_unary(quotient)?;
            bits.put(value, k)?;
            self.learn(value);
        } else {
            let width = 32 - value.leading_zeros();
            bits.put((1 << ESCAPE) - 1, ESCAPE)?;
            bits.put(width - 1, 5)?;
            bits.put(value, width)?;
            self.learn(4 << k);
        }
        Ok(())
    }

    #[cfg_attr(target_pointer_width = "64", inline(always))]
    pub(crate) fn take(&mut self, bits: &mut BitReader<'_>) -> u32 {
        bits.window();
        self.take_at_hand(bits)
    }

    /// Most bits of a code that is no escape.
    pub(crate) fn width_max(self) -> u32 {
        ESCAPE + self.k
    }

    /// The next number, if a code of [`Self::width_max`] bits is at hand. Behind an escape, which
    /// is longer, the window is full again.
    #[cfg_attr(target_pointer_width = "64", inline(always))]
    pub(crate) fn take_at_hand(&mut self, bits: &mut BitReader<'_>) -> u32 {
        let k = self.k;
        let window = bits.at_hand();
        let ones = leading_ones(window);
        if ones >= ESCAPE {
            return self.take_escaped(bits);
        }
        bits.skip(ones + 1 + k);
        // The zero behind the ones stands on top of the k bits.
        let value = (ones << k) | (window << ones >> (63 - k)) as u32;
        self.learn(value);
        value
    }

    #[cold]
    #[inline(never)]
    fn take_escaped(&mut self, bits: &mut BitReader<'_>) -> u32 {
        // The longest code, an escape of 47 bits, is within one window.
        let window = bits.window();
        let width = (window << ESCAPE >> 59) as u32 + 1;
        let value = (window << (ESCAPE + 5) >> (64 - width)) as u32;
        bits.skip(ESCAPE + 5 + width);
        bits.window();
        self.learn(4 << self.k);
        value
    }

    pub(crate) fn put_signed(
        &mut self,
        bits: &mut BitWriter<'_>,
        value: i32,
    ) -> Result<(), NoRoom> {
        self.put(bits, zigzag(value))
    }

    #[cfg_attr(target_pointer_width = "64", inline(always))]
    pub(crate) fn take_signed(&mut self, bits: &mut BitReader<'_>) -> i32 {
        unzigzag(self.take(bits))
    }

    /// As [`Self::take_at_hand`].
    #[cfg_attr(target_pointer_width = "64", inline(always))]
    pub(crate) fn take_signed_at_hand(&mut self, bits: &mut BitReader<'_>) -> i32 {
        unzigzag(self.take_at_hand(bits))
    }
}

/// FORMAT.md code D: a distance, which is never below zero, around its running mean.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Distance {
    context: Context,
    /// Running mean, 1/16.
    mean: i32,
}

impl Distance {
    pub(crate) const FRESH: Self = Self { context: Context::FRESH, mean: 0 };

    fn expected(self) -> u32 {
        ((self.mean + 8) >> 4) as u32
    }

    #[cfg_attr(target_pointer_width = "64", inline(always))]
    fn learn(&mut self, distance: u32) {
        let error = (distance.min(MEAN_OF_MAX) as i32) * 16 - self.mean;
        self.mean += error.clamp(-MEAN_STEP_MAX, MEAN_STEP_MAX) >> 2;
    }

    pub(crate) fn put(&mut self, bits: &mut BitWriter<'_>, distance: u32) -> Result<(), NoRoom> {
        let expected = self.expected();
        let folded = if distance <= 2 * expected {
            zigzag(distance.wrapping_sub(expected) as i32)
        } else {
            distance
        };
        self.learn(distance);
        self.context.put(bits, folded)
    }

    #[cfg(test)]
    fn take(&mut self, bits: &mut BitReader<'_>) -> u32 {
        bits.window();
        self.take_at_hand(bits)
    }

    /// Most bits of a code that is no escape.
    pub(crate) fn width_max(self) -> u32 {
        self.context.width_max()
    }

    /// As that of a [`Context`].
    #[cfg_attr(target_pointer_width = "64", inline(always))]
    pub(crate) fn take_at_hand(&mut self, bits: &mut BitReader<'_>) -> u32 {
        let expected = self.expected();
        let folded = self.context.take_at_hand(bits);
        let distance = if folded <= 2 * expected {
            expected.wrapping_add(unzigzag(folded) as u32)
        } else {
            folded
        };
        self.learn(distance);
        distance
    }
}

/// FORMAT.md code T. Differences beyond 62 bits (146 million years) do not occur; they are cut.
pub(crate) fn put_time(bits: &mut BitWriter<'_>, time_ms: i64, from_ms: i64) -> Result<(), NoRoom> {
    let value = zigzag64(time_ms.wrapping_sub(from_ms)) & (u64::MAX >> 1);
    let width = 64 - value.leading_zeros();
    bits.put(width, 6)?;
    if width > 32 {
        bits.put((value >> 32) as u32, width - 32)?;
    }
    bits.put(value as u32, width.min(32))
}

pub(crate) fn take_time(bits: &mut BitReader<'_>, from_ms: i64) -> i64 {
    let width = bits.take(6);
    let high = if width > 32 { bits.take(width - 32) } else { 0 };
    let value = (u64::from(high) << 32) | u64::from(bits.take(width.min(32)));
    from_ms.wrapping_add(unzigzag64(value))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn any_size() -> impl Strategy<Value = u32> {
        (any::<u32>(), 0u32..=32).prop_map(
            |(value, width)| {
                if width == 0 { 0 } else { value >> (32 - width) }
            },
        )
    }

    proptest! {
        #[test]
        fn numbers_come_back(values in proptest::collection::vec(any_size(), 0..200)) {
            let mut bytes = [0; 2048];
            let mut writer = BitWriter::new(&mut bytes, 0);
            let (mut context, mut distance) = (Context::FRESH, Distance::FRESH);
            for value in &values {
                context.put(&mut writer, *value).unwrap();
                distance.put(&mut writer, *value).unwrap();
            }
            let at = writer.position();
            let mut reader = BitReader::new(&bytes[..at.div_ceil(8)]);
            let (mut context, mut distance) = (Context::FRESH, Distance::FRESH);
            for value in &values {
                prop_assert_eq!(context.take(&mut reader), *value);
                prop_assert_eq!(distance.take(&mut reader), *value);
            }
            prop_assert_eq!(reader.position(), at);
        }

        /// The parameter kept is the one that FORMAT.md asks for: the least that suffices.
        #[test]
        fn the_parameter_is_the_least(values in proptest::collection::vec(any_size(), 0..200)) {
            let mut bytes = [0; 2048];
            let mut writer = BitWriter::new(&mut bytes, 0);
            let mut context = Context::FRESH;
            for value in values {
                let target = context.sum - (context.sum >> 2) - (context.sum >> 4);
                let least = (0..K_MAX).find(|k| (context.seen << k) >= target).unwrap_or(K_MAX);
                prop_assert_eq!(context.k, least);
                context.put(&mut writer, value).unwrap();
            }
        }

        #[test]
        fn times_come_back(from in any::<i64>(), by in -(1i64 << 61)..(1 << 61)) {
            let mut bytes = [0; 16];
            let time = from.wrapping_add(by);
            put_time(&mut BitWriter::new(&mut bytes, 0), time, from).unwrap();
            prop_assert_eq!(take_time(&mut BitReader::new(&bytes), from), time);
        }
    }
}
