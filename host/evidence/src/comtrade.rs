//! Captures as COMTRADE, IEEE C37.111-2013 (IEC 60255-24:2013): a configuration file and an ASCII
//! data file a capture. (Layout of the files from memory of the standard; tests/reference reads them
//! back with an independent library.)
//!
//! A sample is no instantaneous value but one over a whole cycle, renewed each half cycle
//! (U_rms(1/2) of IEC 61000-4-30, current and active power over the same cycle), stamped with the
//! end of the cycle. As half cycles follow the frequency of the supply, the sampling rate is given as
//! 0 and the time stamps count, as the standard has it for irregular sampling.

use pumpwitness_protocol::record::{CaptureBlock, CapturePoint, Trigger};
use std::fmt::Write;

/// Largest number in an ASCII data file.
const DATA_MAX: i32 = 99_999;
/// Name and unit of the channels, and what a step of the record is in that unit.
const CHANNELS: [(&str, &str, f64); 3] =
    [("voltage", "V", 0.1), ("current", "A", 0.01), ("active power", "W", 1.0)];

/// What the files say about where they come from.
#[derive(Clone, Copy, Debug)]
pub struct Origin<'a> {
    /// Name of the site; empty when it is not to be told.
    pub station: &'a str,
    /// Number of the logger.
    pub device: &'a str,
    /// Nominal frequency, Hz.
    pub nominal_hz: u8,
    /// How far times may be off, ms; `None` when that is not known.
    pub uncertainty_ms: Option<i64>,
}

/// The two files of a capture.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Files {
    /// Name without ending.
    pub name: String,
    /// Text of the configuration file.
    pub cfg: String,
    /// Text of the data file.
    pub dat: String,
}

/// Consecutive points of one capture.
struct Capture {
    number: u16,
    trigger: Trigger,
    /// Index of the first point.
    first: usize,
    /// Time of each point, µs since 1970, and its values.
    points: Vec<(i64, CapturePoint)>,
}

/// Every capture as its files, in the order of the record. A capture of which a part is missing
/// gives a pair of files for each part.
pub fn files(blocks: &[CaptureBlock], origin: &Origin<'_>) -> Vec<Files> {
    captures(blocks)
        .iter()
        .enumerate()
        .map(|(n, capture)| Files {
            name: format!("{:04}-{}", n + 1, word(capture.trigger)),
            cfg: configuration(capture, origin),
            dat: data(capture),
        })
        .collect()
}

fn word(trigger: Trigger) -> &'static str {
    match trigger {
        Trigger::Start => "start",
        Trigger::Dip => "dip",
        Trigger::Swell => "swell",
        Trigger::Interruption => "interruption",
        Trigger::SensorLoss => "sensor-loss",
    }
}

fn captures(blocks: &[CaptureBlock]) -> Vec<Capture> {
    let mut captures: Vec<Capture> = Vec::new();
    for block in blocks.iter().filter(|block| !block.points.is_empty()) {
        let start_us = block.start_ms.saturating_mul(1000);
        let points = block
            .points
            .iter()
            .zip(0_i64..)
            .map(|(point, n)| (start_us.saturating_add(n * i64::from(block.step_us)), *point));
        // Blocks of one capture follow each other; those of two never mix.
        let goes_on = captures.last_mut().filter(|last| {
            last.number == block.capture
                && last.first + last.points.len() == usize::from(block.first_index)
                && last.points.last().is_some_and(|(us, _)| *us < start_us)
        });
        if let Some(capture) = goes_on {
            capture.points.extend(points);
        } else {
            captures.push(Capture {
                number: block.capture,
                trigger: block.trigger,
                first: usize::from(block.first_index),
                points: points.collect(),
            });
        }
    }
    captures
}

/// Values of a point in steps of the record.
fn steps(point: &CapturePoint) -> [i32; 3] {
    [point.voltage_dv, point.current_ca, point.power_w]
}

/// How many steps of the record a number in the data file stands for: 1, or as many tens as the
/// largest value needs to fit.
fn scales(capture: &Capture) -> [i32; 3] {
    let mut scales = [1_i32; 3];
    for (_, point) in &capture.points {
        for (scale, value) in scales.iter_mut().zip(steps(point)) {
            while value.unsigned_abs() / scale.unsigned_abs() > DATA_MAX as u32 {
                *scale *= 10;
            }
        }
    }
    scales
}

fn configuration(capture: &Capture, origin: &Origin<'_>) -> String {
    let mut text = String::new();
    let scales = scales(capture);
    let station = if origin.station.is_empty() { "not stated" } else { origin.station };
    let mut line = |line: String| text.push_str(&(line + "\r\n"));
    line(format!("{},{},2013", plain(station, 64), plain(origin.device, 64)));
    line("3,3A,0D".to_owned());
    for (n, ((name, unit, step), scale)) in CHANNELS.iter().zip(scales).enumerate() {
        let factor = step * f64::from(scale);
        // Channel, name, phase, circuit, unit, factor, offset, skew, least, most, ratio 1 : 1,
        // primary values.
        line(format!("{},{name},,pump,{unit},{factor},0,0,-{DATA_MAX},{DATA_MAX},1,1,P", n + 1));
    }
    line(origin.nominal_hz.to_string());
    line("0".to_owned());
    line(format!("0,{}", capture.points.len()));
    line(moment(capture.points[0].0));
    line(moment(trigger_us(capture, origin.nominal_hz)));
    line("ASCII".to_owned());
    line("1".to_owned());
    // Times are UTC.
    line("0,0".to_owned());
    // Time quality; and that the clock knows no leap seconds.
    line(format!("{},3", quality(origin.uncertainty_ms)));
    text
}

