//! Stops that heat explains: in mid-course with normal current, supply and water, again and again,
//! and at much the same thermal state each time.

use super::TRIP_CURRENT;
use crate::facts::Facts;
use crate::limits;
use crate::outcome::StopReason;
use crate::robust::{centre_and_sigma, quantile};
use crate::scan::Plan;
use crate::thermal::ThermalState;

/// Time constants tried, s: windings of small motors warm up within minutes, whole motors within
/// the better part of an hour (common practice).
const TAUS_S: [f64; 5] = [120.0, 300.0, 600.0, 1_200.0, 2_400.0];
/// How many times slower a motor cools at rest than it warms up (common practice: 1 in flowing
/// water, 2 to 4 with its own fan standing still).
const SLOWER: [f64; 3] = [1.0, 2.0, 4.0];
/// Scatter of the thermal state over stops by one temperature switch.
const SCATTER: f64 = limits::HEAT_SCATTER.value;
/// Share of other runs that may end hotter.
const HOTTER: f64 = limits::HEAT_HOTTER.value;
/// Fewest stops of a pattern.
const LEAST: usize = limits::HEAT_STOPS.value as usize;

/// Thermal state at the end of each run by one pair of time constants.
fn levels(facts: &Facts, rated_a: f64, tau_s: f64, slower: f64) -> Vec<f64> {
    let mut state = ThermalState::default();
    let mut last_ms = None;
    facts
        .runs
        .iter()
        .map(|run| {
            if let Some(last_ms) = last_ms {
                let rest_s = (run.time.start_ms - last_ms) as f64 / 1000.0;
                state.step(0.0, rest_s.max(0.0), slower * tau_s);
            }
            last_ms = Some(run.time.end_ms);
            if run.current_a.is_finite() {
                state.step(run.current_a / rated_a, run.time.seconds(), tau_s);
            }
            state.level()
        })
        .collect()
}

/// A thermal state at which the stops `hot` came and to which other runs did not rise.
struct Plausible {
    levels: Vec<f64>,
    trip: f64,
    misfit: f64,
}

fn plausible(hot: &[usize], facts: &Facts, plan: &Plan) -> Option<Plausible> {
    let mut best: Option<Plausible> = None;
    for tau_s in TAUS_S {
        for slower in SLOWER {
            let levels = levels(facts, plan.rated_a, tau_s, slower);
            let Some((trip, scatter)) = centre_and_sigma(hot.iter().map(|n| levels[*n])) else {
                continue;
            };
            let others: Vec<f64> = levels
                .iter()
                .enumerate()
                .filter(|(n, _)| hot.binary_search(n).is_err())
                .map(|(_, level)| *level)
                .collect();
            let warmest = quantile(others.iter().copied(), 1.0 - HOTTER).unwrap_or(0.0);
            let scatter = scatter / trip;
            if scatter > SCATTER || warmest > trip * (1.0 + SCATTER) {
                continue;
            }
            let misfit = scatter + (warmest / trip - 1.0).max(0.0);
            if best.as_ref().is_none_or(|b| misfit < b.misfit) {
                best = Some(Plausible { levels, trip, misfit });
            }
        }
    }
    best
}

/// Finds them among the unexplained stops, and among those that came late by their looks (`late`:
/// the next start did not come when the pressure asked for it).
pub fn find(reasons: &mut [Option<StopReason>], late: &[bool], facts: &Facts, plan: &Plan) {
    let mid_course = |n: &usize| {
        let run = &facts.runs[*n];
        // Without pressure, or a declared control, mid-course cannot be told from the end.
        run.stop_bar.is_finite()
            && plan.top_bar.is_finite()
            && run.time.seconds() > f64::max(20.0, 6.0 * facts.row_s)
            && run.last_current_a < TRIP_CURRENT * plan.rated_a
            // Heat opens a circuit without warning; a load that falls away before has another cause.
            && run.last_current_a > (1.0 - limits::STEADY_LOAD.value) * run.current_a
            // The power tells it more plainly, where its last figure is the middle of several rows.
            && (3.0 * facts.row_s > crate::scan::LAST_POWER_S
                || run.last_power_w.is_nan()
                || run.last_power_w > (1.0 - limits::STEADY_LOAD.value) * run.power_w)
    };
    let candidates: Vec<usize> = (0..reasons.len())
        .filter(|n| reasons[*n] == Some(StopReason::Unexplained))
        .filter(mid_course)
        .collect();
    // A person or a clock stops at odd moments too; heat leaves a pause behind.
    let paused = candidates.iter().filter(|n| {
        let rest = facts.rests.iter().find(|r| r.time.start_ms == facts.runs[**n].time.end_ms);
        rest.is_some_and(|rest| rest.end_seen && rest.time.seconds() > 30.0)
    });
    if paused.count() < LEAST {
        return;
    }
    let Some(model) = plausible(&candidates, facts, plan) else { return };
    for n in &candidates {
        reasons[*n] = Some(StopReason::OverTemperature);
    }
    // Some of them happen to come just at the pressure where the control would have stopped too.
    let more = (0..reasons.len()).filter(|n| {
        matches!(reasons[*n], Some(StopReason::CutOut | StopReason::NoDemand))
            && late[*n]
            && model.levels[*n] > model.trip * (1.0 - SCATTER)
    });
    for n in more.filter(mid_course).collect::<Vec<_>>() {
        reasons[n] = Some(StopReason::OverTemperature);
    }
}
