//! Metering: raw frames in, half waves out.
//!
//! Frames come at a fixed rate. The voltage (or, where no voltage is sensed, the current) is
//! filtered to its fundamental, whose zero crossings tell the schedule where half waves end;
//! the frames themselves are summed up [`Meter::delay_us`] later, when those ends are known, with
//! the sums cut exactly between frames. A frame costs three 16-bit products, some 64-bit additions
//! and the filters' running sums; divisions happen once in a half wave.

use crate::calibration::{Channels, FRAME_RATE_MAX, FRAME_RATE_MIN, MeterError, Scale};
use crate::fundamental::{BACK, Fundamental};
use crate::integral::{Integrals, Products, Totals};
use crate::timing::{End, FRAME, Schedule};
use crate::wave::{Frame, HalfWave};
use pumpwitness_protocol::record::flags;
use pumpwitness_protocol::settings::TransducerKind;

/// Cycles from which the offsets are taken at the start; before them two are let pass. Only cycles
/// whose ends were seen count, or in which nothing alternates: the mean over a piece of a wave that is
/// no whole cycle is no offset.
const ACQUIRE: u8 = 16;
const LET_PASS: u8 = 2;
/// Afterwards an offset follows the mean of each cycle by a 64th of the difference, and by no more
/// than one count: a dip or the one-sided current of a start must not pass for an offset.
const TRACK_SHIFT: u32 = 6;
const TRACK_MAX_Q8: i64 = 64 << 8;
/// A half wave of which fewer than a quarter of the frames came takes the values of the one before.
const LOST_SHIFT: u32 = 2;

/// What the meter must know beforehand.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct MeterConfig {
    /// Frames in a second: [`FRAME_RATE_MIN`] to [`FRAME_RATE_MAX`].
    pub frames_per_s: u32,
    /// Nominal frequency, 50 or 60 Hz.
    pub nominal_hz: u8,
    /// Transducer fitted.
    pub transducer: TransducerKind,
    /// Voltage below which there is no cycle to follow, mV r.m.s. (5 % of nominal, the usual
    /// interruption threshold of IEC 61000-4-30, is a good choice).
    pub voltage_floor_mv: u32,
    /// Current below which it cannot stand in for the voltage, mA r.m.s.
    pub current_floor_ma: u32,
    /// Calibration of the channels.
    pub calibration: Channels,
}

/// One of the two alternating channels while it is watched for zero crossings.
#[derive(Clone)]
struct Watch {
    filter: Fundamental,
    newest: i32,
    before: i32,
    /// Largest filtered value either way since the last end.
    peak: i32,
    /// Filtered value below which there is nothing to follow.
    floor: i32,
    /// Whether the half wave before reached the floor.
    alive: bool,
}

impl Watch {
    fn new(config: &MeterConfig, floor_milli: u32, gain_nano: u32) -> Self {
        let filter = Fundamental::new(config.frames_per_s, config.nominal_hz);
        // Peak of the filtered sine over its r.m.s. counts: √2 · 0.773, near enough 1.09.
        let counts_q8 = u64::from(floor_milli) * 256_000_000 / u64::from(gain_nano);
        let floor = (counts_q8 * filter.gain() as u64 * 279) >> 16;
        let floor = floor.clamp(1, i32::MAX as u64) as i32;
        Self { filter, newest: 0, before: 0, peak: 0, floor, alive: false }
    }

    fn push(&mut self, newest: i16, leaving: i16) {
        self.before = self.newest;
        self.newest = self.filter.push(newest, leaving);
        self.peak = self.peak.max(self.newest.saturating_abs());
    }

    /// Place of a zero crossing in the newest step, if there is a trustworthy one.
    fn crossing(&self) -> Option<i32> {
        let crosses = (self.before < 0) != (self.newest < 0);
        (crosses && self.peak >= self.floor).then(|| {
            let (from, rise) =
                (i64::from(self.before), i64::from(self.before) - i64::from(self.newest));
            ((from << 16) / rise) as i32
        })
    }

