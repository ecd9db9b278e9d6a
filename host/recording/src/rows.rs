//! Records of a logger → columns, in one pass.
//!
//! The journal's order is the order of events; the logger's clock may have jumped between them.
//! Rows are kept in *stretches* of undisturbed clock. Where the clock was set by more than drift
//! can explain, the stretch before was wrong by as much and is moved; where the clock fell back by
//! itself (its battery failed) and was not set again, the host's clock at download tells by how
//! much. What still overlaps after that is left out and counted: columns only run forward.

use crate::columns::{Channel, Columns};
use crate::transducer::Line;
use crate::{Recording, Source, SourceKind, clock};
use pumpwitness_protocol::record::{CaptureBlock, Interval, Mark, Record, Spread, TimedMark};
use pumpwitness_protocol::settings::{Settings, TransducerKind};
use pumpwitness_site_file as site_file;

/// Steps of the loop signal in a mA (a step is 2 µA).
const STEPS_PER_MA: f32 = 500.0;
/// Steps of the ratiometric signal in the whole supply.
const STEPS_PER_SUPPLY: f32 = 10_000.0;
/// What a clock crystal may drift by in a month or so (20 ppm, common practice, is 52 s in 30
/// days). A greater step of the clock is a correction of what was wrong before.
const DRIFT_MS: i64 = 60_000;
/// Times that are believed: 1970 to 2200.
pub(crate) const BELIEVED_MS: std::ops::Range<i64> = 0..7_258_118_400_000;

/// Makes a recording of records in the journal's order, measured under `settings`.
pub fn from_records(records: impl IntoIterator<Item = Record>, settings: &Settings) -> Recording {
    let mut rows = Rows::new(settings);
    for record in records {
        rows.push(record);
    }
    rows.finish(None)
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

/// Collects records.
pub(crate) struct Rows {
    kind: TransducerKind,
    line: Line,
    columns: Columns,
    signal: Channel,
    power_w: Vec<f32>,
    frequency_hz: Vec<f32>,
    marks: Vec<TimedMark>,
    captures: Vec<CaptureBlock>,
    stretches: Vec<Stretch>,
    losses: Vec<String>,
    before_arming: usize,
    unbelieved: usize,
}

impl Rows {
    pub(crate) fn new(settings: &Settings) -> Self {
        let bar = |mbar: i32| f64::from(mbar) / 1000.0;
        let kind = match settings.transducer {
            TransducerKind::Ratiometric => site_file::TransducerKind::Ratiometric,
            TransducerKind::Loop | TransducerKind::Absent => site_file::TransducerKind::Loop,
        };
        let measured = || Channel { spread: true, ..Channel::default() };
        Self {
            kind: settings.transducer,
            line: Line::of(kind, bar(settings.low_mbar), bar(settings.high_mbar)),
            columns: Columns {
                voltage_v: vec![measured()],
                current_a: vec![measured()],
                ..Columns::default()
            },
            signal: measured(),
            power_w: Vec::new(),
            frequency_hz: Vec::new(),
            marks: Vec::new(),
            captures: Vec::new(),
            stretches: vec![Stretch::default()],
            losses: Vec::new(),
            before_arming: 0,
            unbelieved: 0,
        }
    }

    pub(crate) fn push(&mut self, record: Record) {
        match record {
            Record::Interval(interval) => self.push_interval(&interval),
            Record::Capture(capture) => self.captures.push(capture),
            Record::Mark(mark) => self.push_mark(mark),
        }
    }

    fn push_interval(&mut self, interval: &Interval) {
        if !BELIEVED_MS.contains(&interval.end_ms) {
            self.unbelieved += 1;
            return;
        }
        let columns = &mut self.columns;
        let in_stretch = self.stretches.last().map_or(0, |stretch| stretch.row) < columns.len();
        if in_stretch && columns.end_ms.last().is_some_and(|last| interval.end_ms <= *last) {
            self.stretches.push(Stretch {
                row: columns.len(),
                mark: self.marks.len(),
                capture: self.captures.len(),
                shift_ms: 0,
                fell_back: true,
            });
        }
        columns.end_ms.push(interval.end_ms);
        columns.span_ms.push(interval.span_ms);
        push_spread(&mut columns.voltage_v[0], interval.voltage_dv, 10.0);
        push_spread(&mut columns.current_a[0], interval.current_ca, 100.0);
        let per_unit = match self.kind {
            TransducerKind::Ratiometric => STEPS_PER_SUPPLY,
            TransducerKind::Loop | TransducerKind::Absent => STEPS_PER_MA,
        };
        push_spread(&mut self.signal, interval.signal, per_unit);
        self.power_w.push(interval.power_w as f32);
        self.frequency_hz.push(f32::from(interval.frequency_chz) / 100.0);
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
        self.columns.end_ms.clear();
        self.columns.span_ms.clear();
        for channel in
            [&mut self.columns.voltage_v[0], &mut self.columns.current_a[0], &mut self.signal]
        {
            channel.mean.clear();
            channel.min.clear();
            channel.max.clear();
        }
        self.power_w.clear();
        self.frequency_hz.clear();
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
        let signal = std::mem::take(&mut self.signal);
        let mut columns = std::mem::take(&mut self.columns);
        if self.kind != TransducerKind::Absent {
            columns.pressure_bar = Some(self.line.channel(&signal));
        }
        if self.kind == TransducerKind::Loop {
            columns.loop_ma = Some(signal);
        }
        columns.power_w = Some(self.power_w);
        columns.frequency_hz = Some(self.frequency_hz);
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

fn push_spread(channel: &mut Channel, spread: Spread, per_unit: f32) {
    channel.mean.push(spread.mean as f32 / per_unit);
    channel.min.push(spread.min as f32 / per_unit);
    channel.max.push(spread.max as f32 / per_unit);
}

/// Leaves out rows that do not run forward and cuts spans to the row before; gives how many were
/// left out.
fn keep_forward(columns: &mut Columns) -> usize {
    let mut last = i64::MIN;
    let keep: Vec<bool> = columns
        .end_ms
        .iter()
        .map(|end| {
            let forward = *end > last && BELIEVED_MS.contains(end);
            if forward {
                last = *end;
            }
            forward
        })
        .collect();
    let left_out = keep.iter().filter(|keep| !**keep).count();
    if left_out > 0 {
        retain(&mut columns.end_ms, &keep);
        retain(&mut columns.span_ms, &keep);
        let channels = columns
            .voltage_v
            .iter_mut()
            .chain(&mut columns.current_a)
            .chain(&mut columns.pressure_bar)
            .chain(&mut columns.loop_ma);
        for channel in channels {
            retain(&mut channel.mean, &keep);
            retain(&mut channel.min, &keep);
            retain(&mut channel.max, &keep);
        }
        for values in columns.power_w.iter_mut().chain(&mut columns.frequency_hz) {
            retain(values, &keep);
        }
    }
    for row in 1..columns.len() {
        let room = columns.end_ms[row] - columns.end_ms[row - 1];
        columns.span_ms[row] = columns.span_ms[row].min(u32::try_from(room).unwrap_or(u32::MAX));
    }
    left_out
}

fn retain<T>(values: &mut Vec<T>, keep: &[bool]) {
    let mut keep = keep.iter();
    values.retain(|_| keep.next().copied().unwrap_or(true));
}

#[cfg(test)]
#[path = "rows_tests.rs"]
mod tests;
