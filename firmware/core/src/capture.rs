//! Captures: half-cycle series around a trigger, from a ring that always holds the last of them.
//!
//! Points are taken out of the ring two a half cycle, so that the roots they need never come in a
//! burst, and the ring never runs away from them.

use crate::clock::Clock;
use crate::half_cycle::{HalfCycle, root_ca, root_dv, rounded};
use pumpwitness_protocol::record::{CAPTURE_BLOCK_POINTS, CaptureBlock, CapturePoint, Trigger};
use pumpwitness_protocol::settings::Settings;

/// Half cycles kept; a power of two, more than twice the longest pre-trigger.
const RING: usize = 256;
/// A capture that triggers keep lengthening ends after this many points: 10 s at 60 Hz.
const POINTS_MAX: u16 = 1200;
const HOUR_MS: i64 = 3_600_000;

/// Where a capture stands.
#[derive(Clone, Debug)]
struct Active {
    /// Points in the ring not yet taken.
    behind: u16,
    /// Points still to take.
    remaining: u16,
    /// Points taken.
    taken: u16,
    /// End of the last point taken.
    time: Clock,
    block_us: u32,
}

/// The ring, the capture going on, and the hourly count.
#[derive(Clone, Debug)]
pub(crate) struct Captures {
    ring: [HalfCycle; RING],
    /// Place of the newest point.
    at: usize,
    filled: u16,
    active: Option<Active>,
    block: CaptureBlock,
    half_cycles_per_s: u16,
    per_hour: u16,
    hour_start_ms: i64,
    kept_in_hour: u16,
    dropped_in_hour: u16,
    dropped: u32,
}

impl Captures {
    pub(crate) fn new(settings: &Settings, now_ms: i64) -> Self {
        Self {
            ring: [HalfCycle::default(); RING],
            at: 0,
            filled: 0,
            active: None,
            block: CaptureBlock {
                capture: u16::MAX,
                first_index: 0,
                start_ms: 0,
                step_us: 0,
                trigger: Trigger::Start,
                points: heapless::Vec::new(),
            },
            half_cycles_per_s: 2 * u16::from(settings.nominal_hz),
            per_hour: settings.captures_per_hour,
            hour_start_ms: now_ms,
            kept_in_hour: 0,
            dropped_in_hour: 0,
            dropped: 0,
        }
    }

    /// Puts new limits in force.
    pub(crate) fn apply(&mut self, settings: &Settings) {
        self.half_cycles_per_s = 2 * u16::from(settings.nominal_hz.min(120));
        self.per_hour = settings.captures_per_hour;
    }

    /// Captures not kept since the start.
    pub(crate) fn dropped(&self) -> u32 {
        self.dropped
    }

    /// Keeps a half cycle.
    pub(crate) fn keep(&mut self, cycle: &HalfCycle) {
        self.at = (self.at + 1) % RING;
        self.ring[self.at] = *cycle;
        self.filled = (self.filled + 1).min(RING as u16);
        if let Some(active) = &mut self.active {
            active.behind += 1;
        }
    }

    /// Starts a capture around the half cycle kept last, whose end is `now`, or lengthens the one
    /// going on. Starts of the pump: from 0.2 s before, 2 s in all; all else: from 1 s before to 2 s
    /// after. The triggering half cycle counts as the first one after.
    pub(crate) fn trigger(&mut self, trigger: Trigger, now: Clock) {
        let second = self.half_cycles_per_s;
        let (before, after) = match trigger {
            Trigger::Start => (second / 5, second * 9 / 5),
            _ => (second, 2 * second),
        };
        if let Some(active) = &mut self.active {
            let wanted = active.behind + after - 1;
            if active.taken + wanted <= POINTS_MAX {
                active.remaining = active.remaining.max(wanted);
            } else {
                self.count_dropped();
            }
            return;
        }
        if self.kept_in_hour >= self.per_hour {
            self.count_dropped();
            return;
        }
        self.kept_in_hour += 1;
        let behind = (before + 1).min(self.filled);
        let mut time = now;
        for back in 0..usize::from(behind) {
            time = time.back(self.ring[self.at.wrapping_sub(back) % RING].duration_us);
        }
        self.block.capture = self.block.capture.wrapping_add(1);
        self.block.trigger = trigger;
        self.active =
            Some(Active { behind, remaining: behind + after - 1, taken: 0, time, block_us: 0 });
    }

    fn count_dropped(&mut self) {
        self.dropped_in_hour = self.dropped_in_hour.saturating_add(1);
        self.dropped = self.dropped.saturating_add(1);
    }

    /// Takes up to two points; hands over the block they fill.
    pub(crate) fn drain(&mut self, mut filled: impl FnMut(CaptureBlock)) {
        for _ in 0..2 {
            let Some(active) = &mut self.active else { return };
            if active.behind == 0 {
                return;
            }
            active.behind -= 1;
            active.remaining -= 1;
            let cycle = &self.ring[self.at.wrapping_sub(usize::from(active.behind)) % RING];
            active.time.advance(cycle.duration_us);
            if self.block.points.is_empty() {
                self.block.first_index = active.taken;
                self.block.start_ms = active.time.ms();
            }
            active.taken += 1;
            active.block_us += cycle.duration_us;
            // There is room: a full block is handed over below.
            let _ = self.block.points.push(CapturePoint {
                voltage_dv: root_dv(cycle.voltage_sq_mv2),
                current_ca: root_ca(cycle.current_sq_ma2),
                power_w: rounded(cycle.power_mw.into(), 1000),
            });
            let ended = active.remaining == 0;
            if ended || self.block.points.len() == CAPTURE_BLOCK_POINTS {
                self.hand_over(&mut filled);
            }
            if ended {
                self.active = None;
            }
        }
    }

    /// Ends the capture going on with what it has.
    pub(crate) fn close(&mut self, mut filled: impl FnMut(CaptureBlock)) {
        while self.active.as_ref().is_some_and(|active| active.behind > 0) {
            self.drain(&mut filled);
        }
        self.hand_over(&mut filled);
        self.active = None;
    }

    fn hand_over(&mut self, filled: &mut impl FnMut(CaptureBlock)) {
        let Some(active) = &mut self.active else { return };
        let points = self.block.points.len() as u32;
        if points == 0 {
            return;
        }
        self.block.step_us = (active.block_us / points).min(u16::MAX.into()) as u16;
        active.block_us = 0;
        filled(self.block.clone());
        self.block.points.clear();
    }

    /// Begins a new hour when one has passed; gives the captures the last one dropped.
    pub(crate) fn hour(&mut self, now_ms: i64) -> Option<u16> {
        (now_ms - self.hour_start_ms >= HOUR_MS).then(|| self.begin_hour(now_ms)).flatten()
    }

    /// Begins a new hour; gives the captures dropped in the last one.
    pub(crate) fn begin_hour(&mut self, now_ms: i64) -> Option<u16> {
        self.hour_start_ms = now_ms;
        self.kept_in_hour = 0;
        let dropped = core::mem::take(&mut self.dropped_in_hour);
        (dropped > 0).then_some(dropped)
    }

    /// Moves the hour with the clock.
    pub(crate) fn clock_set(&mut self, by_ms: i64) {
        self.hour_start_ms = self.hour_start_ms.saturating_add(by_ms);
    }
}
