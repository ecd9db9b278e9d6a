//! The transducer's own supply: measured where it is recorded; else shown by a reading that cannot
//! rise beyond one value, or by a loop that fails together with the mains.

use crate::case::Case;
use crate::ceiling;
use crate::facts::{LOAD_STEP, LoopKind, RunFacts};
use crate::findings::Draft;
use crate::levels::{Line, plain};
use crate::limits;
use crate::outcome::{PointsTo, Severity};
use crate::robust::{centre_and_sigma, median, ramp};
use crate::scan::Load;
use pumpwitness_site_file::TransducerKind;

/// Least supply of a 4-20 mA loop.
const LOOP_V: f64 = limits::LOOP_SUPPLY_V.value;
/// Least supply of a ratiometric transducer.
const RATIO_V: f64 = limits::RATIO_SUPPLY_V.value;

/// Below a ceiling by no more than this share of the band, a run has reached it.
const AT_TOP: f64 = 0.03;

/// Looks for it.
pub fn find(case: &Case) -> Option<Draft> {
    measured(case)
        .or_else(|| with_mains(case))
        .or_else(|| ceiling(case))
        .or_else(|| standing_tops(case))
        .or_else(|| ceiling_under_drive(case))
}

/// Whether the reading under a pressure switch has a ceiling, and hides what the switch acts on.
pub fn has_ceiling(case: &Case) -> bool {
    ceiling(case).or_else(|| standing_tops(case)).is_some()
}

/// Whether it may have one, where too few tops were seen, or came to stand, to say so.
pub fn may_have_ceiling(case: &Case) -> bool {
    standing(case).is_some()
}

fn measured(case: &Case) -> Option<Draft> {
    let (low, high) = case.facts.transducer_supply_v?;
    let limit = match case.site.transducer?.kind {
        TransducerKind::Loop => LOOP_V,
        TransducerKind::Ratiometric => RATIO_V,
    };
    if low >= limit {
        return None;
    }
    let text = format!(
        "The transducer's supply fell to {low:.2} V (highest {high:.2} V); below {limit:.2} V its \
         readings are not to be relied on."
    );
    Some(
        Draft::new("transducer-supply", Severity::Fault, PointsTo::Sensor, text)
            .sure(ramp(low / limit, 1.0, 0.9).max(0.5))
            .with("lowest_v", low)
            .with("highest_v", high)
            .limit(limit, "V", "common practice (least supply of the transducer)"),
    )
}

/// Loop failures that come with dips or low voltage of the mains.
fn with_mains(case: &Case) -> Option<Draft> {
    let open: Vec<_> = case
        .facts
        .loop_faults
        .iter()
        .filter(|f| f.kind == LoopKind::Open && f.voltage.is_finite())
        .collect();
    let together = open.iter().filter(|f| f.voltage < crate::limits::DIP.value).count();
    if together < 3 || together * 10 < open.len() * 7 {
        return None;
    }
    let text = format!(
        "{together} of {} failures of the transducer loop fell together with low mains voltage: \
         the loop's supply does not carry it through.",
        open.len()
    );
    Some(
        Draft::new("transducer-supply", Severity::Fault, PointsTo::Sensor, text)
            .sure(ramp(together as f64 / open.len() as f64, 0.6, 0.9) * 0.8)
            .with("together", together as f64)
            .with("failures", open.len() as f64)
            .limit(crate::limits::DIP.value * case.plan.nominal_v, "V", crate::limits::DIP.source)
            .seen(open.iter().map(|f| (f.time, f.extreme_ma))),
    )
}

