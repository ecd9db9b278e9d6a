//! Axes: round steps for values, round moments for time.

use crate::times::{Fine, Times, from_ms};

/// A vertical scale: values from `low` (at `bottom`) to `high` (at `top`), in round steps.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Scale {
    /// Value at the lower edge.
    pub low: f64,
    /// Value at the upper edge.
    pub high: f64,
    /// Distance of the ticks.
    pub step: f64,
    /// Coordinate of `low`.
    pub bottom: f64,
    /// Coordinate of `high`.
    pub top: f64,
}

impl Scale {
    /// A scale that holds `low` to `high` with about `steps` round steps of 1, 2 or 5 times a power
    /// of ten.
    pub fn new(low: f64, high: f64, steps: f64, bottom: f64, top: f64) -> Self {
        let (low, high) =
            if low.is_finite() && high.is_finite() { (low, high) } else { (0.0, 1.0) };
        let width = (high - low).max(high.abs().max(low.abs()) * 1e-3).max(1e-6);
        let raw = width / steps;
        let power = 10_f64.powf(raw.log10().floor());
        let step = match raw / power {
            share if share <= 1.0 => power,
            share if share <= 2.0 => 2.0 * power,
            share if share <= 5.0 => 5.0 * power,
            _ => 10.0 * power,
        };
        let low_step = (low / step + 1e-9).floor();
        let high_step = (high / step - 1e-9).ceil().max(low_step + 1.0);
        Self { low: low_step * step, high: high_step * step, step, bottom, top }
    }

    /// Coordinate of `value`, held inside the scale.
    pub fn y(&self, value: f64) -> f64 {
        let share = ((value - self.low) / (self.high - self.low)).clamp(0.0, 1.0);
        self.bottom + share * (self.top - self.bottom)
    }

    /// The ticks, lowest first.
    pub fn ticks(&self) -> impl Iterator<Item = f64> + use<> {
        let (low, step) = (self.low, self.step);
        let count = ((self.high - self.low) / self.step).round() as usize;
        (0..=count).map(move |n| low + n as f64 * step)
    }

    /// Decimals that the ticks need.
    pub fn decimals(&self) -> usize {
        (-self.step.log10().floor()).clamp(0.0, 6.0) as usize
    }
}

/// A horizontal scale of time.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Span {
    /// First moment, ms since 1970.
    pub from_ms: i64,
    /// Last moment.
    pub to_ms: i64,
    /// Coordinate of the first.
    pub left: f64,
    /// Coordinate of the last.
    pub right: f64,
}

impl Span {
    /// Coordinate of a moment, held inside the span.
    pub fn x(&self, ms: i64) -> f64 {
        let width = (self.to_ms - self.from_ms).max(1) as f64;
        let share = ((ms - self.from_ms) as f64 / width).clamp(0.0, 1.0);
        self.left + share * (self.right - self.left)
    }

    /// Whether a stretch shows in the span.
    pub fn shows(&self, from_ms: i64, to_ms: i64) -> bool {
        from_ms < self.to_ms && to_ms > self.from_ms
    }

    /// Round moments by the site's clock with their labels, `apart` coordinates or more apart.
    pub fn ticks(&self, times: &Times, apart: f64) -> Vec<(i64, String)> {
        let room = ((self.right - self.left) / apart).max(1.0);
        let width = (self.to_ms - self.from_ms).max(1);
        let step = STEPS
            .iter()
            .copied()
            .find(|step| width as f64 / *step as f64 <= room)
            .unwrap_or(width / room as i64 + 1);
        let mut ticks = Vec::new();
        let mut at = self.from_ms - local(times, self.from_ms).rem_euclid(step);
        // Twice the room: a change of the clock shifts ticks, it does not double them.
        for _ in 0..(room as usize * 2 + 4) {
            if at > self.to_ms {
                break;
            }
            if at >= self.from_ms && local(times, at).rem_euclid(step) == 0 {
                ticks.push((at, label(times, at, step)));
            }
            at += step;
            let over = local(times, at).rem_euclid(step);
            at += if over <= step / 2 { -over } else { step - over };
        }
        ticks
    }
}

