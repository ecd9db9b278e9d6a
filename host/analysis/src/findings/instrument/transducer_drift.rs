//! A reading that wanders while the plant does not: both switch points move together, although the
//! motor's load at the stop, which follows the real pressure, stays.

use crate::case::Case;
use crate::facts::RunFacts;
use crate::findings::Draft;
use crate::limits;
use crate::outcome::{PointsTo, Severity, StopReason};
use crate::robust::{least_squares_slope, median, ramp};

/// Movement of both switch points together.
const MOVE: f64 = limits::DRIFT.value;

/// Looks for it.
pub fn find(case: &Case) -> Option<Draft> {
    if case.constant_pressure() {
        return under_drive(case);
    }
    let (cut_in, cut_out) = (case.levels.cut_in?, case.levels.cut_out?);
    let band = case.levels.band_bar;
    if case.constant_pressure() || cut_in.count < 6 || cut_out.count < 6 || !band.is_finite() {
        return None;
    }
    let moved = f64::midpoint(cut_in.change, cut_out.change);
    let together = cut_in.change * cut_out.change > 0.0
        && cut_in.change.abs().min(cut_out.change.abs())
            > 0.4 * cut_in.change.abs().max(cut_out.change.abs());
    if !together || moved.abs() < MOVE * band || moved.abs() < 4.0 * cut_in.sigma.max(cut_out.sigma)
    {
        return None;
    }
    let load = load_tells(case, cut_out.change);
    let text = format!(
        "The pressures at which the pump starts and stops moved together by {moved:+.2} bar over \
         the record (start {:+.2}, stop {:+.2}). {} A mechanical switch does not shift both points \
         alike; a transducer whose zero wanders does.",
        cut_in.change,
        cut_out.change,
        match load {
            Some(share) => format!(
                "The motor's power at the stop changed by {:.0} % of what such a change of real \
                 pressure would bring.",
                share * 100.0
            ),
            None => "Power to check it against was not recorded well enough.".to_owned(),
        },
    );
    let contradicted = load.map_or(0.7, |share| ramp(share, 1.0, 0.3));
    Some(
        Draft::new("transducer-drift", Severity::Fault, PointsTo::Sensor, text)
            .sure(ramp(moved.abs() / band, 0.05, 0.2) * (0.4 + 0.6 * contradicted))
            .with("moved_bar", moved)
            .with("start_moved_bar", cut_in.change)
            .with("stop_moved_bar", cut_out.change)
            .with("load_change_share", load.unwrap_or(f64::NAN))
            .limit(MOVE * band, "bar", "this record (four times its scatter), at least 10 % of the band as common practice"),
    )
}

/// Change of the power at the stop over the record, as a share of what the moved reading would
/// bring if it were real.
fn load_tells(case: &Case, moved: f64) -> Option<f64> {
    let runs: Vec<&RunFacts> = case.stopped_by(StopReason::CutOut).collect();
    let third = runs.len() / 3;
    if third < 2 {
        return None;
    }
    // Watts per bar, from the course of each run.
    let slope = median(runs.iter().filter_map(|r| {
        let points = r.samples.iter().filter(|s| s.p.is_finite() && s.w.is_finite()).skip(1);
        least_squares_slope(points.map(|s| (f64::from(s.p), f64::from(s.w))))
    }))?;
    let power = |part: &[&RunFacts]| median(part.iter().map(|r| r.last_power_w));
    let change = power(&runs[runs.len() - third..])? - power(&runs[..third])?;
    // Between the middles of the thirds lie two thirds of the record.
    let expected = slope * moved * 2.0 / 3.0;
    (expected.abs() > 0.005 * case.levels.power_w)
        .then(|| (change / expected).clamp(-1.0, 2.0).abs())
}

/// Change of the load from which a drive goes to sleep.
const LOAD_MOVE: f64 = limits::DRIFT_LOAD.value;

/// A drive holds the reading, so a drift moves the real pressure instead, and with it the load at
/// which the drive goes to sleep: at no flow the power goes with the pressure to the power of 1.5
/// (affinity laws).
fn under_drive(case: &Case) -> Option<Draft> {
    let idle = case.levels.idle?;
    let share = idle.change / idle.value;
    if idle.count < 20
        || case.days() < limits::DRIFT_DAYS.value
        || share.abs() < LOAD_MOVE
        || idle.change.abs() < 4.0 * idle.change_sigma()
    {
        return None;
    }
    // A drive takes more current from a lower voltage for the same load.
    let (unit, severity, points_to) = if case.facts.has.power {
        ("W", Severity::Watch, PointsTo::Sensor)
    } else {
        ("A", Severity::Info, PointsTo::None)
    };
    let text = format!(
        "The load from which the drive goes to sleep, moving no water, went from {:.1} to {:.1} \
         {unit} over the record ({:+.0} %) at the same pressure reading. The real pressure, or the \
         level the water comes from, has moved and the reading has not followed: a transducer that \
         drifts is one explanation, a water level that falls or rises steadily another.",
        idle.value - idle.change / 2.0,
        idle.value + idle.change / 2.0,
        share * 100.0,
    );
    Some(
        Draft::new("transducer-drift", severity, points_to, text)
            .sure(ramp(share.abs(), 0.02, 0.12))
            .with("idle_load_change_share", share)
            .limit(
                LOAD_MOVE,
                "of the no-flow load",
                "this record (four times its scatter), at least 5 % as common practice",
            ),
    )
}
