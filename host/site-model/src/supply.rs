//! The supply: a source behind an impedance, wandering through the day, with what happens upstream
//! of the site: dips, swells, interruptions, and hours of low or high voltage.

use crate::clock::{Hours, Instant, us};
use crate::noise::{Noise, Wander};
use crate::phasor::Phasor;

/// Events of one kind that begin by chance upstream.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Disturbances {
    /// How many in a day.
    pub per_day: f64,
    /// Hours in which they happen.
    pub hours: Hours,
    /// Voltage left, share of what it was: lowest and highest.
    pub left: (f64, f64),
    /// Length, s: shortest and longest, on a logarithmic scale.
    pub length_s: (f64, f64),
}

/// Hours of the day in which the voltage upstream is another.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DailyLevel {
    /// When.
    pub hours: Hours,
    /// Level then over the usual level.
    pub level_share: f64,
    /// Probability that a given day has it.
    pub day_probability: f64,
}

/// The supply as it really is.
#[derive(Clone, Debug, PartialEq)]
pub struct SupplyParameters {
    /// Nominal voltage, V.
    pub nominal_v: f64,
    /// Nominal frequency, Hz.
    pub frequency_hz: f64,
    /// Usual level upstream over nominal.
    pub level_share: f64,
    /// Half the swing over the day, share of nominal; lowest at 19 h.
    pub daily_swing_share: f64,
    /// Wander over minutes, share, standard deviation.
    pub wander_share: f64,
    /// Noise of single half waves, share, standard deviation.
    pub noise_share: f64,
    /// Resistance of the source, Ω.
    pub source_ohm: f64,
    /// Reactance of the source, Ω.
    pub source_reactance_ohm: f64,
    /// Resistance that grows in a connection that goes bad, Ω per day.
    pub growing_ohm_per_day: f64,
    /// How much the bad connection makes and breaks, share of what has grown.
    pub contact_swing: f64,
    /// Chance events.
    pub disturbances: Vec<Disturbances>,
    /// Events at set moments. One that comes before a chance event takes its place.
    pub planned: Vec<Disturbance>,
    /// Hours of another level.
    pub daily_level: Option<DailyLevel>,
}

/// What happens upstream just now.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Disturbance {
    /// First moment, µs since 1970.
    pub start_us: i64,
    /// Last moment.
    pub end_us: i64,
    /// Voltage left, share.
    pub left: f64,
}

/// How often levels that change slowly are worked out anew, µs.
const SLOW_US: i64 = 5_000_000;

/// The supply in time.
#[derive(Clone, Debug)]
pub struct Supply {
    start_us: i64,
    waits_us: Vec<i64>,
    now: Option<Disturbance>,
    next: Option<Disturbance>,
    slow_us: i64,
    level: f64,
    base: f64,
    daily: f64,
    today: (i64, bool),
    wander: Wander,
    contact: Wander,
    grown: f64,
    frequency_wander: Wander,
    frequency_hz: f64,
    noise: Noise,
}

impl Supply {
    /// Starts at `start`.
    pub fn new(parameters: &SupplyParameters, start: Instant, noise: Noise) -> Self {
        let mut supply = Self {
            start_us: start.unix_us,
            waits_us: Vec::with_capacity(parameters.disturbances.len()),
            now: None,
            next: None,
            slow_us: i64::MIN,
            level: parameters.level_share,
            base: parameters.level_share,
            daily: 1.0,
            today: (i64::MIN, false),
            wander: Wander::new(parameters.wander_share, 120.0),
            contact: Wander::new(parameters.contact_swing, 40.0),
            grown: 0.0,
            // Interconnected system: a few hundredths of a hertz over minutes (EN 50160 holds it
            // within 1 % for 99.5 % of a year).
            frequency_wander: Wander::new(0.015, 200.0),
            frequency_hz: parameters.frequency_hz,
            noise,
        };
        for kind in &parameters.disturbances {
            let wait_us = supply.wait_us(kind);
            supply.waits_us.push(start.unix_us + wait_us);
        }
        supply.plan(parameters, start);
        supply
    }

