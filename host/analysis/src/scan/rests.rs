//! Rests: how the pressure behaves while the pump stands.

use super::open_run::absolute;
use super::plan::Plan;
use super::row::Row;
use super::strip::Strip;
use crate::facts::{RestFacts, Sample, Stretch};
use crate::limits;
use crate::robust::{median, quantile};

/// Time after a stop in which the pressure is not judged.
const SETTLE_S: f64 = limits::SETTLE_REST_S.value;
/// Windows a steady loss is judged over, s: a third of the rest, between these.
const WINDOW_S: (f64, f64) = (60.0, 180.0);
/// Share of a rest whose slowest loss stands for it.
const QUIET_SHARE: f64 = limits::QUIET_SHARE.value;

/// Longest row of a logger that joins quiet intervals.
const MERGED_MS: i64 = (limits::MERGED_S.value * 1000.0) as i64;

/// A rest under way.
#[derive(Debug)]
pub struct OpenRest {
    start_ms: i64,
    start_seen: bool,
    strip: Strip,
    smooth: f64,
    below_min_bar: f64,
    below_since_ms: Option<i64>,
}

impl OpenRest {
    /// Begins.
    pub fn new(start_ms: i64, start_seen: bool) -> Self {
        Self {
            start_ms,
            start_seen,
            strip: Strip::new(start_ms, 1000),
            smooth: f64::NAN,
            below_min_bar: f64::NAN,
            below_since_ms: None,
        }
    }

    /// When it began, ms since 1970.
    pub fn start_ms(&self) -> i64 {
        self.start_ms
    }

    /// Takes a row.
    pub fn push(&mut self, row: &Row, plan: &Plan) {
        if row.start_ms < self.start_ms {
            return;
        }
        self.strip.push(row);
        let pressure = f64::from(row.p);
        if !pressure.is_finite() {
            return;
        }
        let weight = (row.seconds() / 1.5).min(1.0);
        self.smooth = if self.smooth.is_nan() {
            pressure
        } else {
            self.smooth + weight * (pressure - self.smooth)
        };
        if self.smooth < plan.start_bar {
            self.below_since_ms.get_or_insert(row.start_ms);
        } else if self.smooth > plan.start_bar + 0.02 * plan.band_bar {
            // Back above: whatever pulled the reading down was not the want of a start.
            (self.below_since_ms, self.below_min_bar) = (None, f64::NAN);
        }
        if self.below_since_ms.is_some() {
            self.below_min_bar = self.below_min_bar.min(self.smooth);
        }
    }

    /// Ends at `end_ms`, by a start when `end_seen`.
    pub fn finish(self, end_ms: i64, end_seen: bool) -> RestFacts {
        let samples: Vec<Sample> = self.strip.samples().filter(|s| s.p.is_finite()).collect();
        let bucket_s = self.strip.bucket_s();
        let Leak { rate, bar_per_min, held_until_ms, judged_s, whole } =
            leak(&samples, self.start_ms, bucket_s);
        let edge = |sample: Option<&Sample>| sample.map_or(f64::NAN, |s| f64::from(s.p));
        RestFacts {
            time: Stretch { start_ms: self.start_ms, end_ms: end_ms.max(self.start_ms) },
            start_seen: self.start_seen,
            end_seen,
            first_bar: edge(samples.get(1).or(samples.first())),
            last_bar: edge(samples.last()),
            below_min_bar: self.below_min_bar,
            leak: rate,
            leak_bar_per_min: bar_per_min,
            held_until_ms,
            judged_s,
            whole,
            below_since_ms: self.below_since_ms,
            current_a: median(self.strip.samples().map(|s| f64::from(s.i))).unwrap_or(f64::NAN),
        }
    }
}

/// Slowest steady loss over windows of a rest.
struct Leak {
    /// Rate of 1/absolute pressure, 1/(bar·s).
    rate: f64,
    /// The same, bar/min.
    bar_per_min: f64,
    /// End of the last window without a loss.
    held_until_ms: Option<i64>,
    /// Time judged, s.
    judged_s: f64,
    /// Judged as a whole.
    whole: bool,
}

