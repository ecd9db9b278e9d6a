//! Intervals of 10 cycles (50 Hz) or 12 cycles (60 Hz) by IEC 61000-4-30: roots of mean squares,
//! means, extremes of the one-cycle values. The only place where roots are drawn as a rule.

use crate::half_cycle::{HalfCycle, root_ca, root_dv, rounded};
use crate::wave::HalfWave;
use pumpwitness_protocol::record::{Interval, Spread, flags};

/// Sums over the interval going on. With the limits of [`crate::half_cycle`], 24 half waves stay
/// below 2⁶³ in every sum.
#[derive(Clone, Debug)]
pub(crate) struct IntervalSums {
    half_waves: u16,
    measured_half_waves: u16,
    flags: u8,
    us: u32,
    measured_us: u32,
    voltage_sq_us: u64,
    current_sq_us: u64,
    power_us: i64,
    signal_us: i64,
    voltage_sq: (u64, u64),
    current_sq: (u64, u64),
    signal: (i32, i32),
}

impl Default for IntervalSums {
    fn default() -> Self {
        Self {
            half_waves: 0,
            measured_half_waves: 0,
            flags: 0,
            us: 0,
            measured_us: 0,
            voltage_sq_us: 0,
            current_sq_us: 0,
            power_us: 0,
            signal_us: 0,
            voltage_sq: (u64::MAX, 0),
            current_sq: (u64::MAX, 0),
            signal: (i32::MAX, i32::MIN),
        }
    }
}

fn widen<T: Copy + Ord>(range: &mut (T, T), value: T) {
    range.0 = range.0.min(value);
    range.1 = range.1.max(value);
}

impl IntervalSums {
    /// Half waves so far.
    pub(crate) fn half_waves(&self) -> u16 {
        self.half_waves
    }

    /// Adds a half wave (within [`crate::half_cycle::bounded`]) and the one-cycle values it ends.
    pub(crate) fn add(&mut self, half: &HalfWave, cycle: &HalfCycle, flags: u8) {
        let us = half.duration_us;
        self.half_waves += 1;
        self.flags |= flags;
        self.us += us;
        if flags & flags::FREE_RUNNING == 0 {
            self.measured_half_waves += 1;
            self.measured_us += us;
        }
        self.voltage_sq_us += half.voltage_sq_mv2 * u64::from(us);
        self.current_sq_us += half.current_sq_ma2 * u64::from(us);
        self.power_us += i64::from(half.power_mw) * i64::from(us);
        self.signal_us += i64::from(half.signal) * i64::from(us);
        widen(&mut self.voltage_sq, cycle.voltage_sq_mv2);
        widen(&mut self.current_sq, cycle.current_sq_ma2);
        widen(&mut self.signal, half.signal);
    }

    /// The interval, which ends at `end_ms` and is `span_ms` long.
    pub(crate) fn finish(&self, end_ms: i64, span_ms: u32) -> Interval {
        let us = u64::from(self.us.max(1));
        let spread = |mean_sq: u64, (least, most): (u64, u64), root: fn(u64) -> i32| {
            // A cycle reaches back into the interval before; the mean does not.
            Spread {
                mean: root(mean_sq),
                min: root(least.min(mean_sq)),
                max: root(most.max(mean_sq)),
            }
        };
        Interval {
            end_ms,
            span_ms,
            count: 1,
            voltage_dv: spread(self.voltage_sq_us / us, self.voltage_sq, root_dv),
            current_ca: spread(self.current_sq_us / us, self.current_sq, root_ca),
            power_w: rounded(self.power_us, us as i64 * 1000),
            signal: Spread {
                mean: rounded(self.signal_us, us as i64),
                min: self.signal.0,
                max: self.signal.1,
            },
            frequency_chz: self.frequency_chz(),
            flags: self.flags,
        }
    }

    /// Whole measured half cycles over their time, 0.01 Hz.
    fn frequency_chz(&self) -> u16 {
        if self.measured_us == 0 {
            return 0;
        }
        let half_cycles = u64::from(self.measured_half_waves) * 50_000_000;
        let us = u64::from(self.measured_us);
        ((half_cycles + us / 2) / us).min(u16::MAX.into()) as u16
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn interval(halves: &[HalfWave]) -> Interval {
        let mut sums = IntervalSums::default();
        let mut before = halves[0];
        for half in halves {
            sums.add(half, &HalfCycle::join(&before, half), half.flags);
            before = *half;
        }
        sums.finish(1_000_200, 200)
    }

    fn half(mv: u64) -> HalfWave {
        HalfWave {
            duration_us: 10_000,
            voltage_sq_mv2: mv * mv,
            current_sq_ma2: 25_000_000,
            power_mw: -1_150_500,
            signal: 6000,
            flags: 0,
        }
    }

    /// Aggregation by root of the mean of the squares, not by plain mean: 14 values of 230 V and
    /// one of 200 V make 228.1228 V, where the plain mean is 228.0000 V (computed by hand).
    #[test]
    fn voltage_is_aggregated_by_squares() {
        let mut halves = [half(230_000); 15];
        halves[0] = half(200_000);
        let interval = interval(&halves);
        assert_eq!(interval.voltage_dv.mean, 2281);
        assert_eq!(interval.voltage_dv.min, 2000);
        assert_eq!(interval.voltage_dv.max, 2300);
        assert_eq!(interval.current_ca, Spread { mean: 500, min: 500, max: 500 });
        assert_eq!(interval.power_w, -1151);
        assert_eq!(interval.signal, Spread { mean: 6000, min: 6000, max: 6000 });
    }

    #[test]
    fn frequency_counts_measured_cycles_only() {
        let at = |us, flags| HalfWave { duration_us: us, flags, ..half(230_000) };
        let mut halves = [at(10_204, 0); 20];
        assert_eq!(interval(&halves).frequency_chz, 4900);
        halves[7] = at(17_000, flags::FREE_RUNNING);
        let with_gap = interval(&halves);
        assert_eq!(with_gap.frequency_chz, 4900);
        assert_eq!(with_gap.flags, flags::FREE_RUNNING);
        halves.fill(at(10_204, flags::FREE_RUNNING));
        assert_eq!(interval(&halves).frequency_chz, 0);
    }

    #[test]
    fn the_largest_half_waves_do_not_overflow() {
        let most = crate::half_cycle::bounded(&HalfWave {
            duration_us: u32::MAX,
            voltage_sq_mv2: u64::MAX,
            current_sq_ma2: u64::MAX,
            power_mw: i32::MIN,
            signal: i32::MIN,
            flags: 0xFF,
        });
        let interval = interval(&[most; 24]);
        assert_eq!(interval.voltage_dv.mean, 20_000);
        assert_eq!(interval.power_w, -2_147_484);
        assert_eq!(interval.signal.mean, i32::MIN);
    }
}
