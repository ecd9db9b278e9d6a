//! The contactor and the wires behind it: drops out when the supply fails, and may close onto a
//! circuit that is open.

use crate::clock::us;
use crate::noise::Noise;
use crate::parameters::MotorCircuitParameters;

/// Below the drop-out voltage for this long, s, the armature falls.
const DROP_OUT_S: f64 = 0.02;
/// Voltage over nominal that counts as back.
const BACK_SHARE: f64 = 0.8;

/// Whether the supply is there to work with.
#[derive(Clone, Debug, Default)]
pub struct Presence {
    low_s: f64,
    lost: bool,
    ready_us: i64,
}

impl Presence {
    /// Moves on by `dt_s`; true while the control is fed and its wait after a loss is over.
    pub fn step(
        &mut self,
        share: f64,
        now_us: i64,
        dt_s: f64,
        parameters: &MotorCircuitParameters,
    ) -> bool {
        self.low_s = if share < parameters.drop_out_share { self.low_s + dt_s } else { 0.0 };
        if self.low_s >= DROP_OUT_S {
            self.lost = true;
        } else if self.lost && share >= BACK_SHARE {
            self.lost = false;
            self.ready_us = now_us + us(parameters.return_s);
        }
        !self.lost && now_us >= self.ready_us
    }

    /// Below the drop-out voltage just now, though perhaps not yet for long.
    pub fn falling(&self) -> bool {
        self.low_s > 0.0
    }
}

/// The contactor.
#[derive(Clone, Debug)]
pub struct Contactor {
    closed_us: Option<i64>,
    connected_us: i64,
    noise: Noise,
}

impl Contactor {
    /// Open.
    pub fn new(noise: Noise) -> Self {
        Self { closed_us: None, connected_us: 0, noise }
    }

    /// True while closed.
    pub fn closed(&self) -> bool {
        self.closed_us.is_some()
    }

    /// True while closed onto a whole circuit.
    pub fn feeds(&self, now_us: i64) -> bool {
        self.closed() && now_us >= self.connected_us
    }

    /// Closes; draws whether the circuit behind is whole.
    pub fn close(&mut self, now_us: i64, parameters: &MotorCircuitParameters) {
        self.closed_us = Some(now_us);
        // A broken joint stays broken until its own time is over, whatever the contactor does.
        if now_us >= self.connected_us && self.noise.chance(parameters.open_probability) {
            let (shortest, longest) = parameters.open_s;
            self.connected_us = now_us + us(self.noise.between_log(shortest, longest));
        }
    }

    /// Opens.
    pub fn open(&mut self) {
        self.closed_us = None;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const WIRING: MotorCircuitParameters = MotorCircuitParameters {
        open_probability: 1.0,
        open_s: (10.0, 10.0),
        drop_out_share: 0.5,
        return_s: 1.0,
    };

    #[test]
    fn it_rides_through_one_half_wave_and_waits_after_a_loss() {
        let mut presence = Presence::default();
        assert!(presence.step(0.2, 0, 0.01, &WIRING));
        assert!(presence.step(1.0, 10_000, 0.01, &WIRING));
        assert!(presence.step(0.2, 20_000, 0.01, &WIRING));
        assert!(!presence.step(0.2, 30_000, 0.01, &WIRING));
        assert!(!presence.step(1.0, 40_000, 0.01, &WIRING));
        assert!(presence.step(1.0, 1_040_000, 0.01, &WIRING));
    }

    #[test]
    fn an_open_circuit_stays_open_over_a_second_try() {
        let mut contactor = Contactor::new(Noise::new(1, 1));
        contactor.close(0, &WIRING);
        assert!(contactor.closed() && !contactor.feeds(1_000_000));
        contactor.open();
        contactor.close(5_000_000, &WIRING);
        assert!(!contactor.feeds(9_999_999) && contactor.feeds(10_000_000));
    }
}
