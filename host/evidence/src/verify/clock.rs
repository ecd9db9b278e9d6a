//! The logger's clock: each time it was set, whether times run in order, and how far they may be
//! from the collecting computer's clock.

use super::reading::Tick;
use crate::outcome::{Clock, ClockSet, Kind, Place, RestartBehind, Trouble};
use crate::text::span;
use pumpwitness_protocol::archive::ArchiveHeader;
use pumpwitness_recording::clock::utc_text;

/// Drift that an unregulated clock crystal may have over the temperatures of a cabinet, parts in a
/// million. Common practice: 20 ppm at room temperature and a parabola of 0.035 ppm/°C² from there.
const DRIFT_PPM: f64 = 150.0;
/// Step that setting a clock over the line may take at any time, ms. Common practice.
const STEP_MS: i64 = 2000;
/// A clock that is set and then armed again is a new beginning, if armed within this time, ms.
const BEFORE_ARMING_MS: i64 = 600_000;

/// What the record tells about the clock, and what in it cannot be.
pub fn history(ticks: &[(Place, Tick)], header: Option<&ArchiveHeader>) -> (Clock, Vec<Trouble>) {
    let mut clock = Clock::default();
    let mut troubles = Vec::new();
    let mut last: Option<(i64, u16)> = None;
    // A page that was begun just after the clock was set may stand before the mark that says so.
    let mut set_since_page_before = false;
    let mut set_since_page = false;
    for (n, (place, tick)) in ticks.iter().enumerate() {
        match *tick {
            Tick::Page { time_ms, boot } => {
                let set_inside = ticks[n + 1..]
                    .iter()
                    .take_while(|(_, tick)| !matches!(tick, Tick::Page { .. }))
                    .any(|(_, tick)| matches!(tick, Tick::Set { .. }));
                let explained = set_since_page_before || set_since_page || set_inside;
                if let Some((before_ms, boot_before)) = last
                    && time_ms < before_ms
                {
                    if boot != boot_before {
                        clock.restarts_behind.push(RestartBehind {
                            boot,
                            before_ms,
                            after_ms: time_ms,
                        });
                    } else if !explained {
                        troubles.push(Trouble {
                            kind: Kind::TimeRunsBackwards,
                            place: *place,
                            text: format!(
                                "This page begins at {}, before the page that precedes it ({}), \
                                 and no setting of the clock lies between.",
                                utc_text(time_ms),
                                utc_text(before_ms)
                            ),
                        });
                    }
                }
                last = Some((time_ms, boot));
                set_since_page_before = set_since_page;
                set_since_page = false;
            }
            Tick::Set { before_ms, after_ms } => {
                set_since_page = true;
                let since_ms = before_ms - clock.sets.last().map_or(before_ms, |set| set.after_ms);
                clock.sets.push(ClockSet { before_ms, after_ms, place: *place });
                let armed_next = ticks[n + 1..].iter().any(|(_, tick)| {
                    matches!(tick, Tick::Armed { time_ms }
                        if (0..=BEFORE_ARMING_MS).contains(&(time_ms - after_ms)))
                });
                let allowed_ms = STEP_MS + (since_ms.max(0) as f64 * DRIFT_PPM / 1e6) as i64;
                let back_ms = before_ms.saturating_sub(after_ms);
                if clock.armed_ms.is_some() && !armed_next && back_ms > allowed_ms {
                    troubles.push(Trouble {
                        kind: Kind::ClockSetBack,
                        place: *place,
                        text: format!(
                            "During the record the clock was set back by {}: from {} to {}. Times \
                             before and after overlap.",
                            span(back_ms),
                            utc_text(before_ms),
                            utc_text(after_ms)
                        ),
                    });
                }
            }
            Tick::Armed { time_ms } => clock.armed_ms = Some(time_ms),
        }
    }
    if let Some(header) = header {
        collected(&mut clock, header);
    }
    (clock, troubles)
}

/// Drift and uncertainty from the clocks compared at collection.
fn collected(clock: &mut Clock, header: &ArchiveHeader) {
    let now_ms = header.range.clock_ms;
    let behind_ms = header.host_clock_ms.saturating_sub(now_ms);
    clock.collected_ms = Some(now_ms);
    clock.computer_less_logger_ms = Some(behind_ms);
    clock.good = Some(header.identity.clock_good);
    if let Some(set) = clock.sets.last()
        && now_ms > set.after_ms
    {
        let ppm = behind_ms as f64 / (now_ms - set.after_ms) as f64 * 1e6;
        // Adding 0 makes a plain zero of a negative one.
        clock.drift_ppm = Some((ppm * 10.0).round() / 10.0 + 0.0);
        clock.uncertainty_ms = Some(behind_ms.saturating_abs());
    }
}
