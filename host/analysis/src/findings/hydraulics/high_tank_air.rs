//! Precharge above the cut-in pressure: below the precharge the tank holds no water, so the
//! pressure collapses before each start and jumps back to the precharge right after it.

use crate::case::Case;
use crate::facts::{ATMOSPHERE_BAR, RunFacts, Stretch};
use crate::findings::Draft;
use crate::limits;
use crate::outcome::{PointsTo, Severity};
use crate::robust::{centre_and_sigma, median, ramp};
use crate::scan::Load;

/// Jump of the pressure within two seconds of a start.
const JUMP: f64 = limits::TANK_JUMP.value;

/// Pressure that the first two seconds bring beyond what steady filling brings, bar.
fn jump(run: &RunFacts) -> f64 {
    let absolute = run.after_start_bar + ATMOSPHERE_BAR;
    let steady = run.fill_start.max(0.0) * absolute * absolute * 2.5;
    run.after_start_bar - run.start_low_bar - steady
}

/// Looks for it.
pub fn find(case: &Case) -> Option<Draft> {
    if case.constant_pressure() || !case.levels.band_bar.is_finite() {
        return None;
    }
    let band = case.levels.band_bar;
    // A run told from the pressure begins with its rise, so that a fast rise looks like a jump; a
    // tank short of gas rises fast, and one charged too high is not short of gas.
    let short_of_gas = case
        .levels
        .gas_bar_l
        .zip(case.levels.declared_gas_bar_l)
        .is_some_and(|((found, _), declared)| found < limits::TANK_AIR.value * declared);
    if case.plan.load == Load::Pressure && short_of_gas {
        return None;
    }
    // Whatever emptied the tank, a lock-out for one: the jump ends at its precharge.
    let starts: Vec<&RunFacts> = case
        .facts
        .runs
        .iter()
        .skip(1)
        .filter(|run| {
            run.start_seen
                && !run.locked_at_stop
                && jump(run).is_finite()
                && run.time.seconds() > f64::max(3.0, 8.0 * case.facts.row_s)
        })
        .collect();
    let hit: Vec<&RunFacts> =
        starts.iter().copied().filter(|r| jump(r) > (JUMP * band).max(0.1)).collect();
    if hit.len() < 3 || hit.len() * 2 < starts.len() {
        return None;
    }
    let (knee, scatter) = centre_and_sigma(hit.iter().map(|r| r.after_start_bar))?;
    let height = median(hit.iter().map(|r| jump(r)))?;
    let cut_in = case
        .levels
        .cut_in
        .map_or(case.plan.start_bar, |line| line.value.min(case.plan.start_bar + band));
    // Where the reading wanders, what it shows for the precharge wanders with it.
    if case.levels.cut_in.is_some_and(|line| line.change != 0.0 && knee < line.value + 0.08 * band)
    {
        return None;
    }
    // The jump must end above the switch point and always at the same pressure: the precharge.
    if knee < case.plan.start_bar + 0.08 * band
        || knee > case.plan.top_bar + 0.1 * band
        || scatter > 0.15 * band
    {
        return None;
    }
    let share = hit.len() as f64 / starts.len() as f64;
    let text = format!(
        "At {} of {} starts the pressure had collapsed before the pump started and jumped by \
         {height:.2} bar within two seconds, to about {knee:.2} bar, before it rose steadily. A \
         tank whose air pressure stands above the cut-in pressure ({:.2} bar declared) is empty \
         before the pump starts and behaves so.",
        hit.len(),
        starts.len(),
        case.plan.start_bar,
    );
    Some(
        Draft::new("high-tank-air", Severity::Fault, PointsTo::Tank, text)
            .sure(
                ramp(share, 0.3, 0.9)
                    * ramp(hit.len() as f64, 1.0, 6.0)
                    * ramp(height / band, 0.1, 0.3),
            )
            // The jump within two seconds of the start.
            .resting_on(2.0, case.facts)
            .with("jump_bar", height)
            .with("steady_from_bar", knee)
            .with("starts_at_bar", cut_in)
            .limit(
                case.plan.start_bar,
                "bar",
                "site file (cut-in pressure); precharge lies below it by common practice",
            )
            .seen(hit.iter().map(|r| {
                let time =
                    Stretch { start_ms: r.time.start_ms - 1_000, end_ms: r.time.start_ms + 2_500 };
                (time, jump(r))
            })),
    )
}
