//! Whether a transducer's signal is alive, and the same for its supply.

use pumpwitness_protocol::record::SensorState;
use pumpwitness_protocol::settings::TransducerKind;

/// Half waves a new state must last before it is told (common practice, no source): contact bounce
/// of a loose terminal is one event, not fifty.
const SETTLE: u8 = 5;

/// Bands of a signal. Between them the state stays what it was.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Bands {
    /// At or below: low.
    low: i32,
    /// From here …
    good_from: i32,
    /// … to here: good.
    good_to: i32,
    /// At or above: high.
    high: i32,
}

/// NAMUR NE 43, in steps of 2 µA: valid 3.8–20.5 mA, fault at or below 3.6 mA and at or above
/// 21.0 mA; what lies between is not assigned (edges from memory).
const LOOP: Bands = Bands { low: 1800, good_from: 1900, good_to: 10_250, high: 10_500 };
/// 0.25 V and 4.75 V of a 5 V supply, in 0.0001 of it (common practice, from memory).
const RATIO: Bands = Bands { low: 499, good_from: 500, good_to: 9500, high: 9501 };
/// Supply of a loop, mV: two-wire transmitters commonly need 10 V and bear 32 V (common practice,
/// no source).
const LOOP_SUPPLY: Bands = Bands { low: 9999, good_from: 10_000, good_to: 32_000, high: 32_001 };
/// Supply of a ratiometric transducer, mV: 5 V ± 10 % (common practice, no source).
const RATIO_SUPPLY: Bands = Bands { low: 4499, good_from: 4500, good_to: 5500, high: 5501 };

/// State of one signal.
#[derive(Clone, Debug)]
pub(crate) struct Sensor {
    bands: Option<Bands>,
    /// By the latest value.
    now: SensorState,
    /// As last told.
    told: SensorState,
    /// Half waves for which `now` has differed from `told`.
    lasted: u8,
}

impl Sensor {
    /// The transducer's signal.
    pub(crate) fn signal(kind: TransducerKind) -> Self {
        Self::with(match kind {
            TransducerKind::Absent => None,
            TransducerKind::Loop => Some(LOOP),
            TransducerKind::Ratiometric => Some(RATIO),
        })
    }

    /// The transducer's supply.
    pub(crate) fn supply(kind: TransducerKind) -> Self {
        Self::with(match kind {
            TransducerKind::Absent => None,
            TransducerKind::Loop => Some(LOOP_SUPPLY),
            TransducerKind::Ratiometric => Some(RATIO_SUPPLY),
        })
    }

    fn with(bands: Option<Bands>) -> Self {
        Self { bands, now: SensorState::Good, told: SensorState::Good, lasted: 0 }
    }

    /// True when the latest value was outside the live band.
    pub(crate) fn at_fault(&self) -> bool {
        self.now != SensorState::Good
    }

    /// Takes a value; gives the new state when it has lasted long enough to be told.
    pub(crate) fn step(&mut self, value: i32) -> Option<SensorState> {
        let bands = self.bands?;
        if value <= bands.low {
            self.now = SensorState::Low;
        } else if value >= bands.high {
            self.now = SensorState::High;
        } else if (bands.good_from..=bands.good_to).contains(&value) {
            self.now = SensorState::Good;
        }
        if self.now == self.told {
            self.lasted = 0;
            return None;
        }
        self.lasted += 1;
        if self.lasted < SETTLE {
            return None;
        }
        self.told = self.now;
        self.lasted = 0;
        Some(self.told)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn settled(kind: TransducerKind, values: &[i32]) -> SensorState {
        let mut sensor = Sensor::signal(kind);
        for value in values {
            for _ in 0..SETTLE {
                sensor.step(*value);
            }
        }
        assert_eq!(sensor.at_fault(), sensor.told != SensorState::Good);
        sensor.told
    }

    /// NAMUR NE 43: 3.6, 3.8, 20.5 and 21.0 mA, both sides of each edge.
    #[test]
    fn loop_edges() {
        use SensorState::{Good, High, Low};
        let kind = TransducerKind::Loop;
        for (steps, expected) in [
            (0, Low),
            (1800, Low),
            (1801, Good),
            (1900, Good),
            (2000, Good),
            (10_250, Good),
            (10_499, Good),
            (10_500, High),
            (12_000, High),
        ] {
            assert_eq!(settled(kind, &[steps]), expected, "{steps}");
        }
        // Between the bands a fault stays a fault until the signal is valid again.
        assert_eq!(settled(kind, &[1800, 1850]), Low);
        assert_eq!(settled(kind, &[1800, 1900]), Good);
        assert_eq!(settled(kind, &[10_500, 10_300]), High);
        assert_eq!(settled(kind, &[10_500, 10_250]), Good);
    }

    /// 0.25 V and 4.75 V of 5 V.
    #[test]
    fn ratio_edges() {
        use SensorState::{Good, High, Low};
        for (steps, expected) in [(499, Low), (500, Good), (9500, Good), (9501, High)] {
            assert_eq!(settled(TransducerKind::Ratiometric, &[steps]), expected, "{steps}");
        }
        assert_eq!(settled(TransducerKind::Absent, &[0]), Good);
    }

    #[test]
    fn a_short_flicker_is_not_told() {
        let mut sensor = Sensor::signal(TransducerKind::Loop);
        for n in 0..40 {
            assert_eq!(sensor.step(if n % 4 == 0 { 6000 } else { 0 }), None);
        }
        assert!((0..SETTLE).filter_map(|_| sensor.step(0)).eq([SensorState::Low]));
    }
}
