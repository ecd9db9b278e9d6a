//! Watched lamps: off, on, or flashing with a rate, from on/off inputs looked at each half wave.

use pumpwitness_protocol::record::{LampState, Mark, TimedMark};
use pumpwitness_protocol::settings::{LAMPS, Settings};

/// Without an edge for this long a lamp is steady: the slowest flash told apart from on and off is
/// one in five seconds (common practice, no source).
const STEADY_US: u32 = 2_500_000;
/// Rising edges in one unsteady stretch that make it flashing: two periods.
const RISES_FLASHING: u8 = 3;
/// A rate is told again when it has moved by more than a quarter.
const RATE_SHARE: u32 = 4;

#[derive(Clone, Copy, Debug)]
struct Lamp {
    lit: bool,
    settled: bool,
    rises: u8,
    since_edge_us: u32,
    since_rise_us: u32,
    period_us: u32,
    /// When the unsteady stretch began.
    first_edge_ms: i64,
    /// When the latest edge was.
    last_edge_ms: i64,
    told: LampState,
}

impl Lamp {
    const DARK: Self = Self {
        lit: false,
        settled: true,
        rises: 0,
        since_edge_us: 0,
        since_rise_us: 0,
        period_us: 0,
        first_edge_ms: 0,
        last_edge_ms: 0,
        told: LampState::Off,
    };

    fn step(&mut self, lit: bool, us: u32, now_ms: i64) -> Option<(i64, LampState)> {
        self.since_edge_us = self.since_edge_us.saturating_add(us);
        self.since_rise_us = self.since_rise_us.saturating_add(us);
        if lit == self.lit {
            return self.rest();
        }
        self.lit = lit;
        self.since_edge_us = 0;
        self.last_edge_ms = now_ms;
        if self.settled {
            self.settled = false;
            self.rises = 0;
            self.first_edge_ms = now_ms;
        }
        if lit { self.rise(now_ms) } else { None }
    }

    fn rise(&mut self, now_ms: i64) -> Option<(i64, LampState)> {
        let period = core::mem::replace(&mut self.since_rise_us, 0);
        match self.rises {
            0 => {}
            1 => self.period_us = period,
            // At most 5 s: a longer pause would have been steady.
            _ => self.period_us = (3 * self.period_us + period) / 4,
        }
        self.rises = self.rises.saturating_add(1);
        if self.rises < RISES_FLASHING {
            return None;
        }
        let rate_chz = (100_000_000 / self.period_us.max(1)).min(u16::MAX.into());
        let (time_ms, moved) = match self.told {
            LampState::Flashing(told) => {
                (now_ms, rate_chz.abs_diff(told.into()) > u32::from(told) / RATE_SHARE)
            }
            LampState::Off | LampState::On => (self.first_edge_ms, true),
        };
        moved.then(|| {
            self.told = LampState::Flashing(rate_chz as u16);
            (time_ms, self.told)
        })
    }

    fn rest(&mut self) -> Option<(i64, LampState)> {
        if self.settled || self.since_edge_us < STEADY_US {
            return None;
        }
        self.settled = true;
        let state = if self.lit { LampState::On } else { LampState::Off };
        (state != self.told).then(|| {
            self.told = state;
            (self.last_edge_ms, state)
        })
    }
}

/// All lamp inputs. A state is told with the moment of the edge that began it.
#[derive(Clone, Debug)]
pub(crate) struct Lamps {
    each: [Lamp; LAMPS],
    fitted: u8,
    inputs: u8,
    seen: u8,
    busy: bool,
}

impl Lamps {
    pub(crate) fn new(settings: &Settings) -> Self {
        let mut lamps =
            Self { each: [Lamp::DARK; LAMPS], fitted: 0, inputs: 0, seen: 0, busy: false };
        lamps.apply(settings);
        lamps
    }

    /// Watches the inputs that carry a label.
    pub(crate) fn apply(&mut self, settings: &Settings) {
        self.fitted = 0;
        for lamp in 1..=LAMPS as u8 {
            self.fitted |= u8::from(settings.lamp_fitted(lamp)) << (lamp - 1);
        }
        self.inputs &= self.fitted;
    }

