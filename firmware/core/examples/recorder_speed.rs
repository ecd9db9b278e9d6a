//! Prints what a half wave costs the recorder: at rest, with the pump running, and in dips.
//! `cargo run --release -p pumpwitness-core --example recorder_speed`

use pumpwitness_core::recorder::Recorder;
use pumpwitness_core::wave::HalfWave;
use pumpwitness_protocol::settings::Settings;
use std::hint::black_box;
use std::time::Instant;

const ROUNDS: u32 = 20_000_000;

fn main() {
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
        println!("{name}: {ns:.1} ns a half wave, {records} records");
    }
}