    fn end_half(&mut self) {
        self.alive = self.peak >= self.floor;
        self.peak = 0;
    }
}

/// Slowly tracked offset of a channel, counts × 256.
#[derive(Clone, Copy, Default)]
struct Offset {
    q8: i64,
    cycles: u8,
}

impl Offset {
    fn follow(&mut self, mean_q8: i64) {
        let difference = mean_q8 - self.q8;
        if self.cycles >= LET_PASS + ACQUIRE {
            self.q8 += difference.clamp(-TRACK_MAX_Q8, TRACK_MAX_Q8) >> TRACK_SHIFT;
            return;
        }
        self.cycles += 1;
        if self.cycles > LET_PASS {
            self.q8 += difference / i64::from(self.cycles - LET_PASS);
        }
    }
}

/// The meter.
#[derive(Clone)]
pub struct Meter {
    config: MeterConfig,
    schedule: Schedule,
    counts: [(i16, i16); BACK],
    at: usize,
    /// Frames between the newest and the one being summed up.
    delay: usize,
    /// Frames still to come before the filters are full.
    warm_up: usize,
    voltage: Watch,
    current: Watch,
    on_current: bool,
    /// Current later than voltage: whole frames, and 1/16384 of one.
    late_frames: i32,
    late_q14: i32,
    before: Products,
    integrals: Integrals,
    lost: i32,
    half_before: (i64, i64, i64),
    offsets: [Offset; 2],
    scales: [Scale; 3],
    signal_sum: u64,
    supply_sum: u64,
    direct_frames: u32,
    flags: u8,
    us_rest: u64,
    supply_mv: u16,
    last: HalfWave,
}

impl Meter {
    /// A meter at rest. Fails on values outside their ranges.
    pub fn new(config: MeterConfig) -> Result<Self, MeterError> {
        let calibration = config.calibration;
        calibration.check()?;
        if !(FRAME_RATE_MIN..=FRAME_RATE_MAX).contains(&config.frames_per_s) {
            return Err(MeterError::FrameRate(config.frames_per_s));
        }
        let config =
            MeterConfig { nominal_hz: if config.nominal_hz == 60 { 60 } else { 50 }, ..config };
        let schedule = Schedule::new(config.frames_per_s, config.nominal_hz);
        let (v, i) = (calibration.voltage, calibration.current);
        let mut voltage = Watch::new(&config, config.voltage_floor_mv, v.gain_nano);
        let mut current = Watch::new(&config, config.current_floor_ma, i.gain_nano);
        voltage.filter.set_offset(v.offset_q8);
        current.filter.set_offset(i.offset_q8);
        let late_ns = i64::from(i.late_ns) - i64::from(v.late_ns);
        let late_q14 = late_ns * i64::from(config.frames_per_s) * 16_384 / 1_000_000_000;
        let (late_frames, late_q14) = ((late_q14 >> 14) as i32, (late_q14 & 16_383) as i32);
        let ppb = interpolation_loss_ppb(&config, late_q14);
        let delay = voltage.filter.delay() + schedule.ahead();
        Ok(Self {
            delay,
            warm_up: BACK,
            voltage,
            current,
            on_current: false,
            late_frames,
            late_q14,
            scales: [
                Scale::of_gains(v.gain_nano, v.gain_nano, 0),
                Scale::of_gains(i.gain_nano, i.gain_nano, 0),
                Scale::of_gains(v.gain_nano, i.gain_nano, ppb),
            ],
            offsets: [
                Offset { q8: v.offset_q8.into(), cycles: 0 },
                Offset { q8: i.offset_q8.into(), cycles: 0 },
            ],
            config,
            schedule,
            counts: [(0, 0); BACK],
            at: 0,
            before: Products::default(),
            integrals: Integrals::default(),
            lost: 0,
            half_before: (0, 0, 0),
            signal_sum: 0,
            supply_sum: 0,
            direct_frames: 0,
            flags: 0,
            us_rest: 0,
            supply_mv: 0,
            last: HalfWave::default(),
        })
    }

