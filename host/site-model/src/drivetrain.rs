//! From the supply to the shaft: a motor straight on the line, or behind a drive.

use crate::drive::DriveParameters;
use crate::motor::{Circuit, MotorParameters};
use crate::noise::{Noise, Wander};
use crate::phasor::Phasor;
use crate::pump::PumpParameters;

/// What the logger's sensors see of the electrical side.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Electrical {
    /// At the panel, V.
    pub voltage_v: f64,
    /// Line current, A.
    pub current_a: f64,
    /// Power, W.
    pub power_w: f64,
}

/// The source as the panel sees it.
#[derive(Clone, Copy, Debug)]
pub struct Source {
    /// Open-circuit voltage, V.
    pub emf_v: f64,
    /// Impedance, Ω.
    pub impedance: Phasor,
}

/// What the water does to the shaft.
#[derive(Clone, Copy, Debug)]
pub struct Load<'a> {
    /// The pump.
    pub pump: &'a PumpParameters,
    /// Flow, L/s.
    pub flow_lps: f64,
    /// 1 with the pump full of water, 0 dry.
    pub water_share: f64,
}

/// Direct current in the first half waves of a start, at worst, over the alternating current's
/// peak; it fades with each half wave. IEC 60034-12 names 1.8 to 2.8 times for the first peak.
const OFFSET_MOST: f64 = 0.6;
const OFFSET_FADE: f64 = 0.35;

/// A motor straight on the line.
#[derive(Clone, Debug)]
pub struct LineMotor {
    circuit: Circuit,
    /// Speed, 1 is synchronous.
    speed: f64,
    offset: f64,
    jammed: bool,
    drag: f64,
    drag_wander: Wander,
    noise: Noise,
}

impl LineMotor {
    /// At rest.
    pub fn new(plate: &MotorParameters, noise: Noise) -> Self {
        Self {
            circuit: Circuit::fit(plate),
            speed: 0.0,
            offset: 0.0,
            jammed: false,
            drag: plate.drag_share,
            drag_wander: Wander::new(plate.drag_swing, 900.0),
            noise,
        }
    }

    /// Speed over rated.
    pub fn speed(&self) -> f64 {
        self.speed / (1.0 - self.circuit.rated_slip())
    }

    /// True while the rotor is jammed.
    pub fn jammed(&self) -> bool {
        self.jammed
    }

    /// Current is about to flow: closing angle and jamming are drawn.
    pub fn energise(&mut self, plate: &MotorParameters) {
        self.offset = OFFSET_MOST * self.noise.uniform();
        self.jammed = self.noise.chance(plate.jam_probability);
    }

    /// Without current: water stops the wheel within a fraction of a second.
    pub fn coast(&mut self, dt_s: f64) {
        self.jammed = false;
        self.speed -= self.speed * (dt_s / 0.3).min(1.0);
        if self.speed < 0.01 {
            self.speed = 0.0;
        }
    }

    fn shaft_w(&self, load: Load, speed: f64) -> f64 {
        let relative = speed / (1.0 - self.circuit.rated_slip());
        load.pump.shaft_w(load.flow_lps, relative, load.water_share)
            + self.drag * self.circuit.rated_output_w() * speed
    }

    /// Half-cycle step while speed changes: torque against inertia. The second value is true once
    /// the speed has settled.
    pub fn accelerate(
        &mut self,
        source: Source,
        load: Load,
        dt_s: f64,
        plate: &MotorParameters,
    ) -> (Electrical, bool) {
        let mut at = self.circuit.operate(source.emf_v, source.impedance, 1.0 - self.speed);
        let rated_w = self.circuit.rated_output_w();
        let mut settled = false;
        if self.jammed {
            self.speed = 0.0;
        } else {
            let moving = self.speed.max(0.02);
            let torque_w = self.shaft_w(load, moving) / moving
                + self.circuit.friction_w() * self.speed.max(0.3);
            let gain = (at.air_gap_w - torque_w) * dt_s / (rated_w * plate.inertia_s);
            settled = self.speed > 0.8 && gain.abs() < 0.004;
            // Never past what slip leaves for the load.
            self.speed = (self.speed + gain).clamp(0.0, 0.999);
        }
        // Root mean square of an alternating current riding on an offset d of its peak.
        at.current_a *= (1.0 + 2.0 * self.offset * self.offset).sqrt();
        self.offset *= OFFSET_FADE;
        (
            Electrical { voltage_v: at.voltage_v, current_a: at.current_a, power_w: at.power_w },
            settled,
        )
    }

    /// Step at speed: torque in balance; `None` when the motor cannot hold the load.
    pub fn run(
        &mut self,
        source: Source,
        load: Load,
        dt_s: f64,
        plate: &MotorParameters,
    ) -> Option<Electrical> {
        if plate.drag_share > 0.0 {
            let swing = self.drag_wander.step(dt_s, &mut self.noise);
            self.drag = plate.drag_share * (1.0 + swing).max(0.0);
        }
        let shaft_w = self.shaft_w(load, self.speed);
        let slip =
            self.circuit.balance(source.emf_v, source.impedance, 1.0 - self.speed, shaft_w)?;
        self.speed = 1.0 - slip;
        let at = self.circuit.operate(source.emf_v, source.impedance, slip);
        Some(Electrical { voltage_v: at.voltage_v, current_a: at.current_a, power_w: at.power_w })
    }
}

