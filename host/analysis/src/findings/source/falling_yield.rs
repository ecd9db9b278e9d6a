//! The pump moves less water than it is rated for, or less and less, without running dry.

use crate::case::Case;
use crate::findings::Draft;
use crate::limits;
use crate::outcome::{PointsTo, Severity, StopReason};
use crate::robust::{median, ramp, weighted_median};
use std::fmt::Write;

/// Flow below which a pump counts as giving too little.
const FLOW: f64 = limits::YIELD_FLOW.value;
/// Loaded power below which a motor counts as lightly loaded.
const POWER: f64 = limits::LIGHT_LOAD.value;
/// Fall of the loaded power over the record.
const FALL: f64 = limits::POWER_FALL.value;

/// Power the nameplate lets expect at full load, W; at the nominal voltage where none was recorded.
pub fn nameplate_power_w(case: &Case) -> f64 {
    let volts = case.levels.voltage_v;
    let share = if volts.is_finite() { volts / case.plan.nominal_v } else { 1.0 };
    case.levels.full_w * share
}

/// Looks for it.
pub fn find(case: &Case) -> Option<Draft> {
    if case.constant_pressure() {
        return of_drive(case);
    }
    if case.plan.drive || !case.facts.has.power || !case.facts.has.pressure {
        return None;
    }
    let runs: Vec<_> = case
        .facts
        .runs
        .iter()
        .filter(|r| r.time.seconds() > 5.0 && !r.locked_at_stop && r.first_power_w.is_finite())
        .collect();
    if runs.len() < 4 {
        return None;
    }
    let expected = nameplate_power_w(case);
    let power = median(runs.iter().map(|r| r.first_power_w))?;
    let power_share = power / expected;
    let flow_share = case.levels.flow_share.unwrap_or(f64::NAN);
    let third = runs.len() / 3;
    let early = median(runs[..third.max(1)].iter().map(|r| r.loaded))?;
    let late = median(runs[runs.len() - third.max(1)..].iter().map(|r| r.loaded))?;
    let fall = 1.0 - late / early;
    // A fall along with the voltage is the motor's answer to the supply.
    let volts = |runs: &[&crate::facts::RunFacts]| median(runs.iter().map(|r| r.voltage_v));
    let late_v = volts(&runs[runs.len() - third.max(1)..])?;
    let early_v = volts(&runs[..third.max(1)])?;
    let sag = 1.0 - late_v / early_v;
    let falling = fall - sag.max(0.0) > FALL;
    let weak = flow_share < FLOW && power_share < POWER;
    // A reading that wanders changes the slopes of the pressure by itself.
    let wanders = case
        .levels
        .cut_out
        .is_some_and(|line| line.change.abs() > limits::DRIFT.value * case.plan.band_bar);
    let slower =
        case.levels.flow_change.is_some_and(|change| change < FLOW) && fall > 0.03 && !wanders;
    let falling = falling || slower;
    if !falling && !weak {
        return None;
    }
    let dry = case.ledger.count(StopReason::DryRun);
    let confidence = if weak {
        ramp(flow_share, 0.9, 0.55) * ramp(power_share, 1.0, 0.7)
    } else {
        ramp(fall, 0.06, 0.25).max(ramp(case.levels.flow_change.unwrap_or(1.0), 0.9, 0.5))
    };
    let mut text = String::new();
    if weak {
        let _ = write!(
            text,
            "The tank, charged as declared, fills as if the pump gave {:.0} % of its rated flow, and \
             the motor takes {power:.0} W, {:.0} % of {} at the usual {:.0} V.",
            flow_share * 100.0,
            power_share * 100.0,
            case.nameplate_words(),
            case.levels.voltage_v
        );
    }
    if falling {
        if weak {
            text.push(' ');
        }
        let _ = write!(
            text,
            "Loaded power went from {early:.0} W in the first third of the runs to {late:.0} W in the \
             last, beyond what the voltage explains (medians {early_v:.0} and {late_v:.0} V)."
        );
        if let Some(change) = case.levels.flow_change {
            let _ = write!(
                text,
                " In the last third the tank filled at {:.0} % of the rate of the first.",
                change * 100.0
            );
        }
        text += " A pump that moves less and less water does this.";
    }
    if dry > 0 {
        let _ = write!(text, " {dry} runs ended dry.");
    }
    Some(
        Draft::new(
            "falling-yield",
            if confidence > 0.35 { Severity::Fault } else { Severity::Watch },
            PointsTo::Source,
            text,
        )
        .sure(confidence)
        .with("flow_share_of_rated", flow_share)
        .with("power_share_of_nameplate", power_share)
        .with("power_fall_share", fall)
        .with("flow_late_to_early", case.levels.flow_change.unwrap_or(f64::NAN))
        .limit(FLOW, "of rated flow", "nameplate; 25 % as common practice"),
    )
}

