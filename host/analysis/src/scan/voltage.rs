//! Dips, swells and interruptions from rows with half-cycle extremes, by the rules of IEC
//! 61000-4-30 (threshold and hysteresis); and sustained low or high voltage over 10 s means.
//!
//! A row that a dip fills only in part shows it in its mean: with r.m.s. values, the share of the
//! row inside a dip of residual U between normal U0 is (U0² − mean²) / (U0² − U²). That puts edges
//! inside rows.

use super::plan::Plan;
use super::row::Row;
use crate::facts::{Stretch, Sustained, VoltageEvent, VoltageKind};
use crate::limits;

/// Length of the means that sustained voltage is judged by, ms.
const BLOCK_MS: i64 = 10_000;
/// Stretches of low or high voltage nearer than this are one.
const JOIN_MS: i64 = (limits::SUSTAINED_JOIN_S.value * 1000.0) as i64;

/// Watches the voltage.
#[derive(Debug)]
pub struct VoltageWatch {
    dip_v: f64,
    dip_end_v: f64,
    swell_v: f64,
    swell_end_v: f64,
    interruption_v: f64,
    normal_v: f64,
    normal_i: f64,
    open: Option<Open>,
    /// Finished events.
    pub events: Vec<VoltageEvent>,
    under: Level,
    over: Level,
    block: Block,
    /// Finished stretches.
    pub sustained: Vec<Sustained>,
}

#[derive(Debug)]
struct Open {
    low: bool,
    first: Stretch,
    first_share: f64,
    last: Stretch,
    last_share: f64,
    rows: u32,
    extreme_v: f64,
    before_v: f64,
    before_i: f64,
    most_i: f64,
}

#[derive(Debug, Default)]
struct Block {
    number: i64,
    square: f64,
    time_ms: f64,
    running_ms: f64,
}

#[derive(Debug)]
struct Level {
    low: bool,
    limit_v: f64,
    open: Option<Sustained>,
    sum: f64,
}

impl VoltageWatch {
    /// Begins.
    pub fn new(plan: &Plan) -> Self {
        let of_nominal = |share: f64| share * plan.nominal_v;
        Self {
            dip_v: of_nominal(limits::DIP.value),
            dip_end_v: of_nominal(limits::DIP.value + limits::HYSTERESIS.value),
            swell_v: of_nominal(limits::SWELL.value),
            swell_end_v: of_nominal(limits::SWELL.value - limits::HYSTERESIS.value),
            interruption_v: of_nominal(limits::INTERRUPTION.value),
            normal_v: plan.nominal_v,
            normal_i: 0.0,
            open: None,
            events: Vec::new(),
            under: Level::new(true, of_nominal(limits::UNDERVOLTAGE.value)),
            over: Level::new(false, of_nominal(limits::OVERVOLTAGE.value)),
            block: Block::default(),
            sustained: Vec::new(),
        }
    }

    /// Takes a row.
    pub fn push(&mut self, row: &Row, running: bool) {
        if !row.v.is_finite() {
            return;
        }
        self.push_block(row, running);
        let (mean, low, high) =
            (f64::from(row.v), f64::from(row.v_min.min(row.v)), f64::from(row.v_max.max(row.v)));
        if let Some(open) = &mut self.open {
            // The current's answer to the last row of a dip may come in the row after it.
            if row.i_max.is_finite() {
                open.most_i = open.most_i.max(f64::from(row.i_max));
            }
            let goes_on = if open.low { low < self.dip_end_v } else { high > self.swell_end_v };
            if goes_on {
                open.extreme_v =
                    if open.low { open.extreme_v.min(low) } else { open.extreme_v.max(high) };
                open.last = row.time();
                let extreme = if open.low { low } else { high };
                open.last_share = share(open.before_v, mean, extreme);
                open.rows += 1;
                return;
            }
            self.close();
        }
        let dips = low < self.dip_v;
        if dips || high > self.swell_v {
            let extreme = if dips { low } else { high };
            let inside = share(self.normal_v, mean, extreme);
            self.open = Some(Open {
                low: dips,
                first: row.time(),
                first_share: inside,
                last: row.time(),
                last_share: inside,
                rows: 1,
                extreme_v: extreme,
                before_v: self.normal_v,
                before_i: self.normal_i,
                most_i: f64::from(row.i_max.max(0.0)),
            });
        } else {
            // About the last second.
            let weight = (row.seconds() / 1.0).min(0.5);
            self.normal_v += weight * (mean - self.normal_v);
            if row.i.is_finite() {
                self.normal_i += weight * (f64::from(row.i) - self.normal_i);
            }
        }
    }