    /// How much later a half wave comes out than it was, µs.
    pub fn delay_us(&self) -> u32 {
        (self.delay as u64 * 1_000_000 / u64::from(self.config.frames_per_s)) as u32
    }

    /// Transducer supply over the last half wave, mV.
    pub fn transducer_supply_mv(&self) -> u16 {
        self.supply_mv
    }

    /// Takes a frame; gives the half wave that ended with it, if one did. The first frames only
    /// fill the filters.
    pub fn push(&mut self, frame: &Frame) -> Option<HalfWave> {
        let calibration = &self.config.calibration;
        // One count less on the negative side, so that sums of two squares fit 32 bits.
        let (voltage, current) = (frame.voltage.max(-i16::MAX), frame.current.max(-i16::MAX));
        if voltage.abs() >= calibration.voltage.clip {
            self.flags |= flags::VOLTAGE_OVER_RANGE;
        }
        if current.abs() >= calibration.current.clip {
            self.flags |= flags::CURRENT_OVER_RANGE;
        }
        let (leaving_v, leaving_i) = self.back(self.voltage.filter.leaving());
        self.at = (self.at + 1) & (BACK - 1);
        self.counts[self.at] = (voltage, current);
        self.voltage.push(voltage, leaving_v);
        self.current.push(current, leaving_i);
        self.signal_sum += u64::from(frame.signal);
        self.supply_sum += u64::from(frame.transducer_supply);
        self.direct_frames += 1;

        let (v, i) = self.back(self.delay);
        let products = Products::of(v, i, self.current_at_same_moment());
        if self.warm_up > 0 {
            self.warm_up -= 1;
            self.before = products;
            self.flags = 0;
            (self.signal_sum, self.supply_sum, self.direct_frames) = (0, 0, 0);
            return None;
        }
        let watch = if self.on_current { &self.current } else { &self.voltage };
        if let Some(at) = watch.crossing() {
            self.schedule.crossing(at);
        }
        let before = core::mem::replace(&mut self.before, products);
        match self.schedule.step() {
            None => {
                self.integrals.step(&before, &products);
                None
            }
            Some(end) => {
                let totals = self.integrals.cut(&before, &products, end.at.into());
                Some(self.finish(end, totals))
            }
        }
    }

    /// Lets `frames` pass that never came. Time goes on; half waves without enough frames of their
    /// own repeat the one before, and all carry [`flags::FRAMES_LOST`].
    pub fn lose(&mut self, frames: u32, mut half_wave: impl FnMut(HalfWave)) {
        self.schedule.forget();
        for _ in 0..frames {
            self.flags |= flags::FRAMES_LOST;
            self.lost += FRAME;
            if let Some(end) = self.schedule.step() {
                let totals = self.integrals.take();
                half_wave(self.finish(end, totals));
                // The rest of this step belongs to the half wave that begins.
                self.lost = FRAME - end.at;
                self.flags |= flags::FRAMES_LOST;
            }
        }
    }

    /// Counts of the frame `frames` before the newest; at most [`BACK`] of them are kept.
    fn back(&self, frames: usize) -> (i16, i16) {
        self.counts[self.at.wrapping_sub(frames) & (BACK - 1)]
    }

    /// The current that was reported late by the calibrated time.
    fn current_at_same_moment(&self) -> i32 {
        let at = (self.delay as i32 - self.late_frames) as usize;
        let (from, to) = (i32::from(self.back(at).1), i32::from(self.back(at - 1).1));
        from + (((to - from) * self.late_q14) >> 14)
    }

