//! Runs waveforms through the meter and the recorder, for comparison with other tools.
//!
//! `waveforms NOMINAL_HZ FRAMES_PER_S NOMINAL_V` reads frames from standard input: two little-endian
//! 16-bit counts each, of voltage (15.258789 mV) and current (3.051758 mA). It prints CSV: a line
//! with how late half waves come out (`delay`, µs), one for each half wave (`half`: number of the frame during which it came out, length in µs, mean
//! squares in mV² and mA², power in mW, flags) and each voltage event (`event`: kind, start in ms
//! after the first half wave, length in half cycles, extreme in V). Both channels are taken as
//! converted at the same moment.

use pumpwitness_core::meter::{Meter, MeterConfig};
use pumpwitness_core::recorder::Recorder;
use pumpwitness_core::sampling::meter_config;
use pumpwitness_core::wave::Frame;
use pumpwitness_protocol::calibration::Calibration;
use pumpwitness_protocol::record::{Mark, Record};
use pumpwitness_protocol::settings::Settings;
use std::error::Error;
use std::io::{Read, Write, stdin, stdout};

fn main() -> Result<(), Box<dyn Error>> {
    let mut numbers = std::env::args().skip(1).map(|word| word.parse::<u32>());
    let mut number =
        || numbers.next().ok_or("three numbers are wanted")?.map_err(Box::<dyn Error>::from);
    let (nominal_hz, frames_per_s, nominal_v) = (number()?, number()?, number()?);
    let settings = Settings {
        nominal_hz: u8::try_from(nominal_hz)?,
        nominal_dv: u16::try_from(nominal_v * 10)?,
        ..Settings::default()
    };
    let mut config =
        MeterConfig { frames_per_s, ..meter_config(&settings, &Calibration::default()) };
    config.calibration.current.late_ns = config.calibration.voltage.late_ns;
    let mut meter = Meter::new(config)?;
    let mut recorder = Recorder::new(&settings, 0);

    let mut bytes = Vec::new();
    stdin().read_to_end(&mut bytes)?;
    let mut out = stdout().lock();
    writeln!(out, "delay,{}", meter.delay_us())?;
    for (n, pair) in bytes.chunks_exact(4).enumerate() {
        let voltage = i16::from_le_bytes([pair[0], pair[1]]);
        let current = i16::from_le_bytes([pair[2], pair[3]]);
        // A transducer at 12 mA on 24 V: nothing here looks at it.
        let frame = Frame { voltage, current, signal: 31_500, transducer_supply: 39_320 };
        let Some(half) = meter.push(&frame) else { continue };
        writeln!(
            out,
            "half,{n},{},{},{},{},{}",
            half.duration_us, half.voltage_sq_mv2, half.current_sq_ma2, half.power_mw, half.flags
        )?;
        recorder.half_wave(&half);
        while let Some(record) = recorder.pop() {
            if let Record::Mark(mark) = record
                && let Mark::Voltage { event, start_ms, half_cycles, extreme_dv, .. } = mark.mark
            {
                let extreme_v = f64::from(extreme_dv) / 10.0;
                writeln!(out, "event,{event:?},{start_ms},{half_cycles},{extreme_v}")?;
            }
        }
    }
    Ok(())
}
