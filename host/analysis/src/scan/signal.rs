//! Faults of the transducer loop by NAMUR NE 43, with its edges: faulty at or below 3.6 mA and at
//! or above 21.0 mA, valid from 3.8 to 20.5 mA, the state kept in between.

use super::row::Row;
use crate::facts::{LoopFault, LoopKind, Stretch};
use crate::limits;

/// Loop faults nearer than this are one.
const JOIN_MS: i64 = (limits::LOOP_JOIN_S.value * 1000.0) as i64;

/// Watches the loop.
#[derive(Debug)]
pub struct SignalWatch {
    nominal_v: f64,
    good_ma: f64,
    open: Option<Open>,
    /// Finished faults.
    pub faults: Vec<LoopFault>,
}

#[derive(Debug)]
struct Open {
    kind: LoopKind,
    first: Stretch,
    first_share: f64,
    last: Stretch,
    last_share: f64,
    rows: u32,
    good_ma: f64,
    extreme_ma: f64,
    voltage: f64,
}

impl SignalWatch {
    /// Begins.
    pub fn new(nominal_v: f64) -> Self {
        Self { nominal_v, good_ma: 12.0, open: None, faults: Vec::new() }
    }

    /// True while the reading is not to be believed.
    pub fn faulty(&self) -> bool {
        self.open.as_ref().is_some_and(|open| open.kind != LoopKind::OutOfRange)
    }

    /// Takes a row.
    pub fn push(&mut self, row: &Row) {
        if !row.ma.is_finite() {
            return;
        }
        let (low, high, mean) = (f64::from(row.ma_min), f64::from(row.ma_max), f64::from(row.ma));
        let seen = if low <= limits::LOOP_OPEN_MA.value {
            Some((LoopKind::Open, low))
        } else if high >= limits::LOOP_SHORT_MA.value {
            Some((LoopKind::Short, high))
        } else if !(limits::LOOP_LIVE_LOW_MA.value..=limits::LOOP_LIVE_HIGH_MA.value)
            .contains(&mean)
        {
            Some((LoopKind::OutOfRange, mean))
        } else {
            None
        };
        let nominal_v = self.nominal_v;
        let voltage = || f64::from(row.v_min.min(row.v)) / nominal_v;
        if let Some(open) = &mut self.open {
            let goes_on = match open.kind {
                LoopKind::Open => low < limits::LOOP_LIVE_LOW_MA.value,
                LoopKind::Short => high > limits::LOOP_LIVE_HIGH_MA.value,
                LoopKind::OutOfRange => seen.is_some_and(|(kind, _)| kind == LoopKind::OutOfRange),
            };
            if goes_on {
                let extreme = if open.kind == LoopKind::Short { high } else { low };
                open.extreme_ma = match open.kind {
                    LoopKind::Short => open.extreme_ma.max(extreme),
                    _ => open.extreme_ma.min(extreme),
                };
                open.last = row.time();
                open.last_share = share(open.good_ma, mean, extreme);
                open.rows += 1;
                open.voltage = open.voltage.min(voltage());
                return;
            }
            self.close();
        }
        if let Some((kind, extreme)) = seen {
            let inside = share(self.good_ma, mean, extreme);
            self.open = Some(Open {
                kind,
                first: row.time(),
                first_share: inside,
                last: row.time(),
                last_share: inside,
                rows: 1,
                good_ma: self.good_ma,
                extreme_ma: extreme,
                voltage: voltage(),
            });
        } else {
            self.good_ma = mean;
        }
    }

    /// A stretch of record ends here.
    pub fn interrupt(&mut self) {
        self.close();
    }

    fn close(&mut self) {
        let Some(open) = self.open.take() else { return };
        let time = if open.rows == 1 {
            open.first.middle(open.first_share)
        } else {
            open.first.until(open.first_share, &open.last, open.last_share)
        };
        // A reading that only brushes the edge of the valid band is no event.
        if open.kind == LoopKind::OutOfRange && time.seconds() < 1.0 {
            return;
        }
        // A loose contact chatters; its chatter is one fault.
        if let Some(last) = self.faults.last_mut()
            && last.kind == open.kind
            && time.start_ms - last.time.end_ms < JOIN_MS
        {
            last.time.end_ms = time.end_ms;
            last.voltage = last.voltage.min(open.voltage);
            last.extreme_ma = match open.kind {
                LoopKind::Short => last.extreme_ma.max(open.extreme_ma),
                _ => last.extreme_ma.min(open.extreme_ma),
            };
            return;
        }
        self.faults.push(LoopFault {
            kind: open.kind,
            time,
            extreme_ma: open.extreme_ma,
            voltage: open.voltage,
        });
    }
}

fn share(good: f64, mean: f64, extreme: f64) -> f64 {
    let all = good - extreme;
    if all.abs() < 1e-9 { 1.0 } else { ((good - mean) / all).clamp(0.05, 1.0) }
}
