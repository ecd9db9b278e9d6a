//! A drive that runs slower than the pressure calls for.

use crate::case::Case;
use crate::facts::RunFacts;
use crate::findings::{Draft, span};
use crate::limits;
use crate::outcome::{PointsTo, Severity, StopReason};
use crate::robust::{median, quantile, ramp};
use std::fmt::Write;

/// Shortfall of pressure inside one run.
const LEAST_S: f64 = limits::CATCH_UP_S.value;

/// Looks for it.
pub fn find(case: &Case) -> Option<Draft> {
    let held = case.plan.held_bar?;
    let full = quantile(case.facts.runs.iter().map(|r| r.loaded), 1.0)?;
    let least_s = LEAST_S.max(limits::ROWS_INSIDE.value * case.facts.row_length_s());
    let starved =
        |r: &RunFacts| r.deficit_voltage_v < limits::NORMAL_VOLTAGE.value * case.plan.nominal_v;
    let short: Vec<&RunFacts> = case
        .facts
        .runs
        .iter()
        .zip(&case.ledger.reasons)
        // Without water no speed would do.
        .filter(|(_, reason)| **reason != Some(StopReason::DryRun))
        .map(|(run, _)| run)
        .filter(|r| {
            // A single long row does not show that it stayed low. With little load at a normal voltage it
            // lacks water, which is another matter.
            r.deficit_s >= least_s
                && (starved(r)
                    || ((r.deficit_power_w.is_nan() || r.deficit_power_w > 0.4 * full)
                        && r.unloaded_since_ms.is_none()))
        })
        .collect();
    let total: f64 = short.iter().map(|r| r.deficit_s).sum();
    // Where it fell short both with and without voltage enough, the former is the matter here.
    let starved: Vec<&RunFacts> = short.iter().copied().filter(|r| starved(r)).collect();
    let lacking = starved.iter().map(|r| r.deficit_s).sum::<f64>() >= 30.0;
    let short = if lacking { starved } else { short };
    let seconds: f64 = short.iter().map(|r| r.deficit_s).sum();
    if short.is_empty() || seconds < 30.0 {
        return None;
    }
    let low = median(short.iter().map(|r| r.deficit_voltage_v)).unwrap_or(f64::NAN);
    let good = median(case.facts.runs.iter().filter(|r| r.deficit_s < 1.0).map(|r| r.voltage_v))
        .unwrap_or(case.levels.voltage_v);
    let power = median(short.iter().map(|r| r.deficit_power_w)).unwrap_or(f64::NAN);
    let mut text = format!(
        "In {} runs, {} in all, the pressure stayed more than 5 % below the held {held:.2} bar \
         although the pump ran",
        short.len(),
        span(seconds)
    );
    if power.is_finite() && full.is_finite() {
        let _ = write!(text, ", at {power:.0} W (most seen: {full:.0} W)");
    }
    if low.is_finite() && good.is_finite() {
        let _ = write!(
            text,
            ". The supply stood at {low:.0} V then and at {good:.0} V in the other runs."
        );
    } else {
        text += ". The supply voltage was not recorded, so the record does not say whether it was low \
                 then.";
    }
    let severity = if low < limits::NORMAL_VOLTAGE.value * case.plan.nominal_v {
        Severity::Watch
    } else {
        Severity::Info
    };
    // A normal voltage, or none recorded, does not speak against the supply.
    let points_to = if severity == Severity::Watch { PointsTo::Supply } else { PointsTo::None };
    Some(
        Draft::new("speed-reduction", severity, points_to, text)
            .sure(ramp(seconds, 0.0, 300.0) * (0.5 + 0.5 * seconds / total))
            .resting_on(median(short.iter().map(|r| r.deficit_s)).unwrap_or(LEAST_S), case.facts)
            .with("time_s", seconds)
            .with("voltage_v", low)
            .with("voltage_otherwise_v", good)
            .with("power_w", power)
            .with("most_power_w", if power.is_finite() { full } else { f64::NAN })
            .against(limits::PRESSURE_DEFICIT)
            .seen(short.iter().map(|r| (r.time, r.deficit_s))),
    )
}
