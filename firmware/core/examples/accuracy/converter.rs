//! Waveforms in volts and amperes through a converter like the board's: 12 bits, four codes wider
//! than the rest, four conversions of each channel to a frame, the channels one after the other
//! (hardware-notes: channels.md, image.md, sampling.md), and on through the meter.

use pumpwitness_core::meter::Meter;
use pumpwitness_core::sampling::{
    CONVERSIONS_PER_S, Codes, FRAMES_PER_S, WIDE_BY_PERMILLE, frame, meter_config,
};
use pumpwitness_core::wave::{Frame, HalfWave};
use pumpwitness_protocol::calibration::Calibration;
use pumpwitness_protocol::settings::Settings;
use std::f64::consts::TAU;

const CONVERSION_S: f64 = 1.0 / CONVERSIONS_PER_S as f64;
/// Volts and amperes of one step of the 12-bit converter: a sixteenth of the frame's counts.
const STEP_V: f64 = 16.0 * 0.015_258_789;
const STEP_A: f64 = 16.0 * 0.003_051_758;
/// Range of the standard front end, r.m.s. of a sine.
pub const RANGE_V: f64 = 353.6;
pub const RANGE_A: f64 = 70.7;

/// Declared and true values of a test signal.
#[derive(Clone, Copy)]
pub struct Signal {
    pub nominal_hz: u8,
    pub hz: f64,
    /// Phase of the voltage at the start, rad.
    pub phase: f64,
    /// Order and share of the fundamental of each harmonic; the current has twice the share.
    pub harmonics: &'static [(f64, f64)],
    pub offset_v: f64,
    pub offset_a: f64,
    /// Noise of each conversion, standard deviation, steps of the converter.
    pub noise_steps: f64,
}

pub const VOLTAGE_V: f64 = 230.0;
pub const CURRENT_A: f64 = 8.0;
/// cos φ = 0.8.
const LAG: f64 = 0.643_501_108_793_284_4;

impl Signal {
    /// Voltage without offset and noise, V.
    pub fn voltage_v(&self, t: f64) -> f64 {
        let angle = TAU * self.hz * t + self.phase;
        let sum: f64 = self.harmonics.iter().map(|(n, share)| share * (n * angle + n).sin()).sum();
        VOLTAGE_V * 2.0_f64.sqrt() * (angle.sin() + sum)
    }

    fn current_a(&self, t: f64) -> f64 {
        let angle = TAU * self.hz * t + self.phase;
        let sum: f64 =
            self.harmonics.iter().map(|(n, share)| 2.0 * share * (n * angle + 2.0 * n).sin()).sum();
        CURRENT_A * 2.0_f64.sqrt() * ((angle - LAG).sin() + sum)
    }

    fn energy(&self) -> f64 {
        self.harmonics.iter().map(|(_, share)| share * share).sum()
    }

    /// Closed form: root of the sum of squares.
    pub fn rms_v(&self) -> f64 {
        VOLTAGE_V * (1.0 + self.energy()).sqrt()
    }

    /// The same.
    pub fn rms_a(&self) -> f64 {
        CURRENT_A * (1.0 + 4.0 * self.energy()).sqrt()
    }

    /// Closed form: sum of V·I·cos φ over the orders.
    pub fn power_w(&self) -> f64 {
        let harmonic: f64 =
            self.harmonics.iter().map(|(n, share)| 2.0 * share * share * n.cos()).sum();
        VOLTAGE_V * CURRENT_A * (LAG.cos() + harmonic)
    }
}

/// Nominal and true frequency, Hz: both ends, the middle and between.
pub const FREQUENCIES: [(u8, f64); 10] = [
    (50, 42.5),
    (50, 46.3),
    (50, 50.0),
    (50, 53.9),
    (50, 57.5),
    (60, 51.0),
    (60, 55.7),
    (60, 60.0),
    (60, 64.1),
    (60, 69.0),
];

/// Common practice: a bad but real supply; the highest order lies below half the frame rate at
/// 42.5 Hz.
const HARMONICS: [(f64, f64); 8] = [
    (3.0, 0.10),
    (5.0, 0.08),
    (7.0, 0.06),
    (9.0, 0.04),
    (11.0, 0.03),
    (13.0, 0.03),
    (25.0, 0.01),
    (31.0, 0.005),
];

