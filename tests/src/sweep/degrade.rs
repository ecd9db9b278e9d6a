//! Records made worse, as other loggers, missing sensors and accidents leave them.

use pumpwitness_protocol::record::Mark;
use pumpwitness_recording::{Channel, Recording};
use pumpwitness_site_model::noise::Noise;

/// The clock's step, ms.
const CLOCK_STEP_MS: i64 = 1_800_000;

/// A way of making a record worse.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[allow(missing_docs)] // the words say it
pub enum Harm {
    Thinned1s,
    Thinned10s,
    Thinned60s,
    Averaged10s,
    Averaged60s,
    Noisy,
    NoVoltage,
    NoCurrentNorPower,
    NoPower,
    NoPressure,
    OnlyCurrent,
    OnlyPressure,
    OnlyVoltage,
    Gaps,
    ClockStep,
    NoExtremes,
}

impl Harm {
    /// All of them.
    pub const ALL: [Self; 16] = [
        Self::Thinned1s,
        Self::Thinned10s,
        Self::Thinned60s,
        Self::Averaged10s,
        Self::Averaged60s,
        Self::Noisy,
        Self::NoVoltage,
        Self::NoCurrentNorPower,
        Self::NoPower,
        Self::NoPressure,
        Self::OnlyCurrent,
        Self::OnlyPressure,
        Self::OnlyVoltage,
        Self::Gaps,
        Self::ClockStep,
        Self::NoExtremes,
    ];

    /// The record, made worse.
    pub fn apply(self, recording: &Recording) -> Recording {
        let mut worse = recording.clone();
        let columns = &mut worse.columns;
        match self {
            Self::Thinned1s => return thinned(recording, 1_000),
            Self::Thinned10s => return thinned(recording, 10_000),
            Self::Thinned60s => return thinned(recording, 60_000),
            Self::Averaged10s => return averaged(recording, 10_000),
            Self::Averaged60s => return averaged(recording, 60_000),
            Self::Noisy => noisy(columns),
            Self::NoVoltage => columns.voltage_v.clear(),
            Self::NoCurrentNorPower => {
                columns.current_a.clear();
                columns.power_w = None;
            }
            Self::NoPower => columns.power_w = None,
            Self::NoPressure => (columns.pressure_bar, columns.loop_ma) = (None, None),
            Self::OnlyCurrent => {
                columns.voltage_v.clear();
                (columns.pressure_bar, columns.loop_ma) = (None, None);
                (columns.power_w, columns.frequency_hz) = (None, None);
            }
            Self::OnlyPressure => {
                columns.voltage_v.clear();
                columns.current_a.clear();
                (columns.power_w, columns.frequency_hz) = (None, None);
            }
            Self::OnlyVoltage => {
                columns.current_a.clear();
                (columns.pressure_bar, columns.loop_ma) = (None, None);
                columns.power_w = None;
            }
            Self::Gaps => {
                // Every fifth hour is missing.
                let first = columns.end_ms.first().copied().unwrap_or(0);
                let keep: Vec<bool> =
                    columns.end_ms.iter().map(|t| (t - first) / 3_600_000 % 5 != 4).collect();
                return kept(recording, &keep);
            }
            Self::ClockStep => {
                // The second half was written by a clock half an hour ahead.
                let middle = columns.end_ms.len() / 2;
                let from_ms = columns.end_ms.get(middle).copied().unwrap_or(i64::MAX);
                for end in &mut columns.end_ms[middle..] {
                    *end += CLOCK_STEP_MS;
                }
                for mark in worse.marks.iter_mut().filter(|mark| mark.time_ms >= from_ms) {
                    mark.time_ms += CLOCK_STEP_MS;
                    if let Mark::Voltage { start_ms, .. } = &mut mark.mark {
                        *start_ms += CLOCK_STEP_MS;
                    }
                }
            }
            Self::NoExtremes => {
                let all = columns
                    .voltage_v
                    .iter_mut()
                    .chain(&mut columns.current_a)
                    .chain(&mut columns.pressure_bar)
                    .chain(&mut columns.loop_ma);
                for channel in all {
                    channel.min.clone_from(&channel.mean);
                    channel.max.clone_from(&channel.mean);
                    channel.spread = false;
                }
            }
        }
        if columns.voltage_v.is_empty() {
            worse.marks.clear();
        }
        worse
    }
}

fn kept(recording: &Recording, keep: &[bool]) -> Recording {
    let mut worse = recording.clone();
    let columns = &mut worse.columns;
    pick(&mut columns.end_ms, keep);
    pick(&mut columns.span_ms, keep);
    for channel in columns
        .voltage_v
        .iter_mut()
        .chain(&mut columns.current_a)
        .chain(&mut columns.pressure_bar)
        .chain(&mut columns.loop_ma)
    {
        pick(&mut channel.mean, keep);
        pick(&mut channel.min, keep);
        pick(&mut channel.max, keep);
    }
    for values in columns
        .power_w
        .iter_mut()
        .chain(&mut columns.frequency_hz)
        .chain(&mut columns.transducer_supply_v)
    {
        pick(values, keep);
    }
    worse.marks.clear();
    worse
}

fn pick<T>(values: &mut Vec<T>, keep: &[bool]) {
    let mut place = keep.iter();
    values.retain(|_| place.next().copied().unwrap_or(false));
}

