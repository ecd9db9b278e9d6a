//! Pressure that never holds while the pump stands.
//!
//! Taps open and close; a leak does not. In each rest the slowest loss seen over some minutes is
//! taken. When rest after rest shows one, and none holds its pressure, water leaves all the time.

use crate::case::Case;
use crate::facts::{RestFacts, Stretch};
use crate::findings::Draft;
use crate::findings::instrument::transducer_supply::short_of_held;
use crate::limits;
use crate::outcome::{PointsTo, Severity};
use crate::robust::{centre_and_sigma, median, ramp};

/// Fewest rests in a row that must lose pressure.
const RESTS: usize = limits::LOSS_RESTS.value as usize;
/// Shortest time those rests are judged over together.
const JUDGED_S: f64 = limits::LOSS_JUDGED_S.value;
/// Shortest time from the first to the last of them.
const SPAN_S: f64 = limits::LOSS_SPAN_S.value;

/// True for a pause after a protective stop: taps stay open then, and the pressure falls.
fn locked_out(rest: &RestFacts, case: &Case) -> bool {
    case.facts.runs.iter().zip(&case.ledger.reasons).any(|(run, reason)| {
        run.time.end_ms == rest.time.start_ms && reason.is_none_or(crate::stops::protective)
    })
}

/// The same where rests are too short to look for quiet minutes in them.
const NEVER_HELD_S: f64 = limits::NEVER_HELD_S.value;
/// Shortest rest judged as a whole that counts as holding its pressure.
const HOLDING_S: f64 = limits::HOLDING_S.value;
/// Time for which a drive that feeds a small draw may lack pressure.
const LACKING: f64 = limits::LACKING.value;

/// Share of the time judged that the longer rests hold.
const MOST: f64 = limits::LONGER_RESTS.value;

/// Share of the time below which a pump hardly rests.
const HARDLY: f64 = limits::HARDLY_RESTS.value;

/// A stretch in which no rest held its pressure.
struct Loss<'a> {
    rests: Vec<&'a RestFacts>,
    time: Stretch,
}

impl Loss<'_> {
    fn seconds(&self) -> f64 {
        self.rests.iter().map(|r| r.judged_s).sum()
    }

    /// Time judged in rests long enough to show their quietest minutes.
    fn in_quiet_minutes(&self) -> f64 {
        self.rests.iter().filter(|r| !r.whole).map(|r| r.judged_s).sum()
    }

    fn shown_by_rests(&self) -> bool {
        let quiet = self.rests.iter().filter(|r| !r.whole).count();
        quiet >= RESTS && self.in_quiet_minutes() >= JUDGED_S && self.time.seconds() >= SPAN_S
    }

    /// The pump hardly rests at all, for most of a day and more.
    fn never_held(&self, case: &Case) -> bool {
        let meets =
            |run: &&crate::facts::RunFacts| run.time.meets(self.time.start_ms, self.time.end_ms, 0);
        let runs: Vec<_> = case.facts.runs.iter().filter(meets).collect();
        let lacking: f64 = runs.iter().map(|r| r.deficit_s).sum();
        let gaps =
            case.facts.gaps.iter().any(|g| {
                g.meets(self.time.start_ms, self.time.end_ms, 0) && g.seconds() > HOLDING_S
            });
        // Endless runs under a pressure switch are another matter: see `cut-out-not-reached`.
        let resting: f64 = self.rests.iter().map(|r| r.time.seconds()).sum();
        let rests = self.rests.len() >= 50 && resting > 0.1 * self.time.seconds();
        self.time.seconds() >= NEVER_HELD_S
            && !gaps
            && lacking < LACKING * self.time.seconds()
            // Rest after rest shows that the pressure was reached; an endless run must show it itself.
            && (rests || (case.constant_pressure() && short_of_held(case) < 0.5))
    }
}

/// Stretches between rests that held their pressure.
fn stretches<'a>(judged: &[&'a RestFacts], case: &Case) -> Vec<Loss<'a>> {
    let mut all = Vec::new();
    let mut open = Loss {
        rests: Vec::new(),
        time: Stretch { start_ms: case.facts.start_ms, end_ms: case.facts.end_ms },
    };
    for rest in judged {
        if rest.leak_bar_per_min >= limits::IDLE_LOSS_BAR_PER_MIN.value {
            open.rests.push(rest);
            continue;
        }
        open.time.end_ms = rest.time.start_ms;
        let begun = rest.held_until_ms.unwrap_or(rest.time.end_ms);
        let next = Loss {
            rests: Vec::new(),
            time: Stretch { start_ms: begun, end_ms: case.facts.end_ms },
        };
        all.push(std::mem::replace(&mut open, next));
    }
    all.push(open);
    for loss in &mut all {
        // It may have begun inside a rest that held its pressure until then.
        if let Some(first) = loss.rests.first() {
            loss.time.start_ms = first.held_until_ms.unwrap_or(loss.time.start_ms);
        }
    }
    all
}

/// The rests that hold most of the time judged, but not fewer than must lose pressure. In a short rest
/// between two draws there may be no quiet minute at all.
fn longer<'a>(rests: impl Iterator<Item = &'a RestFacts>) -> Vec<&'a RestFacts> {
    let mut rests: Vec<&RestFacts> = rests.collect();
    rests.sort_by(|a, b| b.judged_s.total_cmp(&a.judged_s));
    let whole: f64 = rests.iter().map(|r| r.judged_s).sum();
    let mut sum = 0.0;
    let most = rests.iter().take_while(|rest| {
        let before = sum;
        sum += rest.judged_s;
        before < MOST * whole
    });
    let most = most.count().max(RESTS);
    rests.truncate(most);
    rests
}

