//! Records as bits (FORMAT.md §3): deltas against the record before, in codes that adapt.
//!
//! The noise of a running pump changes from channel to channel and site to site; each field learns
//! its own code length from what it has seen in the page, so no table needs tuning. What is nearly
//! always as it was (time, span, count, frequency, flags) costs one bit together.
// On a large machine reading speed counts, on a small core the room.
#![allow(clippy::inline_always)]

use crate::bits::{BitReader, BitWriter, NoRoom, WINDOW_BITS};
use crate::record::{
    CAPTURE_BLOCK_POINTS, CaptureBlock, CapturePoint, Interval, MARK_BYTES_MAX, Mark, Record,
    Spread, TimedMark, Trigger,
};
use crate::rice::{Context, Distance, put_time, take_time};
use heapless::Vec;

/// No record is shorter: what is left of a payload below this is fill.
pub const RECORD_BITS_MIN: usize = 8;

/// Nominal frequency is 60 Hz, and an interval 12 cycles, from here on; 0.01 Hz.
const SIXTY_HERTZ_FROM_CHZ: u16 = 5500;
/// Below this there was no voltage to measure the frequency on; 0.01 Hz.
const MEASURED_FROM_CHZ: u16 = 1000;

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

/// Takes records as they are read, each kind by a way of its own: an interval is small and there
/// are very many.
pub trait Sink {
    /// Takes an interval.
    fn interval(&mut self, interval: &Interval);
    /// Takes a block of a capture.
    fn capture(&mut self, block: CaptureBlock);
    /// Takes a mark.
    fn mark(&mut self, mark: TimedMark);
}

/// Whatever takes records.
impl<F: FnMut(Record)> Sink for F {
    fn interval(&mut self, interval: &Interval) {
        self(Record::Interval(*interval));
    }

    fn capture(&mut self, block: CaptureBlock) {
        self(Record::Capture(block));
    }

    fn mark(&mut self, mark: TimedMark) {
        self(Record::Mark(mark));
    }
}

/// Codes of one channel.
#[derive(Clone, Copy, Debug)]
struct SpreadCodes {
    mean: Context,
    low: Distance,
    high: Distance,
}

impl SpreadCodes {
    const FRESH: Self = Self { mean: Context::FRESH, low: Distance::FRESH, high: Distance::FRESH };

    fn put(&mut self, bits: &mut BitWriter<'_>, now: Spread, before: Spread) -> Result<(), NoRoom> {
        self.mean.put_signed(bits, now.mean.wrapping_sub(before.mean))?;
        self.low.put(bits, now.mean.wrapping_sub(now.min) as u32)?;
        self.high.put(bits, now.max.wrapping_sub(now.mean) as u32)
    }

    #[cfg_attr(target_pointer_width = "64", inline(always))]
    fn take(&mut self, bits: &mut BitReader<'_>, before: Spread) -> Spread {
        // Mostly all three codes are in one window; else each gets its own.
        let widest = self.mean.width_max() + self.low.width_max() + self.high.width_max();
        let apart = widest > WINDOW_BITS;
        bits.window();
        let mean = before.mean.wrapping_add(self.mean.take_signed_at_hand(bits));
        if apart {
            bits.window();
        }
        let min = mean.wrapping_sub(self.low.take_at_hand(bits) as i32);
        if apart {
            bits.window();
        }
        let max = mean.wrapping_add(self.high.take_at_hand(bits) as i32);
        Spread { mean, min, max }
    }
}

/// The interval before and the codes of the next.
#[derive(Clone, Copy, Debug)]
struct Intervals {
    before: Interval,
    /// µs by which the logger's clock is taken to be beyond `before.end_ms`, 0 to 999.
    rest_us: u32,
    /// Of the count: after a single interval, after a merged one.
    count: [Context; 2],
    frequency: Context,
    span: Context,
    voltage: SpreadCodes,
    current: SpreadCodes,
    signal: SpreadCodes,
    power: Context,
}

/// How the head of an interval reads.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Head {
    /// All as before.
    Same,
    /// No gap, flags as before.
    Next,
    /// Gap and flags written out.
    Full,
}

