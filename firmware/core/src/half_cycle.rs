//! Values over one cycle, renewed each half cycle (IEC 61000-4-30 U_rms(1/2)), as squares: a
//! threshold is compared squared, and no root is drawn until a value is written down.

use crate::wave::HalfWave;

/// Longest half wave taken, µs; the meter's own are below 20 ms. Longer ones are cut, so that sums
/// over an interval fit 64 bits.
pub const HALF_WAVE_MAX_US: u32 = 100_000;
/// Largest mean square taken, mV² or mA²: that of 2000 V or 2000 A.
pub const MEAN_SQUARE_MAX: u64 = 4_000_000_000_000;

/// One step of U_rms(1/2) and what goes with it.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(crate) struct HalfCycle {
    /// Length of the newer half, µs.
    pub duration_us: u32,
    /// Mean active power over the cycle, mW.
    pub power_mw: i32,
    /// Mean square of the voltage over the cycle, mV².
    pub voltage_sq_mv2: u64,
    /// Mean square of the current over the cycle, mA².
    pub current_sq_ma2: u64,
}

/// A half wave within the limits above.
pub(crate) fn bounded(half: &HalfWave) -> HalfWave {
    HalfWave {
        duration_us: half.duration_us.min(HALF_WAVE_MAX_US),
        voltage_sq_mv2: half.voltage_sq_mv2.min(MEAN_SQUARE_MAX),
        current_sq_ma2: half.current_sq_ma2.min(MEAN_SQUARE_MAX),
        ..*half
    }
}

impl HalfCycle {
    /// Joins two neighbouring half waves, each weighted by its length.
    pub(crate) fn join(before: &HalfWave, now: &HalfWave) -> Self {
        // Share of the newer half, × 2¹⁶; the two are nearly always equally long.
        let share = if before.duration_us == now.duration_us {
            1 << 15
        } else {
            // Both at most HALF_WAVE_MAX_US; 15 + 17 bits.
            i64::from((now.duration_us << 15) / (before.duration_us + now.duration_us) * 2)
        };
        let between = |a: i64, b: i64| a + (((b - a) * share) >> 16);
        Self {
            duration_us: now.duration_us,
            power_mw: between(before.power_mw.into(), now.power_mw.into()) as i32,
            voltage_sq_mv2: between(before.voltage_sq_mv2 as i64, now.voltage_sq_mv2 as i64) as u64,
            current_sq_ma2: between(before.current_sq_ma2 as i64, now.current_sq_ma2 as i64) as u64,
        }
    }
}

/// Root of a mean square, rounded to the nearest step of `step` units.
pub(crate) fn root(mean_square: u64, step: u32) -> i32 {
    // Below 2³² for everything within MEAN_SQUARE_MAX.
    let units = mean_square.isqrt() as u32;
    ((units + step / 2) / step) as i32
}

/// Voltage, 0.1 V r.m.s., of a mean square in mV².
pub(crate) fn root_dv(mean_square_mv2: u64) -> i32 {
    root(mean_square_mv2, 100)
}

/// Current, 10 mA r.m.s., of a mean square in mA².
pub(crate) fn root_ca(mean_square_ma2: u64) -> i32 {
    root(mean_square_ma2, 10)
}

/// Nearest integer quotient, halves away from zero.
pub(crate) fn rounded(value: i64, by: i64) -> i32 {
    let half = if value < 0 { -by / 2 } else { by / 2 };
    ((value + half) / by) as i32
}

#[cfg(test)]
mod tests {
    use super::*;
    use core::f64::consts::FRAC_1_SQRT_2;
    use proptest::prelude::*;

    /// Amplitude step from 1 to k between the halves: √((1 + k²)/2) (closed form).
    #[test]
    fn a_straddling_cycle_is_the_root_of_the_mean_of_the_squares() {
        let half = |mv: u64, us| HalfWave {
            duration_us: us,
            voltage_sq_mv2: mv * mv,
            ..HalfWave::default()
        };
        for (k, expected) in [(0.5, 0.790_57), (0.7, 0.863_13), (0.0, FRAC_1_SQRT_2)] {
            let cycle =
                HalfCycle::join(&half(230_000, 10_000), &half((230_000.0 * k) as u64, 10_000));
            assert_eq!(root_dv(cycle.voltage_sq_mv2), (2300.0_f64 * expected + 0.5) as i32);
        }
        // 3 : 1 in time: (3·230² + 115²)/4.
        let cycle = HalfCycle::join(&half(230_000, 15_000), &half(115_000, 5000));
        assert_eq!(root_dv(cycle.voltage_sq_mv2), 2073);
    }

    proptest! {
        #[test]
        fn a_joined_value_lies_between_its_halves(
            a in any::<u64>(), b in any::<u64>(), da in any::<u32>(), db in any::<u32>(),
            pa in any::<i32>(), pb in any::<i32>(),
        ) {
            let half = |v, us, p| bounded(&HalfWave {
                duration_us: us, voltage_sq_mv2: v, current_sq_ma2: v, power_mw: p,
                ..HalfWave::default()
            });
            let (a, b) = (half(a, da, pa), half(b, db, pb));
            let cycle = HalfCycle::join(&a, &b);
            let within = |x: u64, y: u64, z: u64| x.min(y) <= z && z <= x.max(y);
            prop_assert!(within(a.voltage_sq_mv2, b.voltage_sq_mv2, cycle.voltage_sq_mv2));
            prop_assert!(a.power_mw.min(b.power_mw) <= cycle.power_mw);
            prop_assert!(a.power_mw.max(b.power_mw) >= cycle.power_mw);
        }
    }
}
