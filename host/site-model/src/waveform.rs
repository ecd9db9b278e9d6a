//! Raw converter frames: instantaneous samples of the waves behind given r.m.s. values, for tests
//! of the meter and of the shipping image.

use crate::noise::Noise;
use pumpwitness_core::calibration::Channels;
use pumpwitness_core::sampling::{CHANNELS, CONVERSIONS_PER_S, Codes, WIDE_BY_PERMILLE};
use pumpwitness_core::wave::{Frame, HalfWave};
use std::f64::consts::{SQRT_2, TAU};

/// Scaling from units to counts, and the ends of the converter.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FrontEnd {
    /// Frames per second.
    pub frame_hz: f64,
    /// Volts per count.
    pub volts_per_count: f64,
    /// Amperes per count.
    pub amps_per_count: f64,
    /// Counts of the signal per step of the record.
    pub signal_counts_per_step: f64,
    /// Counts of the transducer supply.
    pub transducer_supply_counts: u16,
    /// Largest count of the alternating channels, either way; beyond it they clip.
    pub full_scale: i16,
    /// By how much the current clamp turns the current forward, rad.
    pub current_lead_rad: f64,
    /// Noise of single frames, counts, standard deviation.
    pub noise_counts: f64,
}

impl FrontEnd {
    /// The front end of the default calibration with a 4–20 mA loop: ±500 V, ±100 A and 25 mA at
    /// the ends of 16-bit counts, `frame_hz` frames a second, no noise.
    pub fn uncalibrated(frame_hz: f64) -> Self {
        let ends = Channels::default();
        Self {
            frame_hz,
            volts_per_count: f64::from(ends.voltage.gain_nano) / 1e9,
            amps_per_count: f64::from(ends.current.gain_nano) / 1e9,
            // A step of the record is 2 µA.
            signal_counts_per_step: 2000.0 / f64::from(ends.signal.gain_nano),
            // 24 V.
            transducer_supply_counts: (24e9 / f64::from(ends.transducer_supply.gain_nano)) as u16,
            full_scale: i16::MAX,
            current_lead_rad: 0.0,
            noise_counts: 0.0,
        }
    }
}

/// One harmonic of voltage or current.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Harmonic {
    /// Order; 1 is the fundamental.
    pub order: u32,
    /// Over the fundamental.
    pub share: f64,
    /// Phase at the fundamental's upward zero crossing, rad.
    pub phase_rad: f64,
}

/// A stretch of steady waves.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Waves {
    /// Frequency, Hz.
    pub frequency_hz: f64,
    /// Fundamental voltage, V r.m.s.
    pub voltage_v: f64,
    /// Fundamental current, A r.m.s.
    pub current_a: f64,
    /// By how much the current lags, rad.
    pub lag_rad: f64,
    /// Signal, steps of the record.
    pub signal_steps: f64,
    /// Harmonics of the voltage.
    pub voltage_harmonics: Vec<Harmonic>,
    /// Harmonics of the current.
    pub current_harmonics: Vec<Harmonic>,
    /// Direct part of the voltage channel, V.
    pub voltage_offset_v: f64,
    /// Direct part of the current channel, A.
    pub current_offset_a: f64,
}

impl Waves {
    /// The waves whose half cycle `wave` sums up: sinusoidal, with its voltage, current and power.
    pub fn behind(wave: &HalfWave) -> Self {
        let voltage_v = (wave.voltage_sq_mv2 as f64).sqrt() / 1e3;
        let current_a = (wave.current_sq_ma2 as f64).sqrt() / 1e3;
        let apparent = voltage_v * current_a;
        let factor = if apparent > 0.0 {
            (f64::from(wave.power_mw) / 1e3 / apparent).clamp(-1.0, 1.0)
        } else {
            1.0
        };
        Self {
            frequency_hz: 5e5 / f64::from(wave.duration_us.max(1)),
            voltage_v,
            current_a,
            lag_rad: factor.acos(),
            signal_steps: f64::from(wave.signal),
            ..Self::default()
        }
    }

