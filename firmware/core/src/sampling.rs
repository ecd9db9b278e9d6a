//! How the board samples: its channels converted in turn, conversions added up to frames, and what
//! the meter must know of it. Here and not with the board, so that the same conversions make the
//! same frames wherever the core runs.

use crate::calibration::Channels;
use crate::meter::MeterConfig;
use crate::wave::Frame;
use pumpwitness_protocol::calibration::{Calibration, LATE_NS_MAX};
use pumpwitness_protocol::settings::Settings;

/// Frames in a second: 72 in a cycle of 69 Hz.
pub const FRAMES_PER_S: u32 = 5000;
/// Channels in the order in which they are converted: line voltage, motor current, transducer
/// signal, transducer supply, temperature of the chip.
pub const CHANNELS: usize = 5;
/// Conversions of each channel that make one frame.
pub const OVERSAMPLE: usize = 4;
/// Conversions of all channels that make one frame.
pub const CONVERSIONS: usize = CHANNELS * OVERSAMPLE;
/// Conversions in a second.
pub const CONVERSIONS_PER_S: u32 = FRAMES_PER_S * CONVERSIONS as u32;
/// Time from a channel to the next, ns: the current is converted so much after the voltage.
pub const CHANNEL_STEP_NS: i32 = (1_000_000_000 / CONVERSIONS_PER_S) as i32;

/// How wide the codes of a converter are.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Codes {
    /// All alike.
    Even,
    /// Codes 512, 1536, 2560 and 3584 are wider than the others by [`WIDE_BY_PERMILLE`], which makes
    /// all others narrower: the RP2040 (erratum RP2040-E11 of its data sheet; width by an independent
    /// characterisation; both reported. hardware-notes/sampling.md has the arithmetic).
    FourWide,
}

/// By how much the wide codes are wider than a step of an even converter, thousandths of such a step.
pub const WIDE_BY_PERMILLE: u32 = 8_900;

/// Codes of the converter, those that are wide, and half the distance between them.
const STEPS: u32 = 4096;
const WIDE_COUNT: u32 = 4;
const WIDE_HALF: u16 = 512;
const WIDE_LOG2: u32 = 10;

/// Frame counts × 2¹⁴ of a code, and of each time that a wide code is half passed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Worth {
    code: u32,
    half: u32,
}

impl Worth {
    /// A step of an even converter: a frame has four of them, in steps of four.
    const STEP: u32 = 4 << 14;

    const fn of(wide_by_permille: u32) -> Self {
        let wide = 1000 + wide_by_permille;
        let rest = STEPS - WIDE_COUNT;
        // Width of the others × 1000 × `rest`: all codes together have the width of all steps.
        let narrow = (STEPS * 1000 - WIDE_COUNT * wide) as u64;
        let unit = rest as u64 * 1000;
        let code = (Self::STEP as u64 * narrow + unit / 2) / unit;
        let half = (Self::STEP as u64 * wide as u64 / 1000 - code) / 2;
        Self { code: code as u32, half: half as u32 }
    }
}

/// Those of a converter with wide codes; the largest sum stays a frame's 16 bits.
const FOUR_WIDE: Worth = Worth::of(WIDE_BY_PERMILLE);
const _: () = {
    let most = OVERSAMPLE as u64
        * (FOUR_WIDE.code as u64 * (STEPS as u64 - 1)
            + FOUR_WIDE.half as u64 * 2 * WIDE_COUNT as u64);
    assert!(most < 1 << 30 && most >> 14 < u16::MAX as u64);
};

impl Codes {
    /// Halves of wide codes that lie below `code` (below its middle, when it is wide itself).
    const fn halves_below(self, code: u16) -> u16 {
        match self {
            Self::Even => 0,
            Self::FourWide => {
                ((code + WIDE_HALF - 1) >> WIDE_LOG2) + ((code + WIDE_HALF) >> WIDE_LOG2)
            }
        }
    }

    /// The frame's 16 bits of four codes, from their sum and that of the halves below them.
    const fn counts(self, sum: u16, halves: u16) -> u16 {
        match self {
            // Four 12-bit counts to the 16 bits of a frame.
            Self::Even => sum << 2,
            Self::FourWide => {
                let Worth { code, half } = FOUR_WIDE;
                let counts = sum as u32 * code + halves as u32 * half;
                ((counts + (1 << 13)) >> 14) as u16
            }
        }
    }
}