/// Samples at even steps: where a quiet stretch is one long row, straight lines between the middles
/// of its neighbours. Holes longer than any row of the logger stay holes.
fn even(samples: &[Sample], bucket_s: f64) -> Vec<Sample> {
    let bucket_ms = ((bucket_s * 1000.0) as i64).max(1);
    let mut all: Vec<Sample> = Vec::with_capacity(samples.len());
    for next in samples {
        if let Some(last) = all.last().copied() {
            let length_ms = next.time_ms - last.time_ms;
            let steps = length_ms / bucket_ms;
            if length_ms <= MERGED_MS {
                for step in 1..steps {
                    let place = step as f32 / steps as f32;
                    let p = last.p + (next.p - last.p) * place;
                    all.push(Sample { time_ms: last.time_ms + step * bucket_ms, p, ..last });
                }
            }
        }
        all.push(*next);
    }
    all
}

fn leak(samples: &[Sample], start_ms: i64, bucket_s: f64) -> Leak {
    let samples = even(samples, bucket_s);
    let samples: Vec<_> =
        samples.iter().filter(|s| (s.time_ms - start_ms) as f64 > SETTLE_S * 1000.0).collect();
    let length_s = samples.len() as f64 * bucket_s;
    let window =
        ((length_s / 3.0).clamp(WINDOW_S.0, WINDOW_S.1) / bucket_s).ceil().max(2.0) as usize;
    // Ends of a window are means over about a ninth of it, which quiets the reading's noise.
    let ends = (window / 9).max(1);
    if samples.len() < window + ends {
        return as_a_whole(&samples, bucket_s);
    }
    let mean = |part: &[&Sample]| {
        let bar = part.iter().map(|s| f64::from(s.p)).sum::<f64>() / part.len() as f64;
        let time = part.iter().map(|s| s.time_ms as f64).sum::<f64>() / part.len() as f64;
        (time / 1000.0, bar)
    };
    let step = (window / 4).max(1);
    let rates: Vec<(f64, f64, f64)> = (0..=(samples.len() - window - ends))
        .step_by(step)
        .filter_map(|n| {
            let (t0, p0) = mean(&samples[n..n + ends]);
            let (t1, p1) = mean(&samples[n + window..n + window + ends]);
            let seconds = t1 - t0;
            // A hole in the rows makes a window too long to stand for itself.
            (seconds < 2.0 * window as f64 * bucket_s).then(|| {
                let inverse = 1.0 / absolute(p1 as f32) - 1.0 / absolute(p0 as f32);
                (inverse / seconds, (p0 - p1) / seconds * 60.0, t1)
            })
        })
        .collect();
    let judged = (samples.len() - 1) as f64 * bucket_s;
    let slowest = |pick: fn(&(f64, f64, f64)) -> f64| {
        quantile(rates.iter().map(pick), QUIET_SHARE).unwrap_or(f64::NAN)
    };
    let held = rates.iter().rfind(|r| r.1 < limits::IDLE_LOSS_BAR_PER_MIN.value);
    Leak {
        rate: slowest(|r| r.0),
        bar_per_min: slowest(|r| r.1),
        held_until_ms: held.map(|r| (r.2 * 1000.0) as i64),
        judged_s: judged,
        whole: false,
    }
}

/// Shortest rest whose loss is judged as a whole.
const WHOLE_S: f64 = limits::WHOLE_S.value;

fn as_a_whole(samples: &[&Sample], bucket_s: f64) -> Leak {
    let length_s = samples.len().saturating_sub(1) as f64 * bucket_s;
    let mut leak = Leak {
        rate: f64::NAN,
        bar_per_min: f64::NAN,
        held_until_ms: None,
        judged_s: 0.0,
        whole: true,
    };
    let (Some(first), Some(last)) = (samples.first(), samples.last()) else { return leak };
    let seconds = (last.time_ms - first.time_ms) as f64 / 1000.0;
    if length_s < WHOLE_S || seconds > 2.0 * length_s {
        return leak;
    }
    leak.rate = (1.0 / absolute(last.p) - 1.0 / absolute(first.p)) / seconds;
    leak.bar_per_min = f64::from(first.p - last.p) / seconds * 60.0;
    leak.judged_s = seconds;
    leak
}
