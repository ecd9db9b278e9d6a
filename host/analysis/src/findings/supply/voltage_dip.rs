//! Dips that this pump did not cause.

use crate::case::Case;
use crate::facts::VoltageEvent;
use crate::findings::Draft;
use crate::limits;
use crate::outcome::{PointsTo, Severity};
use crate::robust::ramp;

/// Dips of the supply, those that the pump's own current explains left out.
pub fn upstream<'a>(case: &'a Case) -> impl Iterator<Item = &'a VoltageEvent> {
    case.facts.dips().filter(|dip| !super::own(dip, case))
}

/// True when every dip came while this pump ran although it mostly rests: a poor connection drops
/// voltage under load only, and a supply's dips do not wait for this pump. Chance below one in a
/// thousand (common practice).
pub fn only_while_running(case: &Case) -> bool {
    let dips: Vec<_> = upstream(case).collect();
    let running: f64 = case.facts.runs.iter().map(|r| r.time.seconds()).sum();
    let share = running * 1000.0 / (case.facts.covered_ms as f64).max(1.0);
    // Where in a row a dip lies is not known.
    let row_ms = (case.facts.row_s * 1000.0) as i64;
    dips.len() >= 3
        && share.powi(dips.len().min(1_000) as i32) < 0.001
        && dips.iter().all(|d| {
            case.facts.runs.iter().any(|r| {
                r.time.start_ms < d.time.start_ms + row_ms.max(500)
                    && d.time.end_ms < r.time.end_ms + row_ms.max(1_000)
            })
        })
}

/// Looks for it.
pub fn find(case: &Case) -> Option<Draft> {
    let dips: Vec<_> = upstream(case).collect();
    if dips.is_empty() {
        return None;
    }
    let nominal = case.plan.nominal_v;
    let lowest = dips.iter().map(|d| d.extreme_v).fold(f64::NAN, f64::min);
    let longest = dips.iter().map(|d| d.time.seconds()).fold(0.0, f64::max);
    let resting = dips.iter().filter(|dip| !super::rose(dip, case)).count();
    let per_day = dips.len() as f64 / case.days();
    let whose = if case.facts.has.current && resting == dips.len() {
        "This pump's current did not rise by half of its rated one with any of them. So they come \
         from ahead of the place of measurement, other loads on the same supply included, and not \
         from this pump."
            .to_owned()
    } else if case.facts.has.current {
        format!(
            "{resting} of these came without a rise of this pump's current by half of its rated one, \
             and come from ahead of the place of measurement, other loads on the same supply included. \
             The other {} came with such a rise, but fell by more than twice what its current usually \
             brings about: something else added to it, or the connection was worse at that moment.",
            dips.len() - resting
        )
    } else {
        "None fell together with a start of this pump, as its power tells it (its current was not \
         recorded). So they come from ahead of the place of measurement, other loads on the same \
         supply included."
            .to_owned()
    };
    let text = format!(
        "The voltage dipped below 90 % of nominal {} ({per_day:.1} a day), down to \
         {lowest:.0} V ({:.0} % of {nominal:.0} V) and for up to {longest:.2} s. {whose}",
        crate::findings::times(dips.len()),
        lowest / nominal * 100.0,
    );
    if only_while_running(case) {
        let text = format!(
            "The voltage dipped below 90 % of nominal {}, down to {lowest:.0} V, and only ever \
             while this pump ran: the supply does not wait for it, so its own current in a poor \
             connection is the better explanation.",
            crate::findings::times(dips.len())
        );
        return Some(
            Draft::new("voltage-dip", Severity::Info, PointsTo::Wiring, text)
                .with("dips", dips.len() as f64)
                .with("lowest_v", lowest)
                .limit(limits::DIP.value * nominal, "V", limits::DIP.source)
                .seen(dips.iter().map(|d| (d.time, d.extreme_v))),
        );
    }
    if !(case.facts.has.current || case.facts.has.power) {
        let text = format!(
            "The voltage dipped below 90 % of nominal {}, down to {lowest:.0} V ({:.0} % of \
             {nominal:.0} V). This pump's own current was not recorded, so the record cannot say \
             whether the pump or something else on the supply made them.",
            crate::findings::times(dips.len()),
            lowest / nominal * 100.0,
        );
        return Some(
            Draft::new("voltage-dip", Severity::Watch, PointsTo::None, text)
                .sure(0.4)
                .with("dips", dips.len() as f64)
                .with("lowest_v", lowest)
                .with("lowest_share", lowest / nominal)
                .with("longest_s", longest)
                .limit(limits::DIP.value * nominal, "V", limits::DIP.source)
                .seen(dips.iter().map(|d| (d.time, d.extreme_v))),
        );
    }
    let severity = if dips.len() >= 3 { Severity::Fault } else { Severity::Watch };
    Some(
        Draft::new("voltage-dip", severity, PointsTo::Supply, text)
            .sure(ramp(dips.len() as f64, 0.0, 5.0).max(0.4))
            .with("dips", dips.len() as f64)
            .with("dips_per_day", per_day)
            .with("lowest_v", lowest)
            .with("lowest_share", lowest / nominal)
            .with("longest_s", longest)
            .limit(limits::DIP.value * nominal, "V", limits::DIP.source)
            .seen(dips.iter().map(|d| (d.time, d.extreme_v))),
    )
}
