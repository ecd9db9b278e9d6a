//! One pass over the rows: batch after batch in, [`Facts`] out. Holds summaries only.

mod by_pressure;
mod ended;
mod open_run;
mod plan;
mod rests;
mod row;
mod runs;
mod signal;
mod strip;
mod swing;
mod tally;
mod voltage;

pub use open_run::LAST_POWER_S;
pub use plan::{Load, Plan};

use crate::facts::{Facts, Has, Stretch};
use crate::robust::median;
use ended::{Ended, Summed};
use pumpwitness_recording::Columns;
use row::Rows;
use runs::RunWatch;
use signal::SignalWatch;
use std::ops::Range;
use std::sync::mpsc;
use std::thread;
use swing::SwingWatch;
use tally::Tally;
use voltage::VoltageWatch;

/// Buckets for the lengths of rows, of 0.1 s each: up to the longest row a logger joins.
const SPANS: usize = 601;
/// Rows that the watches go over at a time: few enough to stay in the nearest memories.
const ROWS_AT_ONCE: usize = 8192;
/// Batches of so many rows are shared by two threads.
const ROWS_TO_SHARE: usize = 4 * ROWS_AT_ONCE;
/// Stretches of rows by which the first thread may be ahead of the second.
const AHEAD_MAX: usize = 8;
/// No time since the start of a run: the pump rests.
const RESTING: i64 = i64::MIN;

/// What the first thread hands to the second: rows, the time since the start of the run for each, and
/// the runs and rests that have ended with them.
type Handed = (Range<usize>, Vec<i64>, Vec<Ended>);

/// The pass.
#[derive(Debug)]
pub struct Scanner {
    plan: Plan,
    has: Has,
    pump: PumpWatch,
    behind: Behind,
}

/// The watches that tell when the pump runs, and what belongs to runs and rests.
#[derive(Debug)]
struct PumpWatch {
    gap_ms: i64,
    short_row_s: f64,
    facts: Facts,
    last_end_ms: Option<i64>,
    signal: SignalWatch,
    runs: RunWatch,
    running_spans: Vec<u32>,
}

/// What needs no more of the first watches than whether the pump runs, and which runs and rests have
/// ended.
#[derive(Debug)]
struct Behind {
    gap_ms: i64,
    last_end_ms: Option<i64>,
    voltage: VoltageWatch,
    swing: SwingWatch,
    tally: Tally,
    summed: Summed,
}

impl Scanner {
    /// Begins.
    pub fn new(plan: Plan) -> Self {
        Self {
            has: Has::default(),
            pump: PumpWatch {
                gap_ms: plan.gap_ms,
                short_row_s: plan.short_row_s,
                facts: Facts::default(),
                last_end_ms: None,
                signal: SignalWatch::new(plan.nominal_v),
                runs: RunWatch::new(&plan),
                running_spans: vec![0; SPANS],
            },
            behind: Behind {
                gap_ms: plan.gap_ms,
                last_end_ms: None,
                voltage: VoltageWatch::new(&plan),
                swing: SwingWatch::new(plan.held_bar),
                tally: Tally::new(&plan),
                summed: Summed::new(&plan),
            },
            plan,
        }
    }

    /// Takes the next rows.
    pub fn feed(&mut self, columns: &Columns) {
        self.behind.tally.push_columns(columns);
        self.note_channels(columns);
        let rows = Rows::new(columns, self.plan.scale, self.plan.reversed);
        if rows.len() < ROWS_TO_SHARE || !self.feed_shared(&rows) {
            let mut running = Vec::with_capacity(ROWS_AT_ONCE);
            for part in parts(rows.len()) {
                running.clear();
                let ended = self.pump.push(&rows, part.clone(), &mut running);
                self.behind.push(&rows, part, &running, ended);
            }
        }
    }

    /// Goes over the rows on two threads, one behind the other; false where there is no second
    /// thread to be had, and nothing was done.
    fn feed_shared(&mut self, rows: &Rows) -> bool {
        if thread::available_parallelism().map_or(1, usize::from) < 2 {
            return false;
        }
        let Self { pump, behind, .. } = self;
        thread::scope(|scope| {
            let (sender, receiver) = mpsc::sync_channel::<Handed>(AHEAD_MAX);
            let second = thread::Builder::new().spawn_scoped(scope, move || {
                for (part, running, ended) in receiver {
                    behind.push(rows, part, &running, ended);
                }
            });
            if second.is_err() {
                return false;
            }
            for part in parts(rows.len()) {
                let mut running = Vec::with_capacity(ROWS_AT_ONCE);
                let ended = pump.push(rows, part.clone(), &mut running);
                if sender.send((part, running, ended)).is_err() {
                    // The second thread has panicked, and the scope will.
                    break;
                }
            }
            true
        })
    }

    fn note_channels(&mut self, columns: &Columns) {
        let has = &mut self.has;
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
    }