    fn close(&mut self) {
        let Some(open) = self.open.take() else { return };
        let time = if open.rows == 1 {
            open.first.middle(open.first_share)
        } else {
            open.first.until(open.first_share, &open.last, open.last_share)
        };
        let kind = match (open.low, open.extreme_v < self.interruption_v) {
            (true, true) => VoltageKind::Interruption,
            (true, false) => VoltageKind::Dip,
            (false, _) => VoltageKind::Swell,
        };
        // Longer low or high voltage is an undervoltage or overvoltage: see `sustained`.
        if kind != VoltageKind::Interruption && time.seconds() > limits::SUSTAINED_S.value {
            return;
        }
        self.events.push(VoltageEvent {
            kind,
            time,
            extreme_v: open.extreme_v,
            before_v: open.before_v,
            current_rise_a: (open.most_i - open.before_i).max(0.0),
            at_start: false,
        });
    }

    fn push_block(&mut self, row: &Row, running: bool) {
        let number = row.end_ms / BLOCK_MS;
        if number != self.block.number {
            self.close_block();
            self.block = Block { number, ..Block::default() };
        }
        let span = (row.end_ms - row.start_ms) as f64;
        self.block.square += f64::from(row.v).powi(2) * span;
        self.block.time_ms += span;
        if running {
            self.block.running_ms += span;
        }
    }

    fn close_block(&mut self) {
        let block = &self.block;
        if block.time_ms <= 0.0 {
            return;
        }
        let mean = (block.square / block.time_ms).sqrt();
        // Below a tenth the supply is gone, which is an interruption.
        if mean > 0.1 * self.dip_v {
            let start_ms = block.number * BLOCK_MS;
            for level in [&mut self.under, &mut self.over] {
                level.push(start_ms, mean, block, &mut self.sustained);
            }
        }
    }

    /// A stretch of record ends here.
    pub fn interrupt(&mut self) {
        self.close();
        self.close_block();
        self.block = Block::default();
        for level in [&mut self.under, &mut self.over] {
            level.close(&mut self.sustained);
        }
        self.sustained.sort_by_key(|s| s.time.start_ms);
    }
}

impl Level {
    fn new(low: bool, limit_v: f64) -> Self {
        Self { low, limit_v, open: None, sum: 0.0 }
    }

    fn push(&mut self, start_ms: i64, mean: f64, block: &Block, done: &mut Vec<Sustained>) {
        let beyond = if self.low { mean < self.limit_v } else { mean > self.limit_v };
        if self.open.as_ref().is_some_and(|open| start_ms - open.time.end_ms > JOIN_MS) {
            self.close(done);
        }
        if !beyond {
            return;
        }
        let open = self.open.get_or_insert(Sustained {
            low: self.low,
            time: Stretch { start_ms, end_ms: start_ms },
            mean_v: 0.0,
            extreme_v: mean,
            beyond_s: 0.0,
            running_s: 0.0,
        });
        open.time.end_ms = start_ms + BLOCK_MS;
        open.beyond_s += block.time_ms / 1000.0;
        open.running_s += block.running_ms / 1000.0;
        open.extreme_v = if self.low { open.extreme_v.min(mean) } else { open.extreme_v.max(mean) };
        self.sum += mean * block.time_ms / 1000.0;
    }

