//! Steady swinging of the pressure under constant-pressure control: turning points that follow
//! each other at even intervals.

use super::row::Row;
use crate::facts::{Stretch, Swing};
use crate::limits;
use crate::robust::{centre_and_sigma, median};

/// Turning points farther apart do not belong together.
const APART_MS: i64 = (limits::SWING_APART_S.value * 1000.0) as i64;
/// Fewest turning points of a swinging.
const LEAST_TURNS: usize = limits::SWING_TURNS.value as usize;
/// Interval from which a turning point comes too late to belong to the others.
const LATE: f64 = limits::SWING_LATE.value;
/// Start of a run not looked at for swinging.
const SETTLE_MS: i64 = (limits::SWING_SETTLE_S.value * 1000.0) as i64;

/// Standard deviations of its noise between which a reading stays for hundreds of rows (normal
/// distribution: the range of 1000 values is 6.5 of them, and 8 once in thousands of times).
const NOISE_RANGE: f32 = 8.0;

/// Noise of the reading, from the bends between neighbouring rows: a swing of some seconds is straight
/// over so short a time, noise is not.
#[derive(Debug)]
struct Noise {
    before: [f32; 2],
    bends: f64,
    rows: f64,
}

/// Longest rows over which a swing of some seconds is straight, ms.
const STRAIGHT_MS: i64 = 300;

impl Noise {
    fn new() -> Self {
        Self { before: [f32::NAN; 2], bends: 0.0, rows: 0.0 }
    }

    fn push(&mut self, row: &Row) {
        let bend = f64::from(row.p - 2.0 * self.before[1] + self.before[0]).abs();
        self.before = [self.before[1], row.p];
        if bend.is_finite() && row.end_ms - row.start_ms <= STRAIGHT_MS {
            self.bends += bend;
            self.rows += 1.0;
        }
    }

    /// A stretch of rows ends: the next row has no neighbours yet.
    fn part(&mut self) {
        self.before = [f32::NAN; 2];
    }

    /// Standard deviation: three independent values weighted 1, -2, 1 have √6 times that of one, and
    /// the mean of its size is √(2/π) of it.
    fn sigma(&self) -> f32 {
        if self.rows < 100.0 {
            return 0.0;
        }
        (self.bends / self.rows / (12.0 / std::f64::consts::PI).sqrt()) as f32
    }
}

/// Watches for swings.
#[derive(Debug)]
pub struct SwingWatch {
    reversal_bar: Option<f32>,
    rising: bool,
    extreme: (i64, f32),
    noise: Noise,
    /// Length of the last row, ms.
    row_ms: i64,
    turns: Vec<(i64, f32)>,
    /// Finished swings.
    pub swings: Vec<Swing>,
}

impl SwingWatch {
    /// Begins; without a held pressure there is nothing to watch.
    pub fn new(held_bar: Option<f64>) -> Self {
        Self {
            reversal_bar: held_bar.map(|bar| (limits::HUNTING.value * bar) as f32),
            rising: true,
            extreme: (i64::MIN, f32::NAN),
            noise: Noise::new(),
            row_ms: 0,
            turns: Vec::new(),
            swings: Vec::new(),
        }
    }

    /// Noise of the reading, standard deviation, bar.
    pub fn noise_bar(&self) -> f64 {
        f64::from(self.noise.sigma())
    }

    /// Takes a row; `running_ms` is the time since the start, `None` at rest.
    pub fn push(&mut self, row: &Row, running_ms: Option<i64>) {
        let Some(reversal) = self.reversal_bar else { return };
        if running_ms.is_none_or(|ms| ms < SETTLE_MS) || !row.p.is_finite() {
            self.interrupt();
            return;
        }
        self.noise.push(row);
        self.row_ms = row.end_ms - row.start_ms;
        let reversal = reversal.max(NOISE_RANGE * self.noise.sigma());
        if self.extreme.1.is_nan() {
            self.extreme = (row.end_ms, row.p);
            return;
        }
        let beyond = if self.rising { row.p >= self.extreme.1 } else { row.p <= self.extreme.1 };
        if beyond {
            self.extreme = (row.end_ms, row.p);
        } else if (row.p - self.extreme.1).abs() > reversal {
            if self.turns.last().is_some_and(|last| self.extreme.0 - last.0 > APART_MS) {
                self.close();
            }
            self.turns.push(self.extreme);
            self.rising = !self.rising;
            self.extreme = (row.end_ms, row.p);
        }
    }

