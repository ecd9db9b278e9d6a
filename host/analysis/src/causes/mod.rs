//! Causes: what best explains the findings. One table; each cause is weighed by the findings for
//! and against it, and where it is not named, the record says why, or why it cannot speak.

mod control;
mod motor;
mod sensor;
mod source;
mod supply;
mod tank;
mod view;

pub use view::{Need, View};

use crate::limits;
use crate::outcome::{PointsTo, RuledOut, Severity, StopReason, Verdict};
use crate::words::tidy;
use std::fmt::Write;

/// Confidence from which a cause is named.
pub const NAMED_FROM: f64 = limits::NAMED_FROM.value;

/// Confidence below which a cause counts as contradicted.
const RULED_OUT_BELOW: f64 = limits::RULED_OUT_BELOW.value;

/// A row of the table.
pub struct Cause {
    /// Name in the contract.
    pub name: &'static str,
    /// Whose matter.
    pub points_to: PointsTo,
    /// Channels without which the record cannot speak about it.
    pub needs: &'static [Need],
    /// Kind of the finding that shows this cause and no other, where there is one: a record in which it
    /// was made does not rule the cause out, however weak.
    pub shown_by: Option<&'static str>,
    /// Weighs it.
    pub weigh: fn(&View) -> Weight,
    /// What would settle it; the common caution is added.
    pub next_checks: &'static [&'static str],
}

/// How a cause stands.
#[derive(Clone, Debug, Default)]
pub struct Weight {
    /// 0 to 1.
    pub confidence: f64,
    /// Finding kinds that speak for it.
    pub speaks_for: Vec<&'static str>,
    /// What speaks against it.
    pub against: Vec<String>,
    /// Plain words for page one; used where it is named.
    pub text: String,
    /// What the record shows instead, with figures, or why it cannot speak about this; used where
    /// it is not named.
    pub otherwise: String,
    /// True where `otherwise` says why the record cannot speak about this: then it is not ruled out.
    pub silent: bool,
}

impl Weight {
    /// Nothing for it, and the record cannot speak about it.
    fn silent(because: impl Into<String>) -> Self {
        Self { otherwise: because.into(), silent: true, ..Self::default() }
    }
}

/// The table.
pub const ALL: &[Cause] = &[
    tank::WATERLOGGED_TANK,
    tank::PRECHARGE_TOO_HIGH,
    tank::DIFFERENTIAL_TOO_NARROW,
    // Where both are as sure, what is commoner stands first.
    tank::IDLE_DRAW,
    tank::CHECK_VALVE_LEAK,
    source::SOURCE_OVERDRAWN,
    source::RESTRICTED_INTAKE,
    source::CLOSED_DISCHARGE,
    motor::MECHANICAL_DRAG,
    motor::LOCKED_ROTOR,
    motor::OVERHEATING,
    motor::OPEN_MOTOR_CIRCUIT,
    supply::SUPPLY_DIPS,
    supply::SUPPLY_INTERRUPTIONS,
    supply::SUPPLY_UNDERVOLTAGE,
    supply::SUPPLY_OVERVOLTAGE,
    supply::WEAK_CONNECTION,
    supply::DERATED_BY_LOW_SUPPLY,
    sensor::TRANSDUCER_WIRING,
    sensor::TRANSDUCER_SUPPLY,
    sensor::TRANSDUCER_DRIFT,
    control::CONTROL_HUNTING,
];

/// Caution that belongs to every check at the panel.
const CAUTION: &str = "Work at the panel is for a qualified person: isolate, lock off and prove \
                       dead first; a pressure switch or drive may start the pump at any moment. \
                       Local codes come first.";

