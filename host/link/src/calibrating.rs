//! Calibrating: from readings of a reference and of the logger, taken at the same moment, to the
//! numbers the logger keeps. `example-calibration.toml` shows the file; `pumpwitness calibrate`
//! prints what is in force in the same form.
//!
//! The logger has shown its readings by the calibration in force, so that the new numbers are the
//! old ones corrected: readings taken before it was put in force say nothing any more and are
//! refused.

use jiff::{Timestamp, civil, tz::TimeZone};
use pumpwitness_protocol::calibration::{Alternating, Calibration, CalibrationError, Direct};
use serde::Deserialize;
use std::f64::consts::TAU;
use std::fmt::Write;

/// A larger correction is no calibration but another fault (common practice, no source).
const CORRECTION_MAX: f64 = 0.2;
/// A load whose power factor is above this tells too little of the phase: an error of 0.1 % in
/// power is 0.13° there and more above (its sine is 0.44).
const POWER_FACTOR_MAX: f64 = 0.9;
/// Points of a line lie at least this share of the higher one apart.
const APART_MIN: f64 = 0.25;

/// Why a calibration file cannot be used.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum CalibratingError {
    /// It is no TOML of this form.
    #[error("{0}")]
    Form(String),
    /// Readings without a time.
    #[error(
        "`made` is missing: say when the readings were taken, e.g. made = 2026-11-25T10:30:00Z"
    )]
    NoTime,
    /// A time that is none.
    #[error(
        "made = {0} is no moment: write a date, or date and time with zone, e.g. 2026-11-25T10:30:00Z"
    )]
    Time(String),
    /// Readings from before the calibration in force.
    #[error(
        "the readings of {readings} were taken before the calibration in force was made ({in_force}): take them again"
    )]
    Stale {
        /// Time of the readings.
        readings: Timestamp,
        /// Time of the calibration in force.
        in_force: Timestamp,
    },
    /// A value that cannot be meant.
    #[error("{channel}: {what} must be a number above 0")]
    Value {
        /// Section of the file.
        channel: &'static str,
        /// Which value.
        what: &'static str,
    },
    /// Points and absolute values in one section.
    #[error("{0}: give either points or a gain, not both")]
    Both(&'static str),
    /// Too large a correction.
    #[error(
        "{channel}: the readings differ by {percent:.0} %, which is no matter of calibration: check ratio, range and wiring"
    )]
    TooFar {
        /// Section of the file.
        channel: &'static str,
        /// How far.
        percent: f64,
    },
    /// Points of a line that lie together.
    #[error(
        "{0}: the points lie too near each other to tell gain from offset: take them further apart"
    )]
    TooNear(&'static str),
    /// A load that tells nothing of the phase.
    #[error(
        "phase: at a power factor of {0:.2} power hardly tells of the phase: use a load at or below {POWER_FACTOR_MAX}, such as an idling motor"
    )]
    PowerFactor(f64),
    /// More real than apparent power.
    #[error("phase: {0} shows more watts than volt-amperes: check the readings")]
    MoreThanAll(&'static str),
    /// Text too long.
    #[error("`{what}` is longer than the {max} bytes the logger keeps")]
    TooLong {
        /// Which.
        what: &'static str,
        /// Room.
        max: usize,
    },
    /// The result is outside what the logger takes.
    #[error(transparent)]
    Range(#[from] CalibrationError),
}

/// A calibration file.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Readings {
    made: Option<toml::value::Datetime>,
    by: Option<String>,
    reference: Option<String>,
    voltage: Option<Section<Volts>>,
    current: Option<Section<Amperes>>,
    signal: Option<Line<Signal>>,
    transducer_supply: Option<Line<Volts>>,
    phase: Option<Phase>,
}

/// An alternating channel.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
struct Section<P> {
    points: Option<Vec<P>>,
    #[serde(alias = "gain_v_per_count", alias = "gain_a_per_count")]
    gain: Option<f64>,
    offset_counts: Option<f64>,
    late_us: Option<f64>,
    clip_counts: Option<i16>,
}

