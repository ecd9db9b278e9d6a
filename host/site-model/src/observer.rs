//! Keeps the truth while the model runs: who knows what happened need not guess it later.

use crate::supply::Disturbance;
use crate::truth::{StopReason, Truth};

/// EN 50160 and IEEE 1159: dips end, undervoltage begins, at a minute.
const SUSTAINED_MS: i64 = 60_000;
/// Thresholds over nominal, as IEC 61000-4-30 practice has them.
const LOW: f64 = 0.9;
const HIGH: f64 = 1.1;
const GONE: f64 = 0.05;
/// Lack of pressure over the held pressure, and its least length, that count as a shortfall.
const SHORT: f64 = 0.05;
const SHORTFALL_MS: i64 = 60_000;
const HYSTERESIS: f64 = 0.02;

/// A stretch of time and the extremes met in it.
#[derive(Clone, Copy, Debug)]
struct Stretch {
    start_ms: i64,
    lowest: f64,
    highest: f64,
}

impl Stretch {
    fn at(start_ms: i64) -> Self {
        Self { start_ms, lowest: f64::MAX, highest: f64::MIN }
    }

    fn take(&mut self, value: f64) {
        self.lowest = self.lowest.min(value);
        self.highest = self.highest.max(value);
    }
}

/// Watches the model and writes the truth.
#[derive(Clone, Debug, Default)]
pub struct Observer {
    upstream: Option<Stretch>,
    sustained: Option<(&'static str, i64)>,
    start_dip: Option<Stretch>,
    no_draw_since_ms: Option<i64>,
    short_since_ms: Option<i64>,
    swing: Option<Stretch>,
    hunting: bool,
    restricted: bool,
}

impl Observer {
    /// Of a site whose drive has bad gains when `hunting`, and whose intake is narrowed when
    /// `restricted`: elsewhere, speed that swings follows the demand, and so does a pressure that
    /// falls short.
    pub fn new(hunting: bool, restricted: bool) -> Self {
        Self { hunting, restricted, ..Self::default() }
    }

    /// One step with `share` of nominal at the panel and `open_share` upstream.
    pub fn voltage(
        &mut self,
        at_ms: i64,
        share: f64,
        open_share: f64,
        disturbance: Option<Disturbance>,
        truth: &mut Truth,
    ) {
        match (disturbance, &mut self.upstream) {
            (Some(event), None) => {
                let mut stretch = Stretch::at(event.start_us.div_euclid(1000));
                stretch.take(share);
                self.upstream = Some(stretch);
            }
            (Some(_), Some(stretch)) => stretch.take(share),
            (None, Some(stretch)) => {
                let stretch = *stretch;
                self.upstream = None;
                let long = at_ms - stretch.start_ms > SUSTAINED_MS;
                let kind = if stretch.lowest < GONE {
                    Some("interruption")
                } else if stretch.lowest < LOW {
                    Some(if long { "undervoltage" } else { "voltage-dip" })
                } else if stretch.highest > HIGH {
                    Some(if long { "overvoltage" } else { "voltage-swell" })
                } else {
                    None
                };
                if let Some(kind) = kind {
                    truth.event(kind, stretch.start_ms, at_ms);
                }
            }
            (None, None) => self.level(at_ms, open_share, truth),
        }
    }

    fn level(&mut self, at_ms: i64, share: f64, truth: &mut Truth) {
        match self.sustained {
            None if share < LOW => self.sustained = Some(("undervoltage", at_ms)),
            None if share > HIGH => self.sustained = Some(("overvoltage", at_ms)),
            Some((kind, start_ms)) if (LOW + HYSTERESIS..=HIGH - HYSTERESIS).contains(&share) => {
                self.sustained = None;
                if at_ms - start_ms > SUSTAINED_MS {
                    truth.event(kind, start_ms, at_ms);
                }
            }
            _ => {}
        }
    }

    /// One half-cycle step of a start.
    pub fn starting(&mut self, at_ms: i64, share: f64, open_share: f64) {
        if open_share >= LOW {
            self.start_dip.get_or_insert(Stretch::at(at_ms)).take(share);
        }
    }

    /// The start is over.
    pub fn started(&mut self, at_ms: i64, truth: &mut Truth) {
        if let Some(dip) = self.start_dip.take()
            && dip.lowest < LOW
        {
            truth.event("weak-supply", dip.start_ms, at_ms);
        }
    }

    /// One step of a contactor that is `closed` and `feeds`.
    pub fn contactor(&mut self, at_ms: i64, closed: bool, feeds: bool, truth: &mut Truth) {
        if closed && !feeds {
            self.no_draw_since_ms.get_or_insert(at_ms);
        } else if let Some(start_ms) = self.no_draw_since_ms.take() {
            truth.event("no-draw", start_ms, at_ms);
        }
    }

    /// One step of a drive: the real pressure is `missing_share` of the held one short, `starved` for
    /// want of voltage.
    pub fn shortfall(&mut self, at_ms: i64, missing_share: f64, starved: bool, truth: &mut Truth) {
        if self.restricted && missing_share > SHORT && !starved {
            self.short_since_ms.get_or_insert(at_ms);
        } else if let Some(start_ms) = self.short_since_ms.take()
            && at_ms - start_ms > SHORTFALL_MS
        {
            truth.event("falling-yield", start_ms, at_ms);
        }
    }

    /// One step of a drive awake for `awake_s` at `speed`.
    pub fn drive(&mut self, at_ms: i64, awake_s: Option<f64>, speed: f64, truth: &mut Truth) {
        match awake_s {
            Some(awake_s) if awake_s > 20.0 => {
                self.swing.get_or_insert(Stretch::at(at_ms)).take(speed);
            }
            Some(_) => {}
            None => {
                if let Some(swing) = self.swing.take()
                    && self.hunting
                    && at_ms - swing.start_ms > 10_000
                    && swing.highest - swing.lowest > 0.2
                {
                    truth.event("pressure-hunting", swing.start_ms, at_ms);
                }
            }
        }
    }

    /// A protection tripped; what made it trip began `since_s` before.
    pub fn tripped(at_ms: i64, since_s: f64, reason: StopReason, jammed: bool, truth: &mut Truth) {
        let kind = match reason {
            StopReason::DryRun => "dry-run",
            StopReason::Overload => "overload",
            StopReason::OverTemperature => "over-temperature-pattern",
            StopReason::FailedStart if jammed => "locked-rotor",
            StopReason::FailedStart => "failed-start",
            _ => return,
        };
        truth.event(kind, at_ms - (since_s * 1e3) as i64, at_ms);
    }
}
