//! Figures by name; the unit is in the name. Every one is a finite number.

use crate::case::Case;
use crate::facts::{ATMOSPHERE_BAR, VoltageKind};
use crate::robust::{centre_and_sigma, quantile_sorted, sorted};
use crate::voltage_class::{en_50160_cell, ieee_1159};
use serde_json::{Map, Number, Value};
use std::collections::BTreeMap;

/// All of them.
pub fn all(case: &Case) -> Map<String, Value> {
    let mut map = Map::new();
    let mut put = |name: &str, value: f64| {
        if let Some(number) = Number::from_f64((value * 1e6).round() / 1e6) {
            map.insert(name.to_owned(), Value::Number(number));
        }
    };
    let facts = case.facts;
    put("covered_h", facts.covered_ms as f64 / 3.6e6);
    put("runs", facts.runs.len() as f64);
    let running: f64 = facts.runs.iter().map(|r| r.time.seconds()).sum();
    put("running_h", running / 3600.0);
    put("running_share", running * 1000.0 / (facts.covered_ms as f64).max(1.0));
    if facts.has.power {
        put("energy_kwh", facts.energy_kwh);
        put("loaded_power_w", case.levels.power_w);
    }
    let mut spread = |name: &str, unit: &str, values: Vec<f64>| {
        for (word, q) in [("p10", 0.1), ("median", 0.5), ("p90", 0.9)] {
            if let Some(value) = quantile_sorted(&values, q) {
                put(&format!("{name}_{word}_{unit}"), value);
            }
        }
    };
    spread("run", "s", sorted(facts.runs.iter().map(|r| r.time.seconds())));
    spread(
        "rest",
        "s",
        sorted(facts.rests.iter().filter(|r| r.start_seen && r.end_seen).map(|r| r.time.seconds())),
    );
    spread("running_current", "a", sorted(facts.runs.iter().map(|r| r.current_a)));
    spread("peak_current", "a", sorted(facts.runs.iter().map(|r| r.peak_a)));
    put("standby_current_a", case.levels.standby_a);
    voltage(case, &mut put);
    for (line, name) in [(case.levels.cut_in, "cut_in"), (case.levels.cut_out, "cut_out")] {
        if let Some(line) = line {
            put(&format!("{name}_bar"), line.value);
            put(&format!("{name}_scatter_bar"), line.sigma);
            put(&format!("{name}_moved_bar"), line.change);
        }
    }
    if let Some(idle) = case.levels.idle {
        let unit = if facts.has.power { "w" } else { "a" };
        put(&format!("no_flow_load_{unit}"), idle.value);
        put(&format!("no_flow_load_scatter_{unit}"), idle.sigma);
        put(&format!("no_flow_load_moved_{unit}"), idle.change);
    }
    if let Some((ohm, scatter)) = centre_and_sigma(case.levels.impedance.iter().map(|z| z.1)) {
        put("supply_impedance_ohm", ohm);
        put("supply_impedance_scatter_ohm", scatter);
    }
    if let Some((found, runs)) = case.levels.gas_bar_l {
        put("tank_gas_bar_l", found);
        put("tank_gas_runs", runs as f64);
        // What the tank gives from cut-out to cut-in, by Boyle's law.
        if let (Some(low), Some(high)) = (case.levels.cut_in, case.levels.cut_out) {
            let inverse = |bar: f64| 1.0 / (bar + ATMOSPHERE_BAR);
            put("drawdown_l", found * (inverse(low.value) - inverse(high.value)));
        }
        if let Some(precharge) = case.site.tank.and_then(|t| t.precharge_bar) {
            put("effective_gas_volume_l", found / (precharge + ATMOSPHERE_BAR));
        }
        if let Some(declared) = case.levels.declared_gas_bar_l {
            put("tank_gas_share_of_declared", found / declared);
        }
    }
    let leaks = sorted(facts.rests.iter().filter(|r| !r.whole).map(|r| r.leak_bar_per_min));
    if let Some(leak) = quantile_sorted(&leaks, 0.5) {
        put("rest_loss_median_bar_per_min", leak);
    }
    for (wait, count) in case.ledger.waits.iter().take(1) {
        put("restart_wait_s", *wait);
        put("restart_waits", f64::from(*count));
    }
    for (name, count) in event_classes(case) {
        put(&name, f64::from(count));
    }
    put("row_length_running_s", facts.row_s);
    put("gaps", facts.gaps.len() as f64);
    map
}