/// A direct channel.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
struct Line<P> {
    points: Option<Vec<P>>,
    #[serde(alias = "gain_v_per_count", alias = "gain_a_per_count")]
    gain: Option<f64>,
    offset_counts: Option<i16>,
}

/// Volts of both.
#[derive(Clone, Copy, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
struct Volts {
    reference_v: f64,
    logger_v: f64,
}

/// Amperes of both.
#[derive(Clone, Copy, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
struct Amperes {
    reference_a: f64,
    logger_a: f64,
}

/// Milliamperes of a loop, or volts of a ratiometric transducer.
#[derive(Clone, Copy, Debug, PartialEq, Deserialize)]
#[serde(untagged)]
enum Signal {
    Loop(Milliamperes),
    Ratiometric(Volts),
}

#[derive(Clone, Copy, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
struct Milliamperes {
    reference_ma: f64,
    logger_ma: f64,
}

/// Both on one load.
#[derive(Clone, Copy, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
struct Phase {
    frequency_hz: f64,
    current: Lag,
    reference: Load,
    logger: Load,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "lowercase")]
enum Lag {
    Lags,
    Leads,
}

#[derive(Clone, Copy, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
struct Load {
    w: f64,
    v: f64,
    a: f64,
}

/// A pair of readings: reference, logger, in one unit.
trait Point: Copy {
    fn pair(self) -> (f64, f64);
}

impl Point for Volts {
    fn pair(self) -> (f64, f64) {
        (self.reference_v, self.logger_v)
    }
}

impl Point for Amperes {
    fn pair(self) -> (f64, f64) {
        (self.reference_a, self.logger_a)
    }
}

impl Point for Signal {
    fn pair(self) -> (f64, f64) {
        match self {
            // Gains are in amperes and volts.
            Self::Loop(point) => (point.reference_ma / 1000.0, point.logger_ma / 1000.0),
            Self::Ratiometric(point) => point.pair(),
        }
    }
}

/// Reads a calibration file.
pub fn parse(text: &str) -> Result<Readings, CalibratingError> {
    toml::from_str(text).map_err(|error| CalibratingError::Form(error.to_string()))
}

impl Readings {
    /// The calibration they lead to from the one in force, by which the logger's readings were
    /// shown.
    pub fn apply(&self, in_force: &Calibration) -> Result<Calibration, CalibratingError> {
        let made = self.made()?;
        if self.compares() {
            let readings = made.ok_or(CalibratingError::NoTime)?;
            if readings.as_millisecond() <= in_force.made_ms {
                let in_force = timestamp(in_force.made_ms);
                return Err(CalibratingError::Stale { readings, in_force });
            }
        }
        let mut new = in_force.clone();
        if let Some(made) = made {
            new.made_ms = made.as_millisecond();
        }
        if let Some(by) = &self.by {
            new.by = bounded("by", by)?;
        }
        if let Some(reference) = &self.reference {
            new.reference = bounded("reference", reference)?;
        }
        if let Some(section) = &self.voltage {
            new.voltage = section.apply("voltage", new.voltage)?;
        }
        if let Some(section) = &self.current {
            new.current = section.apply("current", new.current)?;
        }
        if let Some(line) = &self.signal {
            new.signal = line.apply("signal", new.signal)?;
        }
        if let Some(line) = &self.transducer_supply {
            new.transducer_supply = line.apply("transducer_supply", new.transducer_supply)?;
        }
        if let Some(phase) = &self.phase {
            let late_ns = f64::from(new.current.late_ns) + phase.late_s()? * 1e9;
            new.current.late_ns = whole(late_ns, i32::MIN, i32::MAX);
        }
        new.check()?;
        Ok(new)
    }

    fn made(&self) -> Result<Option<Timestamp>, CalibratingError> {
        let Some(made) = &self.made else { return Ok(None) };
        let text = made.to_string();
        let date = || text.parse::<civil::Date>().ok()?.to_zoned_datetime(TimeZone::UTC).ok();
        let moment = text.parse::<Timestamp>().ok().or_else(|| Some(date()?.timestamp()));
        moment.map(Some).ok_or(CalibratingError::Time(text))
    }

