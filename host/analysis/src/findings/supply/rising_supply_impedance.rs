//! Supply impedance that grows, or jumps about, over the record: a connection going bad.

use crate::case::Case;
use crate::findings::Draft;
use crate::limits;
use crate::outcome::{PointsTo, Severity};
use crate::robust::{centre_and_sigma, median, ramp};

/// Early and late impedance, Ω, and their scatter, where it grew beyond doubt.
pub fn growth(case: &Case) -> Option<(f64, f64, f64)> {
    let series: Vec<f64> = case.levels.impedance.iter().map(|z| z.1).collect();
    let part = (series.len() / 4).max(2);
    if series.len() < limits::GROWTH_STARTS.value as usize {
        return None;
    }
    let early = median(series[..part].iter().copied())?;
    let late = median(series[series.len() - part..].iter().copied())?;
    // From one start to the next a sound supply hardly changes; half of that scatter squared is
    // the scatter of one.
    let (_, step) = centre_and_sigma(series.windows(2).map(|w| w[1] - w[0]))?;
    let scatter = step / 2f64.sqrt();
    // What a voltmeter cannot tell is no growth, however even it looks.
    let least = limits::VOLTAGE_TOLD.value * case.plan.nominal_v / judged_a(case);
    // Standard uncertainty of the difference of two medians of so many values (a median's is
    // √(π/2) times that of a mean, normal distribution).
    let uncertain = scatter * (std::f64::consts::PI / part as f64).sqrt();
    let grew = late > limits::IMPEDANCE_GROWTH.value * early
        && late - early > (limits::SIGMAS.value * uncertain).max(least);
    grew.then_some((early, late, scatter))
}

/// Current that the impedance was taken from, A (see `levels`): the starting peak where the rows
/// hold it, the running current elsewhere.
fn judged_a(case: &Case) -> f64 {
    let runs = &case.facts.runs;
    if case.plan.drive {
        return median(runs.iter().map(|r| r.line_range_a).filter(|a| *a > 0.0))
            .unwrap_or(f64::NAN);
    }
    if case.facts.has.half_cycles {
        return median(runs.iter().map(|r| r.peak_a)).unwrap_or(f64::NAN);
    }
    case.levels.current_a
}

/// Looks for it.
pub fn find(case: &Case) -> Option<Draft> {
    let (early, late, scatter) = growth(case)?;
    let current = case.levels.current_a;
    let heat = (late - early) * current * current;
    let text = format!(
        "The resistance that this pump's current meets in supply, cable and connections rose from \
         {early:.2} to {late:.2} Ω over the record (scatter from start to start {scatter:.2} Ω). \
         At {current:.1} A the added part turns about {heat:.0} W (current squared times resistance) into heat somewhere between the \
         supply and the logger.",
    );
    Some(
        Draft::new("rising-supply-impedance", Severity::Fault, PointsTo::Wiring, text)
            .sure(
                ramp(late / early, 1.1, 1.8) * ramp(case.levels.impedance.len() as f64, 2.0, 12.0),
            )
            .with("early_ohm", early)
            .with("late_ohm", late)
            .with("scatter_ohm", scatter)
            .with("heat_w", heat)
            .against(limits::IMPEDANCE_GROWTH),
    )
}
