//! What a converter count is worth to the meter: the channels of a calibration, and the fixed-point
//! factors made of them once.

use pumpwitness_protocol::calibration::{Alternating, Calibration, CalibrationError, Direct};
use pumpwitness_protocol::settings::TransducerKind;

/// Slowest frame rate: 64 frames in a cycle of 69 Hz.
pub const FRAME_RATE_MIN: u32 = 4416;
/// Fastest frame rate the meter's filters have room for.
pub const FRAME_RATE_MAX: u32 = 16_000;

/// What the meter takes of a calibration: the numbers of its channels.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Channels {
    /// Line voltage.
    pub voltage: Alternating,
    /// Motor current.
    pub current: Alternating,
    /// Transducer signal.
    pub signal: Direct,
    /// Transducer supply.
    pub transducer_supply: Direct,
}

impl From<&Calibration> for Channels {
    fn from(calibration: &Calibration) -> Self {
        Self {
            voltage: calibration.voltage,
            current: calibration.current,
            signal: calibration.signal,
            transducer_supply: calibration.transducer_supply,
        }
    }
}

impl Default for Channels {
    /// Those of the front end of hardware-notes without adjustment.
    fn default() -> Self {
        Self::from(&Calibration::default())
    }
}

/// A calibration or frame rate outside what the meter can work with.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum MeterError {
    /// A value of the calibration.
    #[error(transparent)]
    Calibration(#[from] CalibrationError),
    /// Frame rate outside the filters' range.
    #[error("the frame rate must lie between {FRAME_RATE_MIN} and {FRAME_RATE_MAX}, not {0}")]
    FrameRate(u32),
}

impl Channels {
    /// Checks every value against its range.
    pub fn check(&self) -> Result<(), CalibrationError> {
        let Self { voltage, current, signal, transducer_supply } = *self;
        Calibration { voltage, current, signal, transducer_supply, ..Calibration::default() }
            .check()
    }
    /// Transducer signal in the steps of `record::Interval::signal`, from mean counts × 256. A
    /// ratio to a supply below 1 V says nothing and reads 0.
    pub(crate) fn signal_steps(&self, kind: TransducerKind, signal_q8: i64, supply_q8: i64) -> i32 {
        match kind {
            TransducerKind::Absent => 0,
            TransducerKind::Loop => round_div(nano(self.signal, signal_q8), 2000) as i32,
            TransducerKind::Ratiometric => {
                let supply_uv = nano(self.transducer_supply, supply_q8) / 1000;
                if supply_uv < 1_000_000 {
                    return 0;
                }
                round_div(nano(self.signal, signal_q8) * 10, supply_uv) as i32
            }
        }
    }

    /// Transducer supply, mV, from mean counts × 256.
    pub(crate) fn supply_mv(&self, supply_q8: i64) -> u16 {
        (nano(self.transducer_supply, supply_q8) / 1_000_000).clamp(0, i64::from(u16::MAX)) as u16
    }
}

/// nV or nA of a direct channel from counts × 256: below 2⁴⁹.
fn nano(channel: Direct, counts_q8: i64) -> i64 {
    ((counts_q8 - (i64::from(channel.offset) << 8)) * i64::from(channel.gain_nano)) >> 8
}

fn round_div(value: i64, by: i64) -> i64 {
    (value + by / 2).div_euclid(by)
}

/// A positive factor as a 22-bit mantissa and a power of two, so that applying it is one
/// multiplication and a shift; relative error below 2⁻²¹.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Scale {
    mantissa: u32,
    shift: u32,
}

impl Scale {
    const MANTISSA_BITS: u32 = 22;
    /// Counts × 256 come in.
    const SHIFT_AT_LEAST: u32 = 8;

    /// The factor `gain_a · gain_b` in squared milli-units from squared counts × 256, times
    /// (1 + `ppb`/10⁹). Runs once; width matters more than speed here.
    pub(crate) fn of_gains(gain_a: u32, gain_b: u32, ppb: u32) -> Self {
        let product = u128::from(gain_a) * u128::from(gain_b) * u128::from(1_000_000_000 + ppb);
        // 10¹² from nano to milli, squared; 10⁹ from the correction.
        let denominator = 1_000_000_000_000_000_000_000_u128;
        let mut shift = Self::SHIFT_AT_LEAST;
        let mut value = product / denominator;
        // At most three bits too many: gains are below 2³².
        while value >= 1 << Self::MANTISSA_BITS {
            value >>= 1;
            shift -= 1;
        }
        while value < 1 << (Self::MANTISSA_BITS - 1) {
            shift += 1;
            value = (product << (shift - Self::SHIFT_AT_LEAST)) / denominator;
        }
        Self { mantissa: value as u32, shift }
    }

    /// Applies the factor to squared counts × 256: at most 2⁴⁰ either way, that of a wave which
    /// swings from one end of 16 bits about an offset at the other.
    pub(crate) fn apply(self, counts_q8: i64) -> i64 {
        let half = 1_i64 << (self.shift - 1);
        (counts_q8 * i64::from(self.mantissa) + half) >> self.shift
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_scale_is_the_product_of_its_gains() {
        for (a, b) in [(15_258_789, 15_258_789), (1000, 1000), (u32::MAX, u32::MAX), (1007, 90_001)]
        {
            let scale = Scale::of_gains(a, b, 0);
            let expected = f64::from(a) * f64::from(b) / 1e12 / 256.0;
            let counts = 1_i64 << 40;
            let got = scale.apply(counts) as f64;
            let expected = expected * counts as f64;
            assert!((got - expected).abs() < 0.6 + expected * 5e-7, "{a} {b}: {got} {expected}");
        }
    }

    /// Scaling of a 4–20 mA loop and of a ratiometric transducer (plain definition of the units).
    #[test]
    fn transducer_counts_become_steps() {
        let calibration = Channels {
            signal: Direct { gain_nano: 400, offset: 10 },
            transducer_supply: Direct { gain_nano: 100_000, offset: 0 },
            ..Channels::default()
        };
        // 12 mA = 30 000 counts of 400 nA = 6000 steps of 2 µA.
        let steps = calibration.signal_steps(TransducerKind::Loop, 30_010 << 8, 0);
        assert_eq!(steps, 6000);
        let ratio = Channels {
            signal: Direct { gain_nano: 100_000, offset: 0 },
            transducer_supply: Direct { gain_nano: 100_000, offset: 0 },
            ..Channels::default()
        };
        // 2.5 V of a supply that is really 4.8 V is 52.0833 % of it, not 50 %.
        let steps = ratio.signal_steps(TransducerKind::Ratiometric, 25_000 << 8, 48_000 << 8);
        assert_eq!(steps, 5208);
        assert_eq!(ratio.supply_mv(48_000 << 8), 4800);
        assert_eq!(ratio.signal_steps(TransducerKind::Ratiometric, 25_000 << 8, 0), 0);
        assert_eq!(ratio.signal_steps(TransducerKind::Absent, 25_000 << 8, 48_000 << 8), 0);
    }
}
