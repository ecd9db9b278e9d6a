//! Live readings in the units of the trade.

use pumpwitness_protocol::message::Live;
use pumpwitness_protocol::record::flags;
use pumpwitness_protocol::settings::{Settings, TransducerKind};
use serde::Serialize;

/// Steps of the signal from one end of the transducer to the other: 4–20 mA in 2 µA, 10–90 % of the
/// supply in 0.01 %.
const SPAN_STEPS: f64 = 8000.0;
/// Step of a signal at the low end of the transducer.
const LOOP_LOW_STEPS: f64 = 2000.0;
const RATIO_LOW_STEPS: f64 = 1000.0;

/// What the transducer's wire carries.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Signal {
    /// Loop current, mA.
    LoopMa(f64),
    /// Share of the transducer's own supply, %.
    SupplyPercent(f64),
}

/// One set of readings.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Reading {
    /// Moment by the logger's clock, ms since 1970.
    pub time_ms: i64,
    /// Line voltage, V r.m.s.
    pub voltage_v: f64,
    /// Motor current, A r.m.s.
    pub current_a: f64,
    /// Active power, W.
    pub power_w: f64,
    /// Frequency of the supply, Hz; `None` while there is no voltage to measure it on.
    pub frequency_hz: Option<f64>,
    /// What the transducer's wire carries; `None` where no transducer is declared.
    pub signal: Option<Signal>,
    /// Pressure by the declared ends of the transducer, bar gauge.
    pub pressure_bar: Option<f64>,
    /// Supply of the transducer, V; `None` where no transducer is declared.
    pub transducer_supply_v: Option<f64>,
    /// Supply of the logger, V; `None` where the board does not measure it.
    pub supply_v: Option<f64>,
    /// Board temperature, °C.
    pub board_c: f64,
    /// Lamp inputs 1 to 8: lit steadily, flashing, dark.
    pub lamps: [Lamp; 8],
    /// True while the pump counts as running.
    pub running: bool,
    /// A voltage or current frame reached the end of the converter's range.
    pub over_range: bool,
}

/// State of a lamp input.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Lamp {
    /// Dark.
    #[default]
    Dark,
    /// Lit steadily.
    Lit,
    /// Flashing.
    Flashing,
}

impl Reading {
    /// Readings of a logger with these settings in force.
    pub fn of(live: &Live, settings: &Settings) -> Self {
        let steps = f64::from(live.signal);
        let (signal, low_steps) = match settings.transducer {
            TransducerKind::Absent => (None, 0.0),
            TransducerKind::Loop => (Some(Signal::LoopMa(steps * 0.002)), LOOP_LOW_STEPS),
            TransducerKind::Ratiometric => {
                (Some(Signal::SupplyPercent(steps * 0.01)), RATIO_LOW_STEPS)
            }
        };
        let (low_bar, high_bar) =
            (f64::from(settings.low_mbar) / 1000.0, f64::from(settings.high_mbar) / 1000.0);
        let pressure = low_bar + (steps - low_steps) / SPAN_STEPS * (high_bar - low_bar);
        let measured = |mv: u16| f64::from(mv) / 1000.0;
        Self {
            time_ms: live.time_ms,
            voltage_v: f64::from(live.voltage_dv) / 10.0,
            current_a: f64::from(live.current_ca) / 100.0,
            power_w: f64::from(live.power_w),
            frequency_hz: (live.frequency_chz > 0).then(|| f64::from(live.frequency_chz) / 100.0),
            signal,
            pressure_bar: signal.map(|_| pressure),
            transducer_supply_v: signal.map(|_| measured(live.transducer_supply_mv)),
            supply_v: (live.supply_mv > 0).then(|| measured(live.supply_mv)),
            board_c: f64::from(live.board_dc) / 10.0,
            lamps: std::array::from_fn(|n| match (live.lamps_lit >> n, live.lamps_flashing >> n) {
                (_, flashing) if flashing & 1 == 1 => Lamp::Flashing,
                (lit, _) if lit & 1 == 1 => Lamp::Lit,
                _ => Lamp::Dark,
            }),
            running: live.running,
            over_range: live.flags & (flags::VOLTAGE_OVER_RANGE | flags::CURRENT_OVER_RANGE) != 0,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A 4–20 mA transducer of 0 to 10 bar at 12 mA stands in the middle of its span: 5 bar
    /// (IEC 60381-1, linear scale).
    #[test]
    fn the_middle_of_the_loop_is_the_middle_of_the_span() {
        let live = Live { signal: 6000, transducer_supply_mv: 24_000, ..Live::default() };
        let reading = Reading::of(&live, &Settings::default());
        assert_eq!(reading.signal, Some(Signal::LoopMa(12.0)));
        assert!((reading.pressure_bar.unwrap() - 5.0).abs() < 1e-9);
    }

    #[test]
    fn half_the_supply_is_the_middle_of_the_span() {
        let settings = Settings { transducer: TransducerKind::Ratiometric, ..Settings::default() };
        let reading = Reading::of(&Live { signal: 5000, ..Live::default() }, &settings);
        assert_eq!(reading.signal, Some(Signal::SupplyPercent(50.0)));
        assert!((reading.pressure_bar.unwrap() - 5.0).abs() < 1e-9);
    }

    #[test]
    fn what_is_not_measured_is_not_shown() {
        let settings = Settings { transducer: TransducerKind::Absent, ..Settings::default() };
        let reading = Reading::of(&Live::default(), &settings);
        assert_eq!((reading.signal, reading.pressure_bar), (None, None));
        assert_eq!((reading.frequency_hz, reading.supply_v), (None, None));
    }

    #[test]
    fn lamps_are_told_apart() {
        let live = Live { lamps_lit: 0b110, lamps_flashing: 0b100, ..Live::default() };
        let lamps = Reading::of(&live, &Settings::default()).lamps;
        assert_eq!(lamps[..4], [Lamp::Dark, Lamp::Lit, Lamp::Flashing, Lamp::Dark]);
    }
}