impl Intervals {
    fn new(base_ms: i64) -> Self {
        Self {
            before: Interval { end_ms: base_ms, count: 1, ..Interval::default() },
            rest_us: 0,
            count: [Context::FRESH; 2],
            frequency: Context::FRESH,
            span: Context::FRESH,
            voltage: SpreadCodes::FRESH,
            current: SpreadCodes::FRESH,
            signal: SpreadCodes::FRESH,
            power: Context::FRESH,
        }
    }

    /// Time in µs from the end of the interval before, counted from its whole millisecond, to that
    /// of one of `count` times 10 or 12 cycles.
    fn expected_us(&self, count: u16, frequency_chz: u16) -> u32 {
        let cycles_chz_us =
            if frequency_chz >= SIXTY_HERTZ_FROM_CHZ { 1_200_000_000 } else { 1_000_000_000 };
        let measured = if frequency_chz < MEASURED_FROM_CHZ { 5000 } else { frequency_chz };
        (cycles_chz_us / u32::from(measured)).wrapping_mul(count.into()).wrapping_add(self.rest_us)
    }

    #[inline]
    fn close(&mut self, now: &Interval, expected_us: u32) {
        let rest = expected_us.wrapping_sub(now.span_ms.wrapping_mul(1000)) as i32;
        self.rest_us = rest.clamp(0, 999) as u32;
        self.before = *now;
    }

    fn count_code(&mut self) -> &mut Context {
        &mut self.count[usize::from(self.before.count != 1)]
    }

    fn put(&mut self, bits: &mut BitWriter<'_>, now: &Interval) -> Result<(), NoRoom> {
        let before = self.before;
        let start_ms = now.end_ms.wrapping_sub(now.span_ms.into());
        let expected_us = self.expected_us(now.count, now.frequency_chz);
        let span_off = now.span_ms.wrapping_sub(expected_us / 1000) as i32;
        let follows = start_ms == before.end_ms && now.flags == before.flags;
        let head = if !follows {
            Head::Full
        } else if now.count != before.count
            || now.frequency_chz != before.frequency_chz
            || span_off != 0
        {
            Head::Next
        } else {
            Head::Same
        };
        match head {
            Head::Same => bits.put(0, 1)?,
            Head::Next => bits.put(0b10, 2)?,
            Head::Full => {
                bits.put(0b110, 3)?;
                let gap = start_ms != before.end_ms;
                bits.put(gap.into(), 1)?;
                if gap {
                    put_time(bits, start_ms, before.end_ms)?;
                }
                bits.put(now.flags.into(), 8)?;
            }
        }
        if head != Head::Same {
            self.count_code().put_signed(bits, i32::from(now.count) - i32::from(before.count))?;
            let frequency = i32::from(now.frequency_chz) - i32::from(before.frequency_chz);
            self.frequency.put_signed(bits, frequency)?;
            self.span.put_signed(bits, span_off)?;
        }
        self.voltage.put(bits, now.voltage_dv, before.voltage_dv)?;
        self.current.put(bits, now.current_ca, before.current_ca)?;
        self.signal.put(bits, now.signal, before.signal)?;
        self.power.put_signed(bits, now.power_w.wrapping_sub(before.power_w))?;
        self.close(now, expected_us);
        Ok(())
    }

    #[inline]
    fn take(&mut self, bits: &mut BitReader<'_>, head: Head) -> Option<&Interval> {
        let before = self.before;
        let (mut start_ms, mut flags) = (before.end_ms, before.flags);
        let (mut count, mut frequency_chz) = (before.count, before.frequency_chz);
        let mut span_off = 0;
        if head == Head::Full {
            if bits.take(1) == 1 {
                start_ms = take_time(bits, before.end_ms);
            }
            flags = bits.take(8) as u8;
        }
        if head != Head::Same {
            let value = i32::from(count).wrapping_add(self.count_code().take_signed(bits));
            count = u16::try_from(value).ok()?;
            let value = i32::from(frequency_chz).wrapping_add(self.frequency.take_signed(bits));
            frequency_chz = u16::try_from(value).ok()?;
            span_off = self.span.take_signed(bits);
        }
        let expected_us = self.expected_us(count, frequency_chz);
        let span_ms = (expected_us / 1000).wrapping_add(span_off as u32);
        let now = Interval {
            end_ms: start_ms.wrapping_add(span_ms.into()),
            span_ms,
            count,
            voltage_dv: self.voltage.take(bits, before.voltage_dv),
            current_ca: self.current.take(bits, before.current_ca),
            signal: self.signal.take(bits, before.signal),
            power_w: before.power_w.wrapping_add(self.power.take_signed(bits)),
            frequency_chz,
            flags,
        };
        self.close(&now, expected_us);
        Some(&self.before)
    }
}