/// A start is kept from 0.2 s before, all else from 1 s before, in half cycles of the nominal
/// frequency; a part of a capture that begins later has its trigger before its first point, or where
/// the count says.
fn trigger_us(capture: &Capture, nominal_hz: u8) -> i64 {
    let second = 2 * usize::from(nominal_hz);
    let index = match capture.trigger {
        Trigger::Start => second / 5,
        _ => second,
    };
    let n = index.saturating_sub(capture.first).min(capture.points.len() - 1);
    capture.points[n].0
}

fn data(capture: &Capture) -> String {
    let mut text = String::new();
    let scales = scales(capture);
    let start_us = capture.points[0].0;
    for (n, (us, point)) in capture.points.iter().enumerate() {
        let [voltage, current, power] = steps(point);
        // Writing to a string does not fail.
        let _ = write!(
            text,
            "{},{},{},{},{}\r\n",
            n + 1,
            us - start_us,
            voltage / scales[0],
            current / scales[1],
            power / scales[2]
        );
    }
    text
}

/// A field of a configuration file: without commas and line ends, of limited length.
fn plain(text: &str, max: usize) -> String {
    text.chars()
        .filter(|c| !c.is_control())
        .map(|c| if c == ',' { ' ' } else { c })
        .take(max)
        .collect()
}

/// `dd/mm/yyyy,hh:mm:ss.ssssss`.
fn moment(us: i64) -> String {
    let utc = pumpwitness_recording::clock::utc_text(us.div_euclid(1000));
    let micros = us.rem_euclid(1_000_000);
    match (utc.get(0..4), utc.get(5..7), utc.get(8..10), utc.get(11..19)) {
        (Some(year), Some(month), Some(day), Some(time)) => {
            format!("{day}/{month}/{year},{time}.{micros:06}")
        }
        _ => "01/01/1970,00:00:00.000000".to_owned(),
    }
}

/// Time quality of the standard: how far an unlocked clock may be off; F when not known.
fn quality(uncertainty_ms: Option<i64>) -> char {
    match uncertainty_ms {
        Some(..=1) => '7',
        Some(..=10) => '8',
        Some(..=100) => '9',
        Some(..=1000) => 'A',
        Some(..=10_000) => 'B',
        Some(_) | None => 'F',
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn block(capture: u16, first_index: u16, start_ms: i64, power_w: i32) -> CaptureBlock {
        let point = CapturePoint { voltage_dv: 2301, current_ca: 4210, power_w };
        CaptureBlock {
            capture,
            first_index,
            start_ms,
            step_us: 10_000,
            trigger: Trigger::Dip,
            points: std::iter::repeat_n(point, 30).collect(),
        }
    }

    const ORIGIN: Origin<'_> = Origin {
        station: "Well 3, north",
        device: "44454d4f30303031",
        nominal_hz: 50,
        uncertainty_ms: Some(750),
    };
    /// 2026-02-03T04:05:06.007Z.
    const START_MS: i64 = 1_770_091_506_007;

    #[test]
    fn blocks_become_captures_and_a_gap_two_parts() {
        let blocks = [
            block(7, 0, START_MS, 900),
            block(7, 30, START_MS + 300, 900),
            block(7, 90, START_MS + 900, 900),
            block(8, 0, START_MS + 9000, -123_456),
        ];
        let files = files(&blocks, &ORIGIN);
        let names: Vec<&str> = files.iter().map(|files| files.name.as_str()).collect();
        assert_eq!(names, ["0001-dip", "0002-dip", "0003-dip"]);
        assert_eq!(files[0].dat.lines().count(), 60);
        assert_eq!(files[0].dat.lines().nth(59), Some("60,590000,2301,4210,900"));
        // The trigger is 1 s behind the first point of the capture: 0.1 s behind that of its rest.
        assert!(files[1].cfg.contains("03/02/2026,04:05:06.907000\r\n03/02/2026,04:05:07.007000"));
        // 123 456 W do not fit five digits.
        assert!(files[2].cfg.contains("3,active power,,pump,W,10,0,0,"), "{}", files[2].cfg);
        assert!(files[2].dat.starts_with("1,0,2301,4210,-12345\r\n"));
    }

    #[test]
    fn a_configuration_reads_as_the_standard_has_it() {
        let files = files(&[block(7, 0, START_MS, 900)], &ORIGIN);
        insta::assert_snapshot!(files[0].cfg.replace("\r\n", "\n"), @"
        Well 3  north,44454d4f30303031,2013
        3,3A,0D
        1,voltage,,pump,V,0.1,0,0,-99999,99999,1,1,P
        2,current,,pump,A,0.01,0,0,-99999,99999,1,1,P
        3,active power,,pump,W,1,0,0,-99999,99999,1,1,P
        50
        0
        0,30
        03/02/2026,04:05:06.007000
        03/02/2026,04:05:06.297000
        ASCII
        1
        0,0
        A,3
        ");
    }
}
