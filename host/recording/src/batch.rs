//! Records of a part of the journal → columns of their own, so that the parts of an archive can be
//! read on all cores; [`crate::rows`] puts them together in order.

use crate::columns::{Channel, Columns};
use crate::rows::BELIEVED_MS;
use crate::transducer::Line;
use pumpwitness_protocol::codec::Sink;
use pumpwitness_protocol::record::{CaptureBlock, Interval, Spread, TimedMark};
use pumpwitness_protocol::settings::{Settings, TransducerKind};
use pumpwitness_site_file as site_file;

/// Steps of the loop signal in a mA (a step is 2 µA).
const STEPS_PER_MA: f32 = 500.0;
/// Steps of the ratiometric signal in the whole supply.
const STEPS_PER_SUPPLY: f32 = 10_000.0;
/// Intervals that are turned into columns at a time: few enough to stay in the nearest memory. A
/// power of two.
const TURNED_AT_ONCE: usize = 128;

/// What the signal of a transducer means.
#[derive(Clone, Copy)]
pub(crate) struct Scale {
    kind: TransducerKind,
    line: Line,
}

impl Scale {
    pub(crate) fn of(settings: &Settings) -> Self {
        let bar = |mbar: i32| f64::from(mbar) / 1000.0;
        let kind = match settings.transducer {
            TransducerKind::Ratiometric => site_file::TransducerKind::Ratiometric,
            TransducerKind::Loop | TransducerKind::Absent => site_file::TransducerKind::Loop,
        };
        Self {
            kind: settings.transducer,
            line: Line::of(kind, bar(settings.low_mbar), bar(settings.high_mbar)),
        }
    }

    /// Columns without rows: those that a logger with such a transducer records.
    pub(crate) fn columns(self) -> Columns {
        let measured = || Channel { spread: true, ..Channel::default() };
        Columns {
            voltage_v: vec![measured()],
            current_a: vec![measured()],
            pressure_bar: (self.kind != TransducerKind::Absent).then(measured),
            loop_ma: (self.kind == TransducerKind::Loop).then(measured),
            power_w: Some(Vec::new()),
            frequency_hz: Some(Vec::new()),
            ..Columns::default()
        }
    }
}

/// A record between rows.
#[allow(clippy::large_enum_variant)] // most are captures
pub(crate) enum Event {
    Capture(CaptureBlock),
    Mark(TimedMark),
}

/// Records in the order of the journal: rows, and events between them.
pub(crate) struct Batch {
    scale: Scale,
    pub(crate) columns: Columns,
    /// Events, and how many rows come before each.
    pub(crate) events: Vec<(usize, Event)>,
    /// Rows that do not end after the row before.
    pub(crate) turned_back: Vec<usize>,
    /// Rows left out because their time is not believed.
    pub(crate) unbelieved: usize,
    waiting: Box<Waiting>,
}

impl Batch {
    pub(crate) fn new(scale: Scale) -> Self {
        Self {
            scale,
            columns: scale.columns(),
            events: Vec::new(),
            turned_back: Vec::new(),
            unbelieved: 0,
            waiting: Box::new(Waiting::EMPTY),
        }
    }

    /// Empties it; what room it has taken stays.
    pub(crate) fn clear(&mut self) {
        self.columns.clear();
        self.events.clear();
        self.turned_back.clear();
        self.unbelieved = 0;
    }

