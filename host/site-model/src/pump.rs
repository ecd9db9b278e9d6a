//! The pump: head and shaft power over flow, scaled with speed by the affinity laws.

/// Density of water at 20 °C, kg/m³.
pub const DENSITY_KG_M3: f64 = 998.2;
/// Standard gravity, m/s².
pub const GRAVITY_M_S2: f64 = 9.806_65;
/// Height of a water column that weighs 1 bar, m.
pub const METRES_PER_BAR: f64 = 1e5 / (DENSITY_KG_M3 * GRAVITY_M_S2);

/// Hydraulic power, W, of `flow_lps` litres a second raised by `head_m`.
pub fn hydraulic_w(flow_lps: f64, head_m: f64) -> f64 {
    DENSITY_KG_M3 * GRAVITY_M_S2 * flow_lps * 1e-3 * head_m
}

/// The pump's curves at rated speed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PumpParameters {
    /// Head without flow, m.
    pub shut_off_head_m: f64,
    /// Rated flow, L/min.
    pub rated_flow_lpm: f64,
    /// Head at rated flow, m; below the shut-off head.
    pub rated_head_m: f64,
    /// Efficiency at rated flow.
    pub efficiency: f64,
    /// Shaft power without flow over that at rated flow. Centrifugal: 0.3 to 0.6 by common
    /// practice; small multistage pumps lie at the top.
    pub shut_off_power_share: f64,
    /// Shaft power without water over that at rated flow.
    pub dry_power_share: f64,
}

impl PumpParameters {
    fn rated_flow_lps(&self) -> f64 {
        self.rated_flow_lpm / 60.0
    }

    /// Loss of head inside the pump, m per (L/s)².
    pub fn slope(&self) -> f64 {
        (self.shut_off_head_m - self.rated_head_m) / self.rated_flow_lps().powi(2)
    }

    /// Head, m, at `flow_lps` and `speed` (1 is rated).
    pub fn head_m(&self, flow_lps: f64, speed: f64) -> f64 {
        self.shut_off_head_m * speed * speed - self.slope() * flow_lps * flow_lps
    }

    /// Flow, L/s, against `head_m` and a further loss of `loss` m per (L/s)²; none backwards,
    /// the check valve sees to that.
    pub fn flow_lps(&self, head_m: f64, loss: f64, speed: f64) -> f64 {
        let left_m = self.shut_off_head_m * speed * speed - head_m;
        if left_m <= 0.0 { 0.0 } else { (left_m / (self.slope() + loss)).sqrt() }
    }

    /// Shaft power at rated flow and speed, W.
    pub fn rated_shaft_w(&self) -> f64 {
        hydraulic_w(self.rated_flow_lps(), self.rated_head_m) / self.efficiency
    }

    /// Shaft power, W; `water` is 1 with the pump full, 0 dry.
    pub fn shaft_w(&self, flow_lps: f64, speed: f64, water: f64) -> f64 {
        if speed <= 0.0 {
            return 0.0;
        }
        let share = (flow_lps / (speed * self.rated_flow_lps())).min(1.5);
        let wet = self.shut_off_power_share + (1.0 - self.shut_off_power_share) * share;
        let level = self.dry_power_share + (wet - self.dry_power_share) * water;
        self.rated_shaft_w() * speed.powi(3) * level
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn pump(flow_lpm: f64, head_m: f64, shaft_w: f64) -> PumpParameters {
        PumpParameters {
            shut_off_head_m: 1.4 * head_m,
            rated_flow_lpm: flow_lpm,
            rated_head_m: head_m,
            efficiency: hydraulic_w(flow_lpm / 60.0, head_m) / shaft_w,
            shut_off_power_share: 0.5,
            dry_power_share: 0.35,
        }
    }

    /// Textbook: 10 m³/h to 50 m, water at 998.2 kg/m³, g 9.80665 → 1359.58 W; pump at 0.60 →
    /// 2265.97 W at the shaft.
    #[test]
    fn hydraulic_power_example() {
        let water_w = hydraulic_w(10.0 / 3.6, 50.0);
        assert!((water_w - 1359.58).abs() < 0.01);
        assert!((water_w / 0.60 - 2265.97).abs() < 0.01);
    }

    /// Affinity laws, textbook example: 1700 → 2000 rpm, 200 gpm, 60 ft, 5 bhp → 235 gpm, 83 ft,
    /// 8.1 bhp (published figures); and 60 → 48 Hz: 40 L/min, 60 m, 3 kW → 32.0, 38.4, 1.536.
    #[test]
    fn affinity_examples() {
        let us = pump(200.0 * 3.785_411_784, 60.0 * 0.3048, 5.0 * 745.7);
        let speed = 2000.0 / 1700.0;
        let flow = us.rated_flow_lps() * speed;
        assert!((flow * 60.0 / 3.785_411_784 - 235.29).abs() < 0.01);
        assert!((us.head_m(flow, speed) / 0.3048 - 83.04).abs() < 0.01);
        assert!((us.shaft_w(flow, speed, 1.0) / 745.7 - 8.142).abs() < 0.001);

        let slow = pump(40.0, 60.0, 3000.0);
        let flow = slow.rated_flow_lps() * 0.8;
        assert!((flow * 60.0 - 32.0).abs() < 1e-9);
        assert!((slow.head_m(flow, 0.8) - 38.4).abs() < 1e-9);
        assert!((slow.shaft_w(flow, 0.8, 1.0) - 1536.0).abs() < 1e-6);
    }

    #[test]
    fn flow_and_head_agree() {
        let pump = pump(45.0, 45.0, 800.0);
        for speed in [0.7, 1.0] {
            let flow = pump.flow_lps(25.0, 3.0, speed);
            assert!((pump.head_m(flow, speed) - 25.0 - 3.0 * flow * flow).abs() < 1e-9);
        }
        assert_eq!(pump.flow_lps(70.0, 0.0, 1.0), 0.0);
    }
}
