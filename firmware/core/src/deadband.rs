//! Merging: intervals in which nothing moved become one, which keeps their count, means and
//! extremes.

use crate::half_cycle::rounded;
use pumpwitness_protocol::record::{Interval, Spread};
use pumpwitness_protocol::settings::{Deadbands, Settings};

/// Frequency may move by this much within a merged interval, 0.01 Hz: a fifth of the ±1 % that
/// EN 50160 allows an interconnected supply most of the time (limit from memory).
const FREQUENCY_DEADBAND_CHZ: u16 = 10;

/// A run of merged intervals.
#[derive(Clone, Debug)]
struct Run {
    /// The first, against which deadbands are measured.
    reference: Interval,
    merged: Interval,
    voltage_sq_ms: u64,
    current_sq_ms: u64,
    power_ms: i64,
    signal_ms: i64,
    frequency_ms: u64,
}

/// Merges intervals.
#[derive(Clone, Debug)]
pub(crate) struct Merger {
    deadbands: Deadbands,
    span_max_ms: u32,
    run: Option<Run>,
}

impl Merger {
    pub(crate) fn new(settings: &Settings) -> Self {
        Self {
            deadbands: settings.deadbands,
            span_max_ms: u32::from(settings.merge_max_s) * 1000,
            run: None,
        }
    }

    /// Puts new deadbands in force for the run going on and those to come.
    pub(crate) fn apply(&mut self, settings: &Settings) {
        self.deadbands = settings.deadbands;
        self.span_max_ms = u32::from(settings.merge_max_s) * 1000;
    }

    /// Takes an interval; gives the run it does not belong to any more.
    pub(crate) fn offer(&mut self, interval: &Interval) -> Option<Interval> {
        if let Some(run) = &mut self.run
            && run.merged.span_ms + interval.span_ms <= self.span_max_ms
            && run.merged.count < u16::MAX
            && still(&run.reference, interval, self.deadbands)
        {
            run.add(interval);
            return None;
        }
        let closed = self.close();
        self.run = Some(Run::starting_with(interval));
        closed
    }

    /// Ends the run going on.
    pub(crate) fn close(&mut self) -> Option<Interval> {
        self.run.take().map(|run| run.merged())
    }
}

impl Run {
    fn starting_with(interval: &Interval) -> Self {
        let mut run = Self {
            reference: *interval,
            merged: Interval { span_ms: 0, count: 0, ..*interval },
            voltage_sq_ms: 0,
            current_sq_ms: 0,
            power_ms: 0,
            signal_ms: 0,
            frequency_ms: 0,
        };
        run.add(interval);
        run
    }

    fn add(&mut self, interval: &Interval) {
        let ms = u64::from(interval.span_ms);
        // Means are at most 20 000 steps for voltage and 200 000 for current: with 65 s, 2⁵².
        let square = |mean: i32| u64::from(mean.unsigned_abs()) * u64::from(mean.unsigned_abs());
        self.voltage_sq_ms += square(interval.voltage_dv.mean) * ms;
        self.current_sq_ms += square(interval.current_ca.mean) * ms;
        self.power_ms += i64::from(interval.power_w) * ms as i64;
        self.signal_ms += i64::from(interval.signal.mean) * ms as i64;
        self.frequency_ms += u64::from(interval.frequency_chz) * ms;
        self.merged.count += 1;
        self.merged.span_ms += interval.span_ms;
        self.merged.end_ms = interval.end_ms;
        self.merged.flags |= interval.flags;
        widen(&mut self.merged.voltage_dv, interval.voltage_dv);
        widen(&mut self.merged.current_ca, interval.current_ca);
        widen(&mut self.merged.signal, interval.signal);
    }