/// Voltage at the panel with a load of given power and power factor; the drop is a fraction of a
/// volt to a few volts, so that two rounds settle it.
pub fn behind_drive(source: Source, power_w: f64, power_factor: f64) -> Electrical {
    let mut voltage_v = source.emf_v;
    let mut current_a = 0.0;
    for _ in 0..2 {
        current_a = power_w / (voltage_v.max(1.0) * power_factor);
        // Only the in-phase part of a rectifier's current takes voltage from the fundamental.
        let real_a = current_a * power_factor;
        voltage_v = source.emf_v - real_a * source.impedance.re;
    }
    Electrical { voltage_v, current_a, power_w }
}

/// Power a drive takes to turn the shaft, W.
pub fn drive_input_w(
    load: Load,
    speed: f64,
    drag_share: f64,
    plate: &MotorParameters,
    drive: &DriveParameters,
) -> f64 {
    let rated_w = plate.rated_voltage_v * plate.rated_current_a * plate.rated_power_factor;
    let output_w = rated_w * plate.rated_efficiency;
    let shaft_w =
        load.pump.shaft_w(load.flow_lps, speed, load.water_share) + drag_share * output_w * speed;
    let share = shaft_w / output_w;
    // A third of the losses stay, the rest goes with the square of the load (common practice).
    let loss_w = rated_w * (1.0 - plate.rated_efficiency) * (0.33 + 0.67 * share * share);
    (shaft_w + loss_w * speed) / drive.efficiency + drive.standby_w
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::motor::tests::PLATE;

    fn pump(shaft_w: f64) -> PumpParameters {
        let mut pump = PumpParameters {
            shut_off_head_m: 70.0,
            rated_flow_lpm: 45.0,
            rated_head_m: 50.0,
            efficiency: 0.5,
            shut_off_power_share: 0.55,
            dry_power_share: 0.42,
        };
        pump.efficiency *= pump.rated_shaft_w() / shaft_w;
        pump
    }

    fn start(source: Source, jam: bool) -> Vec<f64> {
        let pump = pump(780.0);
        let mut motor = LineMotor::new(&PLATE, Noise::new(4, 4));
        motor.energise(&MotorParameters { jam_probability: f64::from(u8::from(jam)), ..PLATE });
        (0..200)
            .map(|_| {
                let load = Load { pump: &pump, flow_lps: 0.5, water_share: 1.0 };
                motor.accelerate(source, load, 0.01, &PLATE).0.current_a
            })
            .collect()
    }

    /// Shape of a direct start, against a five-state cage motor solved with scipy (4 kHz, 1 s):
    /// largest one-cycle r.m.s. over steady 18.11/3.70 = 4.9, below 1.5 × steady after 0.20 s.
    /// Another motor, so only the shape counts: 3.5 to 8, and within 0.1 to 0.8 s.
    #[test]
    fn a_direct_start_has_the_shape_of_the_solved_one() {
        let series = start(Source { emf_v: 230.0, impedance: Phasor::new(0.2, 0.1) }, false);
        let steady = series[199];
        let cycles: Vec<f64> = series
            .chunks(2)
            .map(|pair| f64::midpoint(pair[0] * pair[0], pair[1] * pair[1]).sqrt())
            .collect();
        let peak = cycles.iter().copied().fold(0.0, f64::max) / steady;
        assert!((3.5..8.0).contains(&peak), "{peak}");
        let calm = series.iter().rposition(|&a| a > 1.5 * steady).unwrap();
        assert!((10..80).contains(&calm), "{calm}");
    }

    #[test]
    fn a_jammed_motor_keeps_drawing_its_start_current() {
        let series = start(Source { emf_v: 230.0, impedance: Phasor::new(0.2, 0.1) }, true);
        assert!(series[199] > 4.5 * PLATE.rated_current_a);
        assert!((series[199] / series[100] - 1.0).abs() < 1e-9);
    }

    /// U = E − Z·I: the dip of the start gives the source impedance back. A purely resistive
    /// source and standstill power factor p: E² = (U + R·I·p)² + (R·I·√(1−p²))².
    #[test]
    fn the_start_dips_the_supply_through_the_source() {
        let mut motor = LineMotor::new(&PLATE, Noise::new(4, 4));
        motor.jammed = true;
        let source = Source { emf_v: 236.0, impedance: Phasor::new(0.29167, 0.0) };
        let pump = pump(780.0);
        let load = Load { pump: &pump, flow_lps: 0.5, water_share: 1.0 };
        let at = motor.accelerate(source, load, 0.01, &PLATE).0;
        let p = at.power_w / (at.voltage_v * at.current_a);
        let drop = 0.29167 * at.current_a;
        let emf = ((at.voltage_v + drop * p).powi(2) + drop * drop * (1.0 - p * p)).sqrt();
        assert!((emf - 236.0).abs() < 1e-6, "{emf}");
        assert!(at.voltage_v < 230.0);
    }
}
