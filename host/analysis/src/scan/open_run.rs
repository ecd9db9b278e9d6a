//! A run under way: what voltage, current, power and pressure do at both ends and in between.

use super::plan::{Load, Plan};
use super::row::Row;
use super::strip::Strip;
use crate::facts::{ATMOSPHERE_BAR, RunFacts, Stretch, slope_window_s};
use crate::limits;
use crate::robust::{centre_and_sigma, least_squares_slope, median};
use std::collections::VecDeque;

/// Time after a start until the motor counts as up to speed.
const SETTLE_MS: i64 = (limits::SETTLE_RUN_S.value * 1000.0) as i64;
/// Time before a stop whose power stands for the last, s.
pub const LAST_POWER_S: f64 = 1.3;

/// A run under way.
#[derive(Debug)]
#[allow(clippy::struct_excessive_bools)] // each is a separate fact about the run
pub struct OpenRun {
    /// What is known so far.
    pub facts: RunFacts,
    strip: Strip,
    deficit: Strip,
    /// Load, quieted.
    pub smooth: f64,
    /// True once it has stopped and only its surroundings are still to be judged.
    pub stopped: bool,
    /// True once its first seconds have been judged.
    pub start_judged: bool,
    inrush_over: bool,
    was_locked: bool,
    /// Voltage at which the load was highest, V.
    loaded_v: f64,
}

impl OpenRun {
    /// Begins.
    pub fn new(start_ms: i64, plan: &Plan) -> Self {
        let nan = f64::NAN;
        Self {
            facts: RunFacts {
                time: Stretch { start_ms, end_ms: start_ms },
                start_seen: true,
                stop_seen: false,
                peak_a: nan,
                locked_s: 0.0,
                locked_at_stop: false,
                current_a: nan,
                last_current_a: nan,
                power_w: nan,
                first_power_w: nan,
                last_power_w: nan,
                loaded: nan,
                unloaded_since_ms: None,
                voltage_v: nan,
                voltage_before_v: nan,
                starting_voltage_v: nan,
                stop_voltage_min_v: nan,
                stop_voltage_max_v: nan,
                inrush_end_ms: start_ms,
                start_ohm: nan,
                run_ohm: nan,
                line_ohm: nan,
                line_range_a: 0.0,
                start_bar: nan,
                start_low_bar: nan,
                after_start_bar: nan,
                stop_bar: nan,
                after_stop_bar: nan,
                max_bar: nan,
                min_bar: nan,
                fill_start: nan,
                fill_stop: nan,
                fill_mean: nan,
                draw_before: nan,
                draw_after: nan,
                deficit_s: 0.0,
                deficit_voltage_v: nan,
                deficit_power_w: nan,
                shut_off_s: 0.0,
                plateau_s: 0.0,
                samples: Vec::new(),
            },
            strip: Strip::new(start_ms, 250),
            deficit: Strip::new(start_ms, if plan.drive { 1000 } else { 60_000 }),
            smooth: nan,
            stopped: false,
            start_judged: false,
            inrush_over: false,
            was_locked: false,
            loaded_v: nan,
        }
    }

    /// What the rows before the start say.
    pub fn judge_before(&mut self, recent: &VecDeque<Row>, rest_s: f64) {
        let start_ms = self.facts.time.start_ms;
        let near = |r: &&Row| r.end_ms <= start_ms && r.end_ms > start_ms - 2_500;
        self.facts.voltage_before_v = middle(recent.iter().filter(near).map(|r| r.v));
        let last_second = recent
            .iter()
            .filter(|r| r.end_ms <= start_ms && r.end_ms > start_ms - 1_200)
            .map(|r| r.p);
        self.facts.start_bar = middle(last_second);
        let window = slope_window_s(rest_s);
        self.facts.draw_before = inverse_slope(recent, start_ms, -0.3 - window, -0.3);
    }

