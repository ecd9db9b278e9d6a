//! Recording: half waves in, records out.
//!
//! Intervals of 10 or 12 cycles are kept one by one while the pump runs, and shortly after, and
//! merged while nothing moves; captures are taken around starts, voltage events and losses of the
//! sensor; marks tell of everything else. The recorder reads no clock: it is told the time once and
//! adds up the half waves.

use crate::capture::Captures;
use crate::clock::Clock;
use crate::deadband::Merger;
use crate::events::Events;
use crate::half_cycle::{HalfCycle, bounded};
use crate::health::Health;
use crate::interval::IntervalSums;
use crate::lamps::Lamps;
use crate::log::log_info;
use crate::output::Output;
use crate::sensor::Sensor;
use crate::slew::Slew;
use crate::wave::HalfWave;
use pumpwitness_protocol::message::Live;
use pumpwitness_protocol::record::{
    Channel, Interval, Mark, Record, SensorState, TimedMark, Trigger, flags,
};
use pumpwitness_protocol::settings::Settings;

pub use crate::health::Slow;

/// Intervals kept one by one when the pump has stopped: the one in which it stops and 2 s more, in
/// which the pressure settles.
const TAIL_INTERVALS: u8 = 11;
/// The pump counts as stopped below four fifths of the running threshold (common practice, no
/// source), so that a current near the threshold is one run.
const STOPPED_SHARE: (u64, u64) = (4, 5);

/// The recorder.
#[derive(Clone, Debug)]
pub struct Recorder {
    clock: Clock,
    slew: Slew,
    before: HalfWave,
    sums: IntervalSums,
    half_waves_per_interval: u16,
    interval_start_ms: i64,
    running: bool,
    running_above_sq: u64,
    stopped_below_sq: u64,
    /// Intervals still to be kept one by one.
    tail: u8,
    events: Events,
    captures: Captures,
    sensor: Sensor,
    lamps: Lamps,
    health: Health,
    merger: Merger,
    output: Output,
    latest: Interval,
    frames_lost: u32,
    frames_lost_told: u32,
}

impl Recorder {
    /// A recorder whose clock shows `now_ms`, ms since 1970. The settings must pass their check.
    pub fn new(settings: &Settings, now_ms: i64) -> Self {
        let mut recorder = Self {
            clock: Clock::at(now_ms),
            slew: Slew::default(),
            before: HalfWave::default(),
            sums: IntervalSums::default(),
            half_waves_per_interval: 20,
            interval_start_ms: now_ms,
            running: false,
            running_above_sq: 0,
            stopped_below_sq: 0,
            tail: 0,
            events: Events::new(settings),
            captures: Captures::new(settings, now_ms),
            sensor: Sensor::signal(settings.transducer),
            lamps: Lamps::new(settings),
            health: Health::new(settings),
            merger: Merger::new(settings),
            output: Output::default(),
            latest: Interval { end_ms: now_ms, ..Interval::default() },
            frames_lost: 0,
            frames_lost_told: 0,
        };
        recorder.set_limits(settings);
        recorder
    }

    fn set_limits(&mut self, settings: &Settings) {
        // 10 cycles at 50 Hz, 12 at 60 Hz (IEC 61000-4-30).
        self.half_waves_per_interval = if settings.nominal_hz == 60 { 24 } else { 20 };
        let above = u64::from(settings.running_above_ma);
        self.running_above_sq = above * above;
        let (of, part) = STOPPED_SHARE;
        self.stopped_below_sq = self.running_above_sq * of * of / (part * part);
    }

    /// Puts settings in force from here on; `digest` is told in the record.
    pub fn apply(&mut self, settings: &Settings, digest: [u8; 8]) {
        self.close_interval();
        self.close_run();
        self.set_limits(settings);
        self.events.apply(settings);
        self.captures.apply(settings);
        self.sensor = Sensor::signal(settings.transducer);
        self.lamps.apply(settings);
        self.health.apply(settings);
        self.merger.apply(settings);
        self.mark(Mark::Settings { digest });
    }