const SECOND: i64 = 1000;
const MINUTE: i64 = 60 * SECOND;
const HOUR: i64 = 60 * MINUTE;
const DAY: i64 = 24 * HOUR;

/// Distances of time ticks, ms.
const STEPS: &[i64] = &[
    10,
    20,
    50,
    100,
    200,
    500,
    SECOND,
    2 * SECOND,
    5 * SECOND,
    10 * SECOND,
    15 * SECOND,
    30 * SECOND,
    MINUTE,
    2 * MINUTE,
    5 * MINUTE,
    10 * MINUTE,
    15 * MINUTE,
    30 * MINUTE,
    HOUR,
    2 * HOUR,
    3 * HOUR,
    6 * HOUR,
    12 * HOUR,
    DAY,
    2 * DAY,
    4 * DAY,
    7 * DAY,
    14 * DAY,
    28 * DAY,
];

fn local(times: &Times, ms: i64) -> i64 {
    ms + i64::from(times.offset_seconds(from_ms(ms))) * 1000
}

fn label(times: &Times, ms: i64, step: i64) -> String {
    let time = from_ms(ms);
    if step >= HOUR && local(times, ms).rem_euclid(DAY) == 0 {
        return times.day_month(time);
    }
    let fine = match step {
        MINUTE.. => Fine::Minute,
        SECOND.. => Fine::Second,
        100.. => Fine::Tenth,
        _ => Fine::Milli,
    };
    times.bare_time(time, fine)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Clock;

    #[test]
    fn values_get_round_steps() {
        let scale = Scale::new(203.4, 238.9, 4.0, 100.0, 0.0);
        assert_eq!((scale.low, scale.high, scale.step), (200.0, 240.0, 10.0));
        assert_eq!(scale.ticks().count(), 5);
        assert_eq!(scale.y(220.0), 50.0);
        assert_eq!(scale.y(1000.0), 0.0, "held inside");
        assert_eq!(Scale::new(0.0, 0.37, 4.0, 1.0, 0.0).decimals(), 1);
        let flat = Scale::new(5.0, 5.0, 4.0, 1.0, 0.0);
        assert!(flat.high > flat.low, "a constant has a scale too");
        assert!(Scale::new(f64::NAN, 1.0, 4.0, 1.0, 0.0).y(0.5).is_finite());
    }

    #[test]
    fn days_are_ticked_at_local_midnight_over_a_change_of_the_clock() {
        // In 2031 New York goes to summer time on 9 March (Energy Policy Act of 2005: second
        // Sunday of March): local midnight moves from 05:00Z to 04:00Z.
        let ms = |text: &str| text.parse::<jiff::Timestamp>().unwrap().as_millisecond();
        let (from_ms, to_ms) = (ms("2031-03-07T05:00:00Z"), ms("2031-03-12T04:00:00Z"));
        let times = Times::new(
            Some("America/New_York"),
            Clock::Hours24,
            super::from_ms(from_ms),
            super::from_ms(to_ms),
        );
        let span = Span { from_ms, to_ms, left: 0.0, right: 500.0 };
        let labels: Vec<String> =
            span.ticks(&times, 90.0).into_iter().map(|(_, label)| label).collect();
        let expected = ["7\u{a0}Mar", "8\u{a0}Mar", "9\u{a0}Mar", "10\u{a0}Mar", "11\u{a0}Mar"];
        assert_eq!(labels[..5], expected);
    }

    #[test]
    fn short_spans_show_fractions_of_a_second() {
        let times = Times::new(None, Clock::Hours24, from_ms(0), from_ms(1));
        let span = Span { from_ms: 0, to_ms: 1000, left: 0.0, right: 300.0 };
        let ticks = span.ticks(&times, 70.0);
        assert_eq!(ticks[0].1, "00:00:00.0");
        assert_eq!(ticks[1].0, 500);
    }
}
