//! What a site file means to the logger: its settings; and handing it over.

use crate::client::Client;
use crate::error::ClientError;
use crate::transport::Transport;
use pumpwitness_protocol::message::Identity;
use pumpwitness_protocol::settings::{
    Deadbands, LAMPS, SITE_TEXT_MAX, Settings, SettingsError, TransducerKind,
};
use pumpwitness_site_file as site_file;
use pumpwitness_site_file::Site;

/// Deadbands as shares of nominal voltage, rated current, transducer span and rated power; each is
/// at or below the error of an ordinary sensor of its kind (hardware-notes/channels.md).
const DEADBAND_SHARE: f64 = 0.01;
const SIGNAL_DEADBAND_SHARE: f64 = 0.0025;
/// Steps between the ends of the transducer: 4–20 mA in 2 µA, 10–90 % of the supply in 0.01 %.
const SPAN_STEPS: f64 = 8000.0;

/// Why a site file cannot be given to a logger.
#[derive(Debug, thiserror::Error)]
pub enum ArmingError {
    /// The line, or the logger.
    #[error(transparent)]
    Client(#[from] ClientError),
    /// A value outside what the logger can be set to.
    #[error("the logger cannot be set to this site file: {0}")]
    Settings(#[from] SettingsError),
    /// The text is longer than the logger keeps.
    #[error(
        "the site file has {0} bytes and the logger keeps {SITE_TEXT_MAX}: shorten its comments"
    )]
    TooLong(usize),
}

/// Settings for a logger at `site`, whose file reads `text`.
pub fn settings(site: &Site, text: &str) -> Result<Settings, ArmingError> {
    if text.len() > SITE_TEXT_MAX {
        return Err(ArmingError::TooLong(text.len()));
    }
    let nominal_dv = site.supply.nominal_v * 10.0;
    let rated_ma = site.motor.rated_current_a * 1000.0;
    let rated_w = site.supply.nominal_v * site.motor.rated_current_a;
    let (transducer, low_bar, high_bar) = match site.transducer {
        None => (TransducerKind::Absent, 0.0, 10.0),
        Some(fitted) => {
            let kind = match fitted.kind {
                site_file::TransducerKind::Loop => TransducerKind::Loop,
                site_file::TransducerKind::Ratiometric => TransducerKind::Ratiometric,
            };
            (kind, fitted.low_bar, fitted.high_bar)
        }
    };
    let mut settings = Settings {
        nominal_dv: rounded(nominal_dv),
        nominal_hz: rounded(site.supply.frequency_hz),
        rated_current_ma: rounded(rated_ma),
        running_above_ma: rounded(site.motor.running_above_a() * 1000.0),
        transducer,
        low_mbar: rounded(low_bar * 1000.0),
        high_mbar: rounded(high_bar * 1000.0),
        deadbands: Deadbands {
            voltage_dv: rounded(nominal_dv * DEADBAND_SHARE),
            current_ca: rounded((rated_ma / 10.0 * DEADBAND_SHARE).max(2.0)),
            signal: rounded(SPAN_STEPS * SIGNAL_DEADBAND_SHARE),
            power_w: rounded((rated_w * DEADBAND_SHARE).max(2.0)),
        },
        ..Settings::default()
    };
    for letter in site.name.as_deref().unwrap_or("").chars() {
        if settings.site.push(letter).is_err() {
            break;
        }
    }
    let lamps = site.lamps.iter().map(|(lamp, _)| usize::from(*lamp)).max().unwrap_or(0);
    for lamp in 1..=lamps.min(LAMPS) {
        let mut label = heapless::String::new();
        let declared = site.lamps.iter().find(|(number, _)| usize::from(*number) == lamp);
        for letter in declared.map_or("", |(_, label)| label).chars() {
            if label.push(letter).is_err() {
                break;
            }
        }
        // Room for LAMPS labels, and no more are counted.
        let _ = settings.lamps.push(label);
    }
    settings.check()?;
    Ok(settings)
}

/// Gives a logger its site, sets its clock (ms since 1970) if one is given, and starts recording.
/// The identity is that before anything was changed.
pub fn arm<T: Transport>(
    client: &mut Client<T>,
    site: &Site,
    text: &str,
    clock_ms: Option<i64>,
) -> Result<Identity, ArmingError> {
    let settings = settings(site, text)?;
    let identity = client.hello()?;
    if let Some(clock_ms) = clock_ms {
        client.set_clock(clock_ms)?;
    }
    client.put_settings(&settings)?;
    client.put_site_text(text.as_bytes())?;
    client.arm()?;
    Ok(identity)
}

/// Nearest value of an integer type; what does not fit is caught by the settings' own check, so
/// the ends of the type do.
fn rounded<T: TryFrom<i64> + Limits>(value: f64) -> T {
    let value = value.round() as i64;
    T::try_from(value).unwrap_or(if value < 0 { T::LEAST } else { T::MOST })
}

trait Limits {
    const LEAST: Self;
    const MOST: Self;
}

macro_rules! limits {
    ($($kind:ty),*) => {$(
        impl Limits for $kind {
            const LEAST: Self = <$kind>::MIN;
            const MOST: Self = <$kind>::MAX;
        }
    )*};
}

limits!(u8, u16, u32, i32);

#[cfg(test)]
mod tests {
    use super::*;

    const TEXT: &str = "[site]\nname = \"Orchard\"\n[supply]\nnominal_v = 230\nfrequency_hz = 50\n\
        [motor]\nrated_current_a = 7.2\n[transducer]\nkind = \"4-20ma\"\nlow_bar = 0\nhigh_bar = 6\n\
        [lamps]\n3 = \"dry running\"\n";

    #[test]
    fn a_site_becomes_settings() {
        let site = site_file::parse(TEXT).unwrap();
        let settings = settings(&site, TEXT).unwrap();
        assert_eq!(settings.site, "Orchard");
        assert_eq!(settings.nominal_dv, 2300);
        assert_eq!(settings.running_above_ma, 1080);
        assert_eq!((settings.low_mbar, settings.high_mbar), (0, 6000));
        assert!(settings.lamp_fitted(3) && !settings.lamp_fitted(1) && !settings.lamp_fitted(4));
    }

    #[test]
    fn a_text_too_long_is_refused() {
        let text = format!("{TEXT}#{}", "x".repeat(SITE_TEXT_MAX));
        let site = site_file::parse(&text).unwrap();
        let error = settings(&site, &text).unwrap_err();
        assert!(matches!(error, ArmingError::TooLong(bytes) if bytes == text.len()), "{error}");
    }
}