    /// A stretch of record, or a run, ends here.
    pub fn interrupt(&mut self) {
        self.noise.part();
        if !self.extreme.1.is_nan() || !self.turns.is_empty() {
            self.close();
            self.extreme = (i64::MIN, f32::NAN);
            self.rising = true;
        }
    }

    fn close(&mut self) {
        let turns = std::mem::take(&mut self.turns);
        let turns = even_part(&turns);
        if turns.len() < LEAST_TURNS {
            return;
        }
        let cycles = turns.windows(3).map(|w| (w[2].0 - w[0].0) as f64 / 1000.0);
        let Some((period_s, scatter)) = centre_and_sigma(cycles) else { return };
        let swing = median(turns.windows(2).map(|w| f64::from((w[1].1 - w[0].1).abs())));
        // Even intervals tell control from taps opened and closed.
        if scatter > 0.35 * period_s {
            return;
        }
        // What falls at once takes a row to show.
        let falls = turns.windows(2).filter(|w| w[1].1 < w[0].1);
        let fall_s = median(falls.map(|w| (w[1].0 - w[0].0 - self.row_ms).max(0) as f64 / 1000.0));
        self.swings.push(Swing {
            time: Stretch { start_ms: turns[0].0, end_ms: turns[turns.len() - 1].0 },
            cycles: (turns.len() / 2) as u32,
            swing_bar: swing.unwrap_or(0.0),
            period_s,
            fall_share: fall_s.map_or(f64::NAN, |fall_s| fall_s / period_s),
        });
    }
}

/// The turning points without those at either end that come too late to belong to the swinging: the
/// pressure drifts on for a while before it begins and after it has ended.
fn even_part(turns: &[(i64, f32)]) -> &[(i64, f32)] {
    let apart = |pair: &[(i64, f32)]| (pair[1].0 - pair[0].0) as f64;
    let Some(usual) = median(turns.windows(2).map(apart)) else { return turns };
    let mut part = turns;
    while part.len() > 2 && apart(&part[..2]) > LATE * usual {
        part = &part[1..];
    }
    while part.len() > 2 && apart(&part[part.len() - 2..]) > LATE * usual {
        part = &part[..part.len() - 1];
    }
    part
}

#[cfg(test)]
mod tests {
    use super::*;

    fn watch(bar: impl Fn(i64) -> f32) -> Vec<Swing> {
        let mut watch = SwingWatch::new(Some(2.0));
        for n in 1..=20_000_i64 {
            let p = bar(n);
            let nan = f32::NAN;
            let row = Row {
                start_ms: (n - 1) * 200,
                end_ms: n * 200,
                v: nan,
                v_min: nan,
                v_max: nan,
                i: nan,
                i_max: nan,
                p,
                p_min: p,
                p_max: p,
                ma: nan,
                ma_min: nan,
                ma_max: nan,
                w: nan,
                f: nan,
            };
            watch.push(&row, Some(10_000 + n * 200));
        }
        watch.interrupt();
        watch.swings
    }

    /// Noise of 30 mbar, white (sum of twelve even values, by a linear congruence), goes up and down
    /// by more than 5 % of the held pressure again and again, and is no swing; a swing is seen
    /// through it.
    #[test]
    fn noise_is_no_swing() {
        let noise = |n: i64| {
            let mut state = n as u64;
            let sum: f64 = (0..12)
                .map(|_| {
                    state = state
                        .wrapping_mul(6_364_136_223_846_793_005)
                        .wrapping_add(1_442_695_040_888_963_407);
                    (state >> 11) as f64 / (1_u64 << 53) as f64
                })
                .sum();
            0.03 * (sum - 6.0) as f32
        };
        assert_eq!(watch(|n| 2.0 + noise(n)), []);
        let swing = |n: i64| (n as f32 * 0.2 / 6.0 * std::f32::consts::TAU).sin();
        let seen = watch(|n| 2.0 + 0.25 * swing(n) + noise(n));
        assert!(seen.iter().any(|s| (s.period_s - 6.0).abs() < 0.3 && s.cycles > 100), "{seen:?}");
        // It falls as long as it rises.
        assert!(seen.iter().all(|s| (s.fall_share - 0.5).abs() < 0.1), "{seen:?}");
    }

    #[test]
    fn a_saw_falls_at_once() {
        // Once in 12 s, in one row.
        let seen = watch(|n| 2.0 + 0.5 * (n % 60) as f32 / 60.0);
        assert!(seen.iter().all(|s| s.fall_share < 0.05) && !seen.is_empty(), "{seen:?}");
    }
}