/// Momentary values at even steps, as a plain logger takes them: the mean of the row in which the
/// moment lies, no extremes, no marks.
fn thinned(recording: &Recording, step_ms: i64) -> Recording {
    let old = &recording.columns;
    let mut worse = recording.clone();
    worse.marks.clear();
    worse.captures.clear();
    let Some((first, last)) = old.end_ms.first().zip(old.end_ms.last()) else { return worse };
    let mut rows = Vec::new();
    let mut moments = Vec::new();
    let mut row = 0;
    let mut at = first - first.rem_euclid(step_ms);
    while at <= *last {
        while row < old.len() && old.end_ms[row] < at {
            row += 1;
        }
        if row < old.len() && old.start_ms(row) <= at {
            rows.push(row);
            moments.push(at);
        }
        at += step_ms;
    }
    let columns = &mut worse.columns;
    columns.span_ms = vec![step_ms as u32; rows.len()];
    columns.end_ms = moments;
    let take = |values: &[f32]| rows.iter().map(|row| values[*row]).collect::<Vec<f32>>();
    let channel = |channel: &Channel| Channel {
        mean: take(&channel.mean),
        min: take(&channel.mean),
        max: take(&channel.mean),
        spread: false,
    };
    columns.voltage_v = old.voltage_v.iter().map(channel).collect();
    columns.current_a = old.current_a.iter().map(channel).collect();
    columns.pressure_bar = old.pressure_bar.as_ref().map(channel);
    columns.loop_ma = old.loop_ma.as_ref().map(channel);
    columns.power_w = old.power_w.as_deref().map(take);
    columns.frequency_hz = old.frequency_hz.as_deref().map(take);
    columns.transducer_supply_v = old.transducer_supply_v.as_deref().map(take);
    worse
}

/// Means over even steps, as a logger that averages keeps them: r.m.s. values of voltage and current,
/// no extremes, no marks.
fn averaged(recording: &Recording, step_ms: i64) -> Recording {
    let old = &recording.columns;
    let mut worse = recording.clone();
    worse.marks.clear();
    worse.captures.clear();
    let step = |row: usize| (old.end_ms[row] - 1).div_euclid(step_ms);
    let rows: Vec<usize> = (0..old.len()).collect();
    let groups: Vec<&[usize]> = rows.chunk_by(|a, b| step(*a) == step(*b)).collect();
    let mean = |values: &[f32], power: i32| -> Vec<f32> {
        let one = |group: &&[usize]| {
            let (mut sum, mut time) = (0.0, 0.0);
            for row in group.iter().filter(|row| values[**row].is_finite()) {
                let span = f64::from(old.span_ms[*row]);
                sum += span * f64::from(values[*row]).powi(power);
                time += span;
            }
            (sum / time).powf(1.0 / f64::from(power)) as f32
        };
        groups.iter().map(one).collect()
    };
    let channel = |channel: &Channel, power: i32| {
        let mean = mean(&channel.mean, power);
        Channel { min: mean.clone(), max: mean.clone(), mean, spread: false }
    };
    let columns = &mut worse.columns;
    columns.end_ms = groups.iter().map(|group| (step(group[0]) + 1) * step_ms).collect();
    columns.span_ms = vec![step_ms as u32; groups.len()];
    columns.voltage_v = old.voltage_v.iter().map(|line| channel(line, 2)).collect();
    columns.current_a = old.current_a.iter().map(|line| channel(line, 2)).collect();
    columns.pressure_bar = old.pressure_bar.as_ref().map(|bar| channel(bar, 1));
    columns.loop_ma = old.loop_ma.as_ref().map(|ma| channel(ma, 1));
    columns.power_w = old.power_w.as_deref().map(|watts| mean(watts, 1));
    columns.frequency_hz = old.frequency_hz.as_deref().map(|hertz| mean(hertz, 1));
    columns.transducer_supply_v = old.transducer_supply_v.as_deref().map(|volts| mean(volts, 1));
    worse
}

/// Standard deviation of the added noise: volts and amperes and watts as shares of the reading,
/// bar and mA as shares of the pressure transducer's usual 10 bar and 16 mA. Several times what a
/// sound instrument of class 1 shows.
const NOISE: [f64; 3] = [0.005, 0.02, 0.003];

/// White noise on all channels, the extremes of a row moved along with its mean.
fn noisy(columns: &mut pumpwitness_recording::Columns) {
    let seed = columns.end_ms.first().copied().unwrap_or(0).unsigned_abs() ^ columns.len() as u64;
    let mut noise = Noise::new(seed, 203);
    let mut spread = |channel: &mut Channel, share: f64, add: f64| {
        for n in 0..channel.mean.len() {
            let step = noise.gaussian() * (share * f64::from(channel.mean[n]).abs() + add);
            for values in [&mut channel.mean, &mut channel.min, &mut channel.max] {
                values[n] += step as f32;
            }
        }
    };
    for channel in &mut columns.voltage_v {
        spread(channel, NOISE[0], 0.0);
    }
    for channel in &mut columns.current_a {
        spread(channel, NOISE[1], 0.0);
    }
    if let Some(channel) = &mut columns.pressure_bar {
        spread(channel, 0.0, 10.0 * NOISE[2]);
    }
    // The loop carries the same pressure, with a noise of its own converter.
    if let Some(channel) = &mut columns.loop_ma {
        spread(channel, 0.0, 16.0 * NOISE[2] / 3.0);
    }
    for watts in columns.power_w.iter_mut().flatten() {
        *watts += (noise.gaussian() * NOISE[1] * f64::from(watts.abs())) as f32;
    }
}
