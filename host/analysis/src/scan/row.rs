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

    /// Moment at this share of the span.
    pub fn moment(&self, share: f64) -> i64 {
        self.start_ms + (share.clamp(0.0, 1.0) * (self.end_ms - self.start_ms) as f64) as i64
    }

    /// Something that took this share of the row and lies somewhere inside it: its middle is the
    /// best guess.
    pub fn middle(&self, share: f64) -> Stretch {
        let half = share / 2.0;
        Stretch { start_ms: self.moment(0.5 - half), end_ms: self.moment(0.5 + half) }
    }

    /// Something that took the last `share` of this row, and the first `last_share` of `last`.
    pub fn until(&self, share: f64, last: &Self, last_share: f64) -> Stretch {
        Stretch { start_ms: self.moment(1.0 - share), end_ms: last.moment(last_share) }
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
pub struct Rows<'a> {
    columns: &'a Columns,
    scale: Option<LoopScale>,
    reversed: bool,
}

impl<'a> Rows<'a> {
    /// Reads a batch; `reversed` turns the power round.
    pub fn new(columns: &'a Columns, scale: Option<LoopScale>, reversed: bool) -> Self {
        Self { columns, scale, reversed }
    }

    /// Row number `n`.
    pub fn row(&self, n: usize) -> Row {
        let columns = self.columns;
        let (v, v_min, v_max) = several(&columns.voltage_v, n);
        let (i, i_max) = largest(&columns.current_a, n);
        let (p, p_min, p_max) = columns.pressure_bar.as_ref().map_or(NONE, |c| triple(c, n));
        let (mut ma, mut ma_min, mut ma_max) =
            columns.loop_ma.as_ref().map_or(NONE, |c| triple(c, n));
        // Extremes of the pressure tell those of the loop where it has none of its own.
        if let Some(scale) = self.scale {
            if ma.is_nan() {
                ma = scale.ma(p);
            }
            if columns.loop_ma.as_ref().is_none_or(|c| !c.spread) {
                ma_min = ma.min(scale.ma(p_min));
                ma_max = ma.max(scale.ma(p_max));
            }
        }
        let plain = |column: &Option<Vec<f32>>| column.as_ref().map_or(f32::NAN, |c| c[n]);
        Row {
            start_ms: columns.start_ms(n),
            end_ms: columns.end_ms[n],
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
            w: if self.reversed { -plain(&columns.power_w) } else { plain(&columns.power_w) },
            f: plain(&columns.frequency_hz),
        }
    }
}

const NONE: (f32, f32, f32) = (f32::NAN, f32::NAN, f32::NAN);

fn triple(channel: &Channel, n: usize) -> (f32, f32, f32) {
    (channel.mean[n], channel.min[n], channel.max[n])
}

/// Mean of the means, lowest of the lowest, highest of the highest.
fn several(channels: &[Channel], n: usize) -> (f32, f32, f32) {
    match channels {
        [] => NONE,
        [only] => triple(only, n),
        many => {
            let mean = many.iter().map(|c| c.mean[n]).sum::<f32>() / many.len() as f32;
            let min = many.iter().map(|c| c.min[n]).fold(f32::NAN, f32::min);
            let max = many.iter().map(|c| c.max[n]).fold(f32::NAN, f32::max);
            (mean, min, max)
        }
    }
}

fn largest(channels: &[Channel], n: usize) -> (f32, f32) {
    match channels {
        [] => (f32::NAN, f32::NAN),
        [only] => (only.mean[n], only.max[n].max(only.mean[n])),
        many => (
            many.iter().map(|c| c.mean[n]).fold(f32::NAN, f32::max),
            many.iter().map(|c| c.max[n]).fold(f32::NAN, f32::max),
        ),
    }
}
