//! What the pass must know beforehand: scales from the site file, and the standby current, taken
//! from a thinned look at the rows.

use super::row::LoopScale;
use crate::facts::Stretch;
use crate::limits;
use crate::robust::quantile_of;
use pumpwitness_recording::Columns;
use pumpwitness_site_file::{Control, Site, Start};

/// Rows looked at beforehand, at most.
const LOOK: usize = 20_000;

/// Power a nameplate current stands for.
const POWER_FACTOR: f64 = limits::POWER_FACTOR.value;

/// Scales of the pass.
#[derive(Clone, Debug)]
pub struct Plan {
    /// Nominal voltage, V.
    pub nominal_v: f64,
    /// Rated current, A.
    pub rated_a: f64,
    /// True with a variable-speed drive or constant-pressure control.
    pub drive: bool,
    /// Which channel tells that the pump runs.
    pub load: Load,
    /// Load above which the pump runs, in the unit of that channel.
    pub on: f32,
    /// Load below which it rests.
    pub off: f32,
    /// Load at rest.
    pub standby: f32,
    /// Pressure at which the pump should start, bar; NaN when not declared.
    pub start_bar: f64,
    /// Pressure it should reach, bar; NaN when not declared.
    pub top_bar: f64,
    /// Width of the band, bar; NaN when not declared.
    pub band_bar: f64,
    /// Power the nameplate stands for on one line, W: usual power factor of small motors at their
    /// rated load. See [`crate::levels::Levels::full_w`].
    pub line_w: f64,
    /// Held pressure, bar, under constant-pressure control.
    pub held_bar: Option<f64>,
    /// Runs as the pressure alone tells them, where there is nothing better.
    pub by_pressure: Vec<Stretch>,
    /// Turns pressure into loop current.
    pub scale: Option<LoopScale>,
    /// Length of the shorter rows, s: what the row length is taken for where nothing tells when the
    /// pump runs (a logger that joins quiet intervals has long ones beside them).
    pub short_row_s: f64,
    /// Longest hole between rows that is no gap, ms.
    pub gap_ms: i64,
    /// True when the power is negative while the pump runs: the clamp faces the wrong way. The pass
    /// turns it round, so that a wrong fit does not pass for a fault of the pump.
    pub reversed: bool,
}

/// The channel that tells whether the pump runs.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[allow(missing_docs)] // the words say it
pub enum Load {
    Current,
    Power,
    Pressure,
    None,
}

impl Plan {
    /// Learns the standby level from a thinned look at the rows; the rest is the site file.
    pub fn new(columns: &Columns, site: &Site) -> Self {
        let nominal_v = site.supply.nominal_v;
        let rated_a = site.motor.rated_current_a;
        let held_bar = match site.control {
            Some(Control::ConstantPressure { setpoint_bar }) => Some(setpoint_bar),
            _ => None,
        };
        let (start_bar, top_bar) = match site.control {
            Some(Control::PressureSwitch { cut_in_bar, cut_out_bar }) => (cut_in_bar, cut_out_bar),
            // A drive sleeps above the held pressure and wakes somewhere below it.
            Some(Control::ConstantPressure { setpoint_bar }) => (0.7 * setpoint_bar, setpoint_bar),
            None => (f64::NAN, f64::NAN),
        };
        let lines = if site.supply.phases == 3 { 3f64.sqrt() } else { 1.0 };
        let drive = held_bar.is_some() || site.motor.start == Start::Drive;
        let step = columns.len().div_ceil(LOOK).max(1);
        let look = |values: &[f32]| -> Vec<f64> {
            let values = values.iter().step_by(step).map(|v| f64::from(*v));
            values.filter(|v| v.is_finite()).collect()
        };
        let mut load = Load::None;
        let mut full = f64::NAN;
        let mut seen = Vec::new();
        if let Some(current) = columns.current_a.first() {
            seen = look(&current.mean);
            (load, full) = (Load::Current, rated_a);
        }
        if seen.is_empty()
            && let Some(power) = &columns.power_w
        {
            seen = look(power);
            if lean_to_negative(&mut seen) {
                for watts in &mut seen {
                    *watts = -*watts;
                }
            }
            (load, full) = (Load::Power, nominal_v * rated_a * lines);
        }
        let mut by_pressure = Vec::new();
        if seen.is_empty() {
            by_pressure = super::by_pressure::runs(columns, site);
            load = if by_pressure.is_empty() { Load::None } else { Load::Pressure };
        }
        // A motor straight on the line draws a third of its rated current and more even unloaded;
        // a drive at its lowest speed a few per cent, asleep one or two.
        let (rest_below, least) = if drive { (0.06, 0.015) } else { (0.3, 0.15) };
        let mut rest = seen;
        rest.retain(|v| *v < rest_below * full);
        let standby = quantile_of(&mut rest, 0.5).unwrap_or(0.0);
        let scatter = quantile_of(&mut rest, 0.95).unwrap_or(0.0) - standby;
        let full = if load == Load::Pressure { 1.0 } else { full };
        let on = standby + (least * full).max(4.0 * scatter.min(0.01 * full));
        let mut spans: Vec<f64> =
            columns.span_ms.iter().step_by(step).map(|s| f64::from(*s)).collect();
        let usual_ms = quantile_of(&mut spans, 0.5).unwrap_or(1000.0);
        let scale = site.transducer.map(|t| LoopScale {
            low_bar: t.low_bar as f32,
            ma_per_bar: (16.0 / (t.high_bar - t.low_bar)) as f32,
        });
        Self {
            nominal_v,
            rated_a,
            drive,
            load,
            on: on as f32,
            off: (standby + 0.8 * (on - standby)) as f32,
            standby: standby as f32,
            start_bar,
            top_bar,
            band_bar: match site.control {
                Some(Control::PressureSwitch { .. }) => top_bar - start_bar,
                Some(Control::ConstantPressure { setpoint_bar }) => 0.2 * setpoint_bar,
                None => f64::NAN,
            },
            line_w: nominal_v * rated_a * POWER_FACTOR,
            held_bar,
            by_pressure,
            scale,
            short_row_s: quantile_of(&mut spans, 0.05).unwrap_or(f64::NAN) / 1000.0,
            gap_ms: (limits::GAP_S.value * 1000.0).max(3.0 * usual_ms) as i64,
            reversed: columns
                .power_w
                .as_ref()
                .is_some_and(|power| lean_to_negative(&mut look(power))),
        }
    }
}

/// Power below which a negative one is no mere noise, W.
const NEGATIVE_W: f64 = -20.0;

/// Whether the larger half of the powers lies below zero. A motor takes power; what it gives back
/// while it is switched is far smaller.
fn lean_to_negative(powers: &mut [f64]) -> bool {
    // As it is mostly.
    if powers.iter().all(|w| *w >= NEGATIVE_W) {
        return false;
    }
    let (least, most) = (quantile_of(powers, 0.001), quantile_of(powers, 0.999));
    matches!((least, most), (Some(least), Some(most)) if -least > 2.0 * most.max(0.0) && least < NEGATIVE_W)
}