    fn finish(&mut self, end: End, totals: Totals) -> HalfWave {
        let length = i64::from(end.length.max(1));
        // Frames that came, as far as a loss reaches into this half wave.
        let received = length - i64::from(self.lost.min(end.length));
        let us = length as u64 * 1_000_000 + self.us_rest;
        let unit = u64::from(self.config.frames_per_s) << 16;
        self.us_rest = us % unit;
        let mut half = HalfWave {
            duration_us: (us / unit) as u32,
            flags: self.flags | if end.measured { 0 } else { flags::FREE_RUNNING },
            ..self.last
        };
        if received > length >> LOST_SHIFT {
            self.read(&mut half, received, totals);
            let still =
                self.voltage.peak < self.voltage.floor && self.current.peak < self.current.floor;
            if end.measured || still {
                self.track_offsets((totals.voltage, totals.current, received));
            } else {
                self.half_before = (0, 0, 0);
            }
        }
        self.voltage.end_half();
        self.current.end_half();
        self.on_current = !self.voltage.alive && self.current.alive;
        self.flags = 0;
        self.lost = 0;
        self.last = half;
        half
    }

    /// Values of a half wave from its totals.
    fn read(&mut self, half: &mut HalfWave, length: i64, totals: Totals) {
        // Totals are twice the integral × 2¹⁶; × 2⁷ over the length × 2¹⁶ makes means × 2⁸.
        let mean = |total: i64| (total << 7) / length;
        let (mean_v, mean_i) = (mean(totals.voltage), mean(totals.current));
        let (v0, i0) = (self.offsets[0].q8, self.offsets[1].q8);
        // Mean of (x − x₀)(y − y₀) from the means of xy, x and y.
        let about =
            |xy: i64, x: i64, x0: i64, y: i64, y0: i64| xy - ((x0 * y + y0 * x - x0 * y0) >> 8);
        let voltage_sq = about(mean(totals.voltage_sq), mean_v, v0, mean_v, v0).max(0);
        let current_sq = about(mean(totals.current_sq), mean_i, i0, mean_i, i0).max(0);
        let power = about(mean(totals.power), mean_v, v0, mean_i, i0);
        half.voltage_sq_mv2 = self.scales[0].apply(voltage_sq) as u64;
        half.current_sq_ma2 = self.scales[1].apply(current_sq) as u64;
        let power_uw = self.scales[2].apply(power);
        half.power_mw = (power_uw / 1000).clamp(i32::MIN.into(), i32::MAX.into()) as i32;

        let frames = u64::from(self.direct_frames.max(1));
        let signal_q8 = ((self.signal_sum << 8) / frames) as i64;
        let supply_q8 = ((self.supply_sum << 8) / frames) as i64;
        let calibration = &self.config.calibration;
        half.signal = calibration.signal_steps(self.config.transducer, signal_q8, supply_q8);
        self.supply_mv = calibration.supply_mv(supply_q8);
        (self.signal_sum, self.supply_sum, self.direct_frames) = (0, 0, 0);
    }

    /// Follows the offsets with the mean over a whole cycle: this half wave and the one before.
    fn track_offsets(&mut self, now: (i64, i64, i64)) {
        let before = core::mem::take(&mut self.half_before);
        if before.2 == 0 {
            self.half_before = now;
            return;
        }
        let length = before.2 + now.2;
        self.offsets[0].follow(((before.0 + now.0) << 7) / length);
        self.offsets[1].follow(((before.1 + now.1) << 7) / length);
        self.voltage.filter.set_offset(self.offsets[0].q8 as i32);
        self.current.filter.set_offset(self.offsets[1].q8 as i32);
    }
}

/// Straight lines between frames flatten the current a little where it is read between two: by
/// f(1 − f)·w²/2, w being the angle from frame to frame. Given at the nominal frequency.
fn interpolation_loss_ppb(config: &MeterConfig, late_q14: i32) -> u32 {
    let fraction = u64::from(late_q14 as u32);
    let squeeze = (fraction * (16_384 - fraction)) >> 8; // f(1 − f) × 2²⁰
    let hz_sq = u64::from(config.nominal_hz) * u64::from(config.nominal_hz);
    let rate_sq = u64::from(config.frames_per_s) * u64::from(config.frames_per_s);
    // 2π² × 10⁹ = 19 739 208 802.
    let angle = 19_739_208_802 * hz_sq / rate_sq;
    ((squeeze * angle) >> 20) as u32
}

#[cfg(test)]
#[path = "meter_tests.rs"]
mod tests;
