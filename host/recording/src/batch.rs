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
/// Intervals that are turned into columns at a time: few enough to stay in the nearest memory.
const TURNED_AT_ONCE: usize = 256;

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
    waiting: Vec<Interval>,
}

impl Batch {
    pub(crate) fn new(scale: Scale) -> Self {
        Self {
            scale,
            columns: scale.columns(),
            events: Vec::new(),
            turned_back: Vec::new(),
            unbelieved: 0,
            waiting: Vec::with_capacity(TURNED_AT_ONCE),
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
        let rows = &self.waiting[..];
        let columns = &mut self.columns;
        let mut last = columns.end_ms.last().copied().unwrap_or(i64::MIN);
        for (row, interval) in rows.iter().enumerate() {
            if interval.end_ms <= last {
                self.turned_back.push(columns.end_ms.len() + row);
            }
            last = interval.end_ms;
        }
        columns.end_ms.extend(rows.iter().map(|row| row.end_ms));
        columns.span_ms.extend(rows.iter().map(|row| row.span_ms));
        extend(&mut columns.voltage_v[0], rows, |row| row.voltage_dv, |steps| steps / 10.0);
        extend(&mut columns.current_a[0], rows, |row| row.current_ca, |steps| steps / 100.0);
        let signal = |row: &Interval| row.signal;
        let per_unit = match self.scale.kind {
            TransducerKind::Ratiometric => STEPS_PER_SUPPLY,
            TransducerKind::Loop | TransducerKind::Absent => STEPS_PER_MA,
        };
        if let Some(loop_ma) = &mut columns.loop_ma {
            extend(loop_ma, rows, signal, |steps| steps / per_unit);
        }
        if let Some(pressure_bar) = &mut columns.pressure_bar {
            let line = self.scale.line;
            let bar = |steps: f32| line.bar(f64::from(steps / per_unit)) as f32;
            extend(pressure_bar, rows, signal, bar);
        }
        if let Some(power_w) = &mut columns.power_w {
            power_w.extend(rows.iter().map(|row| row.power_w as f32));
        }
        if let Some(frequency_hz) = &mut columns.frequency_hz {
            frequency_hz.extend(rows.iter().map(|row| f32::from(row.frequency_chz) / 100.0));
        }
        self.waiting.clear();
    }
}

/// Adds the values of a channel, turned from steps into its unit.
#[inline]
fn extend(
    channel: &mut Channel,
    rows: &[Interval],
    spread: impl Fn(&Interval) -> Spread,
    unit: impl Fn(f32) -> f32,
) {
    channel.mean.extend(rows.iter().map(|row| unit(spread(row).mean as f32)));
    channel.min.extend(rows.iter().map(|row| unit(spread(row).min as f32)));
    channel.max.extend(rows.iter().map(|row| unit(spread(row).max as f32)));
}

impl Sink for &mut Batch {
    #[inline]
    fn interval(&mut self, interval: &Interval) {
        if !BELIEVED_MS.contains(&interval.end_ms) {
            self.unbelieved += 1;
            return;
        }
        self.waiting.push(*interval);
        if self.waiting.len() == TURNED_AT_ONCE {
            self.settle();
        }
    }

    fn capture(&mut self, block: CaptureBlock) {
        self.events.push((self.columns.len() + self.waiting.len(), Event::Capture(block)));
    }

    fn mark(&mut self, mark: TimedMark) {
        self.events.push((self.columns.len() + self.waiting.len(), Event::Mark(mark)));
    }
}
