//! Prints what a frame costs the meter and a half wave the recorder and the whole logger, on the
//! host.
//! `cargo run --release -p pumpwitness-core --example speed`

use embassy_futures::block_on;
use pumpwitness_core::calibration::Channels;
use pumpwitness_core::logger::{Logger, Start};
use pumpwitness_core::meter::{Meter, MeterConfig};
use pumpwitness_core::recorder::Recorder;
use pumpwitness_core::wave::{Frame, HalfWave};
use pumpwitness_journal::ram::RamFlash;
use pumpwitness_protocol::settings::Settings;
use std::hint::black_box;
use std::time::Instant;

const ROUNDS: u32 = 20_000_000;

fn main() {
    println!("{} bytes: meter", size_of::<Meter>());
    println!("{} bytes: recorder", size_of::<Recorder>());
    meter();
    recorder();
    logger();
}

/// Days at rest with a minute's run each half hour, stored in a flash in memory.
fn logger() {
    let start = Start {
        firmware: [0; 3],
        reason: pumpwitness_protocol::record::BootReason::PowerOn,
        clock_ms: 1_780_000_000_000,
        clock_good: true,
        seed: Some(pumpwitness_core::logger::Seed([7; 32])),
    };
    let flash = RamFlash::<1>::erased(4096);
    let mut logger =
        block_on(Logger::start(flash, *b"device01", start)).expect("a flash of the right geometry");
    println!("{} bytes: logger", size_of_val(&logger));
    let mut noise = 1_u32;
    let clock = Instant::now();
    for n in 0..ROUNDS {
        noise = noise.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        let running = n % 180_000 < 6000;
        let mv = 230_000 + u64::from(noise >> 24);
        let half = HalfWave {
            duration_us: 10_000,
            voltage_sq_mv2: mv * mv,
            current_sq_ma2: if running { 36_000_000 } else { 400 },
            power_mw: if running { 1_100_000 + (noise >> 20) as i32 } else { 0 },
            signal: 5000 + (noise >> 29) as i32,
            flags: 0,
        };
        if logger.half_wave(black_box(&half)) {
            block_on(logger.store()).expect("a flash without faults");
        }
    }
    let ns = clock.elapsed().as_nanos() as f64 / f64::from(ROUNDS);
    let days = f64::from(ROUNDS) / 8_640_000.0;
    let bytes = logger.into_flash().counts().programmed as f64;
    println!("logger: {ns:.1} ns a half wave, {:.0} bytes a day", bytes / days);
}

fn meter() {
    let mut meter = Meter::new(MeterConfig {
        frames_per_s: 8000,
        nominal_hz: 50,
        transducer: pumpwitness_protocol::settings::TransducerKind::Loop,
        voltage_floor_mv: 11_500,
        current_floor_ma: 300,
        calibration: Channels::default(),
    })
    .expect("a calibration within its ranges");
    let cycle: Vec<Frame> = (0..160_u16)
        .map(|n| {
            let angle = std::f64::consts::TAU * f64::from(n) / 160.0;
            Frame {
                voltage: (21_000.0 * angle.sin()) as i16,
                current: (4000.0 * (angle - 0.7).sin()) as i16,
                signal: 20_000,
                transducer_supply: 39_000,
            }
        })
        .collect();
    let start = Instant::now();
    let mut half_waves = 0_u32;
    for n in 0..ROUNDS {
        let half = meter.push(black_box(&cycle[n as usize % 160]));
        half_waves += u32::from(black_box(half).is_some());
    }
    let ns = start.elapsed().as_nanos() as f64 / f64::from(ROUNDS);
    println!("meter: {ns:.1} ns a frame, {half_waves} half waves");
}

fn recorder() {
    for (name, amperes, volts) in [
        ("at rest", 0_u64, [230_u64, 230, 230, 230]),
        ("running", 6, [228, 228, 229, 228]),
        ("dipping", 0, [230, 180, 230, 180]),
    ] {
        let mut recorder = Recorder::new(&Settings::default(), 1_780_000_000_000);
        let mut noise = 1_u32;
        let mut records = 0_u32;
        let start = Instant::now();
        for n in 0..ROUNDS {
            noise = noise.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            let mv = volts[(n / 64 % 4) as usize] * 1000 + u64::from(noise >> 24);
            recorder.half_wave(black_box(&HalfWave {
                duration_us: 10_000 + (noise >> 30),
                voltage_sq_mv2: mv * mv,
                current_sq_ma2: amperes * amperes * 1_000_000,
                power_mw: 0,
                signal: 5000 + (noise >> 29) as i32,
                flags: 0,
            }));
            while recorder.pending() {
                black_box(recorder.pop());
                records += 1;
            }
        }
        let ns = start.elapsed().as_nanos() as f64 / f64::from(ROUNDS);
        println!("recorder, {name}: {ns:.1} ns a half wave, {records} records");
    }
}