    /// What the first seconds say.
    pub fn judge_start(&mut self, recent: &VecDeque<Row>) {
        self.start_judged = true;
        let start_ms = self.facts.time.start_ms;
        let end_ms = if self.stopped { self.facts.time.end_ms } else { i64::MAX };
        let early =
            |r: &&Row| r.end_ms > start_ms && r.start_ms < start_ms + 2_000 && r.start_ms < end_ms;
        let lowest =
            |values: &mut dyn Iterator<Item = f32>| f64::from(values.fold(f32::NAN, f32::min));
        self.facts.starting_voltage_v =
            lowest(&mut recent.iter().filter(early).map(|r| r.v_min.min(r.v)));
        self.facts.start_low_bar = lowest(
            &mut recent
                .iter()
                .filter(|r| r.end_ms > start_ms - 1_000 && r.start_ms < start_ms + 2_000)
                .map(|r| r.p),
        );
        self.facts.after_start_bar = middle(
            recent
                .iter()
                .filter(|r| {
                    r.end_ms > start_ms + 1_500 && r.end_ms <= start_ms + 2_700 && r.end_ms < end_ms
                })
                .map(|r| r.p),
        );
        self.facts.first_power_w = middle(
            recent
                .iter()
                .filter(|r| r.start_ms >= start_ms + SETTLE_MS && r.end_ms < end_ms)
                .map(|r| r.w),
        );
        let ramp = recent.iter().filter(|r| {
            r.end_ms > start_ms - 2_500
                && r.end_ms < start_ms + 8_000
                && r.end_ms < end_ms
                && r.v.is_finite()
                && r.i.is_finite()
        });
        let points = ramp.clone().map(|r| (f64::from(r.i), f64::from(r.v)));
        if let Some(slope) = least_squares_slope(points) {
            let low = ramp.clone().map(|r| r.i).fold(f32::INFINITY, f32::min);
            let high = ramp.map(|r| r.i).fold(0.0, f32::max);
            self.facts.line_ohm = -slope;
            self.facts.line_range_a = f64::from(high - low);
        }
        // Voltage before against voltage while starting, and while running.
        let drop = self.facts.voltage_before_v - self.facts.starting_voltage_v;
        self.facts.start_ohm = drop / self.facts.peak_a;
        let settled = |r: &&Row| {
            r.start_ms >= start_ms + 800 && r.end_ms < start_ms + 4_000 && r.end_ms < end_ms
        };
        let drop = self.facts.voltage_before_v - middle(recent.iter().filter(settled).map(|r| r.v));
        self.facts.run_ohm = drop / middle(recent.iter().filter(settled).map(|r| r.i));
    }

    /// Takes a row.
    pub fn push(&mut self, row: &Row, plan: &Plan) {
        let facts = &mut self.facts;
        // A row that begins before the motor has settled holds some of its inrush.
        let since_ms = row.start_ms - facts.time.start_ms;
        facts.time.end_ms = row.end_ms;
        self.strip.push(row);
        let load = match plan.load {
            Load::Power => row.w,
            _ => row.i,
        };
        let load = f64::from(load);
        if load.is_finite() {
            let weight = (row.seconds() / 0.6).min(1.0);
            self.smooth = if self.smooth.is_nan() {
                load
            } else {
                self.smooth + weight * (load - self.smooth)
            };
        }
        let current = f64::from(row.i_max.max(row.i));
        if current.is_finite() {
            facts.peak_a = facts.peak_a.max(current);
            let locked = f64::from(row.i) > limits::LOCKED_CURRENT.value * plan.rated_a;
            if locked {
                facts.locked_s += row.seconds();
            } else if !self.inrush_over && f64::from(row.i) < 1.6 * plan.rated_a {
                self.inrush_over = true;
                facts.inrush_end_ms = row.start_ms;
            }
            // The last row of all may be cut short by the stop and read low.
            facts.locked_at_stop = locked || self.was_locked;
            self.was_locked = locked;
        }
        if !self.inrush_over {
            facts.inrush_end_ms = row.end_ms;
        }
        // A long row that holds the start, or a momentary value that stands for it, may have met the
        // inrush: what it shows is not the load of running.
        let holds_start = row.start_ms <= facts.time.start_ms;
        if since_ms < SETTLE_MS || holds_start {
            return;
        }
        let pressure = f64::from(row.p);
        facts.max_bar = facts.max_bar.max(pressure);
        facts.min_bar = facts.min_bar.min(pressure);
        let (value, share) = if row.w.is_finite() {
            (f64::from(row.w), limits::UNLOADED_POWER.value)
        } else {
            (f64::from(row.i), limits::UNLOADED_CURRENT.value)
        };
        if value.is_finite() {
            // About one second, so that a single row does not set the mark.
            let before = if facts.loaded.is_nan() { value } else { facts.loaded };
            if value > before || facts.loaded.is_nan() {
                facts.loaded = before + (row.seconds() / 1.0).min(1.0) * (value - before);
                self.loaded_v = f64::from(row.v);
            }
            let lacking = plan
                .held_bar
                .is_none_or(|held| pressure < (1.0 - limits::PRESSURE_DEFICIT.value) * held);
            // A drive short of voltage slows down of itself, but no more than it did from the beginning.
            let volts = f64::from(row.v);
            let starved = plan.held_bar.is_some()
                && volts < limits::UNDERVOLTAGE.value * plan.nominal_v
                && (volts < limits::SAME_VOLTAGE.value * self.loaded_v || self.loaded_v.is_nan());
            // A drive that cannot hold its pressure turns at full speed, and yet takes less than
            // before: it has lost its water.
            let share = if plan.held_bar.is_some() { limits::UNLOADED_DRIVE.value } else { share };
            if value < share * facts.loaded && lacking && !starved {
                facts.unloaded_since_ms.get_or_insert(row.start_ms);
            } else if value > (share + 0.05) * facts.loaded || !lacking {
                facts.unloaded_since_ms = None;
            }
        }
        if let Some(held) = plan.held_bar
            && since_ms > 10_000
            && pressure < (1.0 - limits::PRESSURE_DEFICIT.value) * held
        {
            facts.deficit_s += row.seconds();
            self.deficit.push(row);
        }
        if plan.held_bar.is_none() && pressure > plan.top_bar + 0.02 * plan.band_bar {
            facts.shut_off_s += row.seconds();
        }
    }

