//! Records as bits (FORMAT.md §3): deltas against the record before, in adaptive Rice codes.
//!
//! The noise of a running pump changes from channel to channel and site to site; each field learns
//! its own code length from what it has seen in the page, so a quiet field costs one bit and no
//! table needs tuning.

use crate::bits::{BitReader, BitWriter, NoRoom};
use crate::record::{
    CAPTURE_BLOCK_POINTS, CaptureBlock, CapturePoint, Interval, MARK_BYTES_MAX, Mark, Record,
    Spread, TimedMark, Trigger,
};
use heapless::Vec;

/// Ones in a row that announce an escape.
const ESCAPE: u32 = 12;
/// Greatest code parameter.
const K_MAX: u32 = 20;
/// Samples after which a context forgets half.
const FORGET: u32 = 32;
const SPAN_AT_START_MS: u32 = 200;
/// Contexts of an interval: span, then voltage, current, signal (three each), power, frequency,
/// flags.
const CONTEXTS: usize = 13;

/// Why a record was not encoded.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum EncodeError {
    /// It does not fit in the room given.
    #[error("no room left in the page")]
    NoRoom,
    /// A mark longer than [`MARK_BYTES_MAX`].
    #[error("mark longer than {MARK_BYTES_MAX} bytes")]
    MarkTooLong,
}

impl From<NoRoom> for EncodeError {
    fn from(_: NoRoom) -> Self {
        Self::NoRoom
    }
}

/// Bits that are no record.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[error("bits that are no record")]
pub struct DecodeError;

const fn zigzag(value: i32) -> u32 {
    ((value << 1) ^ (value >> 31)) as u32
}

const fn unzigzag(value: u32) -> i32 {
    ((value >> 1) as i32) ^ -((value & 1) as i32)
}

const fn zigzag64(value: i64) -> u64 {
    ((value << 1) ^ (value >> 63)) as u64
}

const fn unzigzag64(value: u64) -> i64 {
    ((value >> 1) as i64) ^ -((value & 1) as i64)
}

/// Adaptive Rice context.
#[derive(Clone, Copy, Debug)]
struct Context {
    sum: u32,
    seen: u32,
}

impl Context {
    const FRESH: Self = Self { sum: 4, seen: 1 };

    fn parameter(self) -> u32 {
        let mut k = 0;
        while k < K_MAX && (self.seen << k) < self.sum {
            k += 1;
        }
        k
    }

    fn learn(&mut self, value: u32, k: u32) {
        self.sum += value.min(ESCAPE << k);
        self.seen += 1;
        if self.seen == FORGET {
            self.sum = (self.sum / 2).max(1);
            self.seen /= 2;
        }
    }

    fn put(&mut self, bits: &mut BitWriter<'_>, value: u32) -> Result<(), NoRoom> {
        let k = self.parameter();
        let quotient = value >> k;
        if quotient < ESCAPE {
            bits.put_unary(quotient)?;
            bits.put(value, k)?;
        } else {
            let width = 32 - value.leading_zeros();
            bits.put((1 << ESCAPE) - 1, ESCAPE)?;
            bits.put(width - 1, 5)?;
            bits.put(value, width)?;
        }
        self.learn(value, k);
        Ok(())
    }

    fn take(&mut self, bits: &mut BitReader<'_>) -> Option<u32> {
        let k = self.parameter();
        let quotient = bits.take_unary(ESCAPE)?;
        let value = if quotient < ESCAPE {
            (quotient << k) | bits.take(k)?
        } else {
            let width = bits.take(5)? + 1;
            bits.take(width)?
        };
        self.learn(value, k);
        Some(value)
    }
}

/// State carried from record to record within a page.
#[derive(Clone, Copy, Debug)]
pub struct Model {
    previous: Interval,
    contexts: [Context; CONTEXTS],
}

impl Model {
    /// State at the start of a page with this base time.
    pub fn new(base_ms: i64) -> Self {
        Self {
            previous: Interval {
                end_ms: base_ms,
                span_ms: SPAN_AT_START_MS,
                count: 1,
                ..Interval::default()
            },
            contexts: [Context::FRESH; CONTEXTS],
        }
    }

    /// Appends `record` to `bytes` behind bit `at`; gives the new bit position. On an error neither
    /// the state nor the bits before `at` have changed.
    pub fn encode(
        &mut self,
        record: &Record,
        bytes: &mut [u8],
        at: usize,
    ) -> Result<usize, EncodeError> {
        let mut bits = BitWriter::new(bytes, at);
        match record {
            Record::Interval(interval) => {
                let mut next = *self;
                next.put_interval(interval, &mut bits)?;
                *self = next;
            }
            Record::Capture(block) => self.put_capture(block, &mut bits)?,
            Record::Mark(mark) => self.put_mark(mark, &mut bits)?,
        }
        Ok(bits.position())
    }

