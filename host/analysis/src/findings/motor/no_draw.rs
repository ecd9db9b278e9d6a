//! Pressure below the start pressure and no current: the pump should run and does not. Where the
//! voltage was recorded, only with the supply present; elsewhere the text says that it was not.

use crate::case::Case;
use crate::facts::Stretch;
use crate::findings::Draft;
use crate::limits;
use crate::outcome::{PointsTo, Severity};
use crate::robust::{centre_and_sigma, quantile, ramp};

/// Delay of a start by a pressure switch.
const LEAST_S: f64 = limits::NO_DRAW_S.value;
/// Delay of a waking drive.
const LEAST_DRIVE_S: f64 = limits::NO_DRAW_DRIVE_S.value;

/// Scatter of pauses below which they are one fixed wait.
const SAME_PAUSE: f64 = limits::SAME_PAUSE.value;

/// Time after a fault of the transducer's loop in which its reading is not its own.
const COMES_UP_MS: i64 = (limits::LOOP_JOIN_S.value * 1000.0) as i64;

/// Looks for it.
pub fn find(case: &Case) -> Option<Draft> {
    if !case.facts.has.pressure || !(case.facts.has.current || case.facts.has.power) {
        return None;
    }
    let facts = case.facts;
    let least_s = if case.constant_pressure() { LEAST_DRIVE_S } else { LEAST_S };
    // Where rows are long, a short wait of a protection cannot be told from a cut-out.
    let least_s = if facts.row_s > 3.0 { least_s.max(90.0 * facts.row_s) } else { least_s };
    // How far below the declared pressure this control lets it fall: it may be set lower. A switch
    // set lower starts there every time, late starts of an open circuit scatter below: so the upper
    // part of the start pressures tells.
    let usual = quantile(facts.runs.iter().filter(|r| r.start_seen).map(|r| r.start_bar), 0.75);
    let floor = usual.unwrap_or(case.plan.start_bar).min(case.plan.start_bar);
    // No switch is set so low as half of its differential below what is declared.
    let lowest = match case.plan.held_bar {
        Some(_) => f64::NEG_INFINITY,
        None => case.plan.start_bar - 0.5 * case.plan.band_bar,
    };
    let sigma = case.levels.cut_in.map_or(0.02 * case.plan.band_bar, |line| line.sigma);
    // A few starts say little about the scatter of a switch: what switches commonly repeat to counts.
    let repeats = limits::SWITCH_POINT.value * case.plan.band_bar;
    let slack = (limits::SIGMAS.value * sigma).max(repeats).min(2.0 * repeats);
    let mut seen: Vec<(Stretch, f64)> = Vec::new();
    // A reading that jumps to the top whenever the pump runs hides what stopped it.
    let shut = facts.runs.iter().filter(|r| r.shut_off_s > 10.0).count();
    if shut * 2 > facts.runs.len() {
        return None;
    }
    for rest in &facts.rests {
        let Some(since_ms) = rest.below_since_ms else { continue };
        let time = Stretch { start_ms: since_ms, end_ms: rest.time.end_ms };
        // A start pressure that wanders with the reading counts where the starts agree on it.
        let line = case.levels.cut_in.filter(|line| line.sigma < 0.1 * case.plan.band_bar);
        let floor = line.map_or(floor, |line| floor.min(line.at(rest.time.end_ms))).max(lowest);
        if time.seconds() < least_s || rest.below_min_bar > floor - slack {
            continue;
        }
        // Waiting after a protective stop, or without supply, or without a reading, is no fault of
        // the motor circuit.
        let before = facts
            .runs
            .iter()
            .zip(&case.ledger.reasons)
            .rfind(|(run, _)| run.time.end_ms <= rest.time.start_ms + 1);
        let waiting = before.is_some_and(|(_, reason)| reason.is_none_or(crate::stops::protective));
        // Below the hold-in voltage a contactor may stay open of itself.
        let dead = facts.interrupted(&time)
            || lowest_v(case, &time) < limits::HOLD_IN.value * case.plan.nominal_v;
        // A transmitter takes a while to come up again.
        let blind =
            facts.loop_faults.iter().any(|f| f.time.meets(time.start_ms, time.end_ms, COMES_UP_MS));
        let unknown = !rest.start_seen && before.is_none();
        if !waiting && !dead && !blind && !unknown {
            seen.push((time, rest.below_min_bar));
        }
    }
    if seen.is_empty() {
        return None;
    }
    // Pauses of one length are a wait, not a contact that opens by chance: that of the motor's own
    // protection, where it is known to act.
    let even_s = even_pause(case, &seen);
    if even_s.is_some() && case.ledger.count(crate::outcome::StopReason::OverTemperature) >= 3 {
        return None;
    }
    // Where the motor protects itself again and again, one more wait of that kind proves little.
    let protections =
        case.ledger.reasons.iter().flatten().filter(|r| crate::stops::protective(**r)).count();
    let one_more = protections >= 3 && seen.len() < protections;
    let alone = if one_more || even_s.is_some() { 0.25 } else { 1.0 };
    let longest = seen.iter().map(|s| s.0.seconds()).fold(0.0, f64::max);
    let total: f64 = seen.iter().map(|s| s.0.seconds()).sum();
    let lowest = seen.iter().map(|s| s.1).fold(f64::NAN, f64::min);
    // A reading a hair below zero is zero.
    let lowest = if lowest.abs() < 0.005 { 0.0 } else { lowest };
    let volts = seen.iter().map(|s| lowest_v(case, &s.0)).fold(f64::NAN, f64::min);
    let (supply, points_to) = if volts.is_finite() {
        let points_to = if even_s.is_some() { PointsTo::None } else { PointsTo::Wiring };
        (format!("The supply was present (no minute below {volts:.0} V)."), points_to)
    } else {
        let unknown = "The supply voltage was not recorded: whether it was present, the record does \
                       not say.";
        (unknown.to_owned(), PointsTo::None)
    };
    // Momentary values pass over starts that fail within seconds, and nothing tells them from means.
    let glimpses = facts.row_s > 3.0 && !facts.has.half_cycles;
    // A drive waits for reasons of its own: there twice is not yet a pattern.
    let few = if case.constant_pressure() { 1.0 } else { -1.0 };
    let confidence = ramp(longest, 0.0, 180.0)
        * ramp(seen.len() as f64, few, 3.0)
        * alone
        * if glimpses { 0.5 } else { 1.0 };
    let (seldom, severity) = if glimpses {
        (
            " Whether it drew current for less than a row meanwhile, such rows need not show.",
            Severity::Watch,
        )
    } else {
        ("", if confidence < limits::NAMED_FROM.value { Severity::Watch } else { Severity::Fault })
    };
    let even = even_s.map_or(String::new(), |pause_s| {
        format!(
            " From stop to start it was about {} each time: as a protection or a timer waits, not as a \
             contact fails by chance.",
            crate::findings::span(pause_s)
        )
    });
    let text = format!(
        "The pressure lay below the start pressure ({:.2} bar) and the motor took nothing {}, for {} \
         in all and {} at the longest; the pressure fell to {lowest:.2} bar. {supply}{seldom}{even}",
        case.plan.start_bar,
        crate::findings::times(seen.len()),
        crate::findings::span(total),
        crate::findings::span(longest),
    );
    Some(
        Draft::new("no-draw", severity, points_to, text)
            .sure(confidence)
            .with("longest_s", longest)
            .with("total_s", total)
            .with("lowest_bar", lowest)
            .with("lowest_minute_v", volts)
            .limit(least_s, "s", "common practice (a pressure switch acts within a second)")
            .seen(seen.iter().map(|s| (s.0, s.0.seconds()))),
    )
}

