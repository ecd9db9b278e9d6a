//! Cut-in and cut-out closer together than declared.

use crate::case::Case;
use crate::facts::RunFacts;
use crate::findings::Draft;
use crate::findings::instrument::transducer_supply::{has_ceiling, may_have_ceiling};
use crate::limits;
use crate::outcome::{PointsTo, Severity};
use crate::robust::{median, ramp};

/// Share of a run for which the reading may stand still before a switch stops it.
const STANDING: f64 = limits::STANDING.value;

/// Looks for it.
pub fn find(case: &Case) -> Option<Draft> {
    let (cut_in, cut_out) = (case.levels.cut_in?, case.levels.cut_out?);
    let declared = case.levels.band_bar;
    if case.constant_pressure() || !declared.is_finite() || cut_out.count < 4 {
        return None;
    }
    // Where the pressure collapses before a start, the reading before it is not the switch's.
    let collapse = median(case.facts.runs.iter().map(|r| r.start_bar - r.start_low_bar));
    if collapse.is_some_and(|fall| fall > 0.15 * declared) {
        return None;
    }
    // A pump that the switch stops is still filling then. Where the reading had long stood still,
    // it is not the pressure the switch acted on.
    let near = |r: &&RunFacts| {
        (r.stop_bar - cut_out.at(r.time.end_ms)).abs() < limits::SWITCH_POINT.value * declared
    };
    let at_top = case.facts.runs.iter().filter(near);
    let still = median(at_top.map(|r| r.plateau_s / r.time.seconds().max(1.0)));
    if still.is_some_and(|share| share > STANDING) {
        return None;
    }
    // Nor where the reading has a ceiling.
    if has_ceiling(case) {
        return None;
    }
    let found = cut_out.value - cut_in.value;
    let share = found / declared;
    let scatter = (cut_in.sigma.powi(2) + cut_out.sigma.powi(2)).sqrt();
    if share > limits::DIFFERENTIAL.value || found + 2.0 * scatter > 0.85 * declared {
        return None;
    }
    let length = median(case.facts.runs.iter().map(|r| r.time.seconds()))?;
    let (points_to, share_of_two, alike) = if may_have_ceiling(case) {
        (
            PointsTo::None,
            0.5,
            " Or the reading goes no higher, and the pump stops at another pressure: the motor's \
             current, which tells the two apart, was not recorded.",
        )
    } else {
        (PointsTo::Control, 1.0, "")
    };
    let text = format!(
        "The pump stops at {:.2} bar and starts again at {:.2} bar: a differential of {found:.2} \
         bar where {declared:.2} bar is declared ({:.2} and {:.2} bar). A narrower differential \
         makes more and shorter runs.{alike}",
        cut_out.value, cut_in.value, case.plan.top_bar, case.plan.start_bar
    );
    Some(
        Draft::new("narrow-differential", Severity::Fault, points_to, text)
            .sure(ramp(share, 0.8, 0.55) * ramp(cut_out.count as f64, 2.0, 10.0) * share_of_two)
            // Between two rows the pressure passes the switch points by as much as it moves in one.
            .resting_on((1.0 - 0.85) * length, case.facts)
            .with("differential_bar", found)
            .with("declared_differential_bar", declared)
            .with("cut_in_bar", cut_in.value)
            .with("cut_out_bar", cut_out.value)
            .limit(limits::DIFFERENTIAL.value * declared, "bar", limits::DIFFERENTIAL.source),
    )
}
