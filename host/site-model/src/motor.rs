//! The motor: an induction machine as its steady-state equivalent circuit (stator, magnetising
//! branch with core loss, rotor with slip), plus the rotor's inertia. One circuit stands for the
//! line that is measured: for three phases it is the equivalent single circuit of line voltage and
//! line current, so that power is voltage × current × power factor and 1/√3 of the whole.
//!
//! Inrush, locked rotor, the current and power factor at part load, on low voltage and when dry
//! all come out of the circuit; none is a table.

use crate::phasor::Phasor;

/// The motor's nameplate and build.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MotorParameters {
    /// Rated voltage, V.
    pub rated_voltage_v: f64,
    /// Rated current, A.
    pub rated_current_a: f64,
    /// Power factor at rated load, 0.5 to 0.95.
    pub rated_power_factor: f64,
    /// Efficiency at rated load, 0.5 to 0.92.
    pub rated_efficiency: f64,
    /// Current at standstill over rated current, 4 to 8.
    pub start_current_ratio: f64,
    /// Seconds that the rated torque alone would take from rest to full speed; the real run-up
    /// takes about a third of it.
    pub inertia_s: f64,
    /// Torque that drags besides the pump, share of rated torque: worn bearings, sand.
    pub drag_share: f64,
    /// How much of the dragging comes and goes, share of `drag_share`.
    pub drag_swing: f64,
    /// Probability that a start finds the rotor jammed.
    pub jam_probability: f64,
    /// Cooling over its rated value, 1 when the water flows past as it should.
    pub cooling_share: f64,
}

// How the losses at rated load divide: stator copper, rotor copper, core; the rest is friction.
// Common practice for small motors (no single source; values from memory).
const STATOR_SHARE: f64 = 0.32;
const ROTOR_SHARE: f64 = 0.15;
const CORE_SHARE: f64 = 0.33;

/// Electrical and mechanical state of the motor at one slip.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Operating {
    /// At the terminals, V.
    pub voltage_v: f64,
    /// Line current, A.
    pub current_a: f64,
    /// Power drawn, W.
    pub power_w: f64,
    /// Power across the air gap, W; torque in synchronous watts.
    pub air_gap_w: f64,
}

/// The equivalent circuit, fitted to a nameplate.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Circuit {
    stator: Phasor,
    magnetising: Phasor,
    rotor_ohm: f64,
    rotor_reactance_ohm: f64,
    /// Rotor resistance at standstill over that at speed (current crowds into the bars' tops).
    crowding: f64,
    friction_w: f64,
    rated_slip: f64,
    rated_output_w: f64,
}

impl Circuit {
    /// Fits the circuit so that rated voltage and rated slip give the nameplate's current and
    /// power factor, and standstill its start current.
    pub fn fit(plate: &MotorParameters) -> Self {
        let (v, i) = (plate.rated_voltage_v, plate.rated_current_a);
        let input_w = v * i * plate.rated_power_factor;
        let loss_w = input_w * (1.0 - plate.rated_efficiency);
        let stator_ohm = STATOR_SHARE * loss_w / (i * i);
        let core_w = CORE_SHARE * loss_w;
        let gap_w = input_w - STATOR_SHARE * loss_w - core_w;
        let rated_slip = ROTOR_SHARE * loss_w / gap_w;
        let reactive_var = (v * v * i * i - input_w * input_w).sqrt();
        let standstill_ohm = v / (plate.start_current_ratio * i);
        let line = Phasor::new(input_w / v, -reactive_var / v);
        let crowding = 1.15;
        // Leakage reactance depends on rotor resistance and the other way round: a few rounds
        // settle it.
        let mut leakage_ohm = 0.6 * standstill_ohm;
        let mut circuit = None;
        for _ in 0..30 {
            let half = leakage_ohm / 2.0;
            let drop = line * Phasor::new(stator_ohm, half);
            let inner = Phasor::new(v - drop.re, -drop.im);
            let e_sq = inner.abs_sq();
            // Rotor branch r + jx taking gap_w at e: the larger root of r² − (e²/P)·r + x² = 0.
            let whole = e_sq / gap_w;
            let root = (whole * whole - 4.0 * half * half).max(0.0).sqrt();
            let r = f64::midpoint(whole, root);
            let rotor_ohm = r * rated_slip / (1.0 + (crowding - 1.0) * rated_slip);
            let rotor_a_sq = e_sq / (r * r + half * half);
            let inner_var = reactive_var - i * i * half;
            let magnetising_var = (inner_var - rotor_a_sq * half).max(0.05 * input_w);
            let core = Phasor::new(e_sq / core_w, 0.0);
            let choke = Phasor::new(0.0, e_sq / magnetising_var);
            circuit = Some(Self {
                stator: Phasor::new(stator_ohm, half),
                magnetising: core.beside(choke),
                rotor_ohm,
                rotor_reactance_ohm: half,
                crowding,
                friction_w: (1.0 - rated_slip) * gap_w - plate.rated_efficiency * input_w,
                rated_slip,
                rated_output_w: plate.rated_efficiency * input_w,
            });
            let still_ohm = stator_ohm + rotor_ohm * crowding;
            // Not below a quarter: leakage never vanishes, even where copper alone would limit.
            let wanted = (standstill_ohm * standstill_ohm - still_ohm * still_ohm)
                .max((0.25 * standstill_ohm).powi(2))
                .sqrt();
            leakage_ohm += 0.5 * (wanted - leakage_ohm);
        }
        circuit.unwrap_or_else(|| unreachable!("the loop above runs"))
    }

