//! Calibration of a logger: what a converter count is worth, when that was found and by whom. Kept
//! on the device and copied into every archive.

use heapless::String;
use serde::{Deserialize, Serialize};

/// Smallest gain of an alternating channel, nV or nA a count.
pub const GAIN_MIN: u32 = 1000;
/// Smallest gain of a direct channel, nA or nV a count.
pub const DIRECT_GAIN_MIN: u32 = 1;
/// Counts from mid-scale at which a channel of the design's front end is over its range. Its amplifiers
/// run from the converter's reference and stop some 15 mV short of 0 and 3.3 V: a wave cut off there
/// reaches (1.65 − 0.015) ÷ 1.65 × 32 768 = 32 470 counts, wherever its middle lies. 32 000 is met
/// even by an amplifier that stops 38 mV short (hardware-notes/circuits.md).
pub const CLIP: i16 = 32_000;
/// Longest delay of a channel, ns either way: more than 2° at 50 Hz, the phase error of an ordinary
/// split-core current transformer.
pub const LATE_NS_MAX: i32 = 125_000;

/// An alternating channel.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Alternating {
    /// Worth of a count, nV or nA at the terminals; at least [`GAIN_MIN`].
    pub gain_nano: u32,
    /// Counts the channel shows with nothing applied, 1/256 count.
    pub offset_q8: i32,
    /// How much later than the true wave the channel reports, ns; [`LATE_NS_MAX`] either way.
    /// Sensors, filters and the converter's own order of channels add up here; only the difference
    /// of the two channels matters, and it corrects active power.
    pub late_ns: i32,
    /// Counts from mid-scale at which the channel counts as over its range.
    pub clip: i16,
}

/// A direct channel.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Direct {
    /// Worth of a count, nA (loop) or nV; at least [`DIRECT_GAIN_MIN`].
    pub gain_nano: u32,
    /// Counts the channel shows with nothing applied.
    pub offset: i16,
}

/// Calibration of a logger.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Calibration {
    /// When it was made, ms since 1970; 0: never, these are the values of the design.
    pub made_ms: i64,
    /// Who made it; empty when not stated.
    pub by: String<32>,
    /// The reference instruments or certificate; empty when not stated.
    pub reference: String<64>,
    /// Line voltage.
    pub voltage: Alternating,
    /// Motor current.
    pub current: Alternating,
    /// Transducer signal.
    pub signal: Direct,
    /// Transducer supply.
    pub transducer_supply: Direct,
}

impl Default for Calibration {
    /// The front end of hardware-notes without adjustment: ±500 V, ±100 A, 25 mA and 40 V at the
    /// ends of 16-bit counts.
    fn default() -> Self {
        let alternating =
            |gain_nano| Alternating { gain_nano, offset_q8: 0, late_ns: 0, clip: CLIP };
        Self {
            made_ms: 0,
            by: String::new(),
            reference: String::new(),
            voltage: alternating(15_258_789),
            current: alternating(3_051_758),
            signal: Direct { gain_nano: 381, offset: 0 },
            transducer_supply: Direct { gain_nano: 610_352, offset: 0 },
        }
    }
}

/// A calibration outside what the meter can work with.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum CalibrationError {
    /// Gain too small to be meant.
    #[error("{channel} gain must be at least {least} nano-units a count, not {gain_nano}")]
    Gain {
        /// Which channel.
        channel: &'static str,
        /// The least it may be.
        least: u32,
        /// The gain given.
        gain_nano: u32,
    },
    /// Delay too long.
    #[error("{channel} delay must lie within {LATE_NS_MAX} ns of 0, not {late_ns}")]
    Late {
        /// Which channel.
        channel: &'static str,
        /// The delay given.
        late_ns: i32,
    },
}

impl Calibration {
    /// Checks every value against its range.
    pub fn check(&self) -> Result<(), CalibrationError> {
        for (channel, values) in [("voltage", self.voltage), ("current", self.current)] {
            let (least, gain_nano) = (GAIN_MIN, values.gain_nano);
            if gain_nano < least {
                return Err(CalibrationError::Gain { channel, least, gain_nano });
            }
            if !(-LATE_NS_MAX..=LATE_NS_MAX).contains(&values.late_ns) {
                return Err(CalibrationError::Late { channel, late_ns: values.late_ns });
            }
        }
        let direct = [("signal", self.signal), ("transducer supply", self.transducer_supply)];
        for (channel, Direct { gain_nano, .. }) in direct {
            let least = DIRECT_GAIN_MIN;
            if gain_nano < least {
                return Err(CalibrationError::Gain { channel, least, gain_nano });
            }
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::settings::SETTINGS_BYTES_MAX;

    #[test]
    fn the_longest_calibration_fits_its_room_and_comes_back() {
        let mut longest = Calibration { made_ms: i64::MIN, ..Calibration::default() };
        while longest.by.push('x').is_ok() {}
        while longest.reference.push('y').is_ok() {}
        let extreme =
            Alternating { gain_nano: u32::MAX, offset_q8: i32::MIN, late_ns: i32::MIN, clip: -1 };
        (longest.voltage, longest.current) = (extreme, extreme);
        let mut buffer = [0; SETTINGS_BYTES_MAX];
        let bytes = postcard::to_slice(&longest, &mut buffer).unwrap();
        assert_eq!(postcard::from_bytes::<Calibration>(bytes), Ok(longest));
    }

    #[test]
    fn values_out_of_range_are_refused() {
        assert_eq!(Calibration::default().check(), Ok(()));
        let mut bad = Calibration::default();
        bad.current.gain_nano = 0;
        assert!(matches!(bad.check(), Err(CalibrationError::Gain { channel: "current", .. })));
        let mut bad = Calibration::default();
        bad.signal.gain_nano = 0;
        assert!(matches!(bad.check(), Err(CalibrationError::Gain { channel: "signal", .. })));
        let mut bad = Calibration::default();
        bad.voltage.late_ns = -LATE_NS_MAX - 1;
        assert!(matches!(bad.check(), Err(CalibrationError::Late { channel: "voltage", .. })));
    }
}
