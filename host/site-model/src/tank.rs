//! The tank: a gas cushion by Boyle's law in absolute pressures, and the little that the pipes
//! themselves give way.

/// Standard atmosphere, bar.
pub const ATMOSPHERE_BAR: f64 = 1.013_25;

/// The tank as it really is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TankParameters {
    /// Whole volume, L.
    pub volume_l: f64,
    /// Gas pressure with the tank drained, bar gauge, when it was charged.
    pub precharge_bar: f64,
    /// Gas still there over gas charged: 1 sound, 0.05 nearly all gone.
    pub gas_share: f64,
    /// Pressure of the air outside, bar absolute.
    pub atmosphere_bar: f64,
    /// What pipes and fittings take up, L/bar; above 0.
    pub pipes_l_per_bar: f64,
}

impl TankParameters {
    /// Gas, bar·L.
    fn gas_bar_l(&self) -> f64 {
        (self.precharge_bar + self.atmosphere_bar) * self.volume_l * self.gas_share
    }

    /// Water held at `gauge_bar`, L, pipes' give included.
    pub fn water_l(&self, gauge_bar: f64) -> f64 {
        let absolute = gauge_bar + self.atmosphere_bar;
        (self.volume_l - self.gas_bar_l() / absolute).max(0.0) + self.pipes_l_per_bar * gauge_bar
    }

    /// Pressure, bar gauge, with `water_l` held: the inverse of [`Self::water_l`].
    pub fn pressure_bar(&self, water_l: f64) -> f64 {
        let (gas, give, air) = (self.gas_bar_l(), self.pipes_l_per_bar, self.atmosphere_bar);
        // water = V − gas/P + give·(P − air)  →  give·P² + b·P − gas = 0, in the form that keeps
        // its digits when b is large.
        let b = self.volume_l - water_l - give * air;
        let absolute = 2.0 * gas / (b + (b * b + 4.0 * give * gas).sqrt());
        if absolute * self.volume_l > gas {
            absolute - air
        } else {
            // Bladder on the wall: only the pipes give.
            water_l / give
        }
    }

    /// Water given between two pressures, bar gauge, L.
    pub fn drawdown_l(&self, low_bar: f64, high_bar: f64) -> f64 {
        self.water_l(high_bar) - self.water_l(low_bar)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const PSI: f64 = 0.068_947_573;
    const GALLON_L: f64 = 3.785_411_784;

    fn us_tank(gallons: f64, precharge_psi: f64, air_psi: f64) -> TankParameters {
        TankParameters {
            volume_l: gallons * GALLON_L,
            precharge_bar: precharge_psi * PSI,
            gas_share: 1.0,
            atmosphere_bar: air_psi * PSI,
            pipes_l_per_bar: 1e-9,
        }
    }

    /// Drawdown factors of the well-water trade (precharge 2 psi below cut-in, sea level 14.7 psi):
    /// 20/40 0.34456, 30/50 0.29529, 40/60 0.25795; published example 30/50, 85 gal → 25.1 gal;
    /// at 11.8 psi 0.30814; under-charged to 10 psi 14.52 gal.
    #[test]
    fn drawdown_is_what_the_handbook_says() {
        for (low, high, factor) in
            [(20.0, 40.0, 0.34456), (30.0, 50.0, 0.29529), (40.0, 60.0, 0.25795)]
        {
            let tank = us_tank(85.0, low - 2.0, 14.7);
            let share = tank.drawdown_l(low * PSI, high * PSI) / tank.volume_l;
            assert!((share - factor).abs() < 1e-5, "{share}");
        }
        let gallons = |tank: TankParameters| tank.drawdown_l(30.0 * PSI, 50.0 * PSI) / GALLON_L;
        assert!((gallons(us_tank(85.0, 28.0, 14.7)) - 25.10).abs() < 0.01);
        assert!((gallons(us_tank(85.0, 28.0, 11.8)) - 26.19).abs() < 0.01);
        assert!((gallons(us_tank(85.0, 10.0, 14.7)) - 14.52).abs() < 0.01);
        // 200 L, precharge 1.86, 2.0/3.5 bar → 63.38 L.
        let metric = TankParameters {
            volume_l: 200.0,
            precharge_bar: 1.86,
            gas_share: 1.0,
            atmosphere_bar: ATMOSPHERE_BAR,
            pipes_l_per_bar: 1e-9,
        };
        assert!((metric.drawdown_l(2.0, 3.5) - 63.38).abs() < 0.01);
    }

    #[test]
    fn pressure_and_water_are_inverse() {
        for gas_share in [1.0, 0.3, 0.03] {
            let tank = TankParameters {
                volume_l: 60.0,
                precharge_bar: 1.8,
                gas_share,
                atmosphere_bar: ATMOSPHERE_BAR,
                pipes_l_per_bar: 0.2,
            };
            for pressure in [0.0, 0.4, 1.79, 1.81, 2.5, 3.5, 6.0] {
                let back = tank.pressure_bar(tank.water_l(pressure));
                assert!((back - pressure).abs() < 1e-9, "{gas_share} {pressure} {back}");
            }
        }
    }
}