    /// Whether it holds readings of the logger.
    fn compares(&self) -> bool {
        self.phase.is_some()
            || self.voltage.as_ref().is_some_and(|section| section.points.is_some())
            || self.current.as_ref().is_some_and(|section| section.points.is_some())
            || self.signal.as_ref().is_some_and(|line| line.points.is_some())
            || self.transducer_supply.as_ref().is_some_and(|line| line.points.is_some())
    }
}

impl<P: Point> Section<P> {
    fn apply(
        &self,
        channel: &'static str,
        before: Alternating,
    ) -> Result<Alternating, CalibratingError> {
        let gain = match (&self.points, self.gain) {
            (Some(_), Some(_)) => return Err(CalibratingError::Both(channel)),
            (Some(points), None) => f64::from(before.gain_nano) * ratio(channel, points)?,
            (None, Some(gain)) => above_zero(channel, "gain", gain)? * 1e9,
            (None, None) => f64::from(before.gain_nano),
        };
        let offset_q8 = self.offset_counts.map(|counts| counts * 256.0);
        let late_ns = self.late_us.map(|us| us * 1000.0);
        Ok(Alternating {
            gain_nano: whole(gain, 0, u32::MAX),
            offset_q8: offset_q8.map_or(before.offset_q8, |q8| whole(q8, i32::MIN, i32::MAX)),
            late_ns: late_ns.map_or(before.late_ns, |ns| whole(ns, i32::MIN, i32::MAX)),
            clip: self.clip_counts.unwrap_or(before.clip),
        })
    }
}

impl<P: Point> Line<P> {
    fn apply(&self, channel: &'static str, before: Direct) -> Result<Direct, CalibratingError> {
        let (gain, offset) = (f64::from(before.gain_nano), f64::from(before.offset));
        let (gain, offset) = match (&self.points, self.gain) {
            (Some(_), Some(_)) => return Err(CalibratingError::Both(channel)),
            (Some(points), None) if points.len() > 1 => {
                let (slope, shift) = line(channel, points)?;
                // reference = slope · gain · (counts − offset) + shift
                (gain * slope, offset - shift * 1e9 / (gain * slope))
            }
            (Some(points), None) => (gain * ratio(channel, points)?, offset),
            (None, Some(gain)) => (above_zero(channel, "gain", gain)? * 1e9, offset),
            (None, None) => (gain, offset),
        };
        Ok(Direct {
            gain_nano: whole(gain, 0, u32::MAX),
            offset: self.offset_counts.unwrap_or_else(|| whole(offset, i16::MIN, i16::MAX)),
        })
    }
}

impl Phase {
    /// How much later than by the calibration in force the current is reported, s. A current that
    /// is reported late lags more.
    fn late_s(&self) -> Result<f64, CalibratingError> {
        let hz = above_zero("phase", "frequency_hz", self.frequency_hz)?;
        let reference = self.reference.angle("the reference")?;
        let logger = self.logger.angle("the logger")?;
        let late_s = (logger - reference) / (TAU * hz);
        Ok(if self.current == Lag::Lags { late_s } else { -late_s })
    }
}

impl Load {
    /// Angle between voltage and current of a sine, rad.
    fn angle(self, whose: &'static str) -> Result<f64, CalibratingError> {
        let (w, v, a) = (
            above_zero("phase", "w", self.w)?,
            above_zero("phase", "v", self.v)?,
            above_zero("phase", "a", self.a)?,
        );
        let factor = w / (v * a);
        if factor > 1.0 {
            return Err(CalibratingError::MoreThanAll(whose));
        }
        if factor > POWER_FACTOR_MAX {
            return Err(CalibratingError::PowerFactor(factor));
        }
        Ok(factor.acos())
    }
}

/// Mean of reference over logger: each point counts alike, as errors are shares of the reading.
fn ratio<P: Point>(channel: &'static str, points: &[P]) -> Result<f64, CalibratingError> {
    let mut sum = 0.0;
    for (reference, logger) in points.iter().map(|point| point.pair()) {
        sum += above_zero(channel, "reference reading", reference)?
            / above_zero(channel, "logger reading", logger)?;
    }
    within(channel, above_zero(channel, "number of points", sum)? / points.len() as f64)
}