    /// Reads the next record.
    pub fn decode(&mut self, bits: &mut BitReader<'_>) -> Result<Record, DecodeError> {
        self.take_record(bits).ok_or(DecodeError)
    }

    fn take_record(&mut self, bits: &mut BitReader<'_>) -> Option<Record> {
        if bits.take(1)? == 0 {
            return self.take_interval(bits).map(Record::Interval);
        }
        if bits.take(1)? == 0 {
            return self.take_capture(bits).map(Record::Capture);
        }
        self.take_mark(bits).map(Record::Mark)
    }

    fn put_interval(&mut self, now: &Interval, bits: &mut BitWriter<'_>) -> Result<(), NoRoom> {
        let before = self.previous;
        bits.put(0, 1)?;
        let start_ms = now.end_ms.wrapping_sub(i64::from(now.span_ms));
        if start_ms == before.end_ms && now.count == before.count {
            bits.put(0, 1)?;
        } else {
            bits.put(1, 1)?;
            put_time(bits, start_ms, before.end_ms)?;
            bits.put(now.count.into(), 16)?;
        }
        let [span, voltage @ .., power, frequency, flags] = &mut self.contexts;
        let (voltage, rest) = voltage.split_at_mut(3);
        let (current, signal) = rest.split_at_mut(3);
        span.put(bits, zigzag(now.span_ms.wrapping_sub(before.span_ms) as i32))?;
        put_spread(bits, voltage, now.voltage_dv, before.voltage_dv)?;
        put_spread(bits, current, now.current_ca, before.current_ca)?;
        put_spread(bits, signal, now.signal, before.signal)?;
        power.put(bits, zigzag(now.power_w.wrapping_sub(before.power_w)))?;
        let hertz = i32::from(now.frequency_chz) - i32::from(before.frequency_chz);
        frequency.put(bits, zigzag(hertz))?;
        flags.put(bits, (now.flags ^ before.flags).into())?;
        self.previous = *now;
        Ok(())
    }

    fn take_interval(&mut self, bits: &mut BitReader<'_>) -> Option<Interval> {
        let before = self.previous;
        let (start_ms, count) = if bits.take(1)? == 0 {
            (before.end_ms, before.count)
        } else {
            (take_time(bits, before.end_ms)?, bits.take(16)? as u16)
        };
        let [span, voltage @ .., power, frequency, flags] = &mut self.contexts;
        let (voltage, rest) = voltage.split_at_mut(3);
        let (current, signal) = rest.split_at_mut(3);
        let span_ms = before.span_ms.wrapping_add(unzigzag(span.take(bits)?) as u32);
        let voltage_dv = take_spread(bits, voltage, before.voltage_dv)?;
        let current_ca = take_spread(bits, current, before.current_ca)?;
        let signal = take_spread(bits, signal, before.signal)?;
        let power_w = before.power_w.wrapping_add(unzigzag(power.take(bits)?));
        let hertz = i32::from(before.frequency_chz).wrapping_add(unzigzag(frequency.take(bits)?));
        let flags = u8::try_from(flags.take(bits)?).ok()? ^ before.flags;
        let now = Interval {
            end_ms: start_ms.wrapping_add(i64::from(span_ms)),
            span_ms,
            count,
            voltage_dv,
            current_ca,
            power_w,
            signal,
            frequency_chz: u16::try_from(hertz).ok()?,
            flags,
        };
        self.previous = now;
        Some(now)
    }

    fn put_capture(&self, block: &CaptureBlock, bits: &mut BitWriter<'_>) -> Result<(), NoRoom> {
        bits.put(0b10, 2)?;
        bits.put(block.capture.into(), 16)?;
        bits.put(block.first_index.into(), 16)?;
        put_time(bits, block.start_ms, self.previous.end_ms)?;
        bits.put(block.step_us.into(), 16)?;
        bits.put(block.trigger as u32, 8)?;
        bits.put(block.points.len() as u32, 6)?;
        let mut contexts = [Context::FRESH; 3];
        let mut before = CapturePoint::default();
        for point in &block.points {
            let [voltage, current, power] = &mut contexts;
            voltage.put(bits, zigzag(point.voltage_dv.wrapping_sub(before.voltage_dv)))?;
            current.put(bits, zigzag(point.current_ca.wrapping_sub(before.current_ca)))?;
            power.put(bits, zigzag(point.power_w.wrapping_sub(before.power_w)))?;
            before = *point;
        }
        Ok(())
    }