/// A frame and the temperature channel's 16 bits from the next [`CONVERSIONS`] conversions of 12
/// bits, beginning with the voltage's. Wide codes count for what lies below their middle.
#[allow(clippy::inline_always)] // so that nothing is left of the codes of an even converter
#[inline(always)]
pub fn frame(codes: Codes, mut conversion: impl FnMut() -> u16) -> (Frame, u16) {
    let mut sums = [(0_u16, 0_u16); CHANNELS];
    for _ in 0..OVERSAMPLE {
        for (sum, halves) in &mut sums {
            // A converter of 12 bits gives no more.
            let code = conversion() & (STEPS as u16 - 1);
            *sum += code;
            *halves += codes.halves_below(code);
        }
    }
    let [voltage, current, signal, transducer_supply, temperature] =
        sums.map(|(sum, halves)| codes.counts(sum, halves));
    let frame = Frame {
        voltage: (voltage ^ 0x8000) as i16,
        current: (current ^ 0x8000) as i16,
        signal,
        transducer_supply,
    };
    (frame, temperature)
}

/// What `settings` mean to the meter of a board with `calibration`, in which the sensors' delays
/// stand without the converter's own order.
pub fn meter_config(settings: &Settings, calibration: &Calibration) -> MeterConfig {
    // Converted later, the current of a frame is ahead of its voltage: it reports early.
    let mut calibration = Channels::from(calibration);
    let late_ns = &mut calibration.current.late_ns;
    *late_ns = late_ns.saturating_sub(CHANNEL_STEP_NS).max(-LATE_NS_MAX);
    MeterConfig {
        frames_per_s: FRAMES_PER_S,
        nominal_hz: settings.nominal_hz,
        transducer: settings.transducer,
        // 5 % of nominal: 0.1 V × 100 × 5 %.
        voltage_floor_mv: u32::from(settings.nominal_dv) * 5,
        current_floor_ma: settings.running_above_ma,
        calibration,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn conversions_of_a_channel_are_added_up() {
        // The n-th conversion of all: 4095 of the voltage is the top, 2048 of the current mid-scale.
        let mut n = 0;
        let (frame, temperature) = frame(Codes::Even, || {
            n += 1;
            match (n - 1) % CHANNELS {
                0 => 4095,
                1 => 2048,
                2 => n as u16,
                3 => 0,
                _ => 100,
            }
        });
        assert_eq!(n, CONVERSIONS);
        assert_eq!((frame.voltage, frame.current), (32_752, 0));
        // 3, 8, 13, 18: each channel has its place in the round.
        assert_eq!((frame.signal, frame.transducer_supply), (4 * 42, 0));
        assert_eq!(temperature, 1600);
    }

    /// Middles of the codes of a converter whose four are wider, less half a step: what each code
    /// says of its input, in steps, by adding up widths one after another.
    fn middles() -> impl Iterator<Item = (u16, f64)> {
        let wide = 1.0 + f64::from(WIDE_BY_PERMILLE) / 1000.0;
        let narrow = (4096.0 - 4.0 * wide) / 4092.0;
        let mut begins = 0.0;
        (0..4096).map(move |code| {
            let width = if [512, 1536, 2560, 3584].contains(&code) { wide } else { narrow };
            begins += width;
            (code, begins - width / 2.0 - 0.5)
        })
    }

    #[test]
    fn each_code_counts_for_the_middle_of_its_width() {
        for (code, middle) in middles() {
            let (frame, temperature) = frame(Codes::FourWide, || code);
            // Half a count of rounding, a tenth of the half step, an eighth by the constants.
            let expected = middle * 16.0;
            assert!((f64::from(temperature) - expected).abs() < 0.75, "{code}: {temperature}");
            assert_eq!(temperature, frame.signal);
            assert_eq!(i32::from(frame.voltage), i32::from(frame.signal) - 32_768);
        }
        // The ends and the middle of the range stay where they are.
        for code in [0, 2048, 4095] {
            let (even, wide) = (frame(Codes::Even, || code), frame(Codes::FourWide, || code));
            assert_eq!(even, wide, "{code}");
        }
    }

    #[test]
    fn the_current_is_read_after_the_voltage() {
        let mut calibration = Calibration::default();
        calibration.current.late_ns = 3000;
        let config = meter_config(&Settings::default(), &calibration);
        assert_eq!(config.calibration.current.late_ns, 3000 - 10_000);
        assert_eq!(config.voltage_floor_mv, 11_500);
    }
}