    /// Impedance at the terminals, Ω, at `slip` (0 synchronous, 1 at rest).
    pub fn impedance(&self, slip: f64) -> Phasor {
        self.stator + self.magnetising.beside(self.rotor(slip))
    }

    fn rotor(&self, slip: f64) -> Phasor {
        let slip = slip.max(1e-4);
        let resistance = self.rotor_ohm * (1.0 + (self.crowding - 1.0) * slip);
        Phasor::new(resistance / slip, self.rotor_reactance_ohm)
    }

    /// State behind a source of `emf_v` and impedance `source`, Ω. The circuit is linear at a
    /// given slip, so the dip that the motor itself causes needs no iteration.
    pub fn operate(&self, emf_v: f64, source: Phasor, slip: f64) -> Operating {
        let rotor = self.rotor(slip);
        let inner = self.magnetising.beside(rotor);
        let motor = self.stator + inner;
        let current_sq = emf_v * emf_v / (source + motor).abs_sq();
        let rotor_sq = current_sq * inner.abs_sq() / rotor.abs_sq();
        Operating {
            voltage_v: (current_sq * motor.abs_sq()).sqrt(),
            current_a: current_sq.sqrt(),
            power_w: current_sq * motor.re,
            air_gap_w: rotor_sq * rotor.re,
        }
    }

    /// Friction and windage at full speed, W.
    pub fn friction_w(&self) -> f64 {
        self.friction_w
    }

    /// Slip at rated load.
    pub fn rated_slip(&self) -> f64 {
        self.rated_slip
    }

    /// Shaft power at rated load, W.
    pub fn rated_output_w(&self) -> f64 {
        self.rated_output_w
    }

    /// Slip at which the shaft gives `shaft_w` from `emf_v` behind `source`, W taken at the
    /// balance, starting from a guess; `None` when the motor cannot.
    pub fn balance(&self, emf_v: f64, source: Phasor, guess: f64, shaft_w: f64) -> Option<f64> {
        let mut slip = guess.clamp(0.1 * self.rated_slip, 0.25);
        for _ in 0..12 {
            let have = (1.0 - slip) * self.operate(emf_v, source, slip).air_gap_w;
            let need = shaft_w + self.friction_w;
            // Torque is near proportional to slip at speed.
            let ratio = need / have.max(1e-3);
            slip *= ratio.clamp(0.5, 2.0);
            if slip > 0.4 {
                return None;
            }
            if (ratio - 1.0).abs() < 2e-4 {
                return Some(slip);
            }
        }
        None
    }
}

#[cfg(test)]
pub(crate) mod tests {
    use super::*;

    pub(crate) const PLATE: MotorParameters = MotorParameters {
        rated_voltage_v: 230.0,
        rated_current_a: 7.2,
        rated_power_factor: 0.74,
        rated_efficiency: 0.70,
        start_current_ratio: 5.5,
        inertia_s: 0.8,
        drag_share: 0.0,
        drag_swing: 0.0,
        jam_probability: 0.0,
        cooling_share: 1.0,
    };

    const NONE: Phasor = Phasor::new(0.0, 0.0);

