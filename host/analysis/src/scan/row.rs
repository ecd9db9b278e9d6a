//! One row with every channel as a plain number; NaN where there is none.

use crate::facts::Stretch;
use pumpwitness_recording::Columns;
use pumpwitness_recording::columns::Channel;

/// One row.
#[derive(Clone, Copy, Debug)]
pub struct Row {
    /// Start of the span, ms since 1970.
    pub start_ms: i64,
    /// End of the span.
    pub end_ms: i64,
    /// Voltage, V: mean over phases, lowest and highest of all phases.
    pub v: f32,
    /// Lowest.
    pub v_min: f32,
    /// Highest.
    pub v_max: f32,
    /// Current, A: largest phase.
    pub i: f32,
    /// Highest.
    pub i_max: f32,
    /// Pressure, bar.
    pub p: f32,
    /// Lowest.
    pub p_min: f32,
    /// Highest.
    pub p_max: f32,
    /// Loop current, mA.
    pub ma: f32,
    /// Lowest.
    pub ma_min: f32,
    /// Highest.
    pub ma_max: f32,
    /// Power, W.
    pub w: f32,
    /// Frequency, Hz.
    pub f: f32,
}

impl Row {
    /// Span, s.
    pub fn seconds(&self) -> f64 {
        (self.end_ms - self.start_ms) as f64 / 1000.0
    }

    /// Start to end.
    pub fn time(&self) -> Stretch {
        Stretch { start_ms: self.start_ms, end_ms: self.end_ms }
    }

    /// Moment at this share of the span.
    pub fn moment(&self, share: f64) -> i64 {
        self.time().moment(share)
    }
}

impl Stretch {
    /// Moment at this share of it.
    pub(super) fn moment(&self, share: f64) -> i64 {
        self.start_ms + (share.clamp(0.0, 1.0) * (self.end_ms - self.start_ms) as f64) as i64
    }

    /// Something that took this share of a row's time and lies somewhere inside it: its middle is
    /// the best guess.
    pub(super) fn middle(&self, share: f64) -> Self {
        let half = share / 2.0;
        Self { start_ms: self.moment(0.5 - half), end_ms: self.moment(0.5 + half) }
    }

    /// Something that took the last `share` of this row's time, and the first `last_share` of that
    /// of `last`.
    pub(super) fn until(&self, share: f64, last: &Self, last_share: f64) -> Self {
        Self { start_ms: self.moment(1.0 - share), end_ms: last.moment(last_share) }
    }
}

/// Span of the pressure transducer, to turn pressure back into loop current.
#[derive(Clone, Copy, Debug)]
pub struct LoopScale {
    /// Pressure at 4 mA, bar.
    pub low_bar: f32,
    /// mA per bar.
    pub ma_per_bar: f32,
}

impl LoopScale {
    fn ma(self, bar: f32) -> f32 {
        4.0 + (bar - self.low_bar) * self.ma_per_bar
    }
}

/// Row after row of a batch.
#[derive(Clone, Copy)]
pub struct Rows<'a> {
    end_ms: &'a [i64],
    span_ms: &'a [u32],
    volts: Lines<'a>,
    amps: Lines<'a>,
    bar: Triple<'a>,
    loop_ma: Triple<'a>,
    /// True where the extremes of the loop were measured.
    loop_spread: bool,
    watts: &'a [f32],
    hertz: &'a [f32],
    scale: Option<LoopScale>,
    reversed: bool,
}

impl<'a> Rows<'a> {
    /// Reads a batch; `reversed` turns the power round.
    pub fn new(columns: &'a Columns, scale: Option<LoopScale>, reversed: bool) -> Self {
        let triple = |channel: &'a Option<Channel>| channel.as_ref().map_or(NONE, Triple::of);
        Self {
            end_ms: &columns.end_ms,
            span_ms: &columns.span_ms,
            volts: Lines::of(&columns.voltage_v),
            amps: Lines::of(&columns.current_a),
            bar: triple(&columns.pressure_bar),
            loop_ma: triple(&columns.loop_ma),
            loop_spread: columns.loop_ma.as_ref().is_some_and(|c| c.spread),
            watts: columns.power_w.as_deref().unwrap_or(&[]),
            hertz: columns.frequency_hz.as_deref().unwrap_or(&[]),
            scale,
            reversed,
        }
    }

