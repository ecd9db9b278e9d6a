//! The tables: steady signals, and dips.

#[path = "converter.rs"]
mod converter;

use converter::{FREQUENCIES, Measured, RANGE_A, RANGE_V, Signal, VOLTAGE_V, measure, states};
use pumpwitness_core::recorder::Recorder;
use pumpwitness_core::wave::HalfWave;
use pumpwitness_protocol::record::{Mark, Record, VoltageEvent};
use pumpwitness_protocol::settings::Settings;
use std::fmt::Write;

/// Largest errors met.
#[derive(Default)]
struct Worst {
    voltage: f64,
    current: f64,
    hz: f64,
    power: f64,
}

/// Measures a steady signal; every whole interval of 10 or 12 cycles after the first second, in
/// which offsets are found.
fn steady(signal: &Signal, worst: &mut Worst) {
    let Measured { halves, begins_s, .. } = measure(signal, 4.0, |_| 1.0);
    let per_interval = if signal.nominal_hz == 60 { 24 } else { 20 };
    let settle = ((1.0 - begins_s) * signal.hz * 2.0) as usize;
    for interval in halves[settle..].chunks_exact(per_interval) {
        let time: f64 = interval.iter().map(|half| f64::from(half.duration_us)).sum();
        let mean = |value: fn(&HalfWave) -> f64| {
            interval.iter().map(|half| value(half) * f64::from(half.duration_us)).sum::<f64>()
                / time
        };
        let voltage_v = mean(|half| half.voltage_sq_mv2 as f64).sqrt() / 1e3;
        let current_a = mean(|half| half.current_sq_ma2 as f64).sqrt() / 1e3;
        let power_w = mean(|half| f64::from(half.power_mw)) / 1e3;
        let hz = per_interval as f64 / 2.0 / (time / 1e6);
        worst.voltage = worst.voltage.max((voltage_v - signal.rms_v()).abs() / RANGE_V);
        worst.current = worst.current.max((current_a - signal.rms_a()).abs() / RANGE_A);
        worst.hz = worst.hz.max((hz - signal.hz).abs());
        worst.power = worst.power.max((power_w / signal.power_w() - 1.0).abs());
    }
}

const DIP_AT_S: f64 = 1.5;
const DIP: f64 = 0.90;
const OVER: f64 = 0.92;
/// Steps of the numerical integral in a half cycle.
const FINE: usize = 400;

/// Length of a dip as IEC 61000-4-30 defines it (clause 5.4, from memory), s: by the r.m.s. over
/// one cycle, renewed each half cycle, of the signal itself, without converter or filter. `None`
/// when it is no dip by that rule.
fn defined_length_s(signal: &Signal, share: &impl Fn(f64) -> f64, until_s: f64) -> Option<f64> {
    let half_s = 0.5 / signal.hz;
    // Zero crossings of the fundamental.
    let first_s = -signal.phase / std::f64::consts::TAU / signal.hz;
    let squares: Vec<f64> = (0..(until_s / half_s) as usize)
        .map(|k| {
            let from_s = first_s + k as f64 * half_s;
            let value = |n: usize| {
                let t = from_s + (n as f64 + 0.5) * half_s / FINE as f64;
                (signal.voltage_v(t) * share(t)).powi(2)
            };
            (0..FINE).map(value).sum::<f64>() / FINE as f64
        })
        .collect();
    let mut start = None;
    for (k, pair) in squares.windows(2).enumerate() {
        let voltage_v = f64::midpoint(pair[0], pair[1]).sqrt();
        match start {
            None if voltage_v < DIP * VOLTAGE_V => start = Some(k),
            Some(from) if voltage_v >= OVER * VOLTAGE_V => {
                return Some((k - from) as f64 * half_s);
            }
            _ => {}
        }
    }
    None
}