    fn close(&mut self, done: &mut Vec<Sustained>) {
        if let Some(mut open) = self.open.take()
            && open.beyond_s > limits::SUSTAINED_S.value
        {
            open.mean_v = self.sum / open.beyond_s;
            done.push(open);
        }
        self.sum = 0.0;
    }
}

fn share(normal: f64, mean: f64, extreme: f64) -> f64 {
    let all = normal * normal - extreme * extreme;
    if all.abs() < 1e-9 { 1.0 } else { ((normal * normal - mean * mean) / all).clamp(0.05, 1.0) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use pumpwitness_recording::Columns;
    use pumpwitness_recording::columns::Channel;

    fn watch(rows: &[(f32, f32, f32)]) -> Vec<VoltageEvent> {
        let site = pumpwitness_site_file::parse(
            "[supply]\nnominal_v = 230\nfrequency_hz = 50\nphases = 1\n[motor]\nrated_current_a = 5",
        )
        .unwrap();
        let count = rows.len();
        let columns = Columns {
            end_ms: (1..=count as i64).map(|n| n * 200).collect(),
            span_ms: vec![200; count],
            voltage_v: vec![Channel {
                mean: rows.iter().map(|r| r.0).collect(),
                min: rows.iter().map(|r| r.1).collect(),
                max: rows.iter().map(|r| r.2).collect(),
                spread: true,
            }],
            ..Columns::default()
        };
        let mut scanner = super::super::Scanner::new(Plan::new(&columns, &site));
        scanner.feed(&columns);
        scanner.finish().voltage_events
    }

    /// IEC 61000-4-30 thresholds on 230 V: a dip begins below 207.0 V and ends at 211.6 V; the
    /// residual voltage of the worked example is 176 V.
    #[test]
    fn threshold_and_hysteresis() {
        let normal = (230.0, 229.0, 231.0);
        let quiet = [normal; 10];
        let with = |rows: &[(f32, f32, f32)]| watch(&[&quiet[..], rows, &quiet[..]].concat());
        assert!(with(&[(230.0, 207.0, 231.0)]).is_empty(), "at the threshold is no dip");
        let dip = with(&[(222.0, 176.0, 230.0), (210.0, 209.0, 211.0), (225.0, 211.5, 230.0)]);
        assert_eq!(dip.len(), 1, "209 V is above the threshold but does not end the dip");
        assert_eq!(dip[0].extreme_v, 176.0);
        assert!(with(&[(250.0, 230.0, 253.0)]).is_empty(), "110 % is no swell");
        assert_eq!(with(&[(250.0, 230.0, 253.1)])[0].kind, VoltageKind::Swell);
        let gone = with(&[(100.0, 0.0, 230.0), (0.0, 0.0, 0.0), (150.0, 0.0, 230.0)]);
        assert_eq!(gone[0].kind, VoltageKind::Interruption);
    }

    /// A step that fills a share f of a row leaves the r.m.s. value √(f·U² + (1 − f)·U0²); from it
    /// the edges inside the rows come back exactly.
    #[test]
    fn edges_inside_rows() {
        let (normal, low) = (230.0_f64, 115.0_f64);
        let rms = |f: f64| (f * low * low + (1.0 - f) * normal * normal).sqrt() as f32;
        let quiet = [(230.0, 230.0, 230.0); 10];
        // From 60 ms before the end of one row to 30 ms into the row after the next.
        let rows = [(rms(0.3), 115.0, 230.0), (115.0, 115.0, 115.0), (rms(0.15), 115.0, 230.0)];
        let events = watch(&[&quiet[..], &rows, &quiet[..]].concat());
        assert_eq!(events.len(), 1);
        assert!((events[0].time.start_ms - (2_200 - 60)).abs() <= 1, "{events:?}");
        assert!((events[0].time.end_ms - (2_400 + 30)).abs() <= 1, "{events:?}");
        // Inside one row only the length is known.
        let events = watch(&[&quiet[..], &[(rms(0.4), 115.0, 230.0)], &quiet[..]].concat());
        assert!((events[0].time.seconds() - 0.08).abs() < 0.002, "{events:?}");
    }
}
