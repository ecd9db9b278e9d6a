//! Runs too short for the motor, one after another, or too many starts in an hour.

use crate::case::Case;
use crate::facts::Stretch;
use crate::findings::Draft;
use crate::limits;
use crate::outcome::{PointsTo, Severity, StopReason};
use crate::robust::{median, ramp};

/// Fewest short runs in a row that make a group.
const GROUP: usize = limits::CYCLING_GROUP.value as usize;

/// Most starts inside any 60 minutes.
pub fn most_starts_per_hour(starts_ms: &[i64]) -> usize {
    let mut first = 0;
    let mut most = 0;
    for last in 0..starts_ms.len() {
        while starts_ms[last] - starts_ms[first] >= 3_600_000 {
            first += 1;
        }
        most = most.max(last - first + 1);
    }
    most
}

/// Looks for it.
pub fn find(case: &Case) -> Option<Draft> {
    let declared = case.site.limits.min_run_s;
    let (least_s, source) = declared
        .map_or((limits::MIN_RUN_S.value, limits::MIN_RUN_S.source), |value| (value, "site file"));
    // Drives start softly and short runs do them no harm; only a declared limit counts there.
    if case.plan.drive && declared.is_none() || !case.levels.runs_told {
        return None;
    }
    let most_allowed =
        case.site.limits.max_starts_per_hour.unwrap_or(limits::MAX_STARTS_PER_HOUR.value);
    let apart_ms = (3.6e6 / most_allowed) as i64;
    let normal: Vec<_> = case
        .facts
        .runs
        .iter()
        .zip(&case.ledger.reasons)
        .filter(|(_, r)| {
            matches!(r, Some(StopReason::CutOut | StopReason::NoDemand | StopReason::Unexplained))
        })
        .map(|(run, _)| run)
        .collect();
    let mut groups: Vec<(Stretch, usize)> = Vec::new();
    let mut short = 0;
    for run in normal.iter().filter(|r| r.start_seen && r.time.seconds() < least_s) {
        short += 1;
        match groups.last_mut() {
            Some((time, count)) if run.time.start_ms - time.end_ms < apart_ms => {
                time.end_ms = run.time.end_ms;
                *count += 1;
            }
            _ => groups.push((run.time, 1)),
        }
    }
    groups.retain(|(_, count)| *count >= GROUP);
    let starts: Vec<i64> =
        normal.iter().filter(|r| r.start_seen).map(|r| r.time.start_ms).collect();
    let most = most_starts_per_hour(&starts);
    let too_many = most as f64 > most_allowed;
    let in_groups: usize = groups.iter().map(|g| g.1).sum();
    // More starts than its owner allows are too many, whatever the length of the runs.
    let over = match case.site.limits.max_starts_per_hour {
        Some(allowed) => ramp(most as f64 / allowed, 1.0, 1.5),
        None => 0.0,
    };
    if groups.is_empty() && !(too_many && (short > 0 || over > 0.0)) {
        return None;
    }
    let typical = median(normal.iter().map(|r| r.time.seconds()))?;
    let share = in_groups as f64 / normal.len().max(1) as f64;
    let fault = in_groups >= 10 || too_many;
    let severity = if fault { Severity::Fault } else { Severity::Watch };
    let (points_to, why) = whose(case);
    let hour = format!("up to {most} starts fell within one hour (limit {most_allowed:.0})");
    let runs = if short > 0 {
        format!(
            "{short} of {} runs were shorter than {least_s:.0} s, {in_groups} of them in {} groups of \
             starts close together; half of all runs lasted less than {typical:.0} s, and {hour}.",
            normal.len(),
            groups.len(),
        )
    } else {
        format!(
            "No run was shorter than {least_s:.0} s, and half of them lasted less than {typical:.0} s; \
             but {hour}."
        )
    };
    let text = format!("{runs} Frequent starts heat and wear a motor. {why}");
    Some(
        Draft::new("short-cycling", severity, points_to, text)
            .sure((ramp(in_groups as f64, 0.0, 12.0).max(0.4) * ramp(share, -0.5, 0.3)).max(over))
            .resting_on(typical, case.facts)
            .with("short_runs", f64::from(short))
            .with("runs", normal.len() as f64)
            .with("median_run_s", typical)
            .with("starts_per_hour_max", most as f64)
            .with("starts_per_hour_limit", most_allowed)
            .limit(least_s, "s", source)
            .seen(groups.into_iter().map(|(time, count)| (time, count as f64))),
    )
}

/// Whose matter short runs are, where the record decides it, and what else makes them where it does
/// not.
fn whose(case: &Case) -> (PointsTo, String) {
    let levels = case.levels;
    let gas = levels.gas_bar_l.zip(levels.declared_gas_bar_l).map(|((gas, _), of)| gas / of);
    let band = levels.cut_in.zip(levels.cut_out).map(|(low, high)| high.value - low.value);
    let narrow = band.is_some_and(|found| found < limits::DIFFERENTIAL.value * levels.band_bar);
    match gas {
        // Slopes are taken between the switch points, so that a narrow band does not lower the gas.
        Some(share) if share < limits::TANK_AIR.value && !narrow => (
            PointsTo::Tank,
            format!(
                "From the slopes of the pressure the tank holds {:.0} % of its declared gas, which \
                 makes runs short.",
                share * 100.0
            ),
        ),
        Some(share) if share >= limits::TANK_AIR.value && narrow => (
            PointsTo::Control,
            "The pump stops and starts over a narrower band than declared, which makes runs short."
                .to_owned(),
        ),
        _ => (
            PointsTo::None,
            "A tank short of air, too narrow a band of the switch, or taps opened again and again all \
             do this; the runs alone do not tell which."
                .to_owned(),
        ),
    }
}
