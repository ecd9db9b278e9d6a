//! Sums over the whole record: voltage by time, minutes, energy, unbalance.

use super::plan::Plan;
use super::row::Row;
use crate::facts::{Facts, LOAD_STEP, LOAD_STEPS, Minute, PressureLoad};
use crate::unbalance::{negative_sequence, nema};
use pumpwitness_recording::Columns;

/// Steps of the voltage tally: per mille of nominal, up to twice nominal.
const STEPS: usize = 2001;
/// Length of the means unbalance is judged by, ms (EN 50160: 10 min).
const UNBALANCE_MS: i64 = 600_000;

/// A minute, ms.
const MINUTE_MS: i64 = 60_000;

/// The whole number nearest to a value, halves rounded up; 0 for values below zero. (Without the
/// processor's own instruction, which is not known to be there, rounding is a call. What is too
/// great for an i32 stays there, far beyond every step.)
fn nearest(value: f64) -> usize {
    let value = value.max(0.0);
    let below = value as i32;
    below as usize + usize::from(value - f64::from(below) >= 0.5)
}

/// Sums.
#[derive(Debug)]
pub struct Tally {
    nominal_v: f64,
    voltage_s: Vec<f64>,
    minute: Option<OpenMinute>,
    minutes: Vec<Minute>,
    energy_j: f64,
    pressure_max: Option<(f64, i64)>,
    supply: Option<(f64, f64)>,
    three: (i64, [f64; 3], f64),
    unbalance: Option<(f64, f64)>,
    phase_loss_s: f64,
    most_a: f32,
    held_bar: Option<f64>,
    rated_a: f32,
    line_w: f32,
    at_pressure: Vec<Option<Box<[f32; LOAD_STEPS]>>>,
}

/// Steps of the tally of pressure under constant-pressure control, share of the held pressure, and
/// how many of them.
const PRESSURE_STEP: f64 = 0.0025;
const PRESSURE_STEPS: usize = 600;

#[derive(Debug)]
struct OpenMinute {
    start_ms: i64,
    covered: f64,
    square: f64,
    v_time: f64,
    v_min: f32,
    v_max: f32,
    f_sum: f64,
    f_time: f64,
    running: f64,
    joules: f64,
}

impl Tally {
    /// Begins.
    pub fn new(plan: &Plan) -> Self {
        Self {
            nominal_v: plan.nominal_v,
            voltage_s: vec![0.0; STEPS],
            minute: None,
            minutes: Vec::new(),
            energy_j: 0.0,
            pressure_max: None,
            supply: None,
            three: (i64::MIN, [0.0; 3], 0.0),
            unbalance: None,
            phase_loss_s: 0.0,
            most_a: 0.0,
            held_bar: plan.held_bar,
            rated_a: plan.rated_a as f32,
            line_w: plan.line_w as f32,
            at_pressure: vec![None; if plan.held_bar.is_some() { PRESSURE_STEPS } else { 0 }],
        }
    }

    fn push_pressure(&mut self, row: &Row) {
        let Some(held) = self.held_bar else { return };
        let place = f64::from(row.p) / held / PRESSURE_STEP;
        let share = if row.i.is_finite() { row.i / self.rated_a } else { row.w / self.line_w };
        if place.is_finite() && place >= 0.0 && share.is_finite() {
            let step = &mut self.at_pressure[(place as usize).min(PRESSURE_STEPS - 1)];
            let by_load = step.get_or_insert_with(|| Box::new([0.0; LOAD_STEPS]));
            let load = (f64::from(share.max(0.0)) / LOAD_STEP) as usize;
            by_load[load.min(LOAD_STEPS - 1)] += row.seconds() as f32;
        }
    }

    /// Takes a row.
    pub fn push(&mut self, row: &Row, running: bool) {
        if running {
            self.push_pressure(row);
        }
        let seconds = row.seconds();
        let inside = |m: &OpenMinute| (0..MINUTE_MS).contains(&(row.end_ms - m.start_ms));
        if !self.minute.as_ref().is_some_and(inside) {
            self.close_minute();
            self.minute = Some(OpenMinute {
                start_ms: row.end_ms.div_euclid(MINUTE_MS) * MINUTE_MS,
                covered: 0.0,
                square: 0.0,
                v_time: 0.0,
                v_min: f32::NAN,
                v_max: f32::NAN,
                f_sum: 0.0,
                f_time: 0.0,
                running: 0.0,
                joules: 0.0,
            });
        }
        let Some(minute) = &mut self.minute else { return };
        minute.covered += seconds;
        if running {
            minute.running += seconds;
        }
        if row.v.is_finite() {
            minute.square += f64::from(row.v) * f64::from(row.v) * seconds;
            minute.v_time += seconds;
            minute.v_min = minute.v_min.min(row.v_min.min(row.v));
            minute.v_max = minute.v_max.max(row.v_max.max(row.v));
            let step = nearest(f64::from(row.v) / self.nominal_v * 1000.0);
            self.voltage_s[step.min(STEPS - 1)] += seconds;
        }
        // Zero stands for an interruption.
        if row.f > 0.0 {
            minute.f_sum += f64::from(row.f) * seconds;
            minute.f_time += seconds;
        }
        if row.w.is_finite() {
            minute.joules += f64::from(row.w) * seconds;
            self.energy_j += f64::from(row.w) * seconds;
        }
        let highest = f64::from(row.p_max.max(row.p));
        if highest.is_finite() && self.pressure_max.is_none_or(|(most, _)| highest > most) {
            self.pressure_max = Some((highest, row.end_ms));
        }
        if row.i_max.is_finite() {
            self.most_a = self.most_a.max(row.i_max);
        }
    }