/// Voltage events counted by class: EN 50160 cells of dips and interruptions, IEEE 1159 categories
/// of all.
fn event_classes(case: &Case) -> BTreeMap<String, u32> {
    let mut counts = BTreeMap::new();
    for event in &case.facts.voltage_events {
        let word = match event.kind {
            VoltageKind::Dip => "dips",
            VoltageKind::Swell => "swells",
            VoltageKind::Interruption => "interruptions",
        };
        let category = ieee_1159(event, case.site.supply.frequency_hz);
        *counts.entry(format!("{word}_ieee_1159_{category}")).or_insert(0) += 1;
        if event.kind != VoltageKind::Swell {
            let residual = event.extreme_v / case.plan.nominal_v * 100.0;
            let cell = en_50160_cell(residual, event.time.seconds()).to_lowercase();
            *counts.entry(format!("dips_en_50160_{cell}")).or_insert(0) += 1;
        }
    }
    counts
}

fn voltage(case: &Case, put: &mut impl FnMut(&str, f64)) {
    let facts = case.facts;
    let total: f64 = facts.voltage_time.iter().map(|v| v.1).sum();
    for (name, share) in [
        ("voltage_p01_v", 0.01),
        ("voltage_p05_v", 0.05),
        ("voltage_median_v", 0.5),
        ("voltage_p95_v", 0.95),
        ("voltage_p99_v", 0.99),
    ] {
        let mut sum = 0.0;
        let at = facts.voltage_time.iter().find(|(_, seconds)| {
            sum += seconds;
            sum >= share * total
        });
        if let Some((permille, _)) = at {
            put(name, f64::from(*permille) / 1000.0 * case.plan.nominal_v);
        }
    }
    // Ten-minute means on whole ten minutes (IEC 61000-4-30 clause 4.5), r.m.s. of the minutes.
    let mut means = Vec::new();
    for group in facts.minutes.chunk_by(|a, b| a.start_ms / 600_000 == b.start_ms / 600_000) {
        let (mut square, mut seconds) = (0.0, 0.0);
        for minute in group.iter().filter(|m| m.v.is_finite()) {
            square += f64::from(minute.v).powi(2) * f64::from(minute.covered_s);
            seconds += f64::from(minute.covered_s);
        }
        if seconds > 300.0 {
            means.push((square / seconds).sqrt());
        }
    }
    let means = sorted(means);
    for (name, q) in [
        ("voltage_10min_min_v", 0.0),
        ("voltage_10min_p05_v", 0.05),
        ("voltage_10min_p95_v", 0.95),
        ("voltage_10min_max_v", 1.0),
    ] {
        if let Some(value) = quantile_sorted(&means, q) {
            put(name, value);
        }
    }
    // EN 50160: 95 % of ten-minute means within ±10 % of nominal.
    if !means.is_empty() {
        let inside =
            means.iter().filter(|v| (**v / case.plan.nominal_v - 1.0).abs() <= 0.1).count();
        put("voltage_10min_within_10_percent_share", inside as f64 / means.len() as f64);
    }
    let lowest = |pick: fn(&crate::facts::Minute) -> f32| facts.minutes.iter().map(pick);
    put("voltage_lowest_v", f64::from(lowest(|m| m.v_min).fold(f32::NAN, f32::min)));
    put("voltage_highest_v", f64::from(lowest(|m| m.v_max).fold(f32::NAN, f32::max)));
    let frequency = sorted(facts.minutes.iter().map(|m| f64::from(m.f)));
    if let (Some(low), Some(high)) =
        (quantile_sorted(&frequency, 0.0), quantile_sorted(&frequency, 1.0))
    {
        put("frequency_1min_min_hz", low);
        put("frequency_1min_max_hz", high);
    }
    // Busiest clock hour.
    let mut worst = (0.0, 0_i64);
    for group in facts.minutes.chunk_by(|a, b| a.start_ms / 3_600_000 == b.start_ms / 3_600_000) {
        let running: f64 = group.iter().map(|m| f64::from(m.running_s)).sum();
        if running > worst.0 {
            worst = (running, group[0].start_ms / 3_600_000 * 3_600_000);
        }
    }
    put("busiest_hour_running_s", worst.0);
    put("busiest_hour_start_unix_s", worst.1 as f64 / 1000.0);
}
