//! Runs from the pressure alone, where neither current nor power was recorded: under a pressure
//! switch the pressure can only rise while the pump runs, so runs reach from a low to the next high.

use crate::facts::Stretch;
use crate::limits;
use crate::robust::median;
use pumpwitness_recording::Columns;
use pumpwitness_site_file::{Control, Site};

/// Time constant that quiets the reading, s.
const QUIET_S: f64 = 0.5;
/// Standing still for so long ends a rise, ms: whatever a standing reading's noise adds later does
/// not belong to it.
const STILL_MS: i64 = 2_000;
/// Share of what makes a turn by which a reading must rise after it has stood still, so that the
/// rise goes on.
const GOES_ON: f64 = 0.25;

#[derive(Clone, Copy, Debug)]
struct Turn {
    time_ms: i64,
    bar: f64,
}

/// Runs in time order; none under another control.
pub fn runs(columns: &Columns, site: &Site) -> Vec<Stretch> {
    let Some(Control::PressureSwitch { cut_in_bar, cut_out_bar }) = site.control else {
        return Vec::new();
    };
    let band = cut_out_bar - cut_in_bar;
    // An open loop reads below anything a pressure can be.
    let least = site.transducer.map_or(f64::NEG_INFINITY, |t| {
        t.low_bar - (4.0 - limits::LOOP_OPEN_MA.value) / 16.0 * (t.high_bar - t.low_bar)
    });
    let turns = turns(columns, limits::PRESSURE_RISE.value * band, least);
    let lows: Vec<Turn> = turns.iter().step_by(2).copied().collect();
    let highs: Vec<Turn> = turns.iter().skip(1).step_by(2).copied().collect();
    let usual = |turns: &[Turn]| median(turns.iter().map(|t| t.bar)).unwrap_or(f64::NAN);
    let (low, high) = (usual(&lows), usual(&highs));
    let room = limits::PRESSURE_TURN.value * (high - low);
    let mut runs: Vec<Stretch> = Vec::new();
    for (n, (from, to)) in lows.iter().zip(&highs).enumerate() {
        // A dent in the rise, and a rise that came to nothing, belong to the run around them: more
        // was drawn for a while than the pump gave.
        let before = n.checked_sub(1).and_then(|n| highs.get(n));
        let dent = from.bar > low + room || before.is_some_and(|top| top.bar < high - room);
        match runs.last_mut() {
            Some(last) if dent => last.end_ms = to.time_ms,
            _ => runs.push(Stretch { start_ms: from.time_ms, end_ms: to.time_ms }),
        }
    }
    runs
}

/// Turning points, low and high in turns, beginning with a low; a turn counts once the pressure has
/// gone the other way by `by_bar`.
fn turns(columns: &Columns, by_bar: f64, least_bar: f64) -> Vec<Turn> {
    let Some(pressure) = &columns.pressure_bar else { return Vec::new() };
    let mut turns: Vec<Turn> = Vec::new();
    let mut rising = false;
    let mut extreme: Option<Turn> = None;
    // Where a rise ends in a standing reading, the moment at which it came to stand.
    let mut reached = Turn { time_ms: 0, bar: f64::NAN };
    let mut quiet = f64::NAN;
    for (n, bar) in pressure.mean.iter().enumerate() {
        let bar = f64::from(*bar);
        if !bar.is_finite() || bar < least_bar {
            continue;
        }
        let span_ms = i64::from(columns.span_ms[n]);
        let span_s = span_ms as f64 / 1000.0;
        let weight = span_s / (span_s + QUIET_S);
        quiet = if quiet.is_nan() { bar } else { quiet + weight * (bar - quiet) };
        let now = Turn { time_ms: columns.end_ms[n], bar: quiet };
        let Some(last) = &mut extreme else {
            (extreme, reached) = (Some(now), now);
            continue;
        };
        let further = if rising { quiet >= last.bar } else { quiet <= last.bar };
        if further {
            *last = now;
            let at_once = span_ms <= STILL_MS && now.time_ms - reached.time_ms <= STILL_MS;
            if !rising || at_once || quiet > reached.bar + GOES_ON * by_bar {
                reached = now;
            }
        } else if (quiet - last.bar).abs() > by_bar {
            // Before the first rise there is no low that ended a rest.
            turns.push(Turn { time_ms: reached.time_ms, bar: last.bar });
            rising = !rising;
            (extreme, reached) = (Some(now), now);
        }
    }
    if turns.len() % 2 == 1
        && let Some(last) = extreme
    {
        turns.push(Turn { time_ms: reached.time_ms, bar: last.bar });
    }
    turns
}

#[cfg(test)]
mod tests {
    use super::*;
    use pumpwitness_recording::Channel;

    const SITE: &str = "[supply]\nnominal_v = 230\nfrequency_hz = 50\n[motor]\nrated_current_a = \
                        5\n[control]\nkind = \"pressure-switch\"\ncut_in_bar = 2\ncut_out_bar = 3";

    /// Runs told from a pressure in rows of this length.
    fn runs_of(mean: Vec<f32>, row_ms: u32) -> Vec<Stretch> {
        let columns = Columns {
            end_ms: (1..=mean.len() as i64).map(|row| row * i64::from(row_ms)).collect(),
            span_ms: vec![row_ms; mean.len()],
            pressure_bar: Some(Channel {
                min: mean.clone(),
                max: mean.clone(),
                mean,
                spread: false,
            }),
            ..Columns::default()
        };
        runs(&columns, &pumpwitness_site_file::parse(SITE).unwrap())
    }

    /// A sawtooth falls for 200 s and rises for 50 s; one rise has a dent.
    #[test]
    fn runs_reach_from_low_to_high_and_over_dents() {
        let bar = |second: i64| {
            let place = (second % 250) as f64;
            let saw =
                if place < 200.0 { 3.0 - place / 200.0 } else { 2.0 + (place - 200.0) / 50.0 };
            // In the third rise more is drawn for some seconds than the pump gives.
            let dent = if (720..730).contains(&second) { 0.15 } else { 0.0 };
            (saw - dent) as f32
        };
        let runs = runs_of((1..=1_250).map(bar).collect(), 1000);
        assert_eq!(runs.len(), 5, "{runs:?}");
        for (n, run) in runs.iter().enumerate() {
            let start_ms = n as i64 * 250_000 + 200_000;
            assert!((run.start_ms - start_ms).abs() <= 2_000, "{run:?}");
            assert!((run.end_ms - start_ms - 50_000).abs() <= 2_000, "{run:?}");
        }
    }

    /// The pump fills for 50 s, nobody draws for 200 s, and the reading has noise: the run ends where
    /// the rise does, and not at the highest value that the noise comes to later.
    #[test]
    fn a_run_ends_where_the_pressure_comes_to_stand() {
        let bar = |row: i64| {
            let place = (row % 2_000) as f64 * 0.2;
            let bar = match place {
                p if p < 50.0 => 2.0 + p / 50.0,
                p if p < 250.0 => 3.0,
                p => 3.0 - (p - 250.0) / 150.0,
            };
            // Even in -10 to 10 mbar, by a linear congruence.
            let noise = (row * 7_919 + 13) % 1_009;
            (bar + (noise as f64 / 1_009.0 - 0.5) * 0.02) as f32
        };
        let runs = runs_of((1..=10_000).map(bar).collect(), 200);
        assert!((4..=5).contains(&runs.len()), "{runs:?}");
        for run in &runs {
            let length_s = (run.end_ms - run.start_ms) as f64 / 1000.0;
            assert!((length_s - 50.0).abs() <= 5.0, "{length_s} s: {run:?}");
        }
    }
}
