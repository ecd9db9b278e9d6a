//! Water: from the well through the pump into tank and outlets, every litre accounted for.

use crate::clock::Instant;
use crate::demand::{Demand, opening_share};
use crate::noise::Noise;
use crate::parameters::SiteParameters;
use crate::pump::{METRES_PER_BAR, hydraulic_w};
use crate::well::Well;

/// Litres and joules since the start.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Balance {
    /// Pumped, L.
    pub pumped_l: f64,
    /// Drawn on purpose, L.
    pub drawn_l: f64,
    /// Lost by the idle draw, L.
    pub idle_l: f64,
    /// Run back through the check valve, L.
    pub leaked_back_l: f64,
    /// Held in tank and pipes now, above what was held at the start, L.
    pub stored_l: f64,
    /// Work done on the water, J.
    pub hydraulic_j: f64,
    /// Electrical energy drawn, J.
    pub electrical_j: f64,
}

/// Pump, tank, pipes and outlets in time.
#[derive(Clone, Debug)]
pub struct Plant {
    water_l: f64,
    start_water_l: f64,
    pressure_bar: f64,
    manifold_bar: f64,
    flow_lps: f64,
    well: Well,
    demand: Demand,
    balance: Balance,
}

impl Plant {
    /// At rest, with `pressure_bar` in the tank.
    pub fn new(site: &SiteParameters, start: Instant, pressure_bar: f64, seed: u64) -> Self {
        let water_l = site.tank.water_l(pressure_bar);
        Self {
            water_l,
            start_water_l: water_l,
            pressure_bar,
            manifold_bar: pressure_bar,
            flow_lps: 0.0,
            well: Well::new(&site.well, Noise::new(seed, 2)),
            demand: Demand::new(&site.demand, start, Noise::new(seed, 3)),
            balance: Balance::default(),
        }
    }

    /// Pressure in the tank and at the pressure switch on its tee, bar gauge.
    pub fn tank_bar(&self) -> f64 {
        self.pressure_bar
    }

    /// Pressure at the transducer, on the pump's side of the isolating valve, bar gauge.
    pub fn manifold_bar(&self) -> f64 {
        self.manifold_bar
    }

    /// Flow of the pump, L/s.
    pub fn flow_lps(&self) -> f64 {
        self.flow_lps
    }

    /// 1 with the pump full of water, 0 dry.
    pub fn water_share(&self) -> f64 {
        self.well.water_share()
    }

    /// Litres and joules since the start.
    pub fn balance(&self) -> Balance {
        Balance { stored_l: self.water_l - self.start_water_l, ..self.balance }
    }

    /// Counts electrical energy.
    pub fn draw_energy(&mut self, joules: f64) {
        self.balance.electrical_j += joules;
    }

    /// Moves on by `dt_s` with the pump at `speed` (1 is rated).
    pub fn step(&mut self, at: Instant, dt_s: f64, speed: f64, site: &SiteParameters) {
        let level_m = self.well.level_m(&site.well);
        self.flow_lps = if speed > 0.05 {
            let head_m = self.pressure_bar * METRES_PER_BAR + level_m;
            let pipes = site.pipework.rising_loss + site.pipework.valve_loss;
            let loss = pipes + self.well.intake_loss();
            site.pump.flow_lps(head_m, loss, speed) * self.well.water_share()
        } else {
            0.0
        };
        let open = opening_share(self.pressure_bar) / 60.0;
        let drawn = self.demand.open_lpm(at, &site.demand) * open;
        let idle = site.demand.idle_draw_lpm * open;
        let back =
            if self.flow_lps > 0.0 { 0.0 } else { site.pipework.check_valve_leak_lpm * open };
        // What is not there cannot run out.
        let out_l = (drawn + idle + back) * dt_s;
        let there_l = self.water_l - site.tank.water_l(0.0) + self.flow_lps * dt_s;
        let share = if out_l > there_l.max(0.0) { there_l.max(0.0) / out_l } else { 1.0 };
        self.water_l += self.flow_lps * dt_s - out_l * share;
        self.pressure_bar = site.tank.pressure_bar(self.water_l);
        let valve_m = site.pipework.valve_loss * self.flow_lps * self.flow_lps;
        self.manifold_bar = self.pressure_bar + valve_m / METRES_PER_BAR;
        self.well.step(at, dt_s, self.flow_lps - back * share, &site.well);
        let balance = &mut self.balance;
        balance.pumped_l += self.flow_lps * dt_s;
        balance.drawn_l += drawn * share * dt_s;
        balance.idle_l += idle * share * dt_s;
        balance.leaked_back_l += back * share * dt_s;
        let lift_m = self.manifold_bar * METRES_PER_BAR + level_m;
        balance.hydraulic_j += hydraulic_w(self.flow_lps, lift_m) * dt_s;
    }
}