    /// R.m.s. voltage, harmonics and offset included, V.
    pub fn voltage_rms_v(&self) -> f64 {
        rms(self.voltage_v, &self.voltage_harmonics, self.voltage_offset_v)
    }

    /// R.m.s. current, harmonics and offset included, A.
    pub fn current_rms_a(&self) -> f64 {
        rms(self.current_a, &self.current_harmonics, self.current_offset_a)
    }

    /// Active power, W: only like orders make power.
    pub fn power_w(&self) -> f64 {
        let mut power_w = self.voltage_v * self.current_a * self.lag_rad.cos()
            + self.voltage_offset_v * self.current_offset_a;
        for voltage in &self.voltage_harmonics {
            for current in &self.current_harmonics {
                if voltage.order == current.order {
                    let turn = voltage.phase_rad
                        - (current.phase_rad - f64::from(current.order) * self.lag_rad);
                    power_w += self.voltage_v
                        * voltage.share
                        * self.current_a
                        * current.share
                        * turn.cos();
                }
            }
        }
        power_w
    }
}

fn rms(fundamental: f64, harmonics: &[Harmonic], offset: f64) -> f64 {
    let shares: f64 = harmonics.iter().map(|harmonic| harmonic.share * harmonic.share).sum();
    (fundamental * fundamental * (1.0 + shares) + offset * offset).sqrt()
}

/// Makes frames; the phase runs on over changes of the waves.
#[derive(Clone, Debug)]
pub struct Generator {
    front_end: FrontEnd,
    /// Cycles, 0 to 1.
    phase: f64,
    /// Part of a frame left over from the half wave before, s.
    spare_s: f64,
    noise: Noise,
}

impl Generator {
    /// At an upward zero crossing of the voltage.
    pub fn new(front_end: FrontEnd, seed: u64) -> Self {
        Self { front_end, phase: 0.0, spare_s: 0.0, noise: Noise::new(seed, 200) }
    }

    /// One frame.
    pub fn frame(&mut self, waves: &Waves) -> Frame {
        let frame = self.sample(waves, self.phase);
        self.phase = (self.phase + waves.frequency_hz / self.front_end.frame_hz).fract();
        frame
    }

    /// The frames of one half wave, handed to `take`; whole frames only, what is left over goes to
    /// the next. The phase is tied to the half waves, so that each has its own half of the sine.
    pub fn half_wave(&mut self, wave: &HalfWave, mut take: impl FnMut(Frame)) {
        let waves = Waves::behind(wave);
        let half_s = f64::from(wave.duration_us) / 1e6;
        let frame_s = 1.0 / self.front_end.frame_hz;
        let base = if self.phase < 0.5 { 0.0 } else { 0.5 };
        let mut at_s = self.spare_s;
        while at_s < half_s {
            take(self.sample(&waves, base + 0.5 * at_s / half_s));
            at_s += frame_s;
        }
        self.spare_s = at_s - half_s;
        self.phase = 0.5 - base;
    }

    fn sample(&mut self, waves: &Waves, phase: f64) -> Frame {
        let end = &self.front_end;
        let angle = TAU * phase;
        let lagging = angle - waves.lag_rad + end.current_lead_rad;
        let volts = waves.voltage_offset_v
            + SQRT_2 * waves.voltage_v * shape(angle, &waves.voltage_harmonics);
        let amps = waves.current_offset_a
            + SQRT_2 * waves.current_a * shape(lagging, &waves.current_harmonics);
        let most = f64::from(end.full_scale);
        let counts = |value: f64| value.round().clamp(-most, most) as i16;
        let noise = end.noise_counts;
        Frame {
            voltage: counts(volts / end.volts_per_count + noise * self.noise.gaussian()),
            current: counts(amps / end.amps_per_count + noise * self.noise.gaussian()),
            signal: (waves.signal_steps * end.signal_counts_per_step
                + noise * self.noise.gaussian())
            .round()
            .clamp(0.0, f64::from(u16::MAX)) as u16,
            transducer_supply: end.transducer_supply_counts,
        }
    }
}

