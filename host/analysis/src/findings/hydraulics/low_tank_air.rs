//! Too little gas in the tank, from the slopes of the pressure on both sides of starts and stops
//! (Boyle's law; see `levels`).

use crate::case::Case;
use crate::findings::Draft;
use crate::limits;
use crate::outcome::{PointsTo, Severity};
use crate::robust::{median, ramp};

/// Fewest runs the gas of a tank is judged by.
const RUNS: usize = limits::TANK_RUNS.value as usize;

/// Looks for it.
pub fn find(case: &Case) -> Option<Draft> {
    let (found, runs) = case.levels.gas_bar_l?;
    let declared = case.levels.declared_gas_bar_l?;
    let share = found / declared;
    if runs < RUNS || share > limits::TANK_AIR.value + 0.1 {
        return None;
    }
    let volume = case.site.tank?.volume_l;
    let severity = if share < limits::TANK_AIR.value { Severity::Fault } else { Severity::Watch };
    let length = median(case.facts.runs.iter().map(|r| r.time.seconds()))?;
    let text = format!(
        "The pressure rises and falls as if the tank held {:.0} % of the gas that a {volume:.0} L \
         tank charged as declared would hold (from the slopes at both ends of {runs} runs and the \
         rated flow, by Boyle's law). The less gas, the less water between a stop and the next \
         start.",
        share * 100.0
    );
    Some(
        Draft::new("low-tank-air", severity, PointsTo::Tank, text)
            // The rated flow may be some 30 % off what the pump really gives.
            .sure(ramp(share, 0.65, 0.3) * ramp(runs as f64, 2.0, 10.0))
            // A slope is taken over a third of a run.
            .resting_on(length / 3.0, case.facts)
            .with("gas_share_of_declared", share)
            .with("gas_found_bar_l", found)
            .with("gas_declared_bar_l", declared)
            .against(limits::TANK_AIR),
    )
}
