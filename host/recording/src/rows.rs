//! Records of a logger → columns, in one pass.
//!
//! The journal's order is the order of events; the logger's clock may have jumped between them.
//! Rows are kept in *stretches* of undisturbed clock. Where the clock was set by more than drift
//! can explain, the stretch before was wrong by as much and is moved; where the clock fell back by
//! itself (its battery failed) and was not set again, the host's clock at download tells by how
//! much. What still overlaps after that is left out and counted: columns only run forward.

use crate::batch::{Batch, Event, Scale};
use crate::columns::Columns;
use crate::{Recording, Source, SourceKind, clock};
use pumpwitness_protocol::codec::Sink;
use pumpwitness_protocol::record::{CaptureBlock, Mark, Record, TimedMark};
use pumpwitness_protocol::settings::Settings;
use std::ops::Range;

/// What a clock crystal may drift by in a month or so (20 ppm, common practice, is 52 s in 30
/// days). A greater step of the clock is a correction of what was wrong before.
const DRIFT_MS: i64 = 60_000;
/// Times that are believed: 1970 to 2200.
pub(crate) const BELIEVED_MS: std::ops::Range<i64> = 0..7_258_118_400_000;

/// Makes a recording of records in the journal's order, measured under `settings`.
pub fn from_records(records: impl IntoIterator<Item = Record>, settings: &Settings) -> Recording {
    let scale = Scale::of(settings);
    let mut rows = Rows::new(scale);
    rows.merge(&mut batch_of(records, scale));
    rows.finish(None)
}

fn batch_of(records: impl IntoIterator<Item = Record>, scale: Scale) -> Batch {
    let mut batch = Batch::new(scale);
    let mut sink = &mut batch;
    for record in records {
        match record {
            Record::Interval(interval) => sink.interval(&interval),
            Record::Capture(block) => sink.capture(block),
            Record::Mark(mark) => sink.mark(mark),
        }
    }
    batch.settle();
    batch
}

/// A stretch of undisturbed clock: where it begins, and how far it is to be moved.
#[derive(Clone, Copy, Default)]
struct Stretch {
    row: usize,
    mark: usize,
    capture: usize,
    shift_ms: i64,
    /// The clock fell back by itself at its start.
    fell_back: bool,
}

/// Puts the parts of a journal together.
pub(crate) struct Rows {
    columns: Columns,
    marks: Vec<TimedMark>,
    captures: Vec<CaptureBlock>,
    stretches: Vec<Stretch>,
    losses: Vec<String>,
    before_arming: usize,
    unbelieved: usize,
}

impl Rows {
    pub(crate) fn new(scale: Scale) -> Self {
        Self {
            columns: scale.columns(),
            marks: Vec::new(),
            captures: Vec::new(),
            stretches: vec![Stretch::default()],
            losses: Vec::new(),
            before_arming: 0,
            unbelieved: 0,
        }
    }

    /// Makes room for about this many more rows, at once and not by and by: growing moves all
    /// there are.
    pub(crate) fn expect(&mut self, rows: usize) {
        self.columns.reserve(rows);
    }

    /// Adds a part, which must be settled and come next in the journal, and empties it.
    pub(crate) fn merge(&mut self, batch: &mut Batch) {
        let Batch { columns, events, turned_back, unbelieved, .. } = batch;
        self.unbelieved += *unbelieved;
        let mut turned_back = turned_back.iter().peekable();
        let mut row = 0;
        let mut push_rows = |rows: &mut Self, until: usize| {
            while row < until {
                let to = turned_back.peek().map_or(until, |at| until.min(**at));
                if to > row {
                    rows.push_rows(columns, row..to);
                    row = to;
                }
                // The next part of these rows begins where the clock turned back.
                turned_back.next_if(|at| **at <= row);
            }
        };
        for (before, event) in events.drain(..) {
            push_rows(self, before);
            match event {
                Event::Capture(block) => self.captures.push(block),
                Event::Mark(mark) => self.push_mark(mark),
            }
        }
        push_rows(self, columns.len());
        batch.clear();
    }

    /// Adds rows whose times run forward.
    fn push_rows(&mut self, from: &Columns, rows: Range<usize>) {
        let columns = &mut self.columns;
        let in_stretch = self.stretches.last().map_or(0, |stretch| stretch.row) < columns.len();
        let first_ms = from.end_ms[rows.start];
        if in_stretch && columns.end_ms.last().is_some_and(|last| first_ms <= *last) {
            self.stretches.push(Stretch {
                row: columns.len(),
                mark: self.marks.len(),
                capture: self.captures.len(),
                shift_ms: 0,
                fell_back: true,
            });
        }
        columns.end_ms.extend_from_slice(&from.end_ms[rows.clone()]);
        columns.span_ms.extend_from_slice(&from.span_ms[rows.clone()]);
        for (to, from) in columns.channels_mut().zip(from.channels()) {
            to.mean.extend_from_slice(&from.mean[rows.clone()]);
            to.min.extend_from_slice(&from.min[rows.clone()]);
            to.max.extend_from_slice(&from.max[rows.clone()]);
        }
        for (to, from) in columns.plain_mut().zip(from.plain()) {
            to.extend_from_slice(&from[rows.clone()]);
        }
    }