/// Steps of a 16-bit frame in one of the 12-bit converter.
const CONVERTER_STEP: f64 = 16.0;
/// Zero of the alternating channels.
const MID_SCALE: f64 = 2048.0;
/// Temperature channel at 24 °C: 0.706 V at 27 °C, −1.721 mV a degree, of 3.3 V (the chip's data
/// sheet, from memory).
const TEMPERATURE: u16 = 883;

/// A converter of 12 bits, its input in steps of an even one.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Staircase {
    /// Width of an ordinary code.
    narrow: f64,
    /// Width of each of the four wide ones.
    wide: f64,
}

/// Codes of the staircase, and where the wide ones begin and repeat.
const STEPS: f64 = 4096.0;
const WIDE_FIRST: u32 = 512;
const WIDE_EVERY: u32 = 1024;
const WIDE_COUNT: u32 = 4;

impl Staircase {
    /// A converter with codes like these.
    pub fn new(codes: Codes) -> Self {
        Self::wider(match codes {
            Codes::Even => 0.0,
            Codes::FourWide => f64::from(WIDE_BY_PERMILLE) / 1e3,
        })
    }

    /// One whose wide codes are so many steps wider than one step; the others make up for it, so
    /// that the ends stay.
    pub fn wider(by: f64) -> Self {
        let (wide, count) = (1.0 + by, f64::from(WIDE_COUNT));
        Self { narrow: (STEPS - count * wide) / (STEPS - count), wide }
    }

    /// Where a code begins.
    fn edge(self, code: u32) -> f64 {
        let wide = f64::from((code + WIDE_EVERY - WIDE_FIRST - 1) / WIDE_EVERY);
        self.narrow * (f64::from(code) - wide) + self.wide * wide
    }

    /// Code of an input; an input at a whole step lies in the middle of its code.
    pub fn code(self, steps: f64) -> u16 {
        let steps = (steps + 0.5).clamp(0.0, STEPS - 0.5);
        let passed = (0..WIDE_COUNT)
            .filter(|n| steps >= self.edge(WIDE_FIRST + n * WIDE_EVERY + 1))
            .count() as u32;
        let within = WIDE_FIRST + passed * WIDE_EVERY;
        if passed < WIDE_COUNT && steps >= self.edge(within) {
            return within as u16;
        }
        let wide = f64::from(passed);
        ((steps - self.wide * wide) / self.narrow + wide).floor().min(STEPS - 1.0) as u16
    }
}

/// Single conversions, as the board's converter makes them: 12 bits, the channels in turn, each at
/// its own moment (`pumpwitness_core::sampling`).
#[derive(Clone, Debug)]
pub struct Conversions {
    front_end: FrontEnd,
    staircase: Staircase,
    noise: Noise,
    channel: usize,
    /// Half cycles so far: the polarity alternates.
    halves: u64,
    /// From the beginning of the next half wave to the next conversion, s.
    spare_s: f64,
}

impl Conversions {
    /// From an upward zero crossing of the voltage, the voltage's conversion first; noise in steps
    /// of the frame.
    pub fn new(front_end: FrontEnd, staircase: Staircase, seed: u64) -> Self {
        Self {
            front_end,
            staircase,
            noise: Noise::new(seed, 201),
            channel: 0,
            halves: 0,
            spare_s: 0.0,
        }
    }

