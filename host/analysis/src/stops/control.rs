//! Was it the control that stopped the pump?
//!
//! A pressure switch stops at its cut-out, and then starts again when the pressure has fallen to its
//! cut-in, neither sooner nor later. A drive goes to sleep from its no-flow load, with the pressure
//! held, and wakes a little below. A stop that looks like the control's by its pressure alone but
//! breaks the rest of the rule was something else's doing.

use crate::facts::{Facts, RunFacts};
use crate::levels::Levels;
use crate::limits;
use crate::robust::quantile;
use crate::scan::Plan;

/// Distance from which a value does not belong to a learned level.
const SIGMAS: f64 = limits::SIGMAS.value;

/// How a stop and the start after it look.
#[derive(Clone, Copy, Debug, Default)]
#[allow(clippy::struct_excessive_bools)] // each is a separate question about the stop
pub struct Looks {
    /// The pressure at the stop is about the one at which the control stops the pump.
    pub near: bool,
    /// It is that pressure within its own scatter; for a drive: from its no-flow load.
    pub exact: bool,
    /// The next start came above the pressure at which this control starts the pump.
    pub early: bool,
    /// The next start came within seconds: no protection tries again so soon.
    pub at_once: bool,
    /// The next start came only after the pressure had fallen below the one at which it starts.
    pub late: bool,
    /// Nothing but the stops themselves says that the control stops there: the site file declares
    /// another pressure, where the control starts is not known, and the pressure did not stand.
    pub unproved: bool,
    /// By how much the pressure at the stop lay below the declared one at which the control stops the
    /// pump, bar; NaN where it is the one learned from the record.
    pub below_bar: f64,
}

impl Looks {
    /// True when the control stopped the pump.
    pub fn control(self) -> bool {
        self.near && (self.exact || !self.early && !self.late)
    }
}

/// What the pressure may rise by in the rows that hold a stop, bar: by the quickest of the runs up to
/// the control's stop, from where they began, or through the declared band. A drive brings its pressure
/// up within seconds; longer rows do not show how high it was.
pub fn rise_in_rows(looks: &[Looks], facts: &Facts, plan: &Plan) -> f64 {
    let rows_s = limits::ROWS_INSIDE.value * facts.row_s;
    if plan.held_bar.is_some() {
        return if rows_s > limits::CATCH_UP_S.value { f64::INFINITY } else { 0.0 };
    }
    if !plan.band_bar.is_finite() {
        return 0.0;
    }
    let near = facts.runs.iter().zip(looks).filter(|(_, looks)| looks.near);
    let rates = near.map(|(run, _)| {
        let rise = run.stop_bar - run.start_bar;
        (if rise.is_finite() { rise } else { plan.band_bar }) / run.time.seconds()
    });
    quantile(rates, 0.9).map_or(plan.band_bar, |quickest| quickest * rows_s)
}

/// Looks at stop number `n`.
pub fn look(n: usize, facts: &Facts, levels: &Levels, plan: &Plan) -> Looks {
    let run = &facts.runs[n];
    let next = facts.runs.get(n + 1).filter(|next| next.start_seen);
    let at_once = next.is_some_and(|next| {
        ((next.time.start_ms - run.time.end_ms) as f64) < 1000.0 * limits::LEAST_WAIT_S.value
    });
    let top = top(run);
    if let Some(held) = plan.held_bar {
        let least = (1.0 - limits::HUNTING.value) * held;
        let near = top > least;
        let late = next.zip(levels.wake).is_some_and(|(next, (wake, sigma))| {
            next.start_bar < wake - (SIGMAS * sigma).max(0.1 * held)
                // However its starts scatter, no drive sleeps on down to half of what it holds.
                || next.start_bar < 0.5 * held
        });
        let exact = levels.idle.is_none_or(|idle| {
            let load = if facts.has.power { run.last_power_w } else { run.last_current_a };
            let room = levels.full_load - idle.at(run.time.end_ms);
            !load.is_finite() || load < idle.at(run.time.end_ms) + limits::IDLE_LOAD.value * room
        });
        let below_bar = least - top;
        return Looks { near, exact, early: false, at_once, late, unproved: false, below_bar };
    }
    let band = plan.band_bar;
    let declared = plan.top_bar - limits::SWITCH_POINT.value * band;
    let near_declared = top > declared;
    let near_learned = levels.cut_out.is_some_and(|line| {
        let width = if band.is_finite() { limits::SWITCH_POINT.value * band } else { 0.15 };
        top > line.at(run.time.end_ms) - width.max(SIGMAS * line.sigma).min(1.5 * width)
    });
    let exact = levels.cut_out.is_some_and(|line| {
        top > line.at(run.time.end_ms) - (SIGMAS * line.sigma).max(0.03 * band)
    });
    let cut_in = levels.cut_in.filter(|line| line.sigma < 0.1 * band);
    let off = |share: f64| {
        next.zip(cut_in).map(|(next, line)| {
            let sigma = (SIGMAS * line.sigma).max(share * band);
            (next.start_bar - line.at(next.time.start_ms)) / sigma
        })
    };
    Looks {
        near: near_declared || near_learned,
        exact: exact || levels.cut_out.is_none(),
        at_once,
        early: off(0.15).is_some_and(|off| off > 1.0),
        // However its starts scatter, no switch waits until half of its differential below.
        late: off(0.15).is_some_and(|off| off < -1.0)
            || next.is_some_and(|next| next.start_bar < plan.start_bar - 0.5 * band),
        below_bar: if near_learned { f64::NAN } else { declared - top },
        unproved: plan.top_bar.is_finite()
            && !near_declared
            && cut_in.is_none()
            // A single row does not show a standing pressure.
            && run.plateau_s <= facts.row_s,
    }
}

/// Pressure at the stop; the reading after it helps where rows are long, but must not be a
/// spring-back.
fn top(run: &RunFacts) -> f64 {
    run.stop_bar.max(run.after_stop_bar.min(run.max_bar.max(run.stop_bar)))
}