/// The capture block before and the codes of the next.
#[derive(Clone, Copy, Debug)]
struct Captures {
    capture: u16,
    first_index: u16,
    points: u16,
    step_us: u16,
    trigger: Trigger,
    start_ms: i64,
    last: CapturePoint,
    step: Context,
    start: Context,
    values: [Context; 3],
}

impl Captures {
    const FRESH: Self = Self {
        capture: 0,
        first_index: 0,
        points: 0,
        step_us: 0,
        trigger: Trigger::Start,
        start_ms: 0,
        last: CapturePoint { voltage_dv: 0, current_ca: 0, power_w: 0 },
        step: Context::FRESH,
        start: Context::FRESH,
        values: [Context::FRESH; 3],
    };

    /// First index and start of a block that goes on with the one before.
    fn expected(&self) -> (u16, i64) {
        let ms = u32::from(self.points) * u32::from(self.step_us) / 1000;
        (self.first_index.wrapping_add(self.points), self.start_ms.wrapping_add(ms.into()))
    }

    fn put(
        &mut self,
        bits: &mut BitWriter<'_>,
        block: &CaptureBlock,
        interval: &Interval,
    ) -> Result<(), NoRoom> {
        bits.put(0b1110, 4)?;
        let (index, start_ms) = self.expected();
        let start_off = i32::try_from(block.start_ms.wrapping_sub(start_ms));
        let goes_on = block.capture == self.capture
            && block.trigger == self.trigger
            && block.first_index == index;
        let mut last = if let (true, Ok(off)) = (goes_on, start_off) {
            bits.put(1, 1)?;
            self.step.put_signed(bits, i32::from(block.step_us) - i32::from(self.step_us))?;
            self.start.put_signed(bits, off)?;
            self.last
        } else {
            bits.put(0, 1)?;
            bits.put(block.capture.into(), 16)?;
            bits.put(block.first_index.into(), 16)?;
            put_time(bits, block.start_ms, interval.end_ms)?;
            bits.put(block.step_us.into(), 16)?;
            bits.put(block.trigger as u32, 8)?;
            point_of(interval)
        };
        if block.points.is_full() {
            bits.put(1, 1)?;
        } else {
            bits.put(block.points.len() as u32, 6)?;
        }
        let [voltage, current, power] = &mut self.values;
        for point in &block.points {
            voltage.put_signed(bits, point.voltage_dv.wrapping_sub(last.voltage_dv))?;
            current.put_signed(bits, point.current_ca.wrapping_sub(last.current_ca))?;
            power.put_signed(bits, point.power_w.wrapping_sub(last.power_w))?;
            last = *point;
        }
        self.close(block, last);
        Ok(())
    }

    fn take(&mut self, bits: &mut BitReader<'_>, interval: &Interval) -> Option<CaptureBlock> {
        let mut last;
        let mut block;
        if bits.take(1) == 1 {
            let (first_index, start_ms) = self.expected();
            let step_us = i32::from(self.step_us).wrapping_add(self.step.take_signed(bits));
            block = CaptureBlock {
                capture: self.capture,
                first_index,
                start_ms: start_ms.wrapping_add(self.start.take_signed(bits).into()),
                step_us: u16::try_from(step_us).ok()?,
                trigger: self.trigger,
                points: Vec::new(),
            };
            last = self.last;
        } else {
            block = CaptureBlock {
                capture: bits.take(16) as u16,
                first_index: bits.take(16) as u16,
                start_ms: take_time(bits, interval.end_ms),
                step_us: bits.take(16) as u16,
                trigger: Trigger::from_code(bits.take(8) as u8)?,
                points: Vec::new(),
            };
            last = point_of(interval);
        }
        let full = bits.take(1) == 1;
        let points = if full { CAPTURE_BLOCK_POINTS } else { bits.take(5) as usize };
        let [voltage, current, power] = &mut self.values;
        for _ in 0..points {
            last = CapturePoint {
                voltage_dv: last.voltage_dv.wrapping_add(voltage.take_signed(bits)),
                current_ca: last.current_ca.wrapping_add(current.take_signed(bits)),
                power_w: last.power_w.wrapping_add(power.take_signed(bits)),
            };
            block.points.push(last).ok()?;
        }
        self.close(&block, last);
        Some(block)
    }

