//! Slow readings of the logger itself, told every ten minutes and when they move.

use crate::sensor::Sensor;
use pumpwitness_protocol::record::{Channel, Mark};
use pumpwitness_protocol::settings::Settings;

const EVERY_MS: i64 = 600_000;
/// Between two marks of moved readings at least this long.
const PAUSE_MS: i64 = 10_000;
/// What counts as moved: 2 °C, 200 mV, 100 mV (common practice, no source).
const BOARD_DC: u16 = 20;
const SUPPLY_MV: u16 = 200;
const TRANSDUCER_SUPPLY_MV: u16 = 100;

/// Slow readings.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Slow {
    /// Board temperature, 0.1 °C.
    pub board_dc: i16,
    /// Logger supply, mV.
    pub supply_mv: u16,
    /// Transducer supply, mV.
    pub transducer_supply_mv: u16,
}

/// Watches them.
#[derive(Clone, Debug)]
pub(crate) struct Health {
    latest: Slow,
    told: Slow,
    told_ms: Option<i64>,
    transducer_supply: Sensor,
}

impl Health {
    pub(crate) fn new(settings: &Settings) -> Self {
        Self {
            latest: Slow::default(),
            told: Slow::default(),
            told_ms: None,
            transducer_supply: Sensor::supply(settings.transducer),
        }
    }

    pub(crate) fn apply(&mut self, settings: &Settings) {
        self.transducer_supply = Sensor::supply(settings.transducer);
    }

    pub(crate) fn latest(&self) -> Slow {
        self.latest
    }

    pub(crate) fn step(&mut self, slow: Slow, now_ms: i64, mut tell: impl FnMut(Mark)) {
        self.latest = slow;
        if let Some(state) = self.transducer_supply.step(slow.transducer_supply_mv.into()) {
            tell(Mark::Sensor { channel: Channel::TransducerSupply, state });
        }
        let moved = slow.board_dc.abs_diff(self.told.board_dc) >= BOARD_DC
            || slow.supply_mv.abs_diff(self.told.supply_mv) >= SUPPLY_MV
            || slow.transducer_supply_mv.abs_diff(self.told.transducer_supply_mv)
                >= TRANSDUCER_SUPPLY_MV;
        let wait = if moved { PAUSE_MS } else { EVERY_MS };
        if self.told_ms.is_some_and(|told_ms| now_ms.saturating_sub(told_ms) < wait) {
            return;
        }
        self.told = slow;
        self.told_ms = Some(now_ms);
        tell(Mark::Health {
            board_dc: slow.board_dc,
            supply_mv: slow.supply_mv,
            transducer_supply_mv: slow.transducer_supply_mv,
        });
    }

    pub(crate) fn clock_set(&mut self, by_ms: i64) {
        self.told_ms = self.told_ms.map(|told_ms| told_ms.saturating_add(by_ms));
    }
}