/// A reading that stops at one value, run after run, while the pump's load goes on changing.
fn ceiling(case: &Case) -> Option<Draft> {
    if case.constant_pressure() || !case.plan.band_bar.is_finite() {
        return None;
    }
    let usual_a = case.levels.current_a;
    let runs: Vec<&RunFacts> = case
        .facts
        .runs
        .iter()
        .filter(|r| {
            plain(r, usual_a, case.plan) && r.stop_bar.is_finite() && r.time.seconds() > 5.0
        })
        .collect();
    let capped: Vec<&RunFacts> = runs
        .iter()
        .copied()
        .filter(|r| {
            let absolute = r.stop_bar + crate::facts::ATMOSPHERE_BAR;
            // What the pressure would have risen by at half the rate it rose with before.
            let rising_s = (r.time.seconds() - r.plateau_s).max(1.0);
            let before = (r.stop_bar - r.start_bar).max(0.0) / rising_s;
            let mean = r.fill_mean.max(0.0) * absolute * absolute;
            let expected = 0.5 * before.max(mean) * r.plateau_s;
            r.stop_bar < case.plan.top_bar - 0.08 * case.plan.band_bar
                && expected > 0.1 * case.plan.band_bar
                && stood_at_the_end(r)
        })
        .collect();
    let (ceiling, scatter) = centre_and_sigma(capped.iter().map(|r| r.stop_bar))?;
    // A run that something else ended lower down does not speak against a ceiling.
    let reached =
        runs.iter().filter(|r| r.stop_bar > ceiling - AT_TOP * case.plan.band_bar).count();
    if capped.len() < 3 || capped.len() * 2 < reached {
        return None;
    }
    if scatter > AT_TOP * case.plan.band_bar {
        return None;
    }
    let seconds = median(capped.iter().map(|r| r.plateau_s))?;
    let text = format!(
        "In {} of {reached} runs that came so high the pressure reading rose to {ceiling:.2} bar and \
         stood there for {seconds:.0} s (median) until the pump stopped, always at the same value \
         (scatter {scatter:.3} bar) and below the cut-out of {:.2} bar: the reading has a ceiling, as \
         when the transducer's supply cannot drive its loop any higher.",
        capped.len(),
        case.plan.top_bar
    );
    Some(
        Draft::new("transducer-supply", Severity::Fault, PointsTo::Sensor, text)
            .sure(ramp(capped.len() as f64 / reached as f64, 0.4, 0.9) * 0.8)
            .with("ceiling_bar", ceiling)
            .with("scatter_bar", scatter)
            .with("standing_s", seconds)
            .limit(case.plan.top_bar, "bar", "site file")
            .seen(capped.iter().map(|r| (r.time, r.stop_bar))),
    )
}

/// Whether a run ended as one does whose reading rises evenly and then stands: by the slope of its
/// last window.
fn stood_at_the_end(run: &RunFacts) -> bool {
    let standing = run.plateau_s / run.slope_s();
    let most = if standing < 0.6 { 0.0 } else { slope_of_a_kink(1.0 - standing) };
    run.fill_stop.abs() < (most + 0.15) * run.fill_start.abs()
}

/// Slope by least squares over a window of which a part rises evenly and the rest stands, as a share
/// of that of the rise: ∫(x−½)·y dx / ∫(x−½)² dx = u²·(3−2u) for the part u.
fn slope_of_a_kink(rising: f64) -> f64 {
    let u = rising.clamp(0.0, 1.0);
    u * u * (3.0 - 2.0 * u)
}

/// Fewest tops that are judged.
const TOPS: usize = limits::STANDING_TOPS.value as usize;

/// The same where the pressure alone tells the runs, so that no load shows whether the pump still
/// runs: a reading that comes to stand at every top, always at the same value. After some stops of a
/// switch water is still drawn, and the pressure falls at once; and a switch does not repeat so
/// exactly.
fn standing_tops(case: &Case) -> Option<Draft> {
    let (standing, tops, top) = standing(case)?;
    if tops.len() < TOPS || standing * 10 < tops.len() * 9 {
        return None;
    }
    let text = format!(
        "At {standing} of {} tops the pressure reading came to stand at {:.2} bar, always at the same \
         value (scatter {:.3} bar) and below the cut-out of {:.2} bar: as when the transducer's supply \
         cannot drive its loop any higher. A switch that stops the pump there, always while no water \
         is drawn, would look much alike; the motor's current, which tells the two apart, was not \
         recorded.",
        tops.len(),
        top.value,
        top.sigma,
        case.plan.top_bar
    );
    Some(
        Draft::new("transducer-supply", Severity::Fault, PointsTo::Sensor, text)
            .sure(0.55)
            .with("ceiling_bar", top.value)
            .with("scatter_bar", top.sigma)
            .limit(case.plan.top_bar, "bar", "site file")
            .seen(tops.iter().map(|r| (r.time, r.stop_bar))),
    )
}