    fn wait_us(&mut self, kind: &Disturbances) -> i64 {
        us((self.noise.exponential() * 86_400.0 / kind.per_day.max(1e-6)).min(1e7)).max(1)
    }

    /// Draws the next event of all kinds that begins after `at` and falls into its hours.
    fn plan(&mut self, parameters: &SupplyParameters, at: Instant) {
        self.plan_by_chance(parameters, at);
        let chance_us = self.next.map_or(i64::MAX, |event| event.start_us);
        let coming = parameters.planned.iter().filter(|event| event.start_us > at.unix_us);
        if let Some(event) = coming.min_by_key(|event| event.start_us)
            && event.start_us <= chance_us
        {
            self.next = Some(*event);
        }
    }

    fn plan_by_chance(&mut self, parameters: &SupplyParameters, at: Instant) {
        self.next = None;
        // Kinds whose hours leave nothing must not hold up the search for ever.
        for _ in 0..10_000 {
            let first = (0..self.waits_us.len()).min_by_key(|&kind| self.waits_us[kind]);
            let Some(index) = first else { return };
            let kind = parameters.disturbances[index];
            let start_us = self.waits_us[index];
            self.waits_us[index] += self.wait_us(&kind);
            let hour = (at.hour() + (start_us - at.unix_us) as f64 / 3.6e9).rem_euclid(24.0);
            let left = self.noise.between(kind.left.0, kind.left.1);
            let length_s = self.noise.between_log(kind.length_s.0, kind.length_s.1);
            if start_us > at.unix_us && kind.hours.contain(hour) {
                self.next = Some(Disturbance { start_us, end_us: start_us + us(length_s), left });
                return;
            }
        }
    }

    /// Moves on to `at`, `dt_s` after the last; true when an event upstream begins or ends here.
    pub fn step(&mut self, at: Instant, dt_s: f64, parameters: &SupplyParameters) -> bool {
        let mut edge = false;
        if self.now.is_some_and(|event| event.end_us <= at.unix_us) {
            self.now = None;
            edge = true;
        }
        if self.now.is_none() && self.next.is_some_and(|event| event.start_us <= at.unix_us) {
            self.now = self.next;
            self.plan(parameters, at);
            edge = true;
        }
        if at.unix_us >= self.slow_us {
            self.slow_us = at.unix_us + SLOW_US;
            self.slow(at, parameters);
        }
        self.level = self.base * self.daily * (1.0 + self.wander.step(dt_s, &mut self.noise));
        edge
    }

    fn slow(&mut self, at: Instant, parameters: &SupplyParameters) {
        let turn = (at.hour() - 19.0) / 24.0 * std::f64::consts::TAU;
        self.base = parameters.level_share - parameters.daily_swing_share * turn.cos();
        let slow_s = SLOW_US as f64 / 1e6;
        self.frequency_hz =
            parameters.frequency_hz + self.frequency_wander.step(slow_s, &mut self.noise);
        let days = (at.unix_us - self.start_us) as f64 / 8.64e10;
        let swing = self.contact.step(slow_s, &mut self.noise);
        self.grown = parameters.growing_ohm_per_day * days * (1.0 + swing).max(0.1);
        if let Some(daily) = parameters.daily_level {
            if self.today.0 != at.day() {
                self.today = (at.day(), self.noise.chance(daily.day_probability));
            }
            let inside = self.today.1 && daily.hours.contain(at.hour());
            let want = if inside { daily.level_share } else { 1.0 };
            // A transformer loads up over a minute or two.
            self.daily += (want - self.daily) * (slow_s / 60.0);
        }
    }

    /// Voltage upstream of the source impedance, V.
    pub fn emf_v(&self, parameters: &SupplyParameters) -> f64 {
        parameters.nominal_v * self.level * self.now.map_or(1.0, |event| event.left)
    }