    /// Turns the intervals that wait into columns; to be called when all records are in.
    pub(crate) fn settle(&mut self) {
        let Waiting { rows, end_ms, span_ms, voltage, current, signal, power_w, frequency_chz } =
            &mut *self.waiting;
        let rows = std::mem::take(rows).min(TURNED_AT_ONCE);
        let columns = &mut self.columns;
        let end_ms = &end_ms[..rows];
        let mut last = columns.end_ms.last().copied().unwrap_or(i64::MIN);
        for (row, end_ms) in end_ms.iter().enumerate() {
            if *end_ms <= last {
                self.turned_back.push(columns.end_ms.len() + row);
            }
            last = *end_ms;
        }
        columns.end_ms.extend_from_slice(end_ms);
        columns.span_ms.extend_from_slice(&span_ms[..rows]);
        voltage.extend(&mut columns.voltage_v[0], rows, |steps| steps / 10.0);
        current.extend(&mut columns.current_a[0], rows, |steps| steps / 100.0);
        let per_unit = match self.scale.kind {
            TransducerKind::Ratiometric => STEPS_PER_SUPPLY,
            TransducerKind::Loop | TransducerKind::Absent => STEPS_PER_MA,
        };
        if let Some(loop_ma) = &mut columns.loop_ma {
            signal.extend(loop_ma, rows, |steps| steps / per_unit);
        }
        if let Some(pressure_bar) = &mut columns.pressure_bar {
            let line = self.scale.line;
            let bar = |steps: f32| line.bar(f64::from(steps / per_unit)) as f32;
            signal.extend(pressure_bar, rows, bar);
        }
        if let Some(column) = &mut columns.power_w {
            column.extend(power_w[..rows].iter().map(|watts| *watts as f32));
        }
        if let Some(column) = &mut columns.frequency_hz {
            column.extend(frequency_chz[..rows].iter().map(|chz| *chz as f32 / 100.0));
        }
    }
}

/// Intervals as they come, field by field, so that several are turned in one step.
struct Waiting {
    rows: usize,
    end_ms: [i64; TURNED_AT_ONCE],
    span_ms: [u32; TURNED_AT_ONCE],
    voltage: Steps,
    current: Steps,
    signal: Steps,
    power_w: [i32; TURNED_AT_ONCE],
    frequency_chz: [i32; TURNED_AT_ONCE],
}

impl Waiting {
    const EMPTY: Self = Self {
        rows: 0,
        end_ms: [0; TURNED_AT_ONCE],
        span_ms: [0; TURNED_AT_ONCE],
        voltage: Steps::EMPTY,
        current: Steps::EMPTY,
        signal: Steps::EMPTY,
        power_w: [0; TURNED_AT_ONCE],
        frequency_chz: [0; TURNED_AT_ONCE],
    };

    /// Takes one; true when there is no room for another.
    #[inline]
    fn push(&mut self, interval: &Interval) -> bool {
        // It is within anyway; so said, it needs no check.
        let row = self.rows % TURNED_AT_ONCE;
        self.end_ms[row] = interval.end_ms;
        self.span_ms[row] = interval.span_ms;
        self.voltage.put(row, interval.voltage_dv);
        self.current.put(row, interval.current_ca);
        self.signal.put(row, interval.signal);
        self.power_w[row] = interval.power_w;
        self.frequency_chz[row] = interval.frequency_chz.into();
        self.rows = row + 1;
        self.rows == TURNED_AT_ONCE
    }
}

/// Steps of a channel.
struct Steps {
    mean: [i32; TURNED_AT_ONCE],
    min: [i32; TURNED_AT_ONCE],
    max: [i32; TURNED_AT_ONCE],
}

impl Steps {
    const EMPTY: Self =
        Self { mean: [0; TURNED_AT_ONCE], min: [0; TURNED_AT_ONCE], max: [0; TURNED_AT_ONCE] };

    #[inline]
    fn put(&mut self, row: usize, spread: Spread) {
        self.mean[row] = spread.mean;
        self.min[row] = spread.min;
        self.max[row] = spread.max;
    }

    /// Adds the first `rows` to a channel, turned from steps into its unit.
    #[inline]
    fn extend(&self, channel: &mut Channel, rows: usize, unit: impl Fn(f32) -> f32) {
        let turned = |steps: &[i32; TURNED_AT_ONCE], to: &mut Vec<f32>| {
            to.extend(steps[..rows].iter().map(|steps| unit(*steps as f32)));
        };
        turned(&self.mean, &mut channel.mean);
        turned(&self.min, &mut channel.min);
        turned(&self.max, &mut channel.max);
    }
}

impl Sink for &mut Batch {
    #[inline]
    fn interval(&mut self, interval: &Interval) {
        if !BELIEVED_MS.contains(&interval.end_ms) {
            self.unbelieved += 1;
            return;
        }
        if self.waiting.push(interval) {
            self.settle();
        }
    }

    fn capture(&mut self, block: CaptureBlock) {
        self.events.push((self.columns.len() + self.waiting.rows, Event::Capture(block)));
    }

    fn mark(&mut self, mark: TimedMark) {
        self.events.push((self.columns.len() + self.waiting.rows, Event::Mark(mark)));
    }
}
