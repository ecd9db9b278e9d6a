//! Pressure that never holds while the pump stands.
//!
//! Taps open and close; a leak does not. In each rest the slowest loss seen over some minutes is
//! taken. When rest after rest shows one, and none holds its pressure, water leaves all the time.

use crate::case::Case;
use crate::facts::{RestFacts, Stretch};
use crate::findings::Draft;
use crate::limits;
use crate::outcome::{PointsTo, Severity};
use crate::robust::{centre_and_sigma, median, ramp};

/// Fewest rests in a row that must show a loss.
const RESTS: usize = 3;
/// Shortest time those rests must have been judged over together, s.
const JUDGED_S: f64 = 3_600.0;
/// Shortest time from the first to the last of them, s (common practice: nobody draws water without
/// a pause for longer).
const SPAN_S: f64 = 21_600.0;

/// True for a pause after a protective stop: taps stay open then, and the pressure falls.
fn locked_out(rest: &RestFacts, case: &Case) -> bool {
    case.facts.runs.iter().zip(&case.ledger.reasons).any(|(run, reason)| {
        run.time.end_ms == rest.time.start_ms && reason.is_none_or(crate::stops::protective)
    })
}

/// Looks for it.
pub fn find(case: &Case) -> Option<Draft> {
    let limit = limits::IDLE_LOSS_BAR_PER_MIN.value;
    let judged: Vec<&RestFacts> = case
        .facts
        .rests
        .iter()
        .filter(|r| {
            r.leak_bar_per_min.is_finite()
                && r.first_bar > 0.3 * case.plan.top_bar.max(0.5)
                && !locked_out(r, case)
        })
        .collect();
    let mut best: Vec<&RestFacts> = Vec::new();
    for group in judged.chunk_by(|_, next| next.leak_bar_per_min >= limit) {
        // A group begins with a rest that may hold its pressure; it is not part of the loss.
        let skip = usize::from(group[0].leak_bar_per_min < limit);
        let group = &group[skip..];
        let seconds = |rests: &[&RestFacts]| rests.iter().map(|r| r.judged_s).sum::<f64>();
        if seconds(group) > seconds(&best) {
            best = group.to_vec();
        }
    }
    let seconds: f64 = best.iter().map(|r| r.judged_s).sum();
    let after: f64 = judged.iter().map(|r| r.judged_s).sum();
    if best.len() < RESTS || seconds < JUDGED_S {
        return None;
    }
    let span_ms = best[best.len() - 1].time.end_ms - best[0].time.start_ms;
    if (span_ms as f64) < SPAN_S * 1000.0 {
        return None;
    }
    let loss = median(best.iter().map(|r| r.leak_bar_per_min))?;
    // A leak loses much the same in every rest; what people draw does not.
    let (rate, scatter) = centre_and_sigma(best.iter().map(|r| r.leak))?;
    let steady = 1.0 - ramp(scatter / rate, 0.4, 1.5);
    let confidence = ramp(best.len() as f64, 1.0, 8.0).max(ramp(seconds, 0.0, 43_200.0))
        * (0.3 + 0.7 * steady)
        * ramp(seconds / after, 0.0, 0.25).max(0.5);
    if confidence < 0.2 {
        return None;
    }
    let litres_per_h = case.levels.declared_gas_bar_l.map_or(f64::NAN, |gas| rate * gas * 3600.0);
    let first = best.first()?;
    // It may have begun inside a rest that held its pressure until then.
    let before = judged.iter().take_while(|r| r.time.start_ms < first.time.start_ms).last();
    let begun =
        first.held_until_ms.or(before.and_then(|r| r.held_until_ms)).unwrap_or(first.time.start_ms);
    let time = Stretch { start_ms: begun, end_ms: best.last()?.time.end_ms };
    let water = if litres_per_h.is_finite() {
        format!(" With the tank as declared that is about {litres_per_h:.0} L/h.")
    } else {
        String::new()
    };
    let text = format!(
        "In {} rests in a row, {:.0} h together, the pressure never held: it fell by at least \
         {loss:.3} bar a minute with the pump off, in the quietest minutes of each rest.{water}",
        best.len(),
        seconds / 3600.0,
    );
    let severity = if confidence > 0.5 { Severity::Fault } else { Severity::Watch };
    Some(
        Draft::new("idle-pressure-loss", severity, PointsTo::Pipework, text)
            .sure(confidence)
            .with("loss_bar_per_min", loss)
            .with("rests", best.len() as f64)
            .with("loss_l_per_h", litres_per_h)
            .with("relative_scatter", scatter / rate)
            .against(limits::IDLE_LOSS_BAR_PER_MIN)
            .seen([(time, loss)]),
    )
}
