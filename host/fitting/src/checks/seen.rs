//! What the last seconds of readings showed, and what was noted since the checks began.

use super::Stated;
use crate::reading::{Lamp, Reading};
use pumpwitness_site_file::Site;

/// Readings that are looked at together: the latest three seconds of one each 0.2 s.
const WINDOW_MS: i64 = 3_000;
/// Fewest readings that say anything.
const ENOUGH: usize = 5;
/// A start's rush of current is over after this long.
const STARTED_MS: i64 = 2_500;
/// A voltage and a current that leave within this time leave together.
const TOGETHER_MS: i64 = 1_500;

/// What was seen.
#[derive(Clone, Debug)]
pub struct Seen {
    window: Vec<Reading>,
    running_above_a: f64,
    dead_below_v: f64,
    /// When the pump was last seen to start, or said to.
    since_ms: Option<i64>,
    was_running: bool,
    stopped_ms: Option<i64>,
    stopped_without_voltage: Option<i64>,
    /// Pressure when the run under way began, and the farthest from it since.
    run_from_bar: Option<f64>,
    run_moved_bar: f64,
    /// Farthest movement of the pressure in any run.
    moved_bar: f64,
    /// Longest run seen, ms.
    longest_run_ms: i64,
    lamps: [LampSeen; 8],
    /// A gauge was read whose pressure is not noted yet, and the pressure when it was read.
    gauge_awaits: bool,
    at_gauge_bar: Option<f64>,
}

/// What was seen of a lamp.
#[derive(Clone, Copy, Debug, Default)]
pub struct LampSeen {
    /// Now.
    pub now: Lamp,
    /// It was dark, lit, flashing at some time.
    pub dark: bool,
    /// See `dark`.
    pub lit: bool,
    /// See `dark`.
    pub flashing: bool,
}

impl Seen {
    /// Nothing.
    pub fn new(site: &Site) -> Self {
        Self {
            window: Vec::new(),
            running_above_a: site.motor.running_above_a(),
            dead_below_v: 0.1 * site.supply.nominal_v,
            since_ms: None,
            was_running: false,
            stopped_ms: None,
            stopped_without_voltage: None,
            run_from_bar: None,
            run_moved_bar: 0.0,
            moved_bar: 0.0,
            longest_run_ms: 0,
            lamps: [LampSeen::default(); 8],
            gauge_awaits: false,
            at_gauge_bar: None,
        }
    }

    /// Takes a set of readings.
    pub fn take(&mut self, reading: &Reading, stated: &Stated) {
        if let Some(last) = self.window.last() {
            if last.time_ms == reading.time_ms {
                return;
            }
            // The clock was set: what was seen before has no place on the new axis.
            if !(0..60_000).contains(&reading.time_ms.saturating_sub(last.time_ms)) {
                self.window.clear();
                self.since_ms = None;
                self.stopped_ms = None;
            }
        }
        let now_ms = reading.time_ms;
        self.window.push(reading.clone());
        self.window.retain(|old| now_ms - old.time_ms <= WINDOW_MS);
        for (seen, now) in self.lamps.iter_mut().zip(reading.lamps) {
            seen.now = now;
            seen.dark |= now == Lamp::Dark;
            seen.lit |= now == Lamp::Lit;
            seen.flashing |= now == Lamp::Flashing;
        }
        self.follow_run(reading, stated, now_ms);
        self.note_gauge();
    }

    fn follow_run(&mut self, reading: &Reading, stated: &Stated, now_ms: i64) {
        let running = self.is_draw(reading) || stated.running == Some(true);
        if running && !self.was_running {
            self.since_ms = Some(now_ms);
            self.run_from_bar = reading.pressure_bar;
            self.run_moved_bar = 0.0;
        }
        if running && let (Some(from), Some(bar)) = (self.run_from_bar, reading.pressure_bar) {
            self.run_moved_bar = self.run_moved_bar.max((bar - from).abs());
            self.moved_bar = self.moved_bar.max(self.run_moved_bar);
        }
        if let (true, Some(since)) = (running, self.since_ms) {
            self.longest_run_ms = self.longest_run_ms.max(now_ms - since);
        }
        if !running && self.was_running {
            self.since_ms = None;
            self.stopped_ms = Some(now_ms);
            self.stopped_without_voltage = None;
        }
        if let Some(stopped) = self.stopped_ms
            && now_ms - stopped <= TOGETHER_MS
            && reading.voltage_v < self.dead_below_v
        {
            self.stopped_without_voltage = Some(now_ms);
        }
        self.was_running = running;
    }

    /// The technician's word on the pump has changed: the window holds readings of before.
    pub fn statement_changed(&mut self) {
        let last = self.window.pop();
        self.window.clear();
        self.window.extend(last);
    }

    /// A gauge was read, or its reading taken back: the pressure of this moment goes with it, for
    /// a pump that cycles moves it on.
    pub fn gauge_stated(&mut self, read: bool) {
        self.gauge_awaits = read;
        self.at_gauge_bar = None;
        self.note_gauge();
    }

    fn note_gauge(&mut self) {
        if self.gauge_awaits
            && let Some(bar) = self.median(|reading| reading.pressure_bar)
        {
            self.at_gauge_bar = Some(bar);
            self.gauge_awaits = false;
        }
    }

    /// Pressure when the gauge was read, bar.
    pub fn at_gauge(&self) -> Option<f64> {
        self.at_gauge_bar
    }

    /// The latest readings, if there are enough of them to judge by.
    pub fn latest(&self) -> Option<&Reading> {
        if self.window.len() < ENOUGH { None } else { self.window.last() }
    }

    /// Median of a quantity over the window; `None` without enough readings that have it.
    pub fn median(&self, of: impl Fn(&Reading) -> Option<f64>) -> Option<f64> {
        let mut values: Vec<f64> = self.window.iter().filter_map(of).collect();
        if values.len() < ENOUGH {
            return None;
        }
        values.sort_by(f64::total_cmp);
        Some(values[values.len() / 2])
    }

    /// Whether the window has seen an over-range.
    pub fn over_range(&self) -> bool {
        self.window.iter().any(|reading| reading.over_range)
    }

    /// True for a reading of a pump that draws current.
    pub fn is_draw(&self, reading: &Reading) -> bool {
        reading.current_a > self.running_above_a
    }

    /// True when the pump draws current now.
    pub fn draws(&self) -> bool {
        self.median(|r| Some(r.current_a)).is_some_and(|current| current > self.running_above_a)
    }

    /// True when the start of the run under way is over.
    pub fn settled(&self) -> bool {
        let now_ms = self.window.last().map_or(0, |reading| reading.time_ms);
        self.since_ms.is_some_and(|since| now_ms - since >= STARTED_MS)
    }

    /// A stop was seen: `Some(true)` when the voltage left with it.
    pub fn stop_took_voltage(&self) -> Option<bool> {
        let now_ms = self.window.last()?.time_ms;
        let stopped = self.stopped_ms?;
        if self.stopped_without_voltage.is_some() {
            return Some(true);
        }
        (now_ms - stopped > TOGETHER_MS).then_some(false)
    }

    /// Farthest movement of the pressure in a run, bar, and the longest run seen, s.
    pub fn movement(&self) -> (f64, f64) {
        (self.moved_bar, self.longest_run_ms as f64 / 1000.0)
    }

    /// What was seen of lamp input `number`, 1 to 8.
    pub fn lamp(&self, number: u8) -> LampSeen {
        self.lamps.get(usize::from(number) - 1).copied().unwrap_or_default()
    }
}
