//! Facts: what one pass over the rows leaves behind. Plain values, no judgement.

/// Standard atmosphere, bar: turns gauge into absolute pressure (ISO 2533).
pub const ATMOSPHERE_BAR: f64 = 1.013_25;

/// Everything the pass leaves behind.
#[derive(Clone, Debug, Default)]
pub struct Facts {
    /// First and last moment covered, ms since 1970.
    pub start_ms: i64,
    /// Last moment covered.
    pub end_ms: i64,
    /// Time covered by rows, ms.
    pub covered_ms: i64,
    /// Rows.
    pub rows: usize,
    /// Usual length of a row while the pump runs, s.
    pub row_s: f64,
    /// Stretches without rows.
    pub gaps: Vec<Stretch>,
    /// Which channels hold values.
    pub has: Has,
    /// Runs in time order.
    pub runs: Vec<RunFacts>,
    /// Rests in time order: from a stop (or the beginning) to the next start (or the end).
    pub rests: Vec<RestFacts>,
    /// Dips, swells and interruptions in time order.
    pub voltage_events: Vec<VoltageEvent>,
    /// Loop faults in time order.
    pub loop_faults: Vec<LoopFault>,
    /// Stretches of low or high voltage longer than a dip or swell, in time order.
    pub sustained: Vec<Sustained>,
    /// Under constant-pressure control: how long the pressure stood at each value while the pump
    /// ran, by load; in order of pressure.
    pub pressure_load: Vec<PressureLoad>,
    /// Stretches of steady swinging of the pressure.
    pub swings: Vec<Swing>,
    /// Noise of the pressure reading while the pump ran, standard deviation, bar; under
    /// constant-pressure control only.
    pub noise_bar: f64,
    /// One minute each, in time order, minutes without rows left out.
    pub minutes: Vec<Minute>,
    /// Time spent by voltage, in steps of 0.1 % of nominal: (per mille of nominal, s).
    pub voltage_time: Vec<(u32, f64)>,
    /// Worst voltage unbalance held for ten minutes, share of the mean (NEMA MG 1), and the
    /// negative-sequence share (IEC 61000-4-30); three voltages only.
    pub unbalance: Option<(f64, f64)>,
    /// Time with one of three currents below a tenth of the others, s.
    pub phase_loss_s: f64,
    /// Lowest and highest transducer supply over time, V.
    pub transducer_supply_v: Option<(f64, f64)>,
    /// Energy taken, kWh.
    pub energy_kwh: f64,
    /// Largest pressure, bar, and its moment.
    pub pressure_max: Option<(f64, i64)>,
}

impl Facts {
    /// Length of a row while the pump runs, s, to the tenth: lengths are counted in steps of a tenth,
    /// and `row_s` tells the middle of one.
    pub fn row_length_s(&self) -> f64 {
        (self.row_s - 0.05).max(0.05)
    }

    /// Dips of the voltage, whosever they are.
    pub fn dips(&self) -> impl Iterator<Item = &VoltageEvent> {
        self.voltage_events.iter().filter(|event| event.kind == VoltageKind::Dip)
    }

    /// True when the supply was gone at any moment of a stretch.
    pub fn interrupted(&self, time: &Stretch) -> bool {
        self.voltage_events.iter().any(|event| {
            event.kind == VoltageKind::Interruption
                && event.time.meets(time.start_ms, time.end_ms, 0)
        })
    }
}

/// Load while the pressure reading stood at one value.
#[derive(Clone, Debug, PartialEq)]
pub struct PressureLoad {
    /// Pressure, bar: middle of the step.
    pub bar: f64,
    /// Time, s.
    pub seconds: f64,
    /// Time by load, s, in steps of [`LOAD_STEP`] of full load.
    pub by_load_s: [f32; LOAD_STEPS],
}

/// Step of load in [`PressureLoad`], share of the rated current (of the power it stands for on one
/// line, without current).
pub const LOAD_STEP: f64 = 0.05;
/// Number of such steps.
pub const LOAD_STEPS: usize = 40;

/// Which channels hold values.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[allow(clippy::struct_excessive_bools)] // a set of channels
pub struct Has {
    /// Voltage.
    pub voltage: bool,
    /// Current.
    pub current: bool,
    /// Pressure.
    pub pressure: bool,
    /// Loop current, measured or from an unclamped pressure.
    pub signal: bool,
    /// Active power.
    pub power: bool,
    /// Frequency.
    pub frequency: bool,
    /// Extremes over half cycles beside the means of voltage and current.
    pub half_cycles: bool,
}

