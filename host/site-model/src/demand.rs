//! Who draws water and when: draws that begin by chance at rates that go with the hour, and beds
//! that are watered at fixed hours.

use crate::clock::{Hours, Instant, us};
use crate::noise::Noise;

/// One kind of draw that begins by chance.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Draws {
    /// How many begin in a day.
    pub per_day: f64,
    /// Hours in which they begin.
    pub hours: Hours,
    /// Flow of one at 3 bar, L/min; each differs, by up to half.
    pub flow_lpm: f64,
    /// Mean length, s.
    pub length_s: f64,
}

/// Watering at a fixed hour of some days.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Watering {
    /// Hours of the day it runs.
    pub hours: Hours,
    /// Every how many days; 1 is daily.
    pub every_days: i64,
    /// Flow at 3 bar, L/min.
    pub flow_lpm: f64,
}

/// Everything that is drawn on purpose, and what is not.
#[derive(Clone, Debug, PartialEq)]
pub struct DemandParameters {
    /// Kinds of chance draws.
    pub draws: Vec<Draws>,
    /// Fixed watering.
    pub watering: Option<Watering>,
    /// A draw that never ends, at 3 bar, L/min: a running cistern, a cracked pipe.
    pub idle_draw_lpm: f64,
}

/// Pressure at which flows are quoted, bar.
pub const QUOTED_AT_BAR: f64 = 3.0;
/// Most draws of one kind at a time.
const AT_ONCE: usize = 4;

/// An opening passes flow as the root of the pressure before it.
pub fn opening_share(gauge_bar: f64) -> f64 {
    (gauge_bar.max(0.0) / QUOTED_AT_BAR).sqrt()
}

#[derive(Clone, Debug)]
struct Kind {
    next_us: i64,
    running: [(i64, f64); AT_ONCE],
}

/// The draws in time.
#[derive(Clone, Debug)]
pub struct Demand {
    kinds: Vec<Kind>,
    noise: Noise,
    next_change_us: i64,
    open_lpm: f64,
}

impl Demand {
    /// Nothing drawn yet at `start`.
    pub fn new(parameters: &DemandParameters, start: Instant, noise: Noise) -> Self {
        let mut demand = Self {
            kinds: Vec::with_capacity(parameters.draws.len()),
            noise,
            next_change_us: i64::MIN,
            open_lpm: 0.0,
        };
        for draws in &parameters.draws {
            let next_us = start.unix_us + demand.wait_us(draws);
            demand.kinds.push(Kind { next_us, running: [(i64::MIN, 0.0); AT_ONCE] });
        }
        demand
    }

    /// Wait at the rate of the hours that count; others are thinned out at the moment itself.
    fn wait_us(&mut self, draws: &Draws) -> i64 {
        let span_h = if draws.hours.from <= draws.hours.to {
            draws.hours.to - draws.hours.from
        } else {
            24.0 - draws.hours.from + draws.hours.to
        };
        us((self.noise.exponential() * span_h * 3600.0 / draws.per_day.max(1e-6)).min(1e7)).max(1)
    }

    /// Flow of all open outlets at 3 bar, L/min, idle draw not included.
    pub fn open_lpm(&mut self, at: Instant, parameters: &DemandParameters) -> f64 {
        if at.unix_us < self.next_change_us {
            return self.open_lpm;
        }
        // Watering begins and ends to the second.
        self.next_change_us = at.unix_us + 1_000_000;
        self.open_lpm = 0.0;
        for (index, draws) in parameters.draws.iter().enumerate() {
            while self.kinds[index].next_us <= at.unix_us {
                let begun = self.kinds[index].next_us;
                let offset_us = begun - at.unix_us;
                let begun_hour = (at.hour() + offset_us as f64 / 3.6e9).rem_euclid(24.0);
                let length_s = draws.length_s * (0.3 + 0.7 * self.noise.exponential());
                let flow_lpm = draws.flow_lpm * self.noise.between(0.5, 1.5);
                if draws.hours.contain(begun_hour) {
                    let free = self.kinds[index].running.iter_mut().find(|(end, _)| *end <= begun);
                    if let Some(place) = free {
                        *place = (begun + us(length_s), flow_lpm);
                    }
                }
                self.kinds[index].next_us += self.wait_us(draws);
            }
            let kind = &self.kinds[index];
            self.next_change_us = self.next_change_us.min(kind.next_us);
            for &(end_us, flow_lpm) in &kind.running {
                if end_us > at.unix_us {
                    self.open_lpm += flow_lpm;
                    self.next_change_us = self.next_change_us.min(end_us);
                }
            }
        }
        if let Some(watering) = parameters.watering
            && watering.hours.contain(at.hour())
            && at.day().rem_euclid(watering.every_days.max(1)) == 0
        {
            self.open_lpm += watering.flow_lpm;
        }
        self.open_lpm
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn draws_come_as_often_as_asked_and_in_their_hours() {
        let parameters = DemandParameters {
            draws: vec![Draws {
                per_day: 20.0,
                hours: Hours { from: 22.0, to: 6.0 },
                flow_lpm: 8.0,
                length_s: 20.0,
            }],
            watering: None,
            idle_draw_lpm: 0.0,
        };
        let mut demand = Demand::new(&parameters, Instant::new(0, 0.0), Noise::new(3, 3));
        let (mut drawn_l, mut outside) = (0.0, 0);
        for second in 0..100 * 86_400i64 {
            let at = Instant::new(second * 1_000_000, 0.0);
            let flow = demand.open_lpm(at, &parameters);
            drawn_l += flow / 60.0;
            outside += i32::from(flow > 0.0 && (8.0..21.0).contains(&at.hour()));
        }
        // 20 draws a day of 8 L/min for 20 s.
        let expected = 100.0 * 20.0 * 8.0 * 20.0 / 60.0;
        assert!((drawn_l / expected - 1.0).abs() < 0.1, "{drawn_l} {expected}");
        assert_eq!(outside, 0);
    }
}