const SINE: Signal = Signal {
    nominal_hz: 50,
    hz: 50.0,
    phase: 0.0,
    harmonics: &[],
    offset_v: 0.0,
    offset_a: 0.0,
    noise_steps: 0.0,
};

pub fn states() -> [(&'static str, Signal); 5] {
    let harmonics = Signal { harmonics: &HARMONICS, ..SINE };
    let offset = Signal { offset_v: 3.5, offset_a: -0.7, ..SINE };
    [
        ("sine", SINE),
        ("harmonics 3 to 31, 14.6 % in all", harmonics),
        ("offset of 1 % of range", offset),
        ("noise of 2 converter steps", Signal { noise_steps: 2.0, ..SINE }),
        ("all of these at once", Signal { noise_steps: 2.0, harmonics: &HARMONICS, ..offset }),
    ]
}

/// Sum of twelve even chances less six: as good as a normal one up to three deviations, and the
/// same on every machine.
struct Noise(u32);

impl Noise {
    fn next(&mut self) -> f64 {
        let mut sum = -6.0;
        for _ in 0..12 {
            self.0 = self.0.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            sum += f64::from(self.0 >> 8) / f64::from(1 << 24);
        }
        sum
    }
}

/// First inputs of the codes above 0, in steps of an even converter: four codes are wider and all
/// others narrower, so that the ends stay where they are.
fn edges() -> Vec<f64> {
    let wide = 1.0 + f64::from(WIDE_BY_PERMILLE) / 1e3;
    let narrow = (4096.0 - 4.0 * wide) / 4092.0;
    let mut edge = 0.0;
    (0..4095)
        .map(|code| {
            edge += if code % 1024 == 512 { wide } else { narrow };
            edge
        })
        .collect()
}

/// Frames of `seconds` of a signal, the AC voltage times `share(t)`.
pub fn frames(signal: &Signal, seconds: f64, share: impl Fn(f64) -> f64) -> Vec<Frame> {
    let (mut noise, edges) = (Noise(1), edges());
    let mut code = |value: f64, step: f64| {
        let steps = 2048.0 + value / step + signal.noise_steps * noise.next();
        edges.partition_point(|edge| *edge <= steps) as u16
    };
    let mut n = 0;
    let mut conversion = || {
        let t = f64::from(n) * CONVERSION_S;
        n += 1;
        match (n - 1) % 5 {
            0 => code(signal.voltage_v(t) * share(t) + signal.offset_v, STEP_V),
            1 => code(signal.current_a(t) + signal.offset_a, STEP_A),
            // 12 mA, 24 V, 24 °C.
            2 => 1968,
            3 => 2457,
            _ => 883,
        }
    };
    let count = (seconds * f64::from(FRAMES_PER_S)) as usize;
    (0..count).map(|_| frame(Codes::FourWide, &mut conversion).0).collect()
}

/// What the meter makes of a signal.
#[allow(dead_code)] // each of two examples looks at a part
pub struct Measured {
    /// What went in.
    pub frames: Vec<Frame>,
    /// What came out.
    pub halves: Vec<HalfWave>,
    /// When the first half wave begins, s, to a frame.
    pub begins_s: f64,
}

/// A signal as [`frames`] makes it, through the meter.
pub fn measure(signal: &Signal, seconds: f64, share: impl Fn(f64) -> f64) -> Measured {
    let settings = Settings { nominal_hz: signal.nominal_hz, ..Settings::default() };
    let config = meter_config(&settings, &Calibration::default());
    let mut meter = Meter::new(config).expect("a good configuration");
    let late_s = f64::from(meter.delay_us()) / 1e6;
    let frames = frames(signal, seconds, share);
    let mut halves = Vec::new();
    let mut begins_s = None;
    for (n, frame) in frames.iter().enumerate() {
        if let Some(half) = meter.push(frame) {
            let now_s = n as f64 / f64::from(FRAMES_PER_S) - late_s;
            begins_s.get_or_insert(now_s - f64::from(half.duration_us) / 1e6);
            halves.push(half);
        }
    }
    Measured { frames, halves, begins_s: begins_s.unwrap_or_default() }
}