    /// Ends.
    pub fn finish(self) -> Facts {
        let Self { has, pump, mut behind, .. } = self;
        behind.interrupt();
        let (mut facts, ended) = pump.finish();
        behind.summed.take(ended);
        facts.has = has;
        facts.runs = behind.summed.runs;
        facts.rests = behind.summed.rests;
        behind.tally.finish(&mut facts);
        facts.voltage_events = behind.voltage.events;
        facts.sustained = behind.voltage.sustained;
        facts.noise_bar = behind.swing.noise_bar();
        facts.swings = behind.swing.swings;
        for event in &mut facts.voltage_events {
            let (start_ms, end_ms) = (event.time.start_ms, event.time.end_ms);
            // Runs are in time order, so only those around the event are looked at.
            let from = facts.runs.partition_point(|run| run.time.end_ms + AT_START_MS < start_ms);
            let near = facts.runs[from..]
                .iter()
                .take_while(|run| run.time.start_ms <= end_ms + AT_START_MS);
            event.at_start = near.into_iter().any(|run| {
                run.start_seen
                    && event.time.meets(
                        run.time.start_ms,
                        run.inrush_end_ms.min(run.time.end_ms),
                        AT_START_MS,
                    )
            });
        }
        facts
    }
}

/// Room between an inrush and a voltage event that belong together, ms.
const AT_START_MS: i64 = 400;

/// Parts of so many rows, in order.
fn parts(rows: usize) -> impl Iterator<Item = Range<usize>> {
    (0..rows).step_by(ROWS_AT_ONCE).map(move |from| from..(from + ROWS_AT_ONCE).min(rows))
}

impl PumpWatch {
    /// Takes rows; adds to `running` the time since the start of the run for each, or [`RESTING`].
    /// Gives the runs and rests that have ended.
    fn push(&mut self, rows: &Rows, part: Range<usize>, running: &mut Vec<i64>) -> Vec<Ended> {
        for n in part {
            let mut row = rows.row(n);
            match self.last_end_ms {
                None => {
                    self.facts.start_ms = row.start_ms;
                    self.runs.resume(row.start_ms, self.runs.load_of(&row));
                }
                Some(last) if row.start_ms - last > self.gap_ms => {
                    self.interrupt(last);
                    self.facts.gaps.push(Stretch { start_ms: last, end_ms: row.start_ms });
                    self.runs.resume(row.start_ms, self.runs.load_of(&row));
                }
                Some(_) => {}
            }
            self.last_end_ms = Some(row.end_ms);
            self.facts.covered_ms += row.end_ms - row.start_ms;
            self.facts.rows += 1;
            self.signal.push(&row);
            if self.signal.faulty() {
                (row.p, row.p_min, row.p_max) = (f32::NAN, f32::NAN, f32::NAN);
            }
            self.runs.push(&row);
            let running_ms = self.runs.running_ms(row.end_ms);
            if running_ms.is_some() {
                let bucket =
                    ((row.end_ms - row.start_ms) / 100).clamp(0, SPANS as i64 - 1) as usize;
                self.running_spans[bucket] += 1;
            }
            running.push(running_ms.unwrap_or(RESTING));
        }
        self.runs.take_ended()
    }

    fn interrupt(&mut self, now_ms: i64) {
        self.signal.interrupt();
        self.runs.interrupt(now_ms);
    }

    /// Ends; gives the runs and rests that have ended with it.
    fn finish(mut self) -> (Facts, Vec<Ended>) {
        if let Some(last) = self.last_end_ms {
            self.facts.end_ms = last;
            self.interrupt(last);
        }
        let mut facts = self.facts;
        facts.loop_faults = self.signal.faults;
        let spans = self.running_spans.iter().enumerate();
        facts.row_s = median(spans.flat_map(|(n, count)| {
            std::iter::repeat_n((n as f64 + 0.5) / 10.0, (*count as usize).div_ceil(1000))
        }))
        .unwrap_or(self.short_row_s);
        (facts, self.runs.take_ended())
    }
}

impl Behind {
    /// Takes rows, with the time since the start of the run for each, or [`RESTING`], and the runs and
    /// rests that have ended with them.
    fn push(&mut self, rows: &Rows, part: Range<usize>, running: &[i64], ended: Vec<Ended>) {
        self.summed.take(ended);
        for (n, running_ms) in part.zip(running) {
            let row = &rows.row(n);
            if self.last_end_ms.is_some_and(|last| row.start_ms - last > self.gap_ms) {
                self.interrupt();
            }
            self.last_end_ms = Some(row.end_ms);
            let running_ms = (*running_ms != RESTING).then_some(*running_ms);
            self.voltage.push(row, running_ms.is_some());
            self.swing.push(row, running_ms);
            self.tally.push(row, running_ms.is_some());
        }
    }

    fn interrupt(&mut self) {
        self.voltage.interrupt();
        self.swing.interrupt();
    }
}