/// A stretch of time.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Stretch {
    /// Start, ms since 1970.
    pub start_ms: i64,
    /// End.
    pub end_ms: i64,
}

impl Stretch {
    /// Length, s.
    pub fn seconds(&self) -> f64 {
        (self.end_ms - self.start_ms) as f64 / 1000.0
    }

    /// True when the two share a moment, with `slack_ms` to spare.
    pub fn meets(&self, start_ms: i64, end_ms: i64, slack_ms: i64) -> bool {
        self.start_ms <= end_ms + slack_ms && self.end_ms + slack_ms >= start_ms
    }
}

/// One run and what surrounds its ends. Values not seen are NaN.
#[derive(Clone, Debug)]
pub struct RunFacts {
    /// Start to stop.
    pub time: Stretch,
    /// False where the record or a stretch of it begins inside the run.
    pub start_seen: bool,
    /// False where the record or a stretch of it ends inside the run.
    pub stop_seen: bool,
    /// Largest current, A.
    pub peak_a: f64,
    /// Time above locked-rotor level, s.
    pub locked_s: f64,
    /// True when the current was at locked-rotor level when it stopped.
    pub locked_at_stop: bool,
    /// Median current once up to speed, A.
    pub current_a: f64,
    /// Median current over the last seconds, A.
    pub last_current_a: f64,
    /// Median power once up to speed, W.
    pub power_w: f64,
    /// Median power over the first seconds once up to speed, W.
    pub first_power_w: f64,
    /// Median power over the last second, W.
    pub last_power_w: f64,
    /// Largest power held for a second once up to speed, W (A where there is no power channel).
    pub loaded: f64,
    /// Moment since which the load has stayed low until the stop.
    pub unloaded_since_ms: Option<i64>,
    /// Median voltage while running, V.
    pub voltage_v: f64,
    /// Median voltage just before the start, V.
    pub voltage_before_v: f64,
    /// Lowest voltage while starting, V.
    pub starting_voltage_v: f64,
    /// Lowest voltage from two seconds before the stop to one after, V.
    pub stop_voltage_min_v: f64,
    /// Highest voltage from two seconds before the stop to one after, V.
    pub stop_voltage_max_v: f64,
    /// End of the inrush.
    pub inrush_end_ms: i64,
    /// Supply impedance from the start, Ω.
    pub start_ohm: f64,
    /// Supply impedance from voltage before and during the run, Ω.
    pub run_ohm: f64,
    /// Supply impedance from the straight line of voltage over current through the first seconds, Ω.
    pub line_ohm: f64,
    /// Range of current that line rests on, A.
    pub line_range_a: f64,
    /// Pressure just before the start, bar.
    pub start_bar: f64,
    /// Lowest pressure within two seconds of the start, bar.
    pub start_low_bar: f64,
    /// Pressure two seconds after the start, bar.
    pub after_start_bar: f64,
    /// Pressure at the stop, bar.
    pub stop_bar: f64,
    /// Pressure one second after the stop, bar.
    pub after_stop_bar: f64,
    /// Highest pressure inside the run, bar.
    pub max_bar: f64,
    /// Lowest pressure inside the run, bar.
    pub min_bar: f64,
    /// Rate of change of 1/absolute pressure after the start, 1/(bar·s), positive while filling.
    pub fill_start: f64,
    /// The same before the stop.
    pub fill_stop: f64,
    /// The same over the whole run.
    pub fill_mean: f64,
    /// Rate of change of 1/absolute pressure before the start, positive while drawing.
    pub draw_before: f64,
    /// The same after the stop.
    pub draw_after: f64,
    /// Time with the pressure well below the held pressure, s (constant-pressure control).
    pub deficit_s: f64,
    /// Median voltage over that time, V.
    pub deficit_voltage_v: f64,
    /// Median power over that time, W.
    pub deficit_power_w: f64,
    /// Time with low load and the pressure at or above the top of the band, or standing still, s.
    pub shut_off_s: f64,
    /// Time at the end of the run in which the pressure reading stood still while power moved, s.
    pub plateau_s: f64,
    /// A few buckets of the run, in time order.
    pub samples: Vec<Sample>,
}

/// Window of a slope at an end of something `length_s` long, s: a third of it, 20 s at most.
pub fn slope_window_s(length_s: f64) -> f64 {
    (length_s / 3.0).clamp(1.0, 20.0)
}

