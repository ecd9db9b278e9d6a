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

/// Watches for swings.
#[derive(Debug)]
pub struct SwingWatch {
    reversal_bar: Option<f32>,
    rising: bool,
    extreme: (i64, f32),
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
            turns: Vec::new(),
            swings: Vec::new(),
        }
    }

    /// Takes a row; `running_ms` is the time since the start, `None` at rest.
    pub fn push(&mut self, row: &Row, running_ms: Option<i64>) {
        let Some(reversal) = self.reversal_bar else { return };
        if running_ms.is_none_or(|ms| ms < SETTLE_MS) || !row.p.is_finite() {
            self.interrupt();
            return;
        }
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
        self.swings.push(Swing {
            time: Stretch { start_ms: turns[0].0, end_ms: turns[turns.len() - 1].0 },
            cycles: (turns.len() / 2) as u32,
            swing_bar: swing.unwrap_or(0.0),
            period_s,
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