/// Looks for it.
pub fn find(case: &Case) -> Option<Draft> {
    if !case.facts.has.pressure || !(case.facts.has.current || case.facts.has.power) {
        return None;
    }
    let judged: Vec<&RestFacts> = case
        .facts
        .rests
        .iter()
        .filter(|r| {
            let limit = limits::IDLE_LOSS_BAR_PER_MIN.value;
            r.leak_bar_per_min.is_finite()
                && (!r.whole || r.leak_bar_per_min >= limit || r.judged_s >= HOLDING_S)
                && r.first_bar > 0.3 * case.plan.top_bar.max(0.5)
                && !locked_out(r, case)
        })
        .collect();
    let all = stretches(&judged, case);
    let by_rests = all
        .iter()
        .filter(|l| l.shown_by_rests())
        .max_by(|a, b| a.in_quiet_minutes().total_cmp(&b.in_quiet_minutes()));
    let loss = by_rests.or_else(|| {
        let never = all.iter().filter(|l| l.never_held(case));
        never.max_by(|a, b| a.time.seconds().total_cmp(&b.time.seconds()))
    })?;
    let quiet = by_rests.is_some();
    let of_kind = || loss.rests.iter().filter(|r| !(quiet && r.whole));
    let seconds = if quiet { loss.in_quiet_minutes() } else { loss.time.seconds() };
    let longer = longer(of_kind().copied());
    let per_min = median(longer.iter().map(|r| r.leak_bar_per_min));
    // A leak loses much the same in every rest; what people draw does not.
    let (rate, scatter) =
        centre_and_sigma(longer.iter().map(|r| r.leak)).unwrap_or((f64::NAN, f64::NAN));
    let steady = if rate.is_finite() { 1.0 - ramp(scatter / rate, 0.4, 1.5) } else { 0.5 };
    let after: f64 = judged.iter().filter(|r| !r.whole).map(|r| r.judged_s).sum();
    let confidence = if quiet {
        ramp(longer.len() as f64, 1.0, 8.0).max(ramp(seconds, 0.0, 43_200.0))
            * (0.3 + 0.7 * steady)
            * ramp(seconds / after, 0.0, 0.25).max(0.5)
    } else {
        ramp(seconds, NEVER_HELD_S / 2.0, NEVER_HELD_S * 1.2) * (0.3 + 0.7 * steady)
    };
    if confidence < 0.2 {
        return None;
    }
    let litres_per_h = case.levels.declared_gas_bar_l.map_or(f64::NAN, |gas| rate * gas * 3600.0);
    let water = if litres_per_h.is_finite() {
        format!(" With the tank as declared that is about {litres_per_h:.0} L/h.")
    } else {
        String::new()
    };
    let rests: Vec<_> = case
        .facts
        .rests
        .iter()
        .filter(|r| r.end_seen && r.time.meets(loss.time.start_ms, loss.time.end_ms, 0))
        .collect();
    let resting = rests.iter().map(|r| r.time.seconds()).sum::<f64>() / loss.time.seconds();
    let text = match (quiet, per_min) {
        (true, Some(per_min)) => format!(
            "In {} rests in a row, {:.1} h together, the pressure never held: it fell by at least \
             {per_min:.3} bar a minute (median of the longer rests) with the pump off, in the \
             quietest minutes of each rest.{water}",
            of_kind().count(),
            seconds / 3600.0,
        ),
        (false, Some(per_min)) => format!(
            "For {:.0} h on end, nights included, there was not one rest of {HOLDING_S:.0} s in which \
             the pressure held: in {} rests it fell by {per_min:.3} bar a minute (median) until the \
             pump had to start again.{water}",
            seconds / 3600.0,
            of_kind().count(),
        ),
        (_, None) if resting < HARDLY => format!(
            "For {:.0} h on end, nights included, the drive never came to rest, as when water is drawn \
             all the time; a drive set never to sleep does the same.",
            seconds / 3600.0,
        ),
        (_, None) => format!(
            "For {:.0} h on end, nights included, the pump came to rest {} times, but never for long \
             enough to see whether the pressure holds, as when water leaves all the time.",
            seconds / 3600.0,
            rests.len(),
        ),
    };
    // A third of a rest (see `scan/rests.rs`), or what there is of a drive that never rests.
    let judged_s = median(of_kind().map(|r| r.judged_s)).map_or(seconds, |judged| judged / 3.0);
    let severity = if confidence > 0.5 { Severity::Fault } else { Severity::Watch };
    Some(
        Draft::new("idle-pressure-loss", severity, PointsTo::Pipework, text)
            .sure(confidence)
            .resting_on(judged_s, case.facts)
            .with("loss_bar_per_min", per_min.unwrap_or(f64::NAN))
            .with("rests", of_kind().count() as f64)
            .with("resting_share", resting)
            .with("judged_h", loss.seconds() / 3600.0)
            .with("loss_l_per_h", litres_per_h)
            .with("relative_scatter", scatter / rate)
            .against(limits::IDLE_LOSS_BAR_PER_MIN)
            .seen([(loss.time, per_min.unwrap_or(f64::NAN))]),
    )
}