    /// The conversions that fall into a half wave, handed to `take`.
    pub fn half_wave(&mut self, wave: &HalfWave, mut take: impl FnMut(u16)) {
        let end = self.front_end;
        let waves = Waves::behind(wave);
        let half_s = f64::from(wave.duration_us) / 1e6;
        let step_s = 1.0 / f64::from(CONVERSIONS_PER_S);
        let base = if self.halves.is_multiple_of(2) { 0.0 } else { 0.5 };
        let peak_v = SQRT_2 * waves.voltage_v / (end.volts_per_count * CONVERTER_STEP);
        let peak_a = SQRT_2 * waves.current_a / (end.amps_per_count * CONVERTER_STEP);
        let signal = waves.signal_steps * end.signal_counts_per_step / CONVERTER_STEP;
        let supply = f64::from(end.transducer_supply_counts) / CONVERTER_STEP;
        let spread = end.noise_counts / CONVERTER_STEP;
        let mut at_s = self.spare_s;
        while at_s < half_s {
            let angle = TAU * (base + 0.5 * at_s / half_s);
            let value = match self.channel {
                0 => MID_SCALE + peak_v * angle.sin(),
                1 => MID_SCALE + peak_a * (angle - waves.lag_rad + end.current_lead_rad).sin(),
                2 => signal,
                3 => supply,
                // Steady: the board tells it with whatever half wave it comes by.
                _ => TEMPERATURE.into(),
            };
            let noise = if self.channel < 3 { spread * self.noise.gaussian() } else { 0.0 };
            take(self.staircase.code(value + noise));
            self.channel = (self.channel + 1) % CHANNELS;
            at_s += step_s;
        }
        self.spare_s = at_s - half_s;
        self.halves += 1;
    }
}

fn shape(angle: f64, harmonics: &[Harmonic]) -> f64 {
    angle.sin()
        + harmonics
            .iter()
            .map(|h| h.share * (f64::from(h.order) * angle + h.phase_rad).sin())
            .sum::<f64>()
}

#[cfg(test)]
mod tests {
    use super::*;

    const END: FrontEnd = FrontEnd {
        frame_hz: 6400.0,
        volts_per_count: 0.02,
        amps_per_count: 0.002,
        signal_counts_per_step: 4.0,
        transducer_supply_counts: 50_000,
        full_scale: i16::MAX,
        current_lead_rad: 0.0,
        noise_counts: 0.0,
    };

    fn measured(frames: &[Frame]) -> (f64, f64, f64) {
        let n = frames.len() as f64;
        let volts = |f: &Frame| f64::from(f.voltage) * END.volts_per_count;
        let amps = |f: &Frame| f64::from(f.current) * END.amps_per_count;
        (
            (frames.iter().map(|f| volts(f).powi(2)).sum::<f64>() / n).sqrt(),
            (frames.iter().map(|f| amps(f).powi(2)).sum::<f64>() / n).sqrt(),
            frames.iter().map(|f| volts(f) * amps(f)).sum::<f64>() / n,
        )
    }

    /// Closed forms: r.m.s. of harmonics adds in squares, power of like orders only (230 V, 8 A,
    /// power factor 0.8 → 1472 W).
    #[test]
    fn samples_agree_with_the_closed_forms() {
        let mut waves = Waves {
            frequency_hz: 50.0,
            voltage_v: 230.0,
            current_a: 8.0,
            lag_rad: 0.8f64.acos(),
            ..Waves::default()
        };
        for harmonics in [false, true] {
            if harmonics {
                let third = Harmonic { order: 3, share: 0.1, phase_rad: 0.4 };
                waves.voltage_harmonics.push(third);
                waves.current_harmonics.push(Harmonic { share: 0.3, phase_rad: 1.0, ..third });
                waves.current_harmonics.push(Harmonic { order: 5, share: 0.2, phase_rad: 0.0 });
                waves.current_offset_a = 0.5;
            } else {
                assert!((waves.power_w() - 1472.0).abs() < 1e-9);
            }
            let mut generator = Generator::new(END, 1);
            let frames: Vec<Frame> = (0..6400).map(|_| generator.frame(&waves)).collect();
            let (volts, amps, watts) = measured(&frames);
            // A count is 0.02 V and the 128 samples of a cycle repeat: some mV of rounding stay.
            assert!((volts - waves.voltage_rms_v()).abs() < 0.003, "{volts}");
            assert!((amps - waves.current_rms_a()).abs() < 0.0005, "{amps}");
            assert!((watts - waves.power_w()).abs() < 0.1, "{watts} {}", waves.power_w());
        }
    }

