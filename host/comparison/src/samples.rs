//! What is compared, taken from a record.

use crate::Side;
use crate::bootstrap::{quantile, sorted};
use pumpwitness_analysis::outcome::{Run, StopReason};
use std::collections::BTreeMap;

const DAY_MS: i64 = 86_400_000;
/// Averages of the voltage: ten minutes, as in EN 50160.
const MEAN_MS: i64 = 600_000;
/// Averages that are resampled together: six hours, in which a supply's daily course lies.
const BLOCK_MS: i64 = 21_600_000;
/// Share of ten minutes that rows must cover for a mean.
const COVERED: f64 = 0.5;

/// All samples of one record.
#[derive(Clone, Debug, Default)]
pub struct Samples {
    /// Covered time, days.
    pub days: f64,
    /// Lengths of runs whose start and stop were seen, s.
    pub run_s: Vec<f64>,
    /// Rests between runs without a gap in the record, s.
    pub rest_s: Vec<f64>,
    /// Running current of each run, A.
    pub current_a: Vec<f64>,
    /// Peak current of each run, A.
    pub peak_a: Vec<f64>,
    /// Pressure at each start, bar.
    pub start_bar: Vec<f64>,
    /// Pressure at each stop by cut-out, bar.
    pub stop_bar: Vec<f64>,
    /// Ten-minute means of the voltage, V, in blocks.
    pub voltage_v: Vec<Vec<f64>>,
    /// Starts in each whole day of the record.
    pub starts_by_day: Vec<u64>,
    /// Stops by reason in each whole day.
    pub stops_by_day: BTreeMap<StopReason, Vec<u64>>,
    /// Whole days with an occurrence of each finding, and all whole days.
    pub finding_days: BTreeMap<&'static str, u64>,
    /// Supply impedance: median and scatter over starts, Ω, and the number of starts.
    pub impedance: Option<(f64, f64, usize)>,
}

impl Samples {
    /// Takes them.
    pub fn of(side: &Side<'_>) -> Self {
        let analysis = side.analysis;
        let start = analysis.recording.start.as_millisecond();
        let end = analysis.recording.end.as_millisecond();
        let whole_days = ((end - start) / DAY_MS).max(0) as usize;
        let by_day = |times: &mut dyn Iterator<Item = i64>| {
            let mut days = vec![0; whole_days];
            for time in times {
                if let Some(day) = days.get_mut(((time - start).max(0) / DAY_MS) as usize) {
                    *day += 1;
                }
            }
            days
        };
        let runs = &analysis.runs;
        let seen = |run: &&Run| run.stop_reason.is_some() && run.start.as_millisecond() > start;
        let of = |pick: fn(&Run) -> Option<f64>| -> Vec<f64> {
            runs.iter().filter_map(pick).filter(|value| value.is_finite()).collect()
        };
        let mut stops_by_day = BTreeMap::new();
        for reason in analysis.stops.keys() {
            let stops = runs.iter().filter(|run| run.stop_reason == Some(*reason));
            let days = by_day(&mut stops.map(|run| run.stop.as_millisecond()));
            stops_by_day.insert(*reason, days);
        }
        let mut finding_days = BTreeMap::new();
        for finding in &analysis.findings {
            let times = finding.occurrences.iter().map(|o| o.start.as_millisecond());
            let days = by_day(&mut { times });
            finding_days
                .insert(finding.kind, days.iter().filter(|count| **count > 0).count() as u64);
        }
        let statistic =
            |name: &str| analysis.statistics.get(name).and_then(serde_json::Value::as_f64);
        let peaks = of(|run| run.peak_current_a);
        let impedance = statistic("supply_impedance_ohm")
            .zip(statistic("supply_impedance_scatter_ohm"))
            .map(|(ohm, scatter)| (ohm, scatter, peaks.len()));
        Self {
            days: analysis.recording.covered_s / 86_400.0,
            run_s: runs.iter().filter(seen).map(|run| run.duration_s).collect(),
            rest_s: rests(side),
            current_a: of(|run| run.running_current_a),
            peak_a: peaks,
            start_bar: of(|run| run.start_pressure_bar),
            stop_bar: of(|run| {
                run.stop_pressure_bar.filter(|_| run.stop_reason == Some(StopReason::CutOut))
            }),
            voltage_v: voltage(side, start),
            starts_by_day: by_day(&mut runs.iter().map(|run| run.start.as_millisecond())),
            stops_by_day,
            finding_days,
            impedance,
        }
    }

    /// Whole days.
    pub fn whole_days(&self) -> u64 {
        self.starts_by_day.len() as u64
    }
}

fn rests(side: &Side<'_>) -> Vec<f64> {
    let gaps = &side.analysis.recording.gaps;
    let pairs = side.analysis.runs.windows(2);
    pairs
        .filter(|pair| pair[0].stop_reason.is_some())
        .filter(|pair| !gaps.iter().any(|gap| gap.start < pair[1].start && gap.end > pair[0].stop))
        .map(|pair| pair[1].start.duration_since(pair[0].stop).as_secs_f64())
        .filter(|rest| *rest >= 0.0)
        .collect()
}

/// Ten-minute means of the first voltage, in blocks.
fn voltage(side: &Side<'_>, start: i64) -> Vec<Vec<f64>> {
    let columns = &side.recording.columns;
    let Some(channel) = columns.voltage_v.first().filter(|c| c.mean.len() == columns.len()) else {
        return Vec::new();
    };
    let mut sums: BTreeMap<i64, (f64, f64)> = BTreeMap::new();
    for (row, mean) in channel.mean.iter().enumerate() {
        let span = f64::from(columns.span_ms[row]);
        if mean.is_finite() && columns.end_ms[row] > start {
            let sum = sums.entry((columns.end_ms[row] - 1 - start) / MEAN_MS).or_default();
            sum.0 += f64::from(*mean) * span;
            sum.1 += span;
        }
    }
    let mut blocks: BTreeMap<i64, Vec<f64>> = BTreeMap::new();
    for (number, (sum, weight)) in sums {
        if weight >= COVERED * MEAN_MS as f64 {
            blocks.entry(number * MEAN_MS / BLOCK_MS).or_default().push(sum / weight);
        }
    }
    blocks.into_values().collect()
}

/// How a sample lies.
pub fn spread(values: &[f64]) -> crate::outcome::Spread {
    let values = sorted(values.to_vec());
    crate::outcome::Spread {
        count: values.len(),
        tenth: quantile(&values, 0.1),
        median: quantile(&values, 0.5),
        nine_tenths: quantile(&values, 0.9),
    }
}
