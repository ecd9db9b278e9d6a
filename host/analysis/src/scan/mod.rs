//! One pass over the rows: batch after batch in, [`Facts`] out. Holds summaries only.

mod by_pressure;
mod plan;
mod rests;
mod row;
mod runs;
mod signal;
mod strip;
mod swing;
mod tally;
mod voltage;

pub use plan::{Load, Plan};

use crate::facts::{Facts, Has, Stretch};
use crate::robust::median;
use pumpwitness_recording::Columns;
use row::{Row, Rows};
use runs::RunWatch;
use signal::SignalWatch;
use swing::SwingWatch;
use tally::Tally;
use voltage::VoltageWatch;

/// Buckets for the lengths of rows, of 0.1 s each: up to the longest row a logger joins.
const SPANS: usize = 601;

/// The pass.
#[derive(Debug)]
pub struct Scanner {
    plan: Plan,
    facts: Facts,
    last_end_ms: Option<i64>,
    voltage: VoltageWatch,
    signal: SignalWatch,
    swing: SwingWatch,
    runs: RunWatch,
    tally: Tally,
    running_spans: Vec<u32>,
}

impl Scanner {
    /// Begins.
    pub fn new(plan: Plan) -> Self {
        Self {
            voltage: VoltageWatch::new(&plan),
            signal: SignalWatch::new(plan.nominal_v),
            swing: SwingWatch::new(plan.held_bar),
            runs: RunWatch::new(&plan),
            tally: Tally::new(&plan),
            facts: Facts::default(),
            last_end_ms: None,
            running_spans: vec![0; SPANS],
            plan,
        }
    }

    /// Takes the next rows.
    pub fn feed(&mut self, columns: &Columns) {
        self.tally.push_columns(columns);
        let has = &mut self.facts.has;
        let any = |values: Option<&Vec<f32>>| {
            values.is_some_and(|values| values.iter().any(|v| v.is_finite()))
        };
        *has = Has {
            voltage: has.voltage || any(columns.voltage_v.first().map(|c| &c.mean)),
            current: has.current || any(columns.current_a.first().map(|c| &c.mean)),
            pressure: has.pressure || any(columns.pressure_bar.as_ref().map(|c| &c.mean)),
            signal: has.signal
                || any(columns.loop_ma.as_ref().map(|c| &c.mean))
                || (self.plan.scale.is_some()
                    && any(columns.pressure_bar.as_ref().map(|c| &c.mean))),
            power: has.power || any(columns.power_w.as_ref()),
            half_cycles: has.half_cycles
                || columns
                    .voltage_v
                    .first()
                    .zip(columns.current_a.first())
                    .is_some_and(|(volts, amps)| volts.spread && amps.spread),
            frequency: has.frequency || any(columns.frequency_hz.as_ref()),
        };
        let rows = Rows::new(columns, self.plan.scale, self.plan.reversed);
        for n in 0..columns.len() {
            self.push(&rows.row(n));
        }
    }

    fn push(&mut self, row: &Row) {
        match self.last_end_ms {
            None => {
                self.facts.start_ms = row.start_ms;
                self.runs.resume(row.start_ms, self.runs.load_of(row));
            }
            Some(last) if row.start_ms - last > self.plan.gap_ms => {
                self.interrupt(last);
                self.facts.gaps.push(Stretch { start_ms: last, end_ms: row.start_ms });
                self.runs.resume(row.start_ms, self.runs.load_of(row));
            }
            Some(_) => {}
        }
        self.last_end_ms = Some(row.end_ms);
        self.facts.covered_ms += row.end_ms - row.start_ms;
        self.facts.rows += 1;
        self.signal.push(row);
        self.runs.push(row, !self.signal.faulty());
        let running_ms = self.runs.running_ms(row.end_ms);
        self.voltage.push(row, running_ms.is_some());
        self.swing.push(row, running_ms);
        self.tally.push(row, running_ms.is_some());
        if running_ms.is_some() {
            let bucket = ((row.end_ms - row.start_ms) / 100).clamp(0, SPANS as i64 - 1) as usize;
            self.running_spans[bucket] += 1;
        }
    }

    fn interrupt(&mut self, now_ms: i64) {
        self.signal.interrupt();
        self.voltage.interrupt();
        self.swing.interrupt();
        self.runs.interrupt(now_ms);
    }

    /// Ends.
    pub fn finish(mut self) -> Facts {
        if let Some(last) = self.last_end_ms {
            self.facts.end_ms = last;
            self.interrupt(last);
        }
        let mut facts = self.facts;
        self.tally.finish(&mut facts);
        facts.runs = self.runs.runs;
        facts.rests = self.runs.rests;
        facts.voltage_events = self.voltage.events;
        facts.sustained = self.voltage.sustained;
        facts.loop_faults = self.signal.faults;
        facts.swings = self.swing.swings;
        let spans = self.running_spans.iter().enumerate();
        facts.row_s = median(spans.flat_map(|(n, count)| {
            std::iter::repeat_n((n as f64 + 0.5) / 10.0, (*count as usize).div_ceil(1000))
        }))
        .unwrap_or(f64::NAN);
        for event in &mut facts.voltage_events {
            event.at_start = facts.runs.iter().any(|run| {
                run.start_seen
                    && event.time.meets(
                        run.time.start_ms,
                        run.inrush_end_ms.min(run.time.end_ms),
                        400,
                    )
            });
        }
        facts
    }
}
