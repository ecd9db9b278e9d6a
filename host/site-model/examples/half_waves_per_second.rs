//! Prints, for each scenario or for those named, how many half waves a second the model makes.

use pumpwitness_core::wave::HalfWave;
use pumpwitness_site_model::{Sink, scenarios};
use std::time::Instant;

#[derive(Default)]
struct Sum {
    waves: u64,
    squares: u64,
}

impl Sink for Sum {
    fn half_wave(&mut self, wave: &HalfWave) {
        self.waves += 1;
        self.squares = self.squares.wrapping_add(wave.voltage_sq_mv2 ^ wave.current_sq_ma2);
    }
}

fn main() {
    let wanted: Vec<String> = std::env::args().skip(1).collect();
    for scenario in scenarios() {
        if !wanted.is_empty() && !wanted.iter().any(|name| name == scenario.name) {
            continue;
        }
        let mut model = scenario.model();
        let mut sum = Sum::default();
        let begun = Instant::now();
        model.run(scenario.end_ms(), &mut sum);
        let seconds = begun.elapsed().as_secs_f64();
        println!(
            "{:20} {:>11} half waves in {seconds:.2} s: {:.1} million/s, {} runs [{:x}]",
            scenario.name,
            sum.waves,
            sum.waves as f64 / seconds / 1e6,
            model.truth().runs.len(),
            sum.squares
        );
    }
}
