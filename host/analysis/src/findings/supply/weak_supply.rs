//! Voltage that gives way under this pump's own current.

use crate::case::Case;
use crate::facts::{RunFacts, Stretch};
use crate::findings::Draft;
use crate::limits;
use crate::outcome::{PointsTo, Severity};
use crate::robust::{median, quantile, ramp};

/// Looks for it.
pub fn find(case: &Case) -> Option<Draft> {
    let nominal = case.plan.nominal_v;
    let starts: Vec<(&RunFacts, f64, f64)> = case
        .facts
        .runs
        .iter()
        .filter(|r| r.start_seen && case.levels.impedance.iter().any(|z| z.0 == r.time.start_ms))
        .map(|r| {
            let starting = (r.voltage_before_v - r.starting_voltage_v) / nominal;
            (r, starting, r.run_ohm * r.current_a / nominal)
        })
        .collect();
    if starts.len() < 3 {
        return of_dips(case);
    }
    let starting = quantile(starts.iter().map(|s| s.1), 0.9)?;
    // NaN where runs were too short, or rows too long, to show it.
    let running = quantile(starts.iter().map(|s| s.2), 0.9).unwrap_or(f64::NAN);
    let rising = super::rising_supply_impedance::growth(case).is_some();
    let over_starting = starting > limits::STARTING_DROP.value && !case.plan.drive;
    let over_running = running > limits::RUNNING_DROP.value;
    let loose = super::voltage_dip::only_while_running(case);
    if !(over_starting || over_running || rising || loose) {
        return None;
    }
    let ohm = median(case.levels.impedance.iter().map(|z| z.1))?;
    let most = quantile(case.levels.impedance.iter().map(|z| z.1), 0.9)?;
    let text = format!(
        "At nine in ten of this pump's own starts the voltage gave way by up to {:.1} % of nominal{}: \
         by {ohm:.2} V for each ampere ({ohm:.2} Ω, median; nine in ten starts below {most:.2} Ω). \
         The fall follows this pump's own current in the resistance of supply, cable and connections; \
         a dip from elsewhere does not.",
        starting * 100.0,
        if running.is_finite() {
            format!(", and by up to {:.1} % while it ran", running * 100.0)
        } else {
            String::new()
        },
    );
    let severity =
        if over_starting || over_running || loose { Severity::Fault } else { Severity::Watch };
    Some(
        Draft::new("weak-supply", severity, PointsTo::Wiring, text)
            .sure(
                ramp(
                    starting,
                    0.5 * limits::STARTING_DROP.value,
                    1.2 * limits::STARTING_DROP.value,
                )
                .max(ramp(
                    if running.is_finite() { running } else { 0.0 },
                    0.5 * limits::RUNNING_DROP.value,
                    1.5 * limits::RUNNING_DROP.value,
                ))
                .max(if rising { 0.6 } else { 0.0 })
                .max(if loose { 0.9 } else { 0.0 }),
            )
            .with("starting_drop_share", starting)
            .with("running_drop_share", running)
            .with("supply_impedance_ohm", ohm)
            .with("supply_impedance_p90_ohm", most)
            .against(if over_running { limits::RUNNING_DROP } else { limits::STARTING_DROP })
            .seen(starts.iter().map(|(r, drop, _)| {
                (Stretch { start_ms: r.time.start_ms, end_ms: r.inrush_end_ms }, drop * nominal)
            })),
    )
}

/// Dips that came with this pump's current, where no start tells how current and voltage belong
/// together, as in long rows.
fn of_dips(case: &Case) -> Option<Draft> {
    let nominal = case.plan.nominal_v;
    let dips: Vec<_> = case.facts.dips().filter(|dip| super::own(dip, case)).collect();
    if dips.len() < 3 || !case.levels.impedance.is_empty() {
        return None;
    }
    let lowest_v = dips.iter().map(|d| d.extreme_v).fold(f64::NAN, f64::min);
    let text = format!(
        "{} times the voltage fell below 90 % of nominal, down to {lowest_v:.0} V ({:.0} % of \
         {nominal:.0} V), each time together with a rise of this pump's current. Which of the two came \
         first, and how much voltage an ampere costs, rows of {:.0} s do not tell: a weak supply, a long \
         cable or a poor connection looks like this.",
        dips.len(),
        lowest_v / nominal * 100.0,
        case.facts.row_s,
    );
    Some(
        Draft::new("weak-supply", Severity::Watch, PointsTo::Wiring, text)
            .sure(0.4)
            .with("dips", dips.len() as f64)
            .with("lowest_v", lowest_v)
            .limit(limits::DIP.value * nominal, "V", limits::DIP.source)
            .seen(dips.iter().map(|d| (d.time, d.extreme_v))),
    )
}
