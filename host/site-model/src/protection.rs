//! Protection of the pump: what stops it, how long it waits, when it starts again by itself.

use crate::clock::{Instant, us};
use crate::overload::{OverloadParameters, ThermalState};
use crate::truth::StopReason;

/// Stops a pump that draws too little power.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DryRunParameters {
    /// Power below which the pump counts as dry, W.
    pub below_w: f64,
    /// For how long, s.
    pub delay_s: f64,
    /// Not in the first seconds of a run, s.
    pub blank_s: f64,
    /// Fixed wait before it tries again, s.
    pub wait_s: f64,
}

/// Stops a start that does not come up to speed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FailedStartParameters {
    /// Time given, s.
    pub after_s: f64,
    /// Wait before the next try, s.
    pub wait_s: f64,
    /// Tries in a row; then a long wait.
    pub tries: u32,
    /// The long wait, s.
    pub long_wait_s: f64,
}

/// Stops outside a band of supply voltage.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SupplyBandParameters {
    /// Lowest voltage over nominal.
    pub low_share: f64,
    /// Highest.
    pub high_share: f64,
    /// For how long outside, s.
    pub delay_s: f64,
    /// How long inside again before a start, s.
    pub wait_s: f64,
}

/// A temperature switch in the winding.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct WindingParameters {
    /// Temperature round the motor, °C.
    pub around_c: f64,
    /// Rise at rated current with full cooling, K.
    pub rated_rise_k: f64,
    /// Time constant, s.
    pub heating_s: f64,
    /// Opens, °C.
    pub trip_c: f64,
    /// Closes, °C.
    pub reset_c: f64,
}

/// All protections; what is not fitted is `None`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ProtectionParameters {
    /// Dry running.
    pub dry_run: Option<DryRunParameters>,
    /// Overload relay.
    pub overload: Option<OverloadParameters>,
    /// Failed starts.
    pub failed_start: Option<FailedStartParameters>,
    /// Supply voltage.
    pub supply_band: Option<SupplyBandParameters>,
    /// Winding temperature.
    pub winding: Option<WindingParameters>,
}

/// What the protection sees over one step.
#[derive(Clone, Copy, Debug)]
pub struct Readings {
    /// End of the step.
    pub at: Instant,
    /// Its length, s.
    pub dt_s: f64,
    /// Since current first flowed in this run, s; `None` while stopped.
    pub running_s: Option<f64>,
    /// Motor current, A.
    pub current_a: f64,
    /// Rated current, A.
    pub rated_current_a: f64,
    /// Cooling over its rated value.
    pub cooling_share: f64,
    /// Power, W.
    pub power_w: f64,
    /// Power below which it would be dry at this speed, over that at rated speed.
    pub dry_scale: f64,
    /// Speed over rated.
    pub speed: f64,
    /// Voltage over nominal.
    pub supply_share: f64,
    /// False for a drive whose transducer says nothing.
    pub sensor_good: bool,
}

/// Protection in time.
#[derive(Clone, Debug)]
pub struct Protection {
    held: Option<(StopReason, i64)>,
    thermal: ThermalState,
    winding_c: f64,
    dry_s: f64,
    slow_s: f64,
    outside_s: f64,
    sensor_s: f64,
    failed_starts: u32,
}

impl Protection {
    /// Cold, holding nothing.
    pub fn new(parameters: &ProtectionParameters) -> Self {
        Self {
            held: None,
            thermal: ThermalState::default(),
            winding_c: parameters.winding.map_or(20.0, |winding| winding.around_c),
            dry_s: 0.0,
            slow_s: 0.0,
            outside_s: 0.0,
            sensor_s: 0.0,
            failed_starts: 0,
        }
    }

    /// What holds the pump.
    pub fn held(&self) -> Option<StopReason> {
        self.held.map(|(reason, _)| reason)
    }

    /// Winding temperature, °C.
    pub fn winding_c(&self) -> f64 {
        self.winding_c
    }