    /// Sets the inputs as they are now; bit 0 is lamp 1.
    pub(crate) fn set(&mut self, inputs: u8) {
        self.inputs = inputs & self.fitted;
    }

    /// Lets a half wave pass. Costs nothing while nothing changes.
    pub(crate) fn step(&mut self, us: u32, now_ms: i64, changed: impl FnMut(TimedMark)) {
        if self.busy || self.inputs != self.seen {
            self.step_lamps(us, now_ms, changed);
        }
    }

    fn step_lamps(&mut self, us: u32, now_ms: i64, mut changed: impl FnMut(TimedMark)) {
        self.seen = self.inputs;
        self.busy = false;
        for (bit, lamp) in self.each.iter_mut().enumerate() {
            if let Some((time_ms, state)) = lamp.step(self.seen >> bit & 1 == 1, us, now_ms) {
                let mark = Mark::Lamp { lamp: bit as u8 + 1, state };
                changed(TimedMark { time_ms, mark });
            }
            self.busy |= !lamp.settled;
        }
    }

    /// Lamps that are lit or flashing, and lamps that are flashing.
    pub(crate) fn lit_and_flashing(&self) -> (u8, u8) {
        let (mut lit, mut flashing) = (self.seen, 0);
        for (bit, lamp) in self.each.iter().enumerate() {
            if matches!(lamp.told, LampState::Flashing(_)) {
                flashing |= 1 << bit;
            }
        }
        lit |= flashing;
        (lit, flashing)
    }
}

#[cfg(test)]
mod tests {
    extern crate std;
    use super::*;
    use std::vec::Vec;

    fn watch(seconds: u32, lit: impl Fn(u32) -> bool) -> (Vec<(i64, LampState)>, Lamps) {
        let mut settings = Settings::default();
        settings.lamps.push("".try_into().unwrap()).unwrap();
        settings.lamps.push("dry running".try_into().unwrap()).unwrap();
        let mut lamps = Lamps::new(&settings);
        let mut marks = Vec::new();
        for n in 1..=seconds * 100 {
            // Lamp 1 has no label and is not watched.
            lamps.set(u8::from(lit(n * 10)) << 1 | 1);
            lamps.step(10_000, i64::from(n) * 10, |mark| match mark.mark {
                Mark::Lamp { lamp: 2, state } => marks.push((mark.time_ms, state)),
                other => panic!("{other:?}"),
            });
        }
        (marks, lamps)
    }

    #[test]
    fn a_steady_lamp_is_told_with_its_edge() {
        let (marks, lamps) = watch(60, |ms| (5000..30_000).contains(&ms));
        assert_eq!(marks, [(5000, LampState::On), (30_000, LampState::Off)]);
        assert!(!lamps.busy);
    }

    #[test]
    fn flashing_is_told_with_its_rate() {
        for (period, rate) in [(200, 500), (500, 200), (1000, 100), (2500, 40), (4900, 20)] {
            let start = 2000_u32.next_multiple_of(period);
            let (marks, lamps) = watch(40, |ms| ms >= start && ms % period < period / 2);
            let LampState::Flashing(told) = marks[0].1 else { panic!("{marks:?}") };
            assert!(told.abs_diff(rate) <= 2, "{period}: {told}");
            assert_eq!(marks[0].0, i64::from(start), "{period}");
            assert_eq!(marks.len(), 1, "{period}: {marks:?}");
            assert_eq!(lamps.lit_and_flashing(), (2, 2));
        }
    }

    #[test]
    fn a_change_of_rate_and_an_end_are_told() {
        let (marks, _) = watch(60, |ms| match ms {
            0..10_000 => ms % 1000 < 500,
            10_000..20_000 => ms % 400 < 200,
            _ => false,
        });
        assert!(matches!(marks[0].1, LampState::Flashing(99..=101)), "{marks:?}");
        let Some((_, LampState::Flashing(last))) = marks.iter().rev().nth(1) else {
            panic!("{marks:?}")
        };
        assert!((200..=252).contains(last), "{marks:?}");
        assert_eq!(marks.last(), Some(&(19_800, LampState::Off)));
    }
}