    /// Takes a half wave. One without length is ignored.
    pub fn half_wave(&mut self, half: &HalfWave) {
        if half.duration_us == 0 {
            return;
        }
        let half = bounded(half);
        if self.before.duration_us == 0 {
            // The very first has no neighbour.
            self.before = half;
        }
        let cycle = HalfCycle::join(&self.before, &half);
        self.before = half;
        self.clock.advance(self.slew.pass(half.duration_us));
        let now_ms = self.clock.ms();
        self.captures.keep(&cycle);

        let output = &mut self.output;
        let event = self.events.step(cycle.voltage_sq_mv2, now_ms, |mark| {
            log_info!("voltage event over");
            output.push(Record::Mark(mark));
        });
        if let Some(trigger) = event {
            self.triggered(trigger);
        }
        self.watch_pump(cycle.current_sq_ma2);
        if let Some(state) = self.sensor.step(half.signal) {
            self.sensor_changed(state);
        }
        let output = &mut self.output;
        self.lamps.step(half.duration_us, now_ms, |mark| output.push(Record::Mark(mark)));
        self.captures.drain(|block| output.push(Record::Capture(block)));

        let mut flags = half.flags;
        if event.is_some() || self.events.any_open() {
            flags |= flags::VOLTAGE_EVENT;
        }
        if self.sensor.at_fault() {
            flags |= flags::SIGNAL_FAULT;
        }
        self.sums.add(&half, &cycle, flags);
        if self.sums.half_waves() >= self.half_waves_per_interval {
            self.close_interval();
        }
    }

    fn watch_pump(&mut self, current_sq_ma2: u64) {
        if self.running {
            self.running = current_sq_ma2 >= self.stopped_below_sq;
        } else if current_sq_ma2 > self.running_above_sq {
            self.running = true;
            self.tail = TAIL_INTERVALS;
            self.triggered(Trigger::Start);
        }
    }

    fn triggered(&mut self, trigger: Trigger) {
        log_info!("trigger {}", trigger as u8);
        self.captures.trigger(trigger, self.clock);
    }

    fn sensor_changed(&mut self, state: SensorState) {
        self.mark(Mark::Sensor { channel: Channel::Transducer, state });
        if state != SensorState::Good {
            self.triggered(Trigger::SensorLoss);
        }
    }

    /// Ends the interval going on, however long it is, and keeps or merges it.
    fn close_interval(&mut self) {
        if self.sums.half_waves() == 0 {
            return;
        }
        let end_ms = self.clock.ms();
        let span_ms = (end_ms - self.interval_start_ms) as u32;
        let interval = self.sums.finish(end_ms, span_ms);
        self.interval_start_ms = end_ms;
        self.sums = IntervalSums::default();
        self.latest = interval;
        let keep = self.running || self.tail > 0;
        self.tail = if self.running { TAIL_INTERVALS } else { self.tail.saturating_sub(1) };
        if keep {
            self.close_run();
            self.output.push(Record::Interval(interval));
        } else if let Some(run) = self.merger.offer(&interval) {
            self.output.push(Record::Interval(run));
        }
        self.tell_counts(false);
    }

    /// Marks of what was lost. Dropped captures are told once an hour, or when `all` is wanted.
    fn tell_counts(&mut self, all: bool) {
        let now_ms = self.clock.ms();
        let dropped =
            if all { self.captures.begin_hour(now_ms) } else { self.captures.hour(now_ms) };
        if let Some(captures) = dropped {
            self.mark(Mark::CapturesDropped { captures });
        }
        let frames = self.frames_lost.wrapping_sub(self.frames_lost_told);
        if frames > 0 {
            self.frames_lost_told = self.frames_lost;
            self.mark(Mark::FramesLost { frames });
        }
        self.output.tell_lost(now_ms);
    }

    /// Sets the lamp inputs as they are now; bit 0 is lamp 1. Call it before each half wave, or
    /// when they change.
    pub fn lamps(&mut self, inputs: u8) {
        self.lamps.set(inputs);
    }

