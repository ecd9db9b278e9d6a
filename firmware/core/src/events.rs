//! Dips, swells and interruptions by IEC 61000-4-30 (rules and clause numbers 5.4 and 5.5 from
//! memory), on U_rms(1/2).
//!
//! A dip starts when U_rms(1/2) falls below its threshold and ends when it is at or above threshold
//! plus hysteresis; an interruption likewise; a swell starts above its threshold and ends at or
//! below threshold less hysteresis. An interruption lies inside a dip: both are told.
//!
//! Nothing starts before the voltage has once been between the dip and swell thresholds: a logger
//! without voltage sense, or one that wakes in an outage, has seen no start.

use crate::half_cycle::root_dv;
use pumpwitness_protocol::record::{Mark, TimedMark, Trigger, VoltageEvent};
use pumpwitness_protocol::settings::Settings;

/// Gravest first.
const KINDS: [(VoltageEvent, Trigger); 3] = [
    (VoltageEvent::Interruption, Trigger::Interruption),
    (VoltageEvent::Dip, Trigger::Dip),
    (VoltageEvent::Swell, Trigger::Swell),
];
const DIP: usize = 1;
const SWELL: usize = 2;

/// Where an event starts and ends, as mean squares in mV².
#[derive(Clone, Copy, Debug)]
struct Limits {
    starts: u64,
    ends: u64,
}

#[derive(Clone, Copy, Debug)]
struct Open {
    start_ms: i64,
    half_cycles: u32,
    extreme_sq_mv2: u64,
}

/// The detector for one voltage.
#[derive(Clone, Debug)]
pub(crate) struct Events {
    limits: [Limits; 3],
    open: [Option<Open>; 3],
    any_open: bool,
    seen: bool,
}

impl Events {
    pub(crate) fn new(settings: &Settings) -> Self {
        Self { limits: limits(settings), open: [None; 3], any_open: false, seen: false }
    }

    /// Puts new thresholds in force; open events end by them.
    pub(crate) fn apply(&mut self, settings: &Settings) {
        self.limits = limits(settings);
    }

    /// True while an event goes on.
    pub(crate) fn any_open(&self) -> bool {
        self.any_open
    }

    /// Takes a value of U_rms(1/2)² and its moment. Gives the gravest event that starts with it;
    /// hands over the marks of those that end with it.
    pub(crate) fn step(
        &mut self,
        sq_mv2: u64,
        now_ms: i64,
        ended: impl FnMut(TimedMark),
    ) -> Option<Trigger> {
        let ordinary = self.limits[DIP].starts <= sq_mv2 && sq_mv2 <= self.limits[SWELL].starts;
        self.seen |= ordinary;
        if (ordinary && !self.any_open) || !self.seen {
            return None;
        }
        self.step_events(sq_mv2, now_ms, ended)
    }

    fn step_events(
        &mut self,
        sq_mv2: u64,
        now_ms: i64,
        mut ended: impl FnMut(TimedMark),
    ) -> Option<Trigger> {
        let mut started = None;
        for (kind, (event, trigger)) in KINDS.into_iter().enumerate() {
            let Limits { starts, ends } = self.limits[kind];
            let above = kind == SWELL;
            if let Some(open) = &mut self.open[kind] {
                open.half_cycles = open.half_cycles.saturating_add(1);
                let over = if above { sq_mv2 <= ends } else { sq_mv2 >= ends };
                if over {
                    ended(mark(event, open, now_ms, false));
                    self.open[kind] = None;
                } else if above {
                    open.extreme_sq_mv2 = open.extreme_sq_mv2.max(sq_mv2);
                } else {
                    open.extreme_sq_mv2 = open.extreme_sq_mv2.min(sq_mv2);
                }
            } else if if above { sq_mv2 > starts } else { sq_mv2 < starts } {
                self.open[kind] =
                    Some(Open { start_ms: now_ms, half_cycles: 0, extreme_sq_mv2: sq_mv2 });
                started = started.or(Some(trigger));
            }
        }
        self.any_open = self.open.iter().any(Option::is_some);
        started
    }

    /// Marks of the events still open, for when measuring stops.
    pub(crate) fn unfinished(&self, now_ms: i64, mut told: impl FnMut(TimedMark)) {
        for (open, (event, _)) in self.open.iter().zip(KINDS) {
            if let Some(open) = open {
                told(mark(event, open, now_ms, true));
            }
        }
    }
}

fn mark(event: VoltageEvent, open: &Open, time_ms: i64, unfinished: bool) -> TimedMark {
    TimedMark {
        time_ms,
        mark: Mark::Voltage {
            event,
            start_ms: open.start_ms,
            half_cycles: open.half_cycles,
            extreme_dv: root_dv(open.extreme_sq_mv2),
            open: unfinished,
        },
    }
}