/// Length of the pauses in which these stretches lie, s (median), where they are all but the same: three
/// where something is seen to stop the pump, else more than come so by chance.
fn even_pause(case: &Case, seen: &[(Stretch, f64)]) -> Option<f64> {
    let least = if case.ledger.odd() >= 3 { 3 } else { limits::EVEN_PAUSES.value as usize };
    let pauses = case.facts.rests.iter().filter(|rest| {
        rest.end_seen && seen.iter().any(|(time, _)| time.end_ms == rest.time.end_ms)
    });
    let (middle, scatter) = centre_and_sigma(pauses.map(|rest| rest.time.seconds()))?;
    let even = scatter < SAME_PAUSE * middle && middle < limits::LONGEST_WAIT_S.value;
    (seen.len() >= least && even).then_some(middle)
}

/// Lowest mean voltage of the minutes that meet a stretch, V; NaN where none was recorded.
fn lowest_v(case: &Case, time: &Stretch) -> f64 {
    let minutes = &case.facts.minutes;
    let from = minutes.partition_point(|m| m.start_ms + 60_000 <= time.start_ms);
    let within = minutes[from..].iter().take_while(|m| m.start_ms < time.end_ms);
    within.map(|m| f64::from(m.v)).fold(f64::NAN, f64::min)
}