    /// Takes what only whole columns show: three phases, transducer supply.
    pub fn push_columns(&mut self, columns: &Columns) {
        if let Some(supply) = &columns.transducer_supply_v {
            for value in supply.iter().filter(|v| v.is_finite()).map(|v| f64::from(*v)) {
                let (low, high) = self.supply.unwrap_or((value, value));
                self.supply = Some((low.min(value), high.max(value)));
            }
        }
        if let [a, b, c] = columns.voltage_v.as_slice() {
            for n in 0..columns.len() {
                let volts = [a.mean[n], b.mean[n], c.mean[n]].map(f64::from);
                let number = columns.end_ms[n].div_euclid(UNBALANCE_MS);
                if number != self.three.0 {
                    self.close_three();
                    self.three = (number, [0.0; 3], 0.0);
                }
                if volts.iter().all(|v| v.is_finite() && *v > 0.5 * self.nominal_v) {
                    let seconds = f64::from(columns.span_ms[n]) / 1000.0;
                    for (sum, value) in self.three.1.iter_mut().zip(volts) {
                        *sum += value * seconds;
                    }
                    self.three.2 += seconds;
                }
            }
        }
        if let [a, b, c] = columns.current_a.as_slice() {
            for n in 0..columns.len() {
                let amps = [a.mean[n], b.mean[n], c.mean[n]];
                let most = amps.iter().copied().fold(0.0, f32::max);
                let least = amps.iter().copied().fold(f32::INFINITY, f32::min);
                if most > 0.05 * self.most_a.max(1.0) && most > 1.0 && least < 0.1 * most {
                    self.phase_loss_s += f64::from(columns.span_ms[n]) / 1000.0;
                }
            }
        }
    }

    fn close_three(&mut self) {
        let (_, sums, seconds) = self.three;
        // Half of the ten minutes must be there.
        if seconds * 2000.0 < UNBALANCE_MS as f64 {
            return;
        }
        let volts = sums.map(|sum| sum / seconds);
        let now = (nema(volts), negative_sequence(volts));
        if self.unbalance.is_none_or(|worst| now.0 > worst.0) {
            self.unbalance = Some(now);
        }
    }

    fn close_minute(&mut self) {
        let Some(m) = self.minute.take() else { return };
        self.minutes.push(Minute {
            start_ms: m.start_ms,
            covered_s: m.covered as f32,
            v: (m.square / m.v_time).sqrt() as f32,
            v_min: m.v_min,
            v_max: m.v_max,
            f: (m.f_sum / m.f_time) as f32,
            running_s: m.running as f32,
            w: (m.joules / m.covered) as f32,
        });
    }

    /// Hands the sums over.
    pub fn finish(mut self, facts: &mut Facts) {
        self.close_minute();
        self.close_three();
        facts.minutes = self.minutes;
        facts.energy_kwh = self.energy_j / 3.6e6;
        facts.pressure_max = self.pressure_max;
        facts.transducer_supply_v = self.supply;
        if let Some(held) = self.held_bar {
            facts.pressure_load = (0u32..)
                .zip(self.at_pressure)
                .filter_map(|(step, by_load)| by_load.map(|by_load| (step, by_load)))
                .map(|(step, by_load)| PressureLoad {
                    bar: (f64::from(step) + 0.5) * PRESSURE_STEP * held,
                    seconds: by_load.iter().map(|s| f64::from(*s)).sum(),
                    by_load_s: *by_load,
                })
                .collect();
        }
        facts.unbalance = self.unbalance;
        facts.phase_loss_s = self.phase_loss_s;
        facts.voltage_time =
            (0u32..).zip(self.voltage_s).filter(|(_, seconds)| *seconds > 0.0).collect();
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Against the standard library's own rounding.
    #[test]
    fn nearest_is_rounding() {
        for n in 0..4_000 {
            for value in [f64::from(n) / 8.0, f64::from(n).sqrt(), -f64::from(n)] {
                for value in [value, value.next_down(), value.next_up()] {
                    assert_eq!(nearest(value), value.round().max(0.0) as usize, "{value}");
                }
            }
        }
        assert_eq!(nearest(0.499_999_999_999_999_94), 0);
    }
}