/// The one dip the recorder tells of: its residual voltage, V, and length, half cycles.
fn told(signal: &Signal, share: &impl Fn(f64) -> f64, until_s: f64) -> Option<(f64, u32)> {
    let settings = Settings { nominal_hz: signal.nominal_hz, ..Settings::default() };
    let mut recorder = Recorder::new(&settings, 0);
    let mut dips = Vec::new();
    for half in measure(signal, until_s, share).halves {
        recorder.half_wave(&half);
        while let Some(record) = recorder.pop() {
            if let Record::Mark(mark) = record
                && let Mark::Voltage { event: VoltageEvent::Dip, half_cycles, extreme_dv, .. } =
                    mark.mark
            {
                dips.push((f64::from(extreme_dv) / 10.0, half_cycles));
            }
        }
    }
    match dips[..] {
        [dip] => Some(dip),
        _ => None,
    }
}

/// Largest errors of residual voltage (share of nominal) and length (half cycles) of dips to
/// `residual` of `cycles` cycles, begun at eight phases; dips told and given.
fn dips(state: &Signal, residual: f64, cycles: f64) -> (f64, f64, u32, u32) {
    let (mut depth, mut length, mut found, mut given) = (0.0_f64, 0.0_f64, 0, 0);
    for (nominal_hz, hz) in FREQUENCIES {
        for eighth in 0..8 {
            let phase = std::f64::consts::TAU * f64::from(eighth) / 8.0;
            let signal = Signal { nominal_hz, hz, phase, ..*state };
            let end_s = DIP_AT_S + cycles / hz;
            let share = |t: f64| if (DIP_AT_S..end_s).contains(&t) { residual } else { 1.0 };
            let Some(true_s) = defined_length_s(&signal, &share, end_s + 0.3) else { continue };
            given += 1;
            let Some((residual_v, half_cycles)) = told(&signal, &share, end_s + 0.4) else {
                continue;
            };
            found += 1;
            depth = depth.max((residual_v - signal.rms_v() * residual).abs() / VOLTAGE_V);
            length = length.max((f64::from(half_cycles) - true_s * 2.0 * hz).abs());
        }
    }
    (depth, length, found, given)
}

/// Both tables, as Markdown.
pub fn tables() -> String {
    let mut text = String::from(
        "Largest errors over every 10 or 12 cycle interval of three seconds, at 42.5, 46.3, 50, \
         53.9 and 57.5 Hz\n(nominal 50 Hz) and 51, 55.7, 60, 64.1 and 69 Hz (nominal 60 Hz), \
         230 V, 8 A, cos φ 0.8:\n\n\
         | signal | voltage, % of range | current, % of range | frequency, mHz \
         | active power, % of reading |\n|---|---|---|---|---|\n",
    );
    for (name, state) in states() {
        let mut worst = Worst::default();
        for (nominal_hz, hz) in FREQUENCIES {
            steady(&Signal { nominal_hz, hz, phase: hz, ..state }, &mut worst);
        }
        let _ = writeln!(
            text,
            "| {name} | {:.3} | {:.3} | {:.1} | {:.2} |",
            worst.voltage * 100.0,
            worst.current * 100.0,
            worst.hz * 1e3,
            worst.power * 100.0
        );
    }
    text.push_str("| **goal** | **0.1** | **0.1** | **10** | **0.2** |\n\n");
    text.push_str(
        "Dips at the same frequencies, each begun at eight phases of the voltage:\n\n\
         | signal | residual, % | length, cycles | told | residual wrong by at most, % of nominal \
         | length wrong by at most, half cycles |\n|---|---|---|---|---|---|\n",
    );
    let [sine, .., all] = states();
    for (name, state) in [sine, all] {
        for (residual, cycles) in [(0.8, 1.5), (0.8, 5.0), (0.4, 1.5), (0.4, 5.0), (0.1, 25.0)] {
            let (depth, length, found, given) = dips(&state, residual, cycles);
            let _ = writeln!(
                text,
                "| {name} | {:.0} | {cycles} | {found} of {given} | {:.2} | {:.0} |",
                residual * 100.0,
                depth * 100.0,
                length
            );
        }
    }
    text.push_str("| **goal** | | | **all** | **0.2** | **1** |\n");
    text
}
