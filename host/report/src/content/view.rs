//! What every part of the report looks at: the input, the reader's units, the site's clock.

use crate::ReportInput;
use crate::format::significant;
use crate::picture::decimate::Series;
use crate::picture::stack::Line;
use crate::strings::pictures as words;
use crate::times::{Times, from_ms};
use crate::units::{Quantity, Reader, Style};
use pumpwitness_analysis::outcome::Analysis;
use pumpwitness_protocol::record::{LampState, Mark};
use pumpwitness_recording::{Channel, Columns};
use pumpwitness_site_file::Control;

/// The input, with units and clock settled.
pub struct View<'a> {
    /// The input.
    pub input: &'a ReportInput<'a>,
    /// The site's clock.
    pub times: Times,
    /// The reader's units.
    pub reader: Reader,
}

/// A watched lamp, and when it shone.
pub struct Lamp<'a> {
    /// The technician's words.
    pub label: &'a str,
    /// By rising time.
    pub lit: Vec<Lit>,
}

/// A time in which a lamp shone.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Lit {
    /// From, ms since 1970.
    pub from_ms: i64,
    /// To.
    pub to_ms: i64,
    /// It flashed.
    pub flashing: bool,
}

impl<'a> View<'a> {
    /// A view in `style`.
    pub fn new(input: &'a ReportInput<'a>, style: Style) -> Self {
        let recording = &input.analysis.recording;
        let zone = input.site.time_zone.as_deref();
        let times = Times::new(zone, style.clock, recording.start, recording.end);
        Self { input, times, reader: Reader(style) }
    }

    /// The analysis.
    pub fn analysis(&self) -> &'a Analysis {
        self.input.analysis
    }

    /// The rows.
    pub fn columns(&self) -> &'a Columns {
        &self.input.recording.columns
    }

    /// First and last moment of the record, ms since 1970; never empty.
    pub fn extent(&self) -> (i64, i64) {
        let recording = &self.analysis().recording;
        let from = recording.start.as_millisecond();
        (from, recording.end.as_millisecond().max(from + 1))
    }

    /// First voltage, where one was recorded.
    pub fn voltage(&self) -> Option<Series<'a>> {
        self.columns().voltage_v.first().and_then(|channel| self.filled(channel))
    }

    /// First current.
    pub fn current(&self) -> Option<Series<'a>> {
        self.columns().current_a.first().and_then(|channel| self.filled(channel))
    }

    /// Pressure.
    pub fn pressure(&self) -> Option<Series<'a>> {
        self.columns().pressure_bar.as_ref().and_then(|channel| self.filled(channel))
    }

    /// Loop current.
    pub fn loop_current(&self) -> Option<Series<'a>> {
        self.columns().loop_ma.as_ref().and_then(|channel| self.filled(channel))
    }

    /// Active power.
    pub fn power(&self) -> Option<Series<'a>> {
        self.columns().power_w.as_deref().and_then(|values| self.filled_plain(values))
    }

    /// Frequency.
    pub fn frequency(&self) -> Option<Series<'a>> {
        self.columns().frequency_hz.as_deref().and_then(|values| self.filled_plain(values))
    }

    /// Supply of the transducer.
    pub fn transducer_supply(&self) -> Option<Series<'a>> {
        self.columns().transducer_supply_v.as_deref().and_then(|values| self.filled_plain(values))
    }

    /// Every voltage or current, for pictures of several phases.
    pub fn filled(&self, channel: &'a Channel) -> Option<Series<'a>> {
        let rows = self.columns().len();
        let whole = [&channel.mean, &channel.min, &channel.max].iter().all(|c| c.len() == rows);
        (whole && channel.mean.iter().any(|value| value.is_finite())).then(|| Series::of(channel))
    }

    fn filled_plain(&self, values: &'a [f32]) -> Option<Series<'a>> {
        (values.len() == self.columns().len() && values.iter().any(|value| value.is_finite()))
            .then(|| Series::plain(values))
    }

    /// Levels that the site file declares for a quantity.
    pub fn declared(&self, quantity: Quantity) -> Vec<Line> {
        let site = self.input.site;
        let line = |value: f64, label: &str| Line { value, label: label.to_owned(), judged: false };
        match (quantity, site.control) {
            (Quantity::Volt, _) => vec![line(site.supply.nominal_v, words::NOMINAL)],
            (Quantity::Hertz, _) => vec![line(site.supply.frequency_hz, words::NOMINAL)],
            (Quantity::Ampere, _) => {
                let motor = site.motor;
                let mut lines = vec![line(motor.rated_current_a, words::RATED)];
                if motor.service_factor > 1.0 {
                    let value = motor.rated_current_a * motor.service_factor;
                    lines.push(line(value, &words::service(&significant(motor.service_factor, 3))));
                }
                lines
            }
            (Quantity::Bar, Some(Control::PressureSwitch { cut_in_bar, cut_out_bar })) => {
                vec![line(cut_in_bar, words::CUT_IN), line(cut_out_bar, words::CUT_OUT)]
            }
            (Quantity::Bar, Some(Control::ConstantPressure { setpoint_bar })) => {
                vec![line(setpoint_bar, words::SETPOINT)]
            }
            _ => Vec::new(),
        }
    }

    /// Watched lamps that shone at any time.
    pub fn lamps(&self) -> Vec<Lamp<'a>> {
        let (_, end) = self.extent();
        let lamps = self.input.site.lamps.iter().map(|(number, label)| {
            let mut lit = Vec::new();
            let mut since: Option<(i64, bool)> = None;
            let changes = self.input.recording.marks.iter().filter_map(|timed| match timed.mark {
                Mark::Lamp { lamp, state } if lamp == *number => Some((timed.time_ms, state)),
                _ => None,
            });
            for (at, state) in changes.chain([(end, LampState::Off)]) {
                if let Some((from_ms, flashing)) = since.take() {
                    lit.push(Lit { from_ms, to_ms: at, flashing });
                }
                since = match state {
                    LampState::Off => None,
                    LampState::On => Some((at, false)),
                    LampState::Flashing(_) => Some((at, true)),
                };
            }
            Lamp { label, lit }
        });
        lamps.filter(|lamp| !lamp.lit.is_empty()).collect()
    }

    /// The date, or the two dates, of a stretch.
    pub fn dates(&self, from_ms: i64, to_ms: i64) -> String {
        let (from, to) = (from_ms_date(self, from_ms), from_ms_date(self, to_ms - 1));
        if from == to { from } else { format!("{from} to {to}") }
    }

    /// Usual length of a row between two moments, s.
    pub fn row_s(&self, from_ms: i64, to_ms: i64) -> Option<f64> {
        let columns = self.columns();
        let first = columns.end_ms.partition_point(|end| *end <= from_ms);
        let last = columns.end_ms.partition_point(|end| *end <= to_ms).max(first);
        // Of many rows every n-th tells the usual length as well.
        let every = ((last - first) / 65_536).max(1);
        let spans = columns.span_ms.get(first..last)?;
        let mut spans: Vec<u32> = spans.iter().copied().step_by(every).collect();
        let middle = spans.len() / 2;
        (!spans.is_empty()).then(|| f64::from(*spans.select_nth_unstable(middle).1) / 1000.0)
    }
}

fn from_ms_date(view: &View<'_>, ms: i64) -> String {
    view.times.date(from_ms(ms))
}