impl RunFacts {
    /// Length of the windows of `fill_start` and `fill_stop`, s.
    pub fn slope_s(&self) -> f64 {
        slope_window_s(self.time.seconds())
    }
}

/// One bucket of a run or rest.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Sample {
    /// Middle, ms since 1970.
    pub time_ms: i64,
    /// Voltage, V.
    pub v: f32,
    /// Current, A.
    pub i: f32,
    /// Power, W.
    pub w: f32,
    /// Pressure, bar.
    pub p: f32,
}

/// One rest. Values not seen are NaN.
#[derive(Clone, Copy, Debug)]
pub struct RestFacts {
    /// Stop to start.
    pub time: Stretch,
    /// False where it begins with the record or after a gap.
    pub start_seen: bool,
    /// False where it ends with the record or before a gap.
    pub end_seen: bool,
    /// Pressure after the stop, bar.
    pub first_bar: f64,
    /// Pressure before the start, bar.
    pub last_bar: f64,
    /// Slowest steady loss seen over some minutes: rate of 1/absolute pressure, 1/(bar·s).
    pub leak: f64,
    /// The same as bar/min at the pressure where it was seen.
    pub leak_bar_per_min: f64,
    /// End of the last window in which the pressure held, where there was one.
    pub held_until_ms: Option<i64>,
    /// Time over which the loss could be judged, s.
    pub judged_s: f64,
    /// True where the rest was too short to find its quietest minutes and was judged as a whole.
    pub whole: bool,
    /// Moment since which the pressure lay below the start pressure until the end of the rest.
    pub below_since_ms: Option<i64>,
    /// Lowest pressure since then, bar.
    pub below_min_bar: f64,
    /// Median current, A.
    pub current_a: f64,
}

/// Kind of a voltage event.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[allow(missing_docs)] // the words say it
pub enum VoltageKind {
    Dip,
    Swell,
    Interruption,
}

/// A dip, swell or interruption.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct VoltageEvent {
    /// Kind.
    pub kind: VoltageKind,
    /// Start to end.
    pub time: Stretch,
    /// Lowest (dip, interruption) or highest (swell) voltage, V.
    pub extreme_v: f64,
    /// Voltage just before, V.
    pub before_v: f64,
    /// Rise of the pump's current from before to its largest during the event, A.
    pub current_rise_a: f64,
    /// True when it lies inside the start of a run of this pump.
    pub at_start: bool,
}

/// A stretch of low or high voltage longer than a dip or swell.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Sustained {
    /// True for low voltage.
    pub low: bool,
    /// Start to end.
    pub time: Stretch,
    /// Mean voltage while beyond the limit, V.
    pub mean_v: f64,
    /// Lowest (or highest) mean over 10 s, V.
    pub extreme_v: f64,
    /// Time beyond the limit, s.
    pub beyond_s: f64,
    /// Of it with the pump running, s.
    pub running_s: f64,
}

/// Kind of a loop fault.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[allow(missing_docs)] // the words say it
pub enum LoopKind {
    Open,
    Short,
    OutOfRange,
}

/// A loop fault.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LoopFault {
    /// Kind.
    pub kind: LoopKind,
    /// Start to end.
    pub time: Stretch,
    /// Farthest loop current, mA (ratiometric: the same share of the span as of 4–20 mA).
    pub extreme_ma: f64,
    /// Lowest voltage around it, share of nominal; NaN without voltage.
    pub voltage: f64,
}

/// A stretch of steady swinging of the pressure.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Swing {
    /// First to last turning point.
    pub time: Stretch,
    /// Full cycles.
    pub cycles: u32,
    /// Median peak-to-peak, bar.
    pub swing_bar: f64,
    /// Median period, s.
    pub period_s: f64,
    /// Share of a period in which the pressure falls (medians).
    pub fall_share: f64,
}

/// One minute.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Minute {
    /// Start, ms since 1970, whole minute.
    pub start_ms: i64,
    /// Covered, s.
    pub covered_s: f32,
    /// Root of the mean square of the voltage, V.
    pub v: f32,
    /// Lowest voltage, V.
    pub v_min: f32,
    /// Highest voltage, V.
    pub v_max: f32,
    /// Mean frequency while there is voltage, Hz.
    pub f: f32,
    /// Running, s.
    pub running_s: f32,
    /// Mean power, W.
    pub w: f32,
}