    fn close(&mut self, block: &CaptureBlock, last: CapturePoint) {
        self.capture = block.capture;
        self.first_index = block.first_index;
        self.points = block.points.len() as u16;
        self.step_us = block.step_us;
        self.trigger = block.trigger;
        self.start_ms = block.start_ms;
        self.last = last;
    }
}

/// What a capture that begins is compared with.
fn point_of(interval: &Interval) -> CapturePoint {
    CapturePoint {
        voltage_dv: interval.voltage_dv.mean,
        current_ca: interval.current_ca.mean,
        power_w: interval.power_w,
    }
}

/// State carried from record to record within a page.
#[derive(Clone, Debug)]
pub struct Model {
    intervals: Intervals,
    captures: Captures,
}

impl Model {
    /// State at the start of a page with this base time.
    pub fn new(base_ms: i64) -> Self {
        Self { intervals: Intervals::new(base_ms), captures: Captures::FRESH }
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
                let mut next = self.intervals;
                next.put(&mut bits, interval)?;
                self.intervals = next;
            }
            Record::Capture(block) => {
                let mut next = self.captures;
                next.put(&mut bits, block, &self.intervals.before)?;
                self.captures = next;
            }
            Record::Mark(mark) => self.put_mark(mark, &mut bits)?,
        }
        Ok(bits.position())
    }

    /// Reads the next record and hands it to `sink`. After an error nothing more can be read.
    #[inline]
    pub fn decode(
        &mut self,
        bits: &mut BitReader<'_>,
        sink: &mut impl Sink,
    ) -> Result<(), DecodeError> {
        let window = bits.window();
        let head = window.leading_ones();
        if head < 3 {
            bits.skip(head + 1);
            let head = [Head::Same, Head::Next, Head::Full][head as usize];
            let interval = self.intervals.take(bits, head);
            let interval = interval.filter(|_| !bits.overran()).ok_or(DecodeError)?;
            sink.interval(interval);
            return Ok(());
        }
        bits.skip(4);
        self.decode_other(bits, head > 3, sink).filter(|()| !bits.overran()).ok_or(DecodeError)
    }

    #[cold]
    fn decode_other(
        &mut self,
        bits: &mut BitReader<'_>,
        is_mark: bool,
        sink: &mut impl Sink,
    ) -> Option<()> {
        if is_mark {
            let mark = self.take_mark(bits)?;
            if !bits.overran() {
                sink.mark(mark);
            }
        } else {
            let block = self.captures.take(bits, &self.intervals.before)?;
            if !bits.overran() {
                sink.capture(block);
            }
        }
        Some(())
    }

    fn put_mark(&self, mark: &TimedMark, bits: &mut BitWriter<'_>) -> Result<(), EncodeError> {
        let mut buffer = [0; MARK_BYTES_MAX];
        let encoded =
            postcard::to_slice(&mark.mark, &mut buffer).map_err(|_| EncodeError::MarkTooLong)?;
        bits.put(0b1111, 4)?;
        put_time(bits, mark.time_ms, self.intervals.before.end_ms)?;
        bits.put(encoded.len() as u32, 8)?;
        for byte in encoded.iter() {
            bits.put((*byte).into(), 8)?;
        }
        Ok(())
    }

    fn take_mark(&self, bits: &mut BitReader<'_>) -> Option<TimedMark> {
        let time_ms = take_time(bits, self.intervals.before.end_ms);
        let length = bits.take(8) as usize;
        let mut buffer = [0; MARK_BYTES_MAX];
        let bytes = &mut buffer[..length];
        for byte in bytes.iter_mut() {
            *byte = bits.take(8) as u8;
        }
        let (mark, rest) = postcard::take_from_bytes::<Mark>(bytes).ok()?;
        rest.is_empty().then_some(TimedMark { time_ms, mark })
    }
}

#[cfg(test)]
#[path = "codec_tests.rs"]
mod tests;