/// Verdict, best first, and what is ruled out. The verdict is empty where a fault was found that no
/// cause explains, and where there is nothing to judge.
pub fn judge(view: &View) -> (Vec<Verdict>, Vec<RuledOut>) {
    let mut verdict = Vec::new();
    let mut ruled_out = Vec::new();
    for cause in ALL {
        if let Some(missing) = cause.needs.iter().find_map(|need| view.missing(*need)) {
            ruled_out.push(RuledOut { cause: cause.name, because: missing, contradicted: false });
            continue;
        }
        let weight = (cause.weigh)(view);
        if weight.confidence >= NAMED_FROM {
            let mut next_checks: Vec<String> =
                cause.next_checks.iter().map(|check| (*check).to_owned()).collect();
            next_checks.push(CAUTION.to_owned());
            verdict.push(Verdict {
                cause: cause.name,
                points_to: cause.points_to,
                confidence: (weight.confidence.min(0.99) * 1000.0).round() / 1000.0,
                speaks_for: weight.speaks_for,
                against: weight.against,
                next_checks,
                text: tidy(weight.text),
            });
        } else {
            let shown = cause.shown_by.and_then(|kind| view.finding(kind));
            let shown = shown.is_some_and(|f| f.severity >= Severity::Watch);
            let contradicted = !weight.silent && !shown && weight.confidence < RULED_OUT_BELOW;
            let mut otherwise = tidy(weight.otherwise);
            if !contradicted && (shown || !weight.silent && !weight.speaks_for.is_empty()) {
                let kinds = weight.speaks_for.join(", ");
                // What the record would show without it, it does not show.
                let rest = if shown { sentences(&weight.against) } else { otherwise };
                otherwise = format!("Found, but too weakly to name this: {kinds}. {rest}");
            }
            let (because, contradicted) = match (view.short(), contradicted) {
                (Some(short), true) => (short.because(&otherwise), false),
                (_, contradicted) => (otherwise, contradicted),
            };
            ruled_out.push(RuledOut { cause: cause.name, because, contradicted });
        }
    }
    verdict.sort_by(|a, b| b.confidence.total_cmp(&a.confidence));
    // A fault without a named cause is not health, and neither is an empty record, nor one in which the
    // pump stopped out of the ordinary, or stood still while water was wanted.
    let faulty = view.findings.iter().any(|f| f.severity == Severity::Fault || f.kind == "no-draw");
    let odd = view.case.ledger.odd() >= limits::ODD_STOPS.value as usize;
    if verdict.is_empty() && !faulty && !odd && view.case.facts.rows > 0 {
        verdict.push(healthy(view));
    }
    (verdict, ruled_out)
}

/// One after another, each with a capital and a full stop.
fn sentences(parts: &[String]) -> String {
    let capital = |part: &String| {
        let mut letters = part.chars();
        let first = letters.next().map(|letter| letter.to_uppercase().to_string());
        first.map_or(String::new(), |first| first + letters.as_str() + ". ")
    };
    parts.iter().map(capital).collect::<String>().trim_end().to_owned()
}

fn healthy(view: &View) -> Verdict {
    let case = view.case;
    let hours = case.facts.covered_ms as f64 / 3.6e6;
    let runs = case.facts.runs.len();
    let stops = case.ledger.reasons.iter().flatten().count().max(1);
    let unexplained = case.ledger.count(StopReason::Unexplained) as f64 / stops as f64;
    // A day and a handful of runs show most of what an installation does.
    let confidence = 0.95
        * crate::robust::ramp(hours, -6.0, 24.0)
        * crate::robust::ramp(runs as f64, -4.0, 8.0)
        * view.channels_share()
        * (1.0 - 0.7 * unexplained)
        * if view.missing(Need::Fine).is_some() { 0.6 } else { 1.0 };
    let worth = view.findings.iter().filter(|f| f.severity == Severity::Watch).count();
    let eye = match worth {
        0 => "",
        1 => " One finding is worth an eye all the same.",
        _ => " Some findings are worth an eye all the same.",
    };
    let mut limits = String::new();
    if case.plan.load == crate::scan::Load::Pressure {
        limits += " Runs were told from the rises and falls of the pressure alone.";
    }
    if let Some(coarse) = view.missing(Need::Fine) {
        limits += &format!(" {coarse}").replace("about this", "about faults that last seconds");
    }
    if unexplained > 0.2 {
        let _ = write!(
            limits,
            " For {:.0} % of the stops the record does not say why.",
            unexplained * 100.0
        );
    }
    Verdict {
        cause: "healthy",
        points_to: PointsTo::None,
        confidence: (confidence.max(0.05) * 1000.0).round() / 1000.0,
        speaks_for: Vec::new(),
        against: Vec::new(),
        next_checks: Vec::new(),
        text: format!(
            "In {hours:.0} h of record and {runs} runs nothing was found wrong{}.{eye}{limits}",
            judged(view)
        ),
    }
}

/// What the recorded channels let the program judge, and what they leave out.
fn judged(view: &View) -> String {
    let parts = [
        (Need::Voltage, "the supply"),
        (Need::Load, "the motor"),
        (Need::Pressure, "tank and control"),
        (Need::Signal, "the pressure signal"),
    ];
    let (there, missing): (Vec<_>, Vec<_>) =
        parts.into_iter().partition(|(need, _)| view.missing(*need).is_none());
    let list = |parts: &[(Need, &'static str)]| {
        parts.iter().map(|part| part.1).collect::<Vec<_>>().join(", ")
    };
    match (there.is_empty(), missing.is_empty()) {
        (true, _) => "; none of the channels that would show it holds a value".to_owned(),
        (false, true) => format!(" with {}, as far as these channels show it", list(&there)),
        (false, false) => format!(
            " with {}, as far as these channels show it; without their channels, {} could not be \
             judged",
            list(&there),
            list(&missing)
        ),
    }
}