    #[test]
    fn the_circuit_gives_back_its_nameplate() {
        for (amps, pf, efficiency, ratio) in
            [(7.2, 0.74, 0.70, 5.5), (2.4, 0.65, 0.60, 4.2), (15.0, 0.83, 0.80, 6.5)]
        {
            let plate = MotorParameters {
                rated_current_a: amps,
                rated_power_factor: pf,
                rated_efficiency: efficiency,
                start_current_ratio: ratio,
                ..PLATE
            };
            let circuit = Circuit::fit(&plate);
            let rated = circuit.operate(230.0, NONE, circuit.rated_slip());
            assert!((rated.current_a / amps - 1.0).abs() < 0.005, "{rated:?}");
            assert!((rated.power_w / (230.0 * amps * pf) - 1.0).abs() < 0.005, "{rated:?}");
            let output = (1.0 - circuit.rated_slip()) * rated.air_gap_w - circuit.friction_w();
            assert!((output / rated.power_w - efficiency).abs() < 0.005);
            let still = circuit.operate(230.0, NONE, 1.0);
            assert!((still.current_a / (ratio * amps) - 1.0).abs() < 0.1, "{still:?}");
        }
    }

    #[test]
    fn power_in_is_power_out_and_losses() {
        let circuit = Circuit::fit(&PLATE);
        for slip in [0.01, 0.05, 0.3, 1.0] {
            let at = circuit.operate(225.0, Phasor::new(0.3, 0.1), slip);
            let stator_w = at.current_a.powi(2) * circuit.stator.re;
            let inner = circuit.magnetising.beside(circuit.rotor(slip));
            let inner_v_sq = at.current_a.powi(2) * inner.abs_sq();
            let core_w = inner_v_sq * circuit.magnetising.re / circuit.magnetising.abs_sq();
            assert!((at.power_w - stator_w - core_w - at.air_gap_w).abs() < 1e-6 * at.power_w);
        }
    }

    /// Locked-rotor current goes with the voltage, torque with its square: 90 % gives 0.81
    /// (NEMA MG 1 practice, from memory; the arithmetic is the circuit's linearity).
    #[test]
    fn standstill_follows_the_voltage() {
        let circuit = Circuit::fit(&PLATE);
        let (full, low) = (circuit.operate(230.0, NONE, 1.0), circuit.operate(207.0, NONE, 1.0));
        assert!((low.current_a / full.current_a - 0.9).abs() < 1e-9);
        assert!((low.air_gap_w / full.air_gap_w - 0.81).abs() < 1e-9);
    }

    /// At 90 % voltage and the same load the current rises by about 11 %, at 110 % it falls or
    /// rises by several per cent (NEMA MG 1 practice, from memory): the direction and size at 90 %
    /// are what is checked.
    #[test]
    fn low_voltage_raises_the_running_current() {
        let circuit = Circuit::fit(&MotorParameters { rated_power_factor: 0.85, ..PLATE });
        let shaft = circuit.rated_output_w();
        let slip = circuit.balance(207.0, NONE, 0.05, shaft).unwrap();
        let ratio = circuit.operate(207.0, NONE, slip).current_a / 7.2;
        assert!((1.03..1.18).contains(&ratio), "{ratio}");
    }

    /// With the shaft at 0.42 of rated, true power falls by 40–60 % and current by much less
    /// (common practice, vendor-type estimates).
    #[test]
    fn a_dry_pump_shows_in_power_more_than_in_current() {
        let circuit = Circuit::fit(&PLATE);
        let slip = circuit.balance(230.0, NONE, 0.05, 0.42 * circuit.rated_output_w()).unwrap();
        let dry = circuit.operate(230.0, NONE, slip);
        let rated = circuit.operate(230.0, NONE, circuit.rated_slip());
        let (power, current) = (dry.power_w / rated.power_w, dry.current_a / rated.current_a);
        assert!((0.40..0.60).contains(&power), "{power}");
        assert!(current > power + 0.15, "{current}");
    }

    /// Phasor arithmetic of a source impedance, worked by hand: 236 V behind
    /// 0.25 + j0.15 Ω with 48 A at power factor 0.7 loses 13.568 V.
    #[test]
    fn the_source_impedance_takes_its_share() {
        let turn = 0.7f64.acos();
        let current = Phasor::new(48.0 * turn.cos(), -48.0 * turn.sin());
        let drop = current * Phasor::new(0.25, 0.15);
        // The terminal voltage lies on the real axis: |V + drop| = 236.
        let terminal = (236.0f64.powi(2) - drop.im.powi(2)).sqrt() - drop.re;
        assert!((236.0 - terminal - 13.568).abs() < 0.001);
        // The same state by the motor's own arithmetic: an impedance of terminal/48 at that angle.
        let load = Phasor::new(terminal / 48.0 * turn.cos(), terminal / 48.0 * turn.sin());
        let whole = Phasor::new(0.25, 0.15) + load;
        assert!((236.0 / whole.abs() - 48.0).abs() < 1e-6);
    }
}