    #[test]
    fn half_waves_become_frames_that_measure_the_same() {
        let wave = HalfWave {
            duration_us: 8333,
            voltage_sq_mv2: 240_000 * 240_000,
            current_sq_ma2: 6000 * 6000,
            power_mw: 1_000_000,
            signal: 4800,
            flags: 0,
        };
        let mut generator = Generator::new(END, 1);
        let mut frames = Vec::new();
        for _ in 0..1200 {
            generator.half_wave(&wave, |frame| frames.push(frame));
        }
        assert!((frames.len() as f64 - 6400.0 * 1200.0 * 8333e-6).abs() <= 1.0);
        let (volts, amps, watts) = measured(&frames);
        assert!((volts - 240.0).abs() < 0.01, "{volts}");
        assert!((amps - 6.0).abs() < 0.001, "{amps}");
        assert!((watts - 1000.0).abs() < 0.1, "{watts}");
        // The polarity alternates from one half wave to the next.
        assert!(frames[10].voltage > 0 && frames[63].voltage < 0);
    }

    /// What goes into the converter comes out of the meter: within the goals of accuracy (0.1 % of
    /// range, 0.2 % of power), the converter's order of channels taken out.
    #[test]
    fn conversions_are_metered_as_what_they_were_made_of() {
        for codes in [Codes::Even, Codes::FourWide] {
            metered(codes);
        }
    }

    /// A converter of 12 bits by the thresholds of its codes, added up one after another.
    #[test]
    fn the_staircase_has_its_wide_codes() {
        for by in [0.0, 5.9, 8.9] {
            let staircase = Staircase::wider(by);
            let narrow = (4096.0 - 4.0 * (1.0 + by)) / 4092.0;
            let mut begins = 0.0;
            for code in 0..4096_u16 {
                let wide = [512, 1536, 2560, 3584].contains(&code);
                let width = if wide { 1.0 + by } else { narrow };
                // Inputs are told from the middle of an even code 0.
                for within in [0.01, 0.5, 0.99] {
                    let got = staircase.code(begins + within * width - 0.5);
                    assert_eq!(got, code, "{by} {within}");
                }
                begins += width;
            }
            assert_eq!((staircase.code(-9.0), staircase.code(5000.0)), (0, 4095));
        }
    }

    fn metered(codes: Codes) {
        use pumpwitness_core::meter::Meter;
        use pumpwitness_core::sampling::{CONVERSIONS, frame, meter_config};
        use pumpwitness_protocol::calibration::Calibration;
        use pumpwitness_protocol::settings::Settings;
        let wave = HalfWave {
            duration_us: 10_000,
            voltage_sq_mv2: 230_000 * 230_000,
            current_sq_ma2: 8000 * 8000,
            // Power factor 0.8.
            power_mw: 1_472_000,
            signal: 5000,
            flags: 0,
        };
        let mut front_end = FrontEnd::uncalibrated(5000.0);
        front_end.noise_counts = 11.0;
        let mut conversions = Conversions::new(front_end, Staircase::new(codes), 1);
        let mut waiting = std::collections::VecDeque::new();
        let config = meter_config(&Settings::default(), &Calibration::default());
        let mut meter = Meter::new(config).unwrap();
        let mut halves = Vec::new();
        for _ in 0..400 {
            conversions.half_wave(&wave, |conversion| waiting.push_back(conversion));
            while waiting.len() >= CONVERSIONS {
                let (frame, _) = frame(codes, || waiting.pop_front().unwrap());
                halves.extend(meter.push(&frame));
            }
        }
        let settled = &halves[100..];
        let n = settled.len() as f64;
        let mean = |value: fn(&HalfWave) -> f64| settled.iter().map(value).sum::<f64>() / n;
        let volts = mean(|half| half.voltage_sq_mv2 as f64).sqrt() / 1e3;
        let amps = mean(|half| half.current_sq_ma2 as f64).sqrt() / 1e3;
        let watts = mean(|half| f64::from(half.power_mw)) / 1e3;
        let steps = mean(|half| f64::from(half.signal));
        assert!((volts - 230.0).abs() < 0.35, "{volts}");
        assert!((amps - 8.0).abs() < 0.07, "{amps}");
        assert!((watts / 1472.0 - 1.0).abs() < 0.002, "{watts}");
        assert!((steps - 5000.0).abs() < 1.0, "{steps}");
    }
}
