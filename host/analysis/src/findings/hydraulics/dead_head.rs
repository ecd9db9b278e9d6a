//! The pump works against a closed outlet: pressure high and still, load low, no stop.

use crate::case::Case;
use crate::facts::{RunFacts, Stretch};
use crate::findings::Draft;
use crate::limits;
use crate::outcome::{PointsTo, Severity, StopReason};
use crate::robust::{median, ramp};

/// Time at shut-off above the cut-out.
const LEAST_S: f64 = limits::NO_FLOW_S.value;
/// Time at shut-off no higher than the cut-out.
const LEAST_AT_CUT_OUT_S: f64 = limits::NO_FLOW_AT_CUT_OUT_S.value;

/// Share of its loaded power from which a pump moves water.
const FULL: f64 = 1.0 - limits::STEADY_LOAD.value;

/// Power below which a pump at the top of its band moves no water, W: less than it takes at its
/// ordinary stops by a margin, or without any such stop a good deal less than loaded.
fn still_power_w(case: &Case) -> f64 {
    let ordinary: Vec<f64> = case
        .facts
        .runs
        .iter()
        .zip(&case.ledger.reasons)
        .filter(|(run, reason)| {
            **reason == Some(StopReason::CutOut) && run.shut_off_s < LEAST_S / 2.0
        })
        .map(|(run, _)| run.last_power_w)
        .collect();
    if ordinary.len() >= 3 {
        return 0.85 * median(ordinary).unwrap_or(f64::NAN);
    }
    0.75 * case.levels.power_w.max(crate::findings::source::falling_yield::nameplate_power_w(case))
}

/// Power of the pump when it moves water, W, and what that figure is: as this record shows it, or,
/// where most runs stood against the outlet, by the nameplate. NaN where the nameplate says no more
/// than those runs: then the record does not show what the pump takes when it moves water.
fn usual_power(case: &Case, standing: usize) -> (f64, String) {
    let nameplate = crate::findings::source::falling_yield::nameplate_power_w(case);
    if standing * 2 <= case.facts.runs.len() {
        (case.levels.power_w, format!("its loaded {:.0} W", case.levels.power_w))
    } else if nameplate > case.levels.power_w {
        (nameplate, case.nameplate_words())
    } else {
        (f64::NAN, String::new())
    }
}

/// Longest stretch of a run with low load and the pressure at or near its highest and still.
fn shut_off(run: &RunFacts, case: &Case) -> Option<(Stretch, f64, f64)> {
    let plan = case.plan;
    let top = if plan.top_bar.is_finite() { plan.top_bar } else { run.max_bar };
    // Where the switch stops the pump higher up, or the reading wanders, that is the top.
    let top = case.levels.cut_out.map_or(top, |line| top.max(line.at(run.time.end_ms)));
    let loaded = still_power_w(case);
    let still: Vec<_> = run
        .samples
        .windows(2)
        .filter(|pair| {
            let step = f64::from(pair[1].p - pair[0].p).abs();
            f64::from(pair[0].p) > top - 0.05 * plan.band_bar
                && f64::from(pair[1].p) > top - 0.05 * plan.band_bar
                && step < 0.05 * plan.band_bar
                // Both: the last sample of a run may be cut short by the stop.
                && (f64::from(pair[0].w.max(pair[1].w)) < loaded
                    || f64::from(pair[0].p) > top + 0.05 * plan.band_bar)
        })
        .collect();
    let (first, last) = (still.first()?, still.last()?);
    let time = Stretch { start_ms: first[0].time_ms, end_ms: last[1].time_ms };
    let power = median(still.iter().map(|s| f64::from(s[0].w))).unwrap_or(f64::NAN);
    let pressure = median(still.iter().map(|s| f64::from(s[1].p))).unwrap_or(f64::NAN);
    let beyond = pressure > top + 0.05 * plan.band_bar;
    let least_s = if beyond { LEAST_S } else { LEAST_AT_CUT_OUT_S };
    (time.seconds() >= least_s).then_some((time, power, pressure))
}

/// Looks for it.
pub fn find(case: &Case) -> Option<Draft> {
    if case.constant_pressure() || !case.plan.band_bar.is_finite() {
        return None;
    }
    let seen: Vec<_> = case
        .facts
        .runs
        .iter()
        .filter(|r| r.time.seconds() > LEAST_S)
        .filter_map(|r| shut_off(r, case))
        .collect();
    if seen.is_empty() {
        return None;
    }
    let seconds: f64 = seen.iter().map(|s| s.0.seconds()).sum();
    let power = median(seen.iter().map(|s| s.1)).unwrap_or(f64::NAN);
    let pressure = median(seen.iter().map(|s| s.2)).unwrap_or(f64::NAN);
    let (usual, of) = usual_power(case, seen.len());
    let share = power / usual;
    // With all of its load it moves water, whatever the reading says.
    if share >= FULL {
        return None;
    }
    let load = if share.is_finite() {
        format!(", at {power:.0} W, {:.0} % of {of}", share * 100.0)
    } else if power.is_finite() {
        format!(", at {power:.0} W; what it takes when it moves water, this record does not show")
    } else {
        "; the power it took then was not recorded".to_owned()
    };
    let text = format!(
        "{} times, {} in all, the pump went on running at a pressure of about {pressure:.2} bar that \
         no longer rose{load}. A pump that moves next to no water does this, and the water standing in \
         it heats up.",
        seen.len(),
        crate::findings::span(seconds),
    );
    Some(
        Draft::new("dead-head", Severity::Fault, PointsTo::Pipework, text)
            .sure(
                ramp(seconds, 0.0, 120.0)
                    * if share.is_finite() { ramp(share, FULL, 0.7) } else { 0.5 },
            )
            .resting_on(median(seen.iter().map(|s| s.0.seconds())).unwrap_or(LEAST_S), case.facts)
            .with("time_s", seconds)
            .with("pressure_bar", pressure)
            .with("power_w", power)
            .with("power_share_of_loaded", share)
            .limit(LEAST_S, "s", "common practice (no flow for longer than this)")
            .seen(seen.iter().map(|s| (s.0, s.0.seconds()))),
    )
}
