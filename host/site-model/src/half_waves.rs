//! Half waves: what the sensors see of a step, half cycle by half cycle, with their noise. The one
//! hot loop of the crate: a random word, two sums and a few multiplications each.

use crate::noise::{BYTE_SUM_SD, Noise, byte_sums};
use pumpwitness_core::wave::HalfWave;
use pumpwitness_protocol::record::flags;

/// Noise of the voltage sense when nothing is there, mV.
const VOLTAGE_FLOOR_MV: i64 = 250;
/// Noise of the current sense, share of the reading, standard deviation.
const CURRENT_NOISE_SHARE: f64 = 0.0012;

/// What does not change from step to step.
#[derive(Clone, Copy, Debug)]
pub struct Sensing {
    /// Noise of single half waves of the voltage, share, standard deviation.
    pub voltage_noise_share: f64,
    /// Noise of the current sense at rest, A r.m.s.
    pub current_floor_a: f64,
    /// Noise of the signal, steps, standard deviation.
    pub signal_noise_steps: f64,
    /// Live band of the signal, steps.
    pub live_steps: (i32, i32),
    /// Voltage below which nothing is left to count cycles on, V.
    pub free_running_below_v: f64,
}

/// One step.
#[derive(Clone, Copy, Debug)]
pub struct Step {
    /// Half waves.
    pub count: u32,
    /// Length of each, µs.
    pub half_us: u32,
    /// Voltage, V.
    pub voltage_v: f64,
    /// Current, A.
    pub current_a: f64,
    /// Power, W.
    pub power_w: f64,
    /// Signal at the beginning, steps.
    pub signal_from: f64,
    /// Signal at the end, steps.
    pub signal_to: f64,
}

const FIXED: f64 = 65_536.0;

fn fixed(share: f64) -> i64 {
    (share * FIXED / BYTE_SUM_SD) as i64
}

/// Hands the half waves of `step` to `sink`.
#[inline]
pub fn emit(step: &Step, sensing: &Sensing, noise: &mut Noise, mut sink: impl FnMut(&HalfWave)) {
    let voltage_mv = (step.voltage_v * 1e3) as i64;
    let voltage_noise = fixed(step.voltage_v * 1e3 * sensing.voltage_noise_share);
    let current_ma = (step.current_a * 1e3) as i64;
    let current_noise = fixed(step.current_a * 1e3 * CURRENT_NOISE_SHARE);
    let floor_sq = (sensing.current_floor_a * 1e3).powi(2) as i64;
    let power_mw = (step.power_w * 1e3) as i64;
    let power_noise_v = fixed(step.power_w * 1e3 * sensing.voltage_noise_share);
    let power_noise_i = fixed(step.power_w * 1e3 * CURRENT_NOISE_SHARE);
    let mut signal = (step.signal_from * FIXED) as i64;
    let signal_step =
        ((step.signal_to - step.signal_from) * FIXED) as i64 / i64::from(step.count.max(1));
    let signal_noise = fixed(sensing.signal_noise_steps);
    let always =
        if step.voltage_v < sensing.free_running_below_v { flags::FREE_RUNNING } else { 0 };
    let (low, high) = sensing.live_steps;
    for _ in 0..step.count {
        let word = noise.word();
        let (a, b) = byte_sums(word);
        let (c, d) = byte_sums(word.wrapping_mul(0x9E37_79B9_7F4A_7C15));
        let volts = voltage_mv + ((a * voltage_noise) >> 16);
        let amps = current_ma + ((c * current_noise) >> 16);
        signal += signal_step;
        let shown = ((signal + b * signal_noise) >> 16).max(0) as i32;
        let lost = if shown < low || shown > high { flags::SIGNAL_FAULT } else { 0 };
        sink(&HalfWave {
            duration_us: step.half_us,
            voltage_sq_mv2: (volts * volts + VOLTAGE_FLOOR_MV * VOLTAGE_FLOOR_MV) as u64,
            current_sq_ma2: (amps * amps + floor_sq + ((d * floor_sq) >> 10)) as u64,
            power_mw: (power_mw + ((a * power_noise_v + c * power_noise_i) >> 16)) as i32,
            signal: shown,
            flags: always | lost,
        });
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn levels_and_noise_are_what_was_asked() {
        let sensing = Sensing {
            voltage_noise_share: 0.001,
            current_floor_a: 0.02,
            signal_noise_steps: 3.0,
            live_steps: (1801, 10_499),
            free_running_below_v: 23.0,
        };
        let step = Step {
            count: 20_000,
            half_us: 10_000,
            voltage_v: 230.0,
            current_a: 7.0,
            power_w: 1200.0,
            signal_from: 4000.0,
            signal_to: 4200.0,
        };
        let mut waves = Vec::new();
        emit(&step, &sensing, &mut Noise::new(1, 9), |wave| waves.push(*wave));
        let n = waves.len() as f64;
        let mean = |f: &dyn Fn(&HalfWave) -> f64| waves.iter().map(f).sum::<f64>() / n;
        let volts = mean(&|w| (w.voltage_sq_mv2 as f64).sqrt() / 1e3);
        assert!((volts - 230.0).abs() < 0.02);
        let spread = mean(&|w| ((w.voltage_sq_mv2 as f64).sqrt() / 1e3 - volts).powi(2)).sqrt();
        assert!((spread / 0.23 - 1.0).abs() < 0.05, "{spread}");
        assert!((mean(&|w| (w.current_sq_ma2 as f64).sqrt() / 1e3) - 7.0).abs() < 0.002);
        assert!((mean(&|w| f64::from(w.power_mw) / 1e3) - 1200.0).abs() < 0.1);
        assert!((mean(&|w| f64::from(w.signal)) - 4100.0).abs() < 2.0);
        assert!(waves.iter().all(|wave| wave.flags == 0));
    }
}