    /// How many there are.
    pub fn len(&self) -> usize {
        self.end_ms.len()
    }

    /// Row number `n`. Whoever needs a part of it only does not pay for the rest.
    #[inline(always)]
    #[allow(clippy::inline_always)]
    pub fn row(&self, n: usize) -> Row {
        let (v, v_min, v_max) = match self.volts {
            Lines::One(only) => only.at(n),
            Lines::Several(many) => several(many, n),
        };
        let (i, i_max) = match self.amps {
            Lines::One(only) => {
                let (mean, _, max) = only.at(n);
                (mean, max.max(mean))
            }
            Lines::Several(many) => largest(many, n),
        };
        let (p, p_min, p_max) = self.bar.at(n);
        let (mut ma, mut ma_min, mut ma_max) = self.loop_ma.at(n);
        // Extremes of the pressure tell those of the loop where it has none of its own.
        if let Some(scale) = self.scale {
            if ma.is_nan() {
                ma = scale.ma(p);
            }
            if !self.loop_spread {
                ma_min = ma.min(scale.ma(p_min));
                ma_max = ma.max(scale.ma(p_max));
            }
        }
        let watts = at(self.watts, n);
        let end_ms = self.end_ms[n];
        Row {
            start_ms: end_ms - i64::from(self.span_ms[n]),
            end_ms,
            v,
            v_min,
            v_max,
            i,
            i_max,
            p,
            p_min,
            p_max,
            ma,
            ma_min,
            ma_max,
            w: if self.reversed { -watts } else { watts },
            f: at(self.hertz, n),
        }
    }
}

/// The values of a channel; empty where there is none.
#[derive(Clone, Copy)]
struct Triple<'a> {
    mean: &'a [f32],
    min: &'a [f32],
    max: &'a [f32],
}

const NONE: Triple<'_> = Triple { mean: &[], min: &[], max: &[] };

impl<'a> Triple<'a> {
    fn of(channel: &'a Channel) -> Self {
        Self { mean: &channel.mean, min: &channel.min, max: &channel.max }
    }

    #[inline(always)]
    #[allow(clippy::inline_always)]
    fn at(&self, n: usize) -> (f32, f32, f32) {
        (at(self.mean, n), at(self.min, n), at(self.max, n))
    }
}

#[inline(always)]
#[allow(clippy::inline_always)]
fn at(values: &[f32], n: usize) -> f32 {
    values.get(n).copied().unwrap_or(f32::NAN)
}

/// Voltages or currents: of one line, or none; or of several.
#[derive(Clone, Copy)]
enum Lines<'a> {
    One(Triple<'a>),
    Several(&'a [Channel]),
}

impl<'a> Lines<'a> {
    fn of(channels: &'a [Channel]) -> Self {
        match channels {
            [] => Self::One(NONE),
            [only] => Self::One(Triple::of(only)),
            many => Self::Several(many),
        }
    }
}

/// Mean of the means, lowest of the lowest, highest of the highest.
#[inline(never)]
fn several(many: &[Channel], n: usize) -> (f32, f32, f32) {
    let mean = many.iter().map(|c| c.mean[n]).sum::<f32>() / many.len() as f32;
    let min = many.iter().map(|c| c.min[n]).fold(f32::NAN, f32::min);
    let max = many.iter().map(|c| c.max[n]).fold(f32::NAN, f32::max);
    (mean, min, max)
}

#[inline(never)]
fn largest(many: &[Channel], n: usize) -> (f32, f32) {
    (
        many.iter().map(|c| c.mean[n]).fold(f32::NAN, f32::max),
        many.iter().map(|c| c.max[n]).fold(f32::NAN, f32::max),
    )
}
