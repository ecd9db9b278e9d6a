//! Settings of the logger: what `arm` puts in force. Checked on both sides of the link.

use heapless::{String, Vec};
use serde::{Deserialize, Serialize};

/// Watched lamp inputs.
pub const LAMPS: usize = 8;
/// Most bytes of the site file's text kept with the settings.
pub const SITE_TEXT_MAX: usize = 3072;
/// Most bytes of settings in postcard.
pub const SETTINGS_BYTES_MAX: usize = 512;

/// How the pressure transducer reports.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum TransducerKind {
    /// None fitted.
    Absent,
    /// 4–20 mA current loop.
    Loop,
    /// 0.5–4.5 V of a 5 V supply, measured as a ratio.
    Ratiometric,
}

/// What to do when the ring is full.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum WhenFull {
    /// Overwrite the oldest sector.
    KeepNewest,
    /// Stop recording.
    KeepOldest,
}

/// Changes smaller than these do not end a merged interval.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Deadbands {
    /// Voltage, 0.1 V.
    pub voltage_dv: u16,
    /// Current, 10 mA.
    pub current_ca: u16,
    /// Transducer signal, steps.
    pub signal: u16,
    /// Power, W.
    pub power_w: u16,
}

/// Everything `arm` tells the logger.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Settings {
    /// Name of the site.
    pub site: String<64>,
    /// Nominal voltage, 0.1 V (IEC 61000-4-30 U_din).
    pub nominal_dv: u16,
    /// Nominal frequency, 50 or 60 Hz.
    pub nominal_hz: u8,
    /// Rated motor current, mA.
    pub rated_current_ma: u32,
    /// Current above which the pump counts as running, mA.
    pub running_above_ma: u32,
    /// Transducer.
    pub transducer: TransducerKind,
    /// Pressure at the low end of the transducer, mbar.
    pub low_mbar: i32,
    /// Pressure at the high end, mbar.
    pub high_mbar: i32,
    /// Dip threshold, 0.1 % of nominal.
    pub dip_permille: u16,
    /// Swell threshold, 0.1 % of nominal.
    pub swell_permille: u16,
    /// Interruption threshold, 0.1 % of nominal.
    pub interruption_permille: u16,
    /// Hysteresis of all three, 0.1 % of nominal.
    pub hysteresis_permille: u16,
    /// Deadbands.
    pub deadbands: Deadbands,
    /// Longest merged interval, s (1 to 60).
    pub merge_max_s: u8,
    /// Most captures kept in an hour.
    pub captures_per_hour: u16,
    /// What to do when the ring is full.
    pub when_full: WhenFull,
    /// Technician's labels of the watched lamps, input 1 first; empty where not fitted.
    pub lamps: Vec<String<24>, LAMPS>,
}

/// A setting that cannot be.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{field} must lie between {min} and {max}")]
pub struct SettingsError {
    /// Which.
    pub field: &'static str,
    /// Least value allowed, in the field's unit.
    pub min: i64,
    /// Greatest value allowed.
    pub max: i64,
}

impl Default for Settings {
    /// 230 V 50 Hz, a 5 A motor, a 0–10 bar loop; thresholds of IEC 61000-4-30 practice.
    fn default() -> Self {
        Self {
            site: String::new(),
            nominal_dv: 2300,
            nominal_hz: 50,
            rated_current_ma: 5000,
            running_above_ma: 500,
            transducer: TransducerKind::Loop,
            low_mbar: 0,
            high_mbar: 10_000,
            dip_permille: 900,
            swell_permille: 1100,
            interruption_permille: 50,
            hysteresis_permille: 20,
            deadbands: Deadbands { voltage_dv: 23, current_ca: 10, signal: 12, power_w: 20 },
            merge_max_s: 10,
            captures_per_hour: 60,
            when_full: WhenFull::KeepNewest,
            lamps: Vec::new(),
        }
    }
}

impl Settings {
    /// Checks every value against its range.
    pub fn check(&self) -> Result<(), SettingsError> {
        let within = |field, value: i64, min, max| {
            if (min..=max).contains(&value) {
                Ok(())
            } else {
                Err(SettingsError { field, min, max })
            }
        };
        within("nominal voltage (0.1 V)", self.nominal_dv.into(), 500, 7000)?;
        if self.nominal_hz != 50 && self.nominal_hz != 60 {
            return Err(SettingsError { field: "nominal frequency (Hz)", min: 50, max: 60 });
        }
        within("rated current (mA)", self.rated_current_ma.into(), 100, 200_000)?;
        within("running threshold (mA)", self.running_above_ma.into(), 20, 200_000)?;
        within("low end of the transducer (mbar)", self.low_mbar.into(), -1100, 1_000_000)?;
        within(
            "high end of the transducer (mbar)",
            self.high_mbar.into(),
            i64::from(self.low_mbar) + 1,
            1_000_000,
        )?;
        within("dip threshold (0.1 %)", self.dip_permille.into(), 500, 990)?;
        within("swell threshold (0.1 %)", self.swell_permille.into(), 1010, 1500)?;
        within("interruption threshold (0.1 %)", self.interruption_permille.into(), 10, 400)?;
        within("hysteresis (0.1 %)", self.hysteresis_permille.into(), 0, 100)?;
        within("longest merged interval (s)", self.merge_max_s.into(), 1, 60)?;
        within("captures per hour", self.captures_per_hour.into(), 0, 3600)
    }

    /// True when lamp input `lamp` (1 to 8) carries a label.
    pub fn lamp_fitted(&self, lamp: u8) -> bool {
        usize::from(lamp)
            .checked_sub(1)
            .and_then(|n| self.lamps.get(n))
            .is_some_and(|l| !l.is_empty())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_default_passes_its_own_check() {
        Settings::default().check().unwrap();
    }

    #[test]
    fn an_impossible_value_is_named() {
        let settings = Settings { nominal_hz: 55, ..Settings::default() };
        assert_eq!(settings.check().unwrap_err().field, "nominal frequency (Hz)");
        let settings = Settings { high_mbar: 0, ..Settings::default() };
        assert_eq!(settings.check().unwrap_err().field, "high end of the transducer (mbar)");
    }
}