/// Tops at which the reading came to stand, all tops, and where they lie; `None` where they cannot be
/// a ceiling, because they differ or the reading falls at once from most of them.
fn standing<'a>(case: &'a Case) -> Option<(usize, Vec<&'a RunFacts>, Line)> {
    if case.plan.load != Load::Pressure || !case.plan.band_bar.is_finite() {
        return None;
    }
    let top = case.levels.cut_out?;
    let band = case.plan.band_bar;
    // What ended lower down neither stands at a ceiling nor speaks against one.
    let tops: Vec<&RunFacts> = case
        .facts
        .runs
        .iter()
        .filter(|r| r.stop_seen && r.draw_after.is_finite() && r.fill_mean > 0.0)
        .filter(|r| r.stop_bar > top.value - AT_TOP * band)
        .collect();
    let standing =
        tops.iter().filter(|r| r.draw_after.abs() < limits::STANDS.value * r.fill_mean).count();
    let same = top.change.abs().max(top.sigma) < limits::SAME_TOP.value * band;
    let low = top.value <= case.plan.top_bar - 0.08 * band;
    (standing * 2 >= tops.len() && same && low).then_some((standing, tops, top))
}

/// Half of the width that counts as one value.
const ONE_VALUE: f64 = limits::ONE_VALUE.value;

/// Share of the running time for which the reading lay clearly below the held pressure.
pub fn short_of_held(case: &Case) -> f64 {
    let Some(held) = case.plan.held_bar else { return 0.0 };
    let steps = &case.facts.pressure_load;
    let running: f64 = steps.iter().map(|s| s.seconds).sum();
    // Two widths of one value below it, a working control does not rest.
    let low = steps.iter().filter(|s| s.bar < (1.0 - 2.0 * ONE_VALUE) * held);
    low.map(|s| s.seconds).sum::<f64>() / running.max(1.0)
}

/// A reading that stands at one value under a drive while the load moves: see [`crate::ceiling`].
fn ceiling_under_drive(case: &Case) -> Option<Draft> {
    let held = case.plan.held_bar?;
    let ceiling = ceiling::under_drive(case.facts, case.plan)?;
    let share = ceiling.stood_s / ceiling.running_s;
    let text = format!(
        "For {:.1} h, {:.0} % of the running time, the pressure reading stood at {:.2} bar, below \
         the held {held:.2} bar, and hardly ever above it, although for {:.0} min of this time the \
         motor's load differed from its usual one by {:.0} % of full load and more: a real pressure \
         would have moved with it. The reading has a ceiling, as when the transducer's supply \
         cannot drive its loop any higher.",
        ceiling.stood_s / 3600.0,
        share * 100.0,
        ceiling.bar,
        ceiling.other_load_s / 60.0,
        LOAD_STEP * 100.0,
    );
    let other = ramp(ceiling.other_load_s, 0.0, 2.0 * limits::OTHER_LOAD_S.value);
    Some(
        Draft::new("transducer-supply", Severity::Fault, PointsTo::Sensor, text)
            .sure(ramp(share, 0.4, 0.8) * other * 0.85)
            .with("ceiling_bar", ceiling.bar)
            .with("standing_s", ceiling.stood_s)
            .with("other_load_s", ceiling.other_load_s)
            .limit(held, "bar", "site file"),
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::robust::least_squares_slope;

    /// Against least squares over a rise that turns into standing.
    #[test]
    fn the_slope_of_a_kink_is_that_of_least_squares() {
        for standing in [0.0, 0.2, 0.5, 0.7, 0.9, 1.0] {
            let rising = 1.0 - standing;
            let points = (0..=10_000).map(|n| f64::from(n) / 10_000.0).map(|x| (x, x.min(rising)));
            let slope = least_squares_slope(points).unwrap();
            assert!((slope - slope_of_a_kink(rising)).abs() < 1e-3, "{standing}: {slope}");
        }
    }
}