    /// What the last seconds say; called on the first row after.
    pub fn judge_stop(&mut self, recent: &VecDeque<Row>) {
        let facts = &mut self.facts;
        let stop_ms = facts.time.end_ms;
        let within = |from: i64, to: i64| {
            move |r: &&Row| r.start_ms >= stop_ms - from && r.end_ms <= stop_ms - to
        };
        let start_ms = facts.time.start_ms;
        let in_run = |r: &&Row| r.start_ms >= start_ms;
        let or_last = |values: f64, pick: fn(&Row) -> f32| {
            if values.is_finite() {
                values
            } else {
                let last =
                    recent.iter().rev().find(|r| r.end_ms <= stop_ms && r.start_ms >= start_ms);
                last.map_or(f64::NAN, |r| f64::from(pick(r)))
            }
        };
        let tail = |from: i64, pick: fn(&Row) -> f32| {
            let value = middle(recent.iter().filter(within(from, 0)).filter(in_run).map(pick));
            or_last(value, pick)
        };
        facts.last_current_a = tail(5_000, |r| r.i);
        facts.last_power_w = tail((LAST_POWER_S * 1000.0) as i64, |r| r.w);
        facts.stop_bar = tail(800, |r| r.p);
        let around = |r: &&Row| r.end_ms > stop_ms - 2_000;
        facts.stop_voltage_min_v = f64::from(
            recent.iter().filter(around).map(|r| r.v_min.min(r.v)).fold(f32::NAN, f32::min),
        );
        facts.stop_voltage_max_v = f64::from(
            recent.iter().filter(around).map(|r| r.v_max.max(r.v)).fold(f32::NAN, f32::max),
        );
    }

    /// What the rows after the stop say.
    pub fn judge_after(&mut self, recent: &VecDeque<Row>, now_ms: i64) {
        let facts = &mut self.facts;
        let stop_ms = facts.time.end_ms;
        facts.after_stop_bar = middle(
            recent
                .iter()
                .filter(|r| r.start_ms >= stop_ms + 300 && r.end_ms <= stop_ms + 1_600)
                .map(|r| r.p),
        );
        if facts.after_stop_bar.is_nan()
            && let Some(first) = recent.iter().find(|r| r.start_ms >= stop_ms)
        {
            facts.after_stop_bar = f64::from(first.p);
        }
        let just_after = |r: &&Row| r.start_ms >= stop_ms - 300 && r.start_ms < stop_ms + 1_000;
        facts.stop_voltage_min_v = facts.stop_voltage_min_v.min(f64::from(
            recent.iter().filter(just_after).map(|r| r.v_min.min(r.v)).fold(f32::NAN, f32::min),
        ));
        facts.stop_voltage_max_v = facts.stop_voltage_max_v.max(f64::from(
            recent.iter().filter(just_after).map(|r| r.v_max.max(r.v)).fold(f32::NAN, f32::max),
        ));
        let window = slope_window_s((now_ms - stop_ms) as f64 / 1000.0);
        facts.draw_after = inverse_slope(recent, stop_ms, 0.7, 0.7 + window);
    }