    /// Moves on by one step; the reason when it trips just now.
    pub fn step(&mut self, now: Readings, parameters: &ProtectionParameters) -> Option<StopReason> {
        let hot = self.heat(now, parameters);
        if self.held.is_some() {
            self.release(now, parameters);
            return None;
        }
        let (reason, wait_s) = self.judge(now, parameters, hot)?;
        self.held = Some((reason, now.at.unix_us + us(wait_s)));
        self.dry_s = 0.0;
        self.slow_s = 0.0;
        self.outside_s = 0.0;
        self.sensor_s = 0.0;
        Some(reason)
    }

    /// Thermal states; true when the overload relay reaches its limit.
    fn heat(&mut self, now: Readings, parameters: &ProtectionParameters) -> bool {
        if let Some(winding) = parameters.winding {
            let load = (now.current_a / now.rated_current_a).powi(2);
            let rise_k = winding.rated_rise_k * load / now.cooling_share;
            self.winding_c += (winding.around_c + rise_k - self.winding_c)
                * (now.dt_s / winding.heating_s).min(1.0);
        }
        parameters.overload.is_some_and(|relay| self.thermal.step(now.current_a, now.dt_s, &relay))
    }

    fn judge(
        &mut self,
        now: Readings,
        parameters: &ProtectionParameters,
        hot: bool,
    ) -> Option<(StopReason, f64)> {
        if let Some(band) = parameters.supply_band {
            // An interruption is not the band's matter: nothing is there to measure with.
            let outside = now.supply_share > 0.5
                && !(band.low_share..=band.high_share).contains(&now.supply_share);
            self.outside_s = if outside { self.outside_s + now.dt_s } else { 0.0 };
            if self.outside_s >= band.delay_s {
                return Some((StopReason::SupplyOutOfRange, band.wait_s));
            }
        }
        let Some(running_s) = now.running_s else {
            self.slow_s = 0.0;
            self.dry_s = 0.0;
            self.sensor_s = 0.0;
            return None;
        };
        if let Some(start) = parameters.failed_start {
            self.slow_s = if now.speed < 0.7 { self.slow_s + now.dt_s } else { 0.0 };
            if self.slow_s >= start.after_s {
                self.failed_starts += 1;
                let wait_s = if self.failed_starts.is_multiple_of(start.tries.max(1)) {
                    start.long_wait_s
                } else {
                    start.wait_s
                };
                return Some((StopReason::FailedStart, wait_s));
            }
            if now.speed > 0.9 {
                self.failed_starts = 0;
            }
        }
        if let Some(relay) = parameters.overload
            && hot
        {
            return Some((StopReason::Overload, relay.least_wait_s));
        }
        if parameters.winding.is_some_and(|winding| self.winding_c >= winding.trip_c) {
            return Some((StopReason::OverTemperature, 0.0));
        }
        self.sensor_s = if now.sensor_good { 0.0 } else { self.sensor_s + now.dt_s };
        if self.sensor_s >= 1.0 {
            return Some((StopReason::SensorFault, 10.0));
        }
        if let Some(dry) = parameters.dry_run {
            let low = running_s > dry.blank_s && now.power_w < dry.below_w * now.dry_scale;
            self.dry_s = if low { self.dry_s + now.dt_s } else { 0.0 };
            if self.dry_s >= dry.delay_s {
                return Some((StopReason::DryRun, dry.wait_s));
            }
        }
        None
    }

    fn release(&mut self, now: Readings, parameters: &ProtectionParameters) {
        let Some((reason, until_us)) = self.held else { return };
        let keep = match reason {
            StopReason::Overload => {
                parameters.overload.is_some_and(|relay| self.thermal.level() > relay.reset_share)
            }
            StopReason::OverTemperature => {
                parameters.winding.is_some_and(|winding| self.winding_c > winding.reset_c)
            }
            StopReason::SensorFault => !now.sensor_good,
            _ => false,
        };
        if let (StopReason::SupplyOutOfRange, Some(band)) = (reason, parameters.supply_band)
            && !(band.low_share..=band.high_share).contains(&now.supply_share)
        {
            // The wait begins anew until the voltage is good again.
            self.held = Some((reason, now.at.unix_us + us(band.wait_s)));
        } else if !keep && now.at.unix_us >= until_us {
            self.held = None;
        }
    }
}