/// Straight line through points by least squares: slope, and reference where the logger shows 0.
fn line<P: Point>(channel: &'static str, points: &[P]) -> Result<(f64, f64), CalibratingError> {
    let count = points.len() as f64;
    let (mut x, mut y, mut xx, mut xy) = (0.0, 0.0, 0.0, 0.0);
    let (mut least, mut most) = (f64::INFINITY, 0.0_f64);
    for (reference, logger) in points.iter().map(|point| point.pair()) {
        above_zero(channel, "reference reading", reference)?;
        above_zero(channel, "logger reading", logger)?;
        (least, most) = (least.min(logger), most.max(logger));
        x += logger;
        y += reference;
        xx += logger * logger;
        xy += logger * reference;
    }
    if most - least < most * APART_MIN {
        return Err(CalibratingError::TooNear(channel));
    }
    let slope = (count * xy - x * y) / (count * xx - x * x);
    Ok((within(channel, slope)?, (y - slope * x) / count))
}

fn within(channel: &'static str, ratio: f64) -> Result<f64, CalibratingError> {
    let off = ratio - 1.0;
    if off.abs() > CORRECTION_MAX {
        return Err(CalibratingError::TooFar { channel, percent: off * 100.0 });
    }
    Ok(ratio)
}

fn above_zero(
    channel: &'static str,
    what: &'static str,
    value: f64,
) -> Result<f64, CalibratingError> {
    if value.is_finite() && value > 0.0 {
        Ok(value)
    } else {
        Err(CalibratingError::Value { channel, what })
    }
}

/// Nearest whole number between `least` and `most`; what lies at an end the calibration's own check
/// judges.
fn whole<T: TryFrom<i64> + Into<f64> + Copy>(value: f64, least: T, most: T) -> T {
    let value = value.round().clamp(least.into(), most.into());
    T::try_from(value as i64).unwrap_or(least)
}

fn bounded<const N: usize>(
    what: &'static str,
    text: &str,
) -> Result<heapless::String<N>, CalibratingError> {
    heapless::String::try_from(text).map_err(|_| CalibratingError::TooLong { what, max: N })
}

fn timestamp(ms: i64) -> Timestamp {
    Timestamp::from_millisecond(ms).unwrap_or(Timestamp::UNIX_EPOCH)
}

/// A calibration in the form of its file, without readings: given back to [`parse`], it leads to
/// the same calibration from any other.
pub fn show(calibration: &Calibration) -> String {
    let mut text = String::new();
    // Writing to a string does not fail.
    if calibration.made_ms == 0 {
        text.push_str("# Never calibrated: these are the values of the design.\n");
    } else {
        let _ = writeln!(text, "made = {}", timestamp(calibration.made_ms));
    }
    for (key, value) in [("by", &*calibration.by), ("reference", &*calibration.reference)] {
        if !value.is_empty() {
            let _ = writeln!(text, "{key} = {}", toml::Value::from(value));
        }
    }
    for (name, unit, channel) in
        [("voltage", "v", calibration.voltage), ("current", "a", calibration.current)]
    {
        let _ = write!(
            text,
            "\n[{name}]\ngain_{unit}_per_count = {}\noffset_counts = {}\nlate_us = {}\nclip_counts = {}\n",
            toml::Value::from(f64::from(channel.gain_nano) / 1e9),
            toml::Value::from(f64::from(channel.offset_q8) / 256.0),
            toml::Value::from(f64::from(channel.late_ns) / 1000.0),
            channel.clip
        );
    }
    for (name, unit, channel) in [
        ("signal", "a", calibration.signal),
        ("transducer_supply", "v", calibration.transducer_supply),
    ] {
        let _ = write!(
            text,
            "\n[{name}]\ngain_{unit}_per_count = {}\noffset_counts = {}\n",
            toml::Value::from(f64::from(channel.gain_nano) / 1e9),
            channel.offset
        );
    }
    text
}

#[cfg(test)]
#[path = "calibrating_tests.rs"]
mod tests;