    /// Ends.
    pub fn finish(mut self, plan: &Plan) -> RunFacts {
        let samples: Vec<_> = self.strip.samples().collect();
        let facts = &mut self.facts;
        let (start_ms, stop_ms) = (facts.time.start_ms, facts.time.end_ms);
        let length_s = facts.time.seconds();
        let settle_s = (SETTLE_MS as f64 / 1000.0).min(length_s * 0.25);
        let since = |s: &crate::facts::Sample| (s.time_ms - start_ms) as f64 / 1000.0;
        let settled =
            || samples.iter().filter(move |s| since(s) > settle_s && since(s) < length_s - 0.3);
        facts.current_a = middle(settled().map(|s| s.i));
        facts.power_w = middle(settled().map(|s| s.w));
        facts.voltage_v = middle(settled().map(|s| s.v));
        let slope = |from: f64, to: f64| {
            let points = samples
                .iter()
                .filter(move |s| since(s) > from && since(s) < to && s.p.is_finite())
                .map(|s| (since(s), 1.0 / absolute(s.p)));
            (points.clone().count() >= 3)
                .then(|| least_squares_slope(points))
                .flatten()
                .map_or(f64::NAN, |slope| -slope)
        };
        let window = facts.slope_s();
        facts.fill_start = slope(settle_s, settle_s + window);
        facts.fill_stop = slope(length_s - 0.3 - window, length_s - 0.3);
        facts.fill_mean = slope(settle_s, length_s - 0.3);
        let deficit: Vec<_> = self.deficit.samples().collect();
        if facts.deficit_s > 0.0 {
            facts.deficit_voltage_v = middle(deficit.iter().map(|s| s.v));
            facts.deficit_power_w = middle(deficit.iter().map(|s| s.w));
        }
        if plan.held_bar.is_none() {
            facts.plateau_s = plateau_s(&samples, facts.stop_bar, plan, stop_ms);
        }
        let step = samples.len().div_ceil(16).max(1);
        facts.samples = samples.iter().skip(step / 2).step_by(step).copied().collect();
        self.facts
    }
}

/// Time for which the reading had stood still when the pump stopped, after having risen.
fn plateau_s(samples: &[crate::facts::Sample], stop_bar: f64, plan: &Plan, stop_ms: i64) -> f64 {
    // Noise from one sample to the next does not end it.
    let steps = samples.windows(2).map(|pair| f64::from(pair[1].p - pair[0].p));
    let noise = centre_and_sigma(steps).map_or(0.0, |(_, sigma)| sigma / 2f64.sqrt());
    let tolerance = (0.02 * plan.band_bar).max(0.02).max(limits::SIGMAS.value * noise);
    if !(stop_bar.is_finite() && tolerance.is_finite()) {
        return 0.0;
    }
    let still = samples
        .iter()
        .rev()
        .filter(|s| s.p.is_finite())
        .take_while(|s| (f64::from(s.p) - stop_bar).abs() < tolerance)
        .last();
    still.map_or(0.0, |s| (stop_ms - s.time_ms) as f64 / 1000.0)
}

/// Absolute pressure, bar, never so small that its inverse runs away.
pub fn absolute(bar: f32) -> f64 {
    (f64::from(bar) + ATMOSPHERE_BAR).max(0.2)
}

fn middle(values: impl Iterator<Item = f32>) -> f64 {
    median(values.map(f64::from)).unwrap_or(f64::NAN)
}

/// Slope of 1/absolute pressure between two moments given in seconds from `origin_ms`.
fn inverse_slope(recent: &VecDeque<Row>, origin_ms: i64, from_s: f64, to_s: f64) -> f64 {
    let since = move |r: &Row| (i64::midpoint(r.end_ms, r.start_ms) - origin_ms) as f64 / 1000.0;
    let points = recent
        .iter()
        .filter(move |r| r.p.is_finite() && since(r) > from_s && since(r) < to_s)
        .map(move |r| (since(r), 1.0 / absolute(r.p)));
    if points.clone().count() < 3 {
        return f64::NAN;
    }
    least_squares_slope(points).unwrap_or(f64::NAN)
}