/// Thresholds as squares. With T the threshold in 0.1 mV, an integer x in mV² lies below it exactly
/// when x < ⌈T²/100⌉, and above it exactly when x > ⌊T²/100⌋.
fn limits(settings: &Settings) -> [Limits; 3] {
    let tenths = |permille: u16| {
        let value = u64::from(settings.nominal_dv) * u64::from(permille);
        value * value
    };
    let hysteresis = settings.hysteresis_permille;
    let below = |permille: u16| Limits {
        starts: tenths(permille).div_ceil(100),
        ends: tenths(permille.saturating_add(hysteresis)).div_ceil(100),
    };
    let swell = Limits {
        starts: tenths(settings.swell_permille) / 100,
        ends: tenths(settings.swell_permille.saturating_sub(hysteresis)) / 100,
    };
    // In the order of KINDS.
    [below(settings.interruption_permille), below(settings.dip_permille), swell]
}

#[cfg(test)]
mod tests {
    extern crate std;
    use super::*;
    use std::vec::Vec;

    fn run(settings: &Settings, values_v: &[f64]) -> (Vec<Mark>, Vec<(usize, Trigger)>, Events) {
        let mut events = Events::new(settings);
        let (mut marks, mut triggers) = (Vec::new(), Vec::new());
        for (n, volts) in values_v.iter().enumerate() {
            let mv = (volts * 1000.0).round() as u64;
            let started = events.step(mv * mv, n as i64 * 10, |mark| marks.push(mark.mark));
            triggers.extend(started.map(|trigger| (n, trigger)));
        }
        (marks, triggers, events)
    }

    /// Worked by hand from the rules: U_din 230 V, dip 90 % → 207.0 V, hysteresis 2 % → end
    /// 211.6 V. Start at index 2, end at index 8 (209 V is above 207 but does not end it):
    /// 6 half cycles, residual 176 V.
    #[test]
    fn a_dip_ends_only_above_its_hysteresis() {
        let values = [231., 230., 205., 180., 176., 190., 206., 209., 212., 230.];
        let (marks, triggers, events) = run(&Settings::default(), &values);
        assert_eq!(triggers, [(2, Trigger::Dip)]);
        assert_eq!(
            marks,
            [Mark::Voltage {
                event: VoltageEvent::Dip,
                start_ms: 20,
                half_cycles: 6,
                extreme_dv: 1760,
                open: false
            }]
        );
        assert!(!events.any_open());
    }

    /// The edges belong outside the event at its start and inside the end at its end.
    #[test]
    fn thresholds_are_exact() {
        let settings = Settings::default();
        let (_, triggers, _) = run(&settings, &[230., 207.0, 206.999, 211.599, 211.6, 206.9]);
        assert_eq!(triggers, [(2, Trigger::Dip), (5, Trigger::Dip)]);
        let (marks, triggers, _) =
            run(&settings, &[230., 253.0, 253.001, 260.0, 248.401, 248.4, 230.]);
        assert_eq!(triggers, [(2, Trigger::Swell)]);
        assert_eq!(
            marks,
            [Mark::Voltage {
                event: VoltageEvent::Swell,
                start_ms: 20,
                half_cycles: 3,
                extreme_dv: 2600,
                open: false
            }]
        );
    }

    /// An interruption (below 5 %, over at 7 %: 16.1 V) lies within its dip.
    #[test]
    fn an_interruption_lies_in_a_dip() {
        let values = [230., 100., 11., 0., 12., 16.0, 16.1, 200., 230.];
        let (marks, triggers, _) = run(&Settings::default(), &values);
        assert_eq!(triggers, [(1, Trigger::Dip), (2, Trigger::Interruption)]);
        let lengths: Vec<_> = marks
            .iter()
            .map(|mark| match mark {
                Mark::Voltage { event, half_cycles, extreme_dv, .. } => {
                    (*event, *half_cycles, *extreme_dv)
                }
                other => panic!("{other:?}"),
            })
            .collect();
        assert_eq!(lengths, [(VoltageEvent::Interruption, 4, 0), (VoltageEvent::Dip, 7, 0)]);
    }

    #[test]
    fn nothing_starts_before_a_voltage_was_seen() {
        let (marks, triggers, events) = run(&Settings::default(), &[0.0; 50]);
        assert!(marks.is_empty() && triggers.is_empty() && !events.any_open());
        let (_, triggers, _) = run(&Settings::default(), &[0., 0., 230., 0.]);
        assert_eq!(triggers, [(3, Trigger::Interruption)]);
    }

    #[test]
    fn an_event_going_on_is_told_as_open() {
        let (_, _, events) = run(&Settings::default(), &[230., 150., 140.]);
        let mut marks = Vec::new();
        events.unfinished(30, |mark| marks.push(mark.mark));
        assert_eq!(
            marks,
            [Mark::Voltage {
                event: VoltageEvent::Dip,
                start_ms: 10,
                half_cycles: 1,
                extreme_dv: 1400,
                open: true
            }]
        );
    }
}
