//! The straight line from a transducer's signal to pressure.

use crate::columns::Channel;
use pumpwitness_site_file::TransducerKind;

/// A straight line; it is never clamped, so an open loop reads below the low end.
#[derive(Clone, Copy, Debug)]
pub struct Line {
    offset_bar: f64,
    bar_per_unit: f64,
}

impl Line {
    /// The line of a transducer that covers `low_bar` to `high_bar`; its signal is in mA for a loop
    /// (4 to 20 mA), a part of the supply for a ratiometric one (0.1 to 0.9: 0.5 to 4.5 V of 5 V).
    pub fn of(kind: TransducerKind, low_bar: f64, high_bar: f64) -> Self {
        let (low, high) = match kind {
            TransducerKind::Loop => (4.0, 20.0),
            TransducerKind::Ratiometric => (0.1, 0.9),
        };
        let bar_per_unit = (high_bar - low_bar) / (high - low);
        Self { offset_bar: low_bar - low * bar_per_unit, bar_per_unit }
    }

    /// Pressure at `signal`, bar.
    pub fn bar(self, signal: f64) -> f64 {
        self.offset_bar + self.bar_per_unit * signal
    }

    /// Pressure of a whole channel of signals.
    pub fn channel(self, signal: &Channel) -> Channel {
        let bar = |values: &[f32]| -> Vec<f32> {
            values.iter().map(|value| self.bar(f64::from(*value)) as f32).collect()
        };
        Channel {
            mean: bar(&signal.mean),
            min: bar(&signal.min),
            max: bar(&signal.max),
            spread: signal.spread,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Ends and middle follow from the definition of the two kinds of signal.
    #[test]
    fn ends_and_beyond() {
        let line = Line::of(TransducerKind::Loop, 0.0, 10.0);
        for (ma, bar) in [(4.0, 0.0), (20.0, 10.0), (12.0, 5.0), (0.0, -2.5), (21.6, 11.0)] {
            assert!((line.bar(ma) - bar).abs() < 1e-12, "{ma}");
        }
        let line = Line::of(TransducerKind::Ratiometric, -1.0, 7.0);
        for (ratio, bar) in [(0.1, -1.0), (0.9, 7.0), (0.5, 3.0)] {
            assert!((line.bar(ratio) - bar).abs() < 1e-12, "{ratio}");
        }
    }
}