/// Shortfall of a drive, all runs together.
const SHORTFALL_S: f64 = limits::SHORTFALL_S.value;

/// A drive short of its pressure turns at full speed, and a pump that moves its rated flow then
/// takes what its nameplate says. With less, at a normal voltage, it moves less.
fn of_drive(case: &Case) -> Option<Draft> {
    if !case.facts.has.power {
        return None;
    }
    // A single long row does not show that it stayed low.
    let least_s = (SHORTFALL_S / 6.0).max(limits::ROWS_INSIDE.value * case.facts.row_length_s());
    let short: Vec<_> = case
        .facts
        .runs
        .iter()
        .zip(&case.ledger.reasons)
        .filter(|(run, reason)| {
            let swinging = case
                .facts
                .swings
                .iter()
                .any(|s| s.time.meets(run.time.start_ms, run.time.end_ms, 0));
            **reason != Some(StopReason::DryRun)
                && !swinging
                && run.deficit_s >= least_s
                // Short of voltage a drive slows down; without a voltage there is no telling.
                && run.deficit_voltage_v >= limits::NORMAL_VOLTAGE.value * case.plan.nominal_v
        })
        .map(|(run, _)| run)
        .collect();
    let seconds: f64 = short.iter().map(|r| r.deficit_s).sum();
    // By time: a moment in one run says less than minutes in another.
    let power = weighted_median(short.iter().map(|r| (r.deficit_power_w, r.deficit_s)))?;
    let share = power / case.levels.full_w;
    // Below this it has no water at all: see `dry-run`.
    if seconds < SHORTFALL_S || !(limits::UNLOADED_POWER.value * 0.9..POWER).contains(&share) {
        return None;
    }
    // A reading with a ceiling looks alike, and noise hides a ceiling.
    let hidden = case.facts.noise_bar > limits::ONE_VALUE.value * case.plan.top_bar;
    let confidence = ramp(share, 1.0, 0.75)
        * ramp(seconds, 0.0, 4.0 * SHORTFALL_S)
        * if hidden { 0.3 } else { 0.9 };
    let text = format!(
        "In {} runs, {seconds:.0} s in all, the drive could not hold its pressure although the \
         voltage was normal (at least {:.0} % of nominal), and took {power:.0} W (median over \
         that time), {:.0} % of {}: at full speed with the pressure low a pump with water enough takes \
         more.",
        short.len(),
        limits::NORMAL_VOLTAGE.value * 100.0,
        share * 100.0,
        case.nameplate_words()
    );
    let severity = if confidence > 0.35 { Severity::Fault } else { Severity::Watch };
    Some(
        Draft::new("falling-yield", severity, PointsTo::Source, text)
            .sure(confidence)
            .with("time_s", seconds)
            .with("power_w", power)
            .with("power_share_of_nameplate", share)
            .limit(
                POWER,
                "of the nameplate's power",
                "nameplate; 12 % as common practice (pumps are driven near their motor's rating)",
            )
            .seen(short.iter().map(|r| (r.time, r.deficit_power_w))),
    )
}