    fn push_mark(&mut self, mark: TimedMark) {
        match mark.mark {
            Mark::Armed => self.restart(),
            Mark::ClockSet { before_ms } => {
                let step_ms = mark.time_ms.saturating_sub(before_ms);
                self.losses.push(format!(
                    "the logger's clock was set by {} s, to {}",
                    step_ms as f64 / 1000.0,
                    clock::utc_text(mark.time_ms)
                ));
                if step_ms.saturating_abs() > DRIFT_MS
                    && let Some(stretch) = self.stretches.last_mut()
                {
                    stretch.shift_ms = step_ms;
                    stretch.fell_back = false;
                }
                self.stretches.push(Stretch {
                    row: self.columns.len(),
                    mark: self.marks.len(),
                    capture: self.captures.len(),
                    ..Stretch::default()
                });
            }
            _ => {}
        }
        self.marks.push(mark);
    }

    /// Recording counts from here: what was before belongs to another place or to the workshop.
    fn restart(&mut self) {
        self.before_arming += self.columns.len();
        self.columns.clear();
        self.marks.clear();
        self.captures.clear();
        self.losses.clear();
        self.stretches = vec![Stretch::default()];
    }

    /// The recording. `clock_offset_ms`: host time less logger time at download, where known.
    pub(crate) fn finish(mut self, clock_offset_ms: Option<i64>) -> Recording {
        if let (Some(last), Some(offset_ms)) = (self.stretches.last_mut(), clock_offset_ms)
            && last.fell_back
            && offset_ms > DRIFT_MS
        {
            last.shift_ms = offset_ms;
        }
        self.shift();
        let mut columns = std::mem::take(&mut self.columns);
        let overlapping = keep_forward(&mut columns);

        let mut losses = Vec::new();
        if self.before_arming > 0 {
            losses.push(format!(
                "{} rows from before the logger was armed were left out",
                self.before_arming
            ));
        }
        losses.append(&mut self.losses);
        if overlapping > 0 {
            losses.push(format!(
                "{overlapping} rows lie in a time already recorded, because the logger's clock \
                 was put back: they were left out"
            ));
        }
        if self.unbelieved > 0 {
            losses.push(format!(
                "{} rows carry a time before 1970 or after 2200: they were left out",
                self.unbelieved
            ));
        }
        self.marks.sort_by_key(|mark| mark.time_ms);
        Recording {
            columns,
            marks: self.marks,
            captures: self.captures,
            source: Source { kind: SourceKind::Archive, losses, ..Source::default() },
        }
    }

    /// Moves the stretches that a later event has shown to be wrong.
    fn shift(&mut self) {
        for at in 0..self.stretches.len() {
            let stretch = self.stretches[at];
            if stretch.shift_ms == 0 {
                continue;
            }
            let (row, mark, capture) = self
                .stretches
                .get(at + 1)
                .map_or((self.columns.len(), self.marks.len(), self.captures.len()), |next| {
                    (next.row, next.mark, next.capture)
                });
            let moved = |ms: &mut i64| *ms = ms.saturating_add(stretch.shift_ms);
            self.columns.end_ms[stretch.row..row].iter_mut().for_each(moved);
            for mark in &mut self.marks[stretch.mark..mark] {
                moved(&mut mark.time_ms);
                if let Mark::Voltage { start_ms, .. } = &mut mark.mark {
                    moved(start_ms);
                }
            }
            for block in &mut self.captures[stretch.capture..capture] {
                moved(&mut block.start_ms);
            }
            if row > stretch.row {
                self.losses.push(format!(
                    "{} rows were moved by {} s, as far as the logger's clock turned out to be \
                     wrong when they were recorded",
                    row - stretch.row,
                    stretch.shift_ms as f64 / 1000.0
                ));
            }
        }
    }
}

/// Leaves out rows that do not run forward and cuts spans to the row before; gives how many were
/// left out.
fn keep_forward(columns: &mut Columns) -> usize {
    let left_out = leave_out_turned_back(columns);
    for row in 1..columns.len() {
        let room = columns.end_ms[row] - columns.end_ms[row - 1];
        columns.span_ms[row] = columns.span_ms[row].min(u32::try_from(room).unwrap_or(u32::MAX));
    }
    left_out
}

fn leave_out_turned_back(columns: &mut Columns) -> usize {
    let believed = |end: Option<&i64>| end.is_none_or(|end| BELIEVED_MS.contains(end));
    let times = &columns.end_ms;
    // As it is mostly.
    if times.is_sorted_by(|a, b| a < b) && believed(times.first()) && believed(times.last()) {
        return 0;
    }
    let mut last = i64::MIN;
    let keep: Vec<bool> = times
        .iter()
        .map(|end| {
            let forward = *end > last && BELIEVED_MS.contains(end);
            if forward {
                last = *end;
            }
            forward
        })
        .collect();
    retain(&mut columns.end_ms, &keep);
    retain(&mut columns.span_ms, &keep);
    columns.each_mut(|values| retain(values, &keep));
    keep.iter().filter(|keep| !**keep).count()
}

fn retain<T>(values: &mut Vec<T>, keep: &[bool]) {
    let mut keep = keep.iter();
    values.retain(|_| keep.next().copied().unwrap_or(true));
}

#[cfg(test)]
#[path = "rows_tests.rs"]
mod tests;