    fn merged(&self) -> Interval {
        if self.merged.count == 1 {
            return self.reference;
        }
        let ms = u64::from(self.merged.span_ms.max(1));
        let mean = |sum: i64| rounded(sum, ms as i64);
        // Nearest integer root: half of the root of four times as much.
        let root = |sum: u64| (4 * sum / ms).isqrt().div_ceil(2) as i32;
        let mut merged = self.merged;
        merged.voltage_dv.mean = root(self.voltage_sq_ms);
        merged.current_ca.mean = root(self.current_sq_ms);
        merged.power_w = mean(self.power_ms);
        merged.signal.mean = mean(self.signal_ms);
        merged.frequency_chz = ((self.frequency_ms + ms / 2) / ms) as u16;
        merged
    }
}

fn widen(spread: &mut Spread, by: Spread) {
    spread.min = spread.min.min(by.min);
    spread.max = spread.max.max(by.max);
}

/// True when mean, minimum and maximum of every channel are within the deadbands of the reference's
/// mean, and nothing else has changed.
fn still(reference: &Interval, now: &Interval, deadbands: Deadbands) -> bool {
    let near = |reference: Spread, now: Spread, band: u16| {
        let band = band.into();
        reference.mean.abs_diff(now.min) <= band && reference.mean.abs_diff(now.max) <= band
    };
    near(reference.voltage_dv, now.voltage_dv, deadbands.voltage_dv)
        && near(reference.current_ca, now.current_ca, deadbands.current_ca)
        && near(reference.signal, now.signal, deadbands.signal)
        && reference.power_w.abs_diff(now.power_w) <= deadbands.power_w.into()
        && reference.frequency_chz.abs_diff(now.frequency_chz) <= FREQUENCY_DEADBAND_CHZ
        && reference.flags == now.flags
}

#[cfg(test)]
mod tests {
    use super::*;

    fn interval(end_ms: i64, voltage_dv: i32) -> Interval {
        let spread = |mean| Spread { mean, min: mean - 1, max: mean + 1 };
        Interval {
            end_ms,
            span_ms: 200,
            count: 1,
            voltage_dv: spread(voltage_dv),
            current_ca: spread(3),
            power_w: 0,
            signal: spread(4000),
            frequency_chz: 5000,
            flags: 0,
        }
    }

    #[test]
    fn what_stands_still_is_merged_up_to_the_longest_span() {
        let mut merger = Merger::new(&Settings::default());
        let closed: heapless::Vec<_, 8> =
            (1..=101).filter_map(|n| merger.offer(&interval(n * 200, 2300))).collect();
        assert_eq!(closed.len(), 2);
        for (n, run) in closed.iter().enumerate() {
            assert_eq!((run.count, run.span_ms), (50, 10_000));
            assert_eq!(run.end_ms, (n as i64 + 1) * 10_000);
            assert_eq!(run.voltage_dv, Spread { mean: 2300, min: 2299, max: 2301 });
        }
        assert_eq!(merger.close(), Some(interval(20_200, 2300)));
        assert_eq!(merger.close(), None);
    }

    /// √((230.0² · 2 + 232.0²) / 3) = 230.6687 V (computed by hand).
    #[test]
    fn merged_voltage_is_the_root_of_the_mean_square() {
        let mut merger = Merger::new(&Settings::default());
        merger.offer(&interval(200, 2300));
        merger.offer(&interval(400, 2300));
        merger.offer(&interval(600, 2320));
        let run = merger.close().unwrap();
        assert_eq!(run.voltage_dv, Spread { mean: 2307, min: 2299, max: 2321 });
    }

    #[test]
    fn a_single_extreme_ends_a_run() {
        let settings = Settings::default();
        let spike = |change: fn(&mut Interval)| {
            let mut moved = interval(400, 2300);
            change(&mut moved);
            let mut merger = Merger::new(&settings);
            merger.offer(&interval(200, 2300));
            merger.offer(&moved)
        };
        assert!(spike(|_| ()).is_none());
        assert!(spike(|i| i.voltage_dv.min = 2276).is_some());
        assert!(spike(|i| i.current_ca.max = 14).is_some());
        assert!(spike(|i| i.signal.max = 4013).is_some());
        assert!(spike(|i| i.power_w = -21).is_some());
        assert!(spike(|i| i.frequency_chz = 0).is_some());
        assert!(spike(|i| i.flags = 1).is_some());
    }
}
