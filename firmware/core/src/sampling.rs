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

/// A frame and the temperature channel's 16 bits from the next [`CONVERSIONS`] conversions of 12
/// bits, beginning with the voltage's.
pub fn frame(mut conversion: impl FnMut() -> u16) -> (Frame, u16) {
    let mut sums = [0_u16; CHANNELS];
    for _ in 0..OVERSAMPLE {
        for sum in &mut sums {
            // Of what a converter of 12 bits gives, four fit.
            *sum = sum.wrapping_add(conversion());
        }
    }
    // Four 12-bit counts to the 16 bits of a frame.
    let [voltage, current, signal, transducer_supply, temperature] = sums.map(|sum| sum << 2);
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
        let (frame, temperature) = frame(|| {
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

    #[test]
    fn the_current_is_read_after_the_voltage() {
        let mut calibration = Calibration::default();
        calibration.current.late_ns = 3000;
        let config = meter_config(&Settings::default(), &calibration);
        assert_eq!(config.calibration.current.late_ns, 3000 - 10_000);
        assert_eq!(config.voltage_floor_mv, 11_500);
    }
}
