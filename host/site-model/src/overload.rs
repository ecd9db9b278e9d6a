//! Thermal state of the motor as an overload relay keeps it (IEC 60255-149: first-order thermal
//! model without memory of ambient; clause numbers not to hand), with automatic reset.

/// Settings of the relay.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct OverloadParameters {
    /// Current the relay is set to, A.
    pub set_current_a: f64,
    /// Factor on the set current that it holds for ever; between 1.05 and 1.20 (IEC 60947-4-1).
    pub hold_factor: f64,
    /// Time constant while current flows, s; 270 s gives trip class 10.
    pub heating_s: f64,
    /// Time constant while stopped, s.
    pub cooling_s: f64,
    /// Thermal state below which it resets by itself, share of the tripping state.
    pub reset_share: f64,
    /// Least wait before the reset, s.
    pub least_wait_s: f64,
}

/// Thermal state; 1 is the tripping state.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct ThermalState {
    level: f64,
}

impl ThermalState {
    /// The level, 1 where it trips.
    pub fn level(self) -> f64 {
        self.level
    }

    /// Moves on by `dt_s` with `current_a` flowing; true when the tripping state is reached.
    /// Discrete form of the standard: H(t) = (I/(k·I_B))²·Δt/(τ+Δt) + H(t−Δt)·τ/(τ+Δt).
    pub fn step(&mut self, current_a: f64, dt_s: f64, relay: &OverloadParameters) -> bool {
        let tau =
            if current_a > 0.05 * relay.set_current_a { relay.heating_s } else { relay.cooling_s };
        let load = (current_a / (relay.hold_factor * relay.set_current_a)).powi(2);
        self.level = (load * dt_s + self.level * tau) / (tau + dt_s);
        self.level >= 1.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const RELAY: OverloadParameters = OverloadParameters {
        set_current_a: 10.0,
        hold_factor: 1.12,
        heating_s: 270.0,
        cooling_s: 540.0,
        reset_share: 0.6,
        least_wait_s: 300.0,
    };

    fn trip_s(multiple: f64, from: f64) -> Option<f64> {
        let mut state = ThermalState { level: from };
        (1..800_000)
            .find(|_| state.step(multiple * RELAY.set_current_a, 0.01, &RELAY))
            .map(|steps| f64::from(steps) * 0.01)
    }

    /// Closed form of IEC 60255-149: t = τ·ln((I² − H₀·(kI_B)²)/(I² − (kI_B)²)).
    #[test]
    fn it_trips_when_the_closed_form_says() {
        for (multiple, from) in [(1.5, 0.0), (2.0, 0.5), (7.2, 0.0), (1.2, 0.79)] {
            let (i_sq, hold_sq) = ((multiple * 10.0f64).powi(2), 11.2f64.powi(2));
            let expected = 270.0 * ((i_sq - from * hold_sq) / (i_sq - hold_sq)).ln();
            let found = trip_s(multiple, from).unwrap();
            assert!((found / expected - 1.0).abs() < 0.01, "{multiple}: {found} {expected}");
        }
    }

    /// IEC 60947-4-1 (from memory): 1.05 × holds for 2 h, 1.2 × trips within 2 h, and class 10
    /// trips at 7.2 × in more than 4 and at most 10 s.
    #[test]
    fn it_is_of_class_ten() {
        assert_eq!(trip_s(1.05, 0.0), None);
        assert!(trip_s(1.2, (1.05f64 / 1.12).powi(2)).unwrap() < 7200.0);
        let locked = trip_s(7.2, 0.0).unwrap();
        assert!(locked > 4.0 && locked <= 10.0, "{locked}");
    }
}
