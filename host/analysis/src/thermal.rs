//! Thermal state of a motor by the first-order model of IEC 60255-149 (formulas from memory): the
//! square of the current heats, a time constant remembers.
//!
//! The record knows neither temperature nor time constant. So the model is asked only what the
//! record can answer: is there *any* usual time constant by which the stops in question all came at
//! much the same heat, and no other run grew hotter without being stopped?

/// Thermal state; in units of the heat that the reference current brings in the long run.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct ThermalState {
    level: f64,
}

impl ThermalState {
    /// The level: 1 is what the reference current reaches in the long run.
    pub fn level(self) -> f64 {
        self.level
    }

    /// Moves on by `seconds` of a constant current, as a share of the reference current, with the
    /// time constant `tau_s`: H(t) = (I/I_B)² + (H₀ − (I/I_B)²)·e^(−t/τ), the closed form of the
    /// standard's step-by-step one.
    pub fn step(&mut self, current_share: f64, seconds: f64, tau_s: f64) {
        let target = current_share * current_share;
        self.level = target + (self.level - target) * (-seconds / tau_s).exp();
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Hot and cold curves of IEC 60255-149 (from memory): t = τ·ln((I² − I_p²)/(I² − (k·I_B)²)),
    /// with I_p the steady current before. A motor carrying 0.9 times, then 2 times the limit
    /// current reaches the limit after τ·ln((4 − 0.81)/(4 − 1)).
    #[test]
    fn it_reaches_the_limit_when_the_closed_form_says() {
        for (tau_s, before, after) in [(600.0, 0.9, 2.0), (120.0, 0.0, 1.5), (1800.0, 0.5, 6.0)] {
            let mut state = ThermalState::default();
            state.step(before, 100.0 * tau_s, tau_s);
            assert!((state.level() - before * before).abs() < 1e-9);
            let (hot, cold) = (after * after, before * before);
            let expected_s = tau_s * ((hot - cold) / (hot - 1.0)).ln();
            state.step(after, expected_s, tau_s);
            assert!((state.level() - 1.0).abs() < 1e-9, "{tau_s} {before} {after}");
        }
    }

    /// The standard's step-by-step form H(t) = (I/I_B)²·Δt/(τ+Δt) + H(t−Δt)·τ/(τ+Δt) comes to the
    /// same with short steps.
    #[test]
    fn it_agrees_with_the_step_by_step_form() {
        let (tau_s, dt_s) = (300.0, 0.01);
        let mut state = ThermalState::default();
        let mut stepped = 0.0;
        for (share, seconds) in [(1.3, 200.0), (0.0, 400.0), (0.8, 100.0), (1.1, 50.0)] {
            state.step(share, seconds, tau_s);
            for _ in 0..(seconds / dt_s) as u32 {
                stepped = (share * share * dt_s + stepped * tau_s) / (tau_s + dt_s);
            }
            assert!((state.level() - stepped).abs() < 1e-4, "{share} {} {stepped}", state.level());
        }
    }

    /// Cooling: after one time constant 1/e is left.
    #[test]
    fn it_cools_by_the_exponential() {
        let mut state = ThermalState { level: 0.8 };
        state.step(0.0, 540.0, 540.0);
        assert!((state.level() - 0.8 / std::f64::consts::E).abs() < 1e-12);
    }
}