    fn take_capture(&self, bits: &mut BitReader<'_>) -> Option<CaptureBlock> {
        let capture = bits.take(16)? as u16;
        let first_index = bits.take(16)? as u16;
        let start_ms = take_time(bits, self.previous.end_ms)?;
        let step_us = bits.take(16)? as u16;
        let trigger = Trigger::from_code(bits.take(8)? as u8)?;
        let count = bits.take(6)? as usize;
        if count > CAPTURE_BLOCK_POINTS {
            return None;
        }
        let mut contexts = [Context::FRESH; 3];
        let mut before = CapturePoint::default();
        let mut points = Vec::new();
        for _ in 0..count {
            let [voltage, current, power] = &mut contexts;
            before = CapturePoint {
                voltage_dv: before.voltage_dv.wrapping_add(unzigzag(voltage.take(bits)?)),
                current_ca: before.current_ca.wrapping_add(unzigzag(current.take(bits)?)),
                power_w: before.power_w.wrapping_add(unzigzag(power.take(bits)?)),
            };
            points.push(before).ok()?;
        }
        Some(CaptureBlock { capture, first_index, start_ms, step_us, trigger, points })
    }

    fn put_mark(&self, mark: &TimedMark, bits: &mut BitWriter<'_>) -> Result<(), EncodeError> {
        let mut buffer = [0; MARK_BYTES_MAX];
        let encoded =
            postcard::to_slice(&mark.mark, &mut buffer).map_err(|_| EncodeError::MarkTooLong)?;
        bits.put(0b11, 2)?;
        put_time(bits, mark.time_ms, self.previous.end_ms)?;
        bits.put(encoded.len() as u32, 8)?;
        for byte in encoded.iter() {
            bits.put((*byte).into(), 8)?;
        }
        Ok(())
    }

    fn take_mark(&self, bits: &mut BitReader<'_>) -> Option<TimedMark> {
        let time_ms = take_time(bits, self.previous.end_ms)?;
        let length = bits.take(8)? as usize;
        let mut buffer = [0; MARK_BYTES_MAX];
        let bytes = &mut buffer[..length];
        for byte in bytes.iter_mut() {
            *byte = bits.take(8)? as u8;
        }
        let (mark, rest) = postcard::take_from_bytes::<Mark>(bytes).ok()?;
        rest.is_empty().then_some(TimedMark { time_ms, mark })
    }
}

fn put_spread(
    bits: &mut BitWriter<'_>,
    contexts: &mut [Context],
    now: Spread,
    before: Spread,
) -> Result<(), NoRoom> {
    contexts[0].put(bits, zigzag(now.mean.wrapping_sub(before.mean)))?;
    contexts[1].put(bits, now.mean.wrapping_sub(now.min) as u32)?;
    contexts[2].put(bits, now.max.wrapping_sub(now.mean) as u32)
}

fn take_spread(
    bits: &mut BitReader<'_>,
    contexts: &mut [Context],
    before: Spread,
) -> Option<Spread> {
    let mean = before.mean.wrapping_add(unzigzag(contexts[0].take(bits)?));
    let min = mean.wrapping_sub(contexts[1].take(bits)? as i32);
    let max = mean.wrapping_add(contexts[2].take(bits)? as i32);
    Some(Spread { mean, min, max })
}

/// FORMAT.md code T. Differences beyond 62 bits (292 million years) do not occur; they are cut.
fn put_time(bits: &mut BitWriter<'_>, time_ms: i64, from_ms: i64) -> Result<(), NoRoom> {
    let value = zigzag64(time_ms.wrapping_sub(from_ms)) & (u64::MAX >> 1);
    let width = 64 - value.leading_zeros();
    bits.put(width, 6)?;
    if width > 32 {
        bits.put((value >> 32) as u32, width - 32)?;
    }
    bits.put(value as u32, width.min(32))
}

fn take_time(bits: &mut BitReader<'_>, from_ms: i64) -> Option<i64> {
    let width = bits.take(6)?;
    let high = if width > 32 { bits.take(width - 32)? } else { 0 };
    let value = (u64::from(high) << 32) | u64::from(bits.take(width.min(32))?);
    Some(from_ms.wrapping_add(unzigzag64(value)))
}

#[cfg(test)]
#[path = "codec_tests.rs"]
mod tests;
