//! The pressure switch: closes at cut-in, opens at cut-out.

use crate::noise::Noise;

/// The switch as it is really set.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SwitchParameters {
    /// Closes when the pressure falls to this, bar.
    pub cut_in_bar: f64,
    /// Opens when it rises to this, bar.
    pub cut_out_bar: f64,
    /// How much both differ from one time to the next, bar, standard deviation.
    pub scatter_bar: f64,
    /// How long the diaphragm takes to follow, s.
    pub lag_s: f64,
}

/// The switch in time.
#[derive(Clone, Debug)]
pub struct PressureSwitch {
    closed: bool,
    felt_bar: f64,
    acts_at_bar: f64,
    noise: Noise,
}

impl PressureSwitch {
    /// Open, with `pressure_bar` before it.
    pub fn new(parameters: &SwitchParameters, pressure_bar: f64, noise: Noise) -> Self {
        Self { closed: false, felt_bar: pressure_bar, acts_at_bar: parameters.cut_in_bar, noise }
    }

    /// Moves on by `dt_s`; true while closed.
    pub fn step(&mut self, pressure_bar: f64, dt_s: f64, parameters: &SwitchParameters) -> bool {
        self.felt_bar += (pressure_bar - self.felt_bar) * dt_s / (dt_s + parameters.lag_s);
        let acts = if self.closed {
            self.felt_bar >= self.acts_at_bar
        } else {
            self.felt_bar <= self.acts_at_bar
        };
        if acts {
            self.closed = !self.closed;
            let next_bar = if self.closed { parameters.cut_out_bar } else { parameters.cut_in_bar };
            self.acts_at_bar = next_bar + parameters.scatter_bar * self.noise.gaussian();
        }
        self.closed
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn it_keeps_its_state_between_the_set_points() {
        let set =
            SwitchParameters { cut_in_bar: 2.0, cut_out_bar: 3.5, scatter_bar: 0.0, lag_s: 0.0 };
        let mut switch = PressureSwitch::new(&set, 3.0, Noise::new(1, 1));
        let states: Vec<bool> = [3.0, 2.1, 2.0, 2.5, 3.4, 3.5, 2.5, 1.9]
            .iter()
            .map(|&bar| switch.step(bar, 0.1, &set))
            .collect();
        assert_eq!(states, [false, false, true, true, true, false, false, true]);
    }
}
