//! Where the water comes from: a bore that fills from the ground at a rate that goes with its
//! drawdown, an evening when neighbours pull the whole ground water down, and the intake.

use crate::clock::{Hours, Instant};
use crate::noise::{Noise, Wander};

/// The well and the pump's intake.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct WellParameters {
    /// Depth of the water at rest below the pressure transducer, m.
    pub rest_level_m: f64,
    /// Depth of the intake below the water at rest, m.
    pub intake_m: f64,
    /// Water in the bore, L per m of depth.
    pub storage_l_per_m: f64,
    /// Inflow, L/min per m of drawdown.
    pub yield_lpm_per_m: f64,
    /// Hours of the day when the ground water itself is lower.
    pub low_hours: Hours,
    /// By how much then, m.
    pub low_by_m: f64,
    /// How much the depth of the low differs from day to day, share of `low_by_m`.
    pub low_spread: f64,
    /// Loss of head at the intake, m per (L/s)²: a screen, and what clogs it.
    pub intake_loss: f64,
    /// How much the clogging comes and goes, share of `intake_loss`.
    pub intake_swing: f64,
}

/// Water has to stand this far above the intake before the pump catches it again, m.
const REGAIN_M: f64 = 0.3;
/// How fast the pump empties and fills, s.
const PRIME_S: f64 = 1.5;
/// How fast the ground water follows its neighbours, s.
const GROUND_S: f64 = 2400.0;

/// The well in time.
#[derive(Clone, Debug)]
pub struct Well {
    drawdown_m: f64,
    ground_m: f64,
    today: (i64, f64),
    water_share: f64,
    uncovered: bool,
    clogging: Wander,
    loss: f64,
    noise: Noise,
}

impl Well {
    /// At rest.
    pub fn new(parameters: &WellParameters, noise: Noise) -> Self {
        Self {
            drawdown_m: 0.0,
            ground_m: 0.0,
            today: (i64::MIN, 0.0),
            water_share: 1.0,
            uncovered: false,
            clogging: Wander::new(parameters.intake_swing, 20.0),
            loss: parameters.intake_loss,
            noise,
        }
    }

    /// Depth of the water in the bore below the transducer, m.
    pub fn level_m(&self, parameters: &WellParameters) -> f64 {
        parameters.rest_level_m + self.drawdown_m
    }

    /// 1 with the pump full of water, 0 dry.
    pub fn water_share(&self) -> f64 {
        self.water_share
    }

    /// Loss at the intake just now, m per (L/s)².
    pub fn intake_loss(&self) -> f64 {
        self.loss
    }

    /// Moves on by `dt_s`, with `pumped_lps` taken.
    pub fn step(&mut self, at: Instant, dt_s: f64, pumped_lps: f64, parameters: &WellParameters) {
        let want_m = if parameters.low_by_m > 0.0 && parameters.low_hours.contain(at.hour()) {
            if self.today.0 != at.day() {
                let spread = 1.0 + parameters.low_spread * self.noise.gaussian();
                self.today = (at.day(), parameters.low_by_m * spread.max(0.0));
            }
            self.today.1
        } else {
            0.0
        };
        self.ground_m += (want_m - self.ground_m) * (dt_s / GROUND_S).min(1.0);
        let inflow_lps = parameters.yield_lpm_per_m / 60.0 * (self.drawdown_m - self.ground_m);
        self.drawdown_m += (pumped_lps - inflow_lps) * dt_s / parameters.storage_l_per_m;
        if self.drawdown_m >= parameters.intake_m {
            self.uncovered = true;
        } else if self.drawdown_m < parameters.intake_m - REGAIN_M {
            self.uncovered = false;
        }
        let want = if self.uncovered { 0.0 } else { 1.0 };
        self.water_share += (want - self.water_share) * (dt_s / PRIME_S).min(1.0);
        if self.water_share > 0.999 {
            self.water_share = 1.0;
        }
        if parameters.intake_swing > 0.0 && pumped_lps > 0.0 {
            let swing = self.clogging.step(dt_s, &mut self.noise);
            self.loss = parameters.intake_loss * (1.0 + swing).max(0.2);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const WELL: WellParameters = WellParameters {
        rest_level_m: 12.0,
        intake_m: 6.0,
        storage_l_per_m: 18.0,
        yield_lpm_per_m: 5.0,
        low_hours: Hours { from: 19.0, to: 23.0 },
        low_by_m: 0.0,
        low_spread: 0.0,
        intake_loss: 0.0,
        intake_swing: 0.0,
    };

    /// Steady drawdown is flow over specific capacity; recovery is exponential with time constant
    /// storage over specific capacity (textbook bore of constant specific capacity).
    #[test]
    fn drawdown_and_recovery_follow_the_closed_form() {
        let mut well = Well::new(&WELL, Noise::new(1, 1));
        let at = Instant::new(0, 0.0);
        for _ in 0..36_000 {
            well.step(at, 0.1, 20.0 / 60.0, &WELL);
        }
        assert!((well.drawdown_m - 4.0).abs() < 0.01, "{}", well.drawdown_m);
        let tau_s = WELL.storage_l_per_m / (WELL.yield_lpm_per_m / 60.0);
        for _ in 0..(tau_s * 10.0) as u32 {
            well.step(at, 0.1, 0.0, &WELL);
        }
        assert!((well.drawdown_m - 4.0 / std::f64::consts::E).abs() < 0.01);
    }

    #[test]
    fn the_pump_loses_its_water_at_the_intake_and_finds_it_again() {
        let mut well = Well::new(&WELL, Noise::new(1, 1));
        let at = Instant::new(0, 0.0);
        let mut seconds = 0;
        while well.water_share() > 0.1 {
            well.step(at, 1.0, 1.0, &WELL);
            seconds += 1;
            assert!(seconds < 1000);
        }
        assert!(well.drawdown_m >= 5.5);
        for _ in 0..600 {
            well.step(at, 0.1, 0.0, &WELL);
        }
        assert!(well.water_share() > 0.9);
    }
}
