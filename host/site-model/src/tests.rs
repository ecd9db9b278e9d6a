//! Whole weeks: what each story must show, balances, determinism.

use super::*;
use crate::plant::Balance;
use pumpwitness_core::wave::HalfWave;
use pumpwitness_protocol::record::flags;

/// Condenses what it is given.
#[derive(Default)]
struct Digest {
    waves: u64,
    sum: u64,
    time_us: u64,
    largest_ma: u64,
    lost: u64,
    lamp_changes: u32,
    power_changes: u32,
}

impl Sink for Digest {
    fn half_wave(&mut self, wave: &HalfWave) {
        self.waves += 1;
        self.time_us += u64::from(wave.duration_us);
        let mixed = wave.voltage_sq_mv2 ^ wave.current_sq_ma2.rotate_left(17) ^ wave.power_mw as u64;
        self.sum = (self.sum ^ mixed ^ wave.signal as u64).wrapping_mul(0x100_0000_01B3);
        self.largest_ma = self.largest_ma.max(wave.current_sq_ma2);
        self.lost += u64::from(wave.flags & flags::SIGNAL_FAULT != 0);
    }
    fn lamps(&mut self, _: u8, _: i64) {
        self.lamp_changes += 1;
    }
    fn logger_power(&mut self, _: bool, _: i64) {
        self.power_changes += 1;
    }
}

fn week(name: &str) -> (Truth, Digest, Balance) {
    let scenario = scenario(name).unwrap();
    let mut model = scenario.model();
    let mut digest = Digest::default();
    model.run(scenario.end_ms(), &mut digest);
    (model.truth().clone(), digest, model.balance())
}

#[test]
fn print_all() {
    for s in scenarios() {
        let (truth, digest, balance) = week(s.name);
        let mut stops = std::collections::BTreeMap::new();
        for run in &truth.runs {
            *stops.entry(run.stop_reason.word()).or_insert(0) += 1;
        }
        let mut events = std::collections::BTreeMap::new();
        for e in &truth.events {
            *events.entry(e.kind).or_insert(0) += 1;
        }
        let on: i64 = truth.runs.iter().map(|r| r.stop_ms - r.start_ms).sum();
        println!("{:20} {:?} runs {} on {} s {:?} {:?} peak {:.1} lost {} lamps {} power {} {:?}",
            s.name, truth.causes, truth.runs.len(), on/1000, stops, events,
            (digest.largest_ma as f64).sqrt()/1e3, digest.lost, digest.lamp_changes, digest.power_changes, balance);
    }
}
#[test]
fn trace() {
    struct Nothing;
    impl Sink for Nothing { fn half_wave(&mut self, _: &HalfWave) {} }
    for name in ["healthy-drive", "hunting"] {
        let s = scenario(name).unwrap();
        let p = s.parameters();
        println!("{name} {:?} {:?} {}", p.pump, p.motor, p.site_toml());
        let mut m = s.model();
        m.run(s.start_ms + 3600_000, &mut Nothing);
        let mut rows = 0;
        for k in 0..20000 { 
            m.run(s.start_ms + 3600_000 + k * 500, &mut Nothing);
            if m.truth().running_since_ms.is_some() { rows += 1; if rows < 130 { println!("{k} {:.3} {:.0} {:.2}", m.pressure_bar(), m.electrical().power_w, m.electrical().current_a); } }
        }
    }
}