    /// Impedance of the source, Ω.
    pub fn impedance(&self, parameters: &SupplyParameters) -> Phasor {
        Phasor::new(parameters.source_ohm + self.grown, parameters.source_reactance_ohm)
    }

    /// Frequency, Hz.
    pub fn frequency_hz(&self) -> f64 {
        self.frequency_hz
    }

    /// The event going on upstream.
    pub fn disturbance(&self) -> Option<Disturbance> {
        self.now
    }

    /// True while an hour of another level holds.
    pub fn at_another_level(&self) -> bool {
        (self.daily - 1.0).abs() > 0.01
    }

    /// When the next event begins or the present one ends, µs since 1970.
    pub fn next_edge_us(&self) -> i64 {
        match (self.now, self.next) {
            (Some(event), _) => event.end_us,
            (None, Some(event)) => event.start_us,
            (None, None) => i64::MAX,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn events_come_as_often_as_asked_and_never_overlap() {
        let parameters = SupplyParameters {
            nominal_v: 230.0,
            frequency_hz: 50.0,
            level_share: 1.0,
            daily_swing_share: 0.01,
            wander_share: 0.003,
            noise_share: 0.0005,
            source_ohm: 0.3,
            source_reactance_ohm: 0.1,
            growing_ohm_per_day: 0.1,
            contact_swing: 0.0,
            disturbances: vec![
                Disturbances {
                    per_day: 24.0,
                    hours: Hours { from: 8.0, to: 18.0 },
                    left: (0.6, 0.85),
                    length_s: (0.05, 1.0),
                },
                Disturbances {
                    per_day: 2.0,
                    hours: Hours::ALL,
                    left: (0.0, 0.0),
                    length_s: (1.0, 20.0),
                },
            ],
            planned: Vec::new(),
            daily_level: None,
        };
        let mut supply = Supply::new(&parameters, Instant::new(0, 0.0), Noise::new(5, 5));
        let (mut dips, mut cuts, mut at_us) = (0, 0, 0i64);
        while at_us < 200 * 86_400_000_000 {
            at_us = (at_us + 60_000_000).min(supply.next_edge_us());
            let at = Instant::new(at_us, 0.0);
            let before = supply.disturbance();
            if supply.step(at, 60.0, &parameters)
                && let Some(event) = supply.disturbance()
            {
                assert!(before.is_none_or(|b| b.end_us <= event.start_us));
                if event.left > 0.0 {
                    dips += 1;
                    assert!((8.0..18.01).contains(&at.hour()));
                } else {
                    cuts += 1;
                }
            }
        }
        assert!((1800..2200).contains(&dips), "{dips}");
        assert!((340..460).contains(&cuts), "{cuts}");
        assert!((supply.impedance(&parameters).re - 20.3).abs() < 0.1);
    }

    #[test]
    fn planned_events_come_at_their_moments() {
        let event = |start_us, end_us| Disturbance { start_us, end_us, left: 0.5 };
        let planned = vec![event(7_000_000, 7_300_000), event(9_000_000, 9_500_000)];
        let mut parameters = crate::design::Design::HOUSE.build().supply;
        parameters.planned.clone_from(&planned);
        let mut supply = Supply::new(&parameters, Instant::new(0, 0.0), Noise::new(5, 5));
        let (mut seen, mut at_us) = (Vec::new(), 0i64);
        while at_us < 60_000_000 {
            at_us = (at_us + 200_000).min(supply.next_edge_us());
            if supply.step(Instant::new(at_us, 0.0), 0.2, &parameters) {
                seen.push((at_us, supply.disturbance()));
            }
        }
        assert_eq!(
            seen,
            [
                (7_000_000, Some(planned[0])),
                (7_300_000, None),
                (9_000_000, Some(planned[1])),
                (9_500_000, None),
            ]
        );
    }
}