    /// Takes the slow readings, about once a second.
    pub fn slow(&mut self, slow: Slow) {
        let now_ms = self.clock.ms();
        let output = &mut self.output;
        self.health.step(slow, now_ms, |mark| output.mark(now_ms, mark));
    }

    /// Counts frames the converter delivered but the meter could not take.
    pub fn frames_lost(&mut self, frames: u32) {
        self.frames_lost = self.frames_lost.wrapping_add(frames);
    }

    /// Counts records that could not be stored.
    pub fn records_lost(&mut self, records: u32) {
        self.output.lose(records);
    }

    /// Adds a mark of the present moment.
    pub fn mark(&mut self, mark: Mark) {
        self.output.mark(self.clock.ms(), mark);
    }

    /// The clock, ms since 1970.
    pub fn clock_ms(&self) -> i64 {
        self.clock.ms()
    }

    /// Sets the clock. What was going on is closed by the old clock first, so that no interval or
    /// capture has a jump inside; starts of open voltage events stay as the old clock showed them.
    pub fn set_clock(&mut self, now_ms: i64) {
        let before_ms = self.clock.ms();
        self.close_interval();
        self.close_run();
        let output = &mut self.output;
        self.captures.close(|block| output.push(Record::Capture(block)));
        let by_ms = now_ms.saturating_sub(before_ms);
        self.clock = Clock::at(now_ms);
        self.slew = Slew::default();
        self.interval_start_ms = now_ms;
        self.captures.clock_set(by_ms);
        self.health.clock_set(by_ms);
        self.mark(Mark::ClockSet { before_ms });
    }

    /// The clock was compared with the battery-backed clock chip, and was ahead of it by so many
    /// milliseconds; none when the chip has stopped or does not answer. A difference below a second
    /// is made up for little by little, a larger one only told: true when it is made up for.
    pub fn clock_compared(&mut self, ahead_ms: Option<i64>) -> bool {
        let followed = ahead_ms.is_some_and(|ms| self.slew.ahead(ms));
        let ahead_ms = ahead_ms.map(|ms| ms.clamp(i32::MIN.into(), i32::MAX.into()) as i32);
        self.mark(Mark::ClockCompared { ahead_ms, followed });
        followed
    }

    /// Ends the merged interval going on, so that it can be stored.
    pub fn close_run(&mut self) {
        if let Some(run) = self.merger.close() {
            self.output.push(Record::Interval(run));
        }
    }

    /// Closes everything: the supply is failing, or the recorder will not be used again. Voltage
    /// events going on are told as open; should measuring go on after all, they are told again when
    /// they end.
    pub fn close(&mut self) {
        self.close_interval();
        self.close_run();
        let now_ms = self.clock.ms();
        let output = &mut self.output;
        self.captures.close(|block| output.push(Record::Capture(block)));
        self.events.unfinished(now_ms, |mark: TimedMark| output.push(Record::Mark(mark)));
        self.tell_counts(true);
    }

    /// The oldest record waiting to be stored.
    pub fn pop(&mut self) -> Option<Record> {
        self.output.pop()
    }

    /// True when a record waits.
    pub fn pending(&self) -> bool {
        !self.output.is_empty()
    }

    /// Latest readings.
    pub fn live(&self) -> Live {
        let (lamps_lit, lamps_flashing) = self.lamps.lit_and_flashing();
        let slow = self.health.latest();
        Live {
            time_ms: self.latest.end_ms,
            voltage_dv: self.latest.voltage_dv.mean,
            current_ca: self.latest.current_ca.mean,
            power_w: self.latest.power_w,
            signal: self.latest.signal.mean,
            frequency_chz: self.latest.frequency_chz,
            lamps_lit,
            lamps_flashing,
            transducer_supply_mv: slow.transducer_supply_mv,
            supply_mv: slow.supply_mv,
            board_dc: slow.board_dc,
            flags: self.latest.flags,
            running: self.running,
        }
    }

    /// Frames lost and captures dropped since the start.
    pub fn losses(&self) -> (u32, u32) {
        (self.frames_lost, self.captures.dropped())
    }
}

#[cfg(test)]
#[path = "recorder_tests.rs"]
mod tests;
