//! Columns: rows of a recording, channel by channel, in units a person uses.

/// Mean, minimum and maximum over each row's span. All three have one value a row; where the
/// source has no minimum and maximum of its own, they equal the mean and `spread` is false.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Channel {
    /// Mean over the span (r.m.s. for voltage and current). NaN where the row has no value.
    pub mean: Vec<f32>,
    /// Smallest value inside the span.
    pub min: Vec<f32>,
    /// Largest value inside the span.
    pub max: Vec<f32>,
    /// True when `min` and `max` were measured and are not copies of `mean`.
    pub spread: bool,
}

/// A stretch of rows in time order. A channel that was not recorded is `None`; all others have as
/// many values as `end_ms`.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Columns {
    /// End of the span each row sums up, ms since 1970-01-01T00:00:00Z, strictly increasing.
    pub end_ms: Vec<i64>,
    /// Length of the span, ms; never reaches back beyond the row before.
    pub span_ms: Vec<u32>,
    /// Line voltage, V r.m.s.; extremes are half-cycle values (IEC 61000-4-30 U_rms(1/2)) when
    /// the source has them. Channel 0 first; three where three phases were recorded.
    pub voltage_v: Vec<Channel>,
    /// Motor current, A r.m.s.; channel 0 first.
    pub current_a: Vec<Channel>,
    /// Pressure, bar gauge, by a straight line from the transducer signal, never clamped: an open
    /// loop reads below zero.
    pub pressure_bar: Option<Channel>,
    /// Loop current, mA, where the transducer is a 4–20 mA loop.
    pub loop_ma: Option<Channel>,
    /// Active power, W.
    pub power_w: Option<Vec<f32>>,
    /// Frequency of the incoming supply, Hz; 0 during an interruption.
    pub frequency_hz: Option<Vec<f32>>,
    /// Transducer supply, V.
    pub transducer_supply_v: Option<Vec<f32>>,
}

impl Columns {
    /// Number of rows.
    pub fn len(&self) -> usize {
        self.end_ms.len()
    }

    /// True when there is no row.
    pub fn is_empty(&self) -> bool {
        self.end_ms.is_empty()
    }

    /// All channels: voltage, current, pressure, loop current.
    pub(crate) fn channels(&self) -> impl Iterator<Item = &Channel> {
        let Self { voltage_v, current_a, pressure_bar, loop_ma, .. } = self;
        voltage_v.iter().chain(current_a).chain(pressure_bar).chain(loop_ma)
    }

    /// The same, to be changed.
    pub(crate) fn channels_mut(&mut self) -> impl Iterator<Item = &mut Channel> {
        let Self { voltage_v, current_a, pressure_bar, loop_ma, .. } = self;
        voltage_v.iter_mut().chain(current_a).chain(pressure_bar).chain(loop_ma)
    }

    /// All columns that are no channels: power, frequency, transducer supply.
    pub(crate) fn plain(&self) -> impl Iterator<Item = &Vec<f32>> {
        self.power_w.iter().chain(&self.frequency_hz).chain(&self.transducer_supply_v)
    }

    /// The same, to be changed.
    pub(crate) fn plain_mut(&mut self) -> impl Iterator<Item = &mut Vec<f32>> {
        let Self { power_w, frequency_hz, transducer_supply_v, .. } = self;
        power_w.iter_mut().chain(frequency_hz).chain(transducer_supply_v)
    }

    /// Does the same with all values of the channels and the plain columns.
    pub(crate) fn each_mut(&mut self, mut change: impl FnMut(&mut Vec<f32>)) {
        for channel in self.channels_mut() {
            change(&mut channel.mean);
            change(&mut channel.min);
            change(&mut channel.max);
        }
        self.plain_mut().for_each(change);
    }

    /// Takes all rows out; the room for them stays.
    pub(crate) fn clear(&mut self) {
        self.end_ms.clear();
        self.span_ms.clear();
        self.each_mut(Vec::clear);
    }

    /// Makes room for this many more rows.
    pub(crate) fn reserve(&mut self, rows: usize) {
        self.end_ms.reserve_exact(rows);
        self.span_ms.reserve_exact(rows);
        self.each_mut(|values| values.reserve_exact(rows));
    }

    /// Start of row `row`, ms since 1970.
    pub fn start_ms(&self, row: usize) -> i64 {
        self.end_ms[row] - i64::from(self.span_ms[row])
    }
}
