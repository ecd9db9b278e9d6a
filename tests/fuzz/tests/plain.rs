//! The fuzz targets without a fuzzer: their seeds, mutations of them, and bytes of chance, the same
//! at every run.

use pumpwitness_fuzz as fuzz;
use std::fs;
use std::path::Path;

/// Inputs of each target, seeds not counted; FUZZ_RUNS in the environment overrules it.
const RUNS: u32 = 4000;
const LENGTH_MAX: u64 = 2048;

/// Xorshift, 64 bits (Marsaglia 2003).
struct Chance(u64);

impl Chance {
    fn next(&mut self) -> u64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        self.0
    }

    fn below(&mut self, bound: usize) -> usize {
        (self.next() % bound.max(1) as u64) as usize
    }

    /// Bytes as the fuzzer tries them: all chance, or few values, so that lengths and choices are
    /// small.
    fn bytes(&mut self) -> Vec<u8> {
        let length = (self.next() % LENGTH_MAX) >> (self.next() % 8);
        let mask = [0xFF, 0x03, 0x1F, 0x7F][self.below(4)];
        (0..length).map(|_| (self.next() >> 32) as u8 & mask).collect()
    }

    fn mutate(&mut self, bytes: &mut Vec<u8>) {
        for _ in 0..=self.below(6) {
            let at = self.below(bytes.len());
            match self.below(5) {
                0 => bytes.truncate(at),
                1 => bytes.insert(at.min(bytes.len()), self.next() as u8),
                2 => {
                    let more = self.bytes();
                    bytes.extend(more);
                }
                3 if at < bytes.len() => bytes[at] = self.next() as u8,
                _ if at < bytes.len() => bytes[at] ^= 1 << self.below(8),
                _ => {}
            }
        }
    }
}

fn feed(name: &str, run: fn(&[u8])) {
    let runs = std::env::var("FUZZ_RUNS").map_or(RUNS, |runs| runs.parse().expect("a number"));
    let mut seeds = Vec::new();
    // Cargo runs tests in the folder of their crate.
    let folder = Path::new("seeds").join(name);
    if let Ok(files) = fs::read_dir(folder) {
        let mut files: Vec<_> = files.map(|file| file.expect("readable").path()).collect();
        files.sort();
        seeds.extend(files.iter().map(|file| fs::read(file).expect("readable")));
    }
    seeds.iter().for_each(|seed| run(seed));
    let mut chance = Chance(0x9E37_79B9_7F4A_7C15);
    for n in 0..runs {
        let mut bytes = chance.bytes();
        if !seeds.is_empty() && n % 2 == 0 {
            bytes.clone_from(&seeds[chance.below(seeds.len())]);
            chance.mutate(&mut bytes);
        }
        run(&bytes);
    }
}

macro_rules! targets {
    ($($name:ident),*) => {$(
        #[test]
        fn $name() {
            feed(stringify!($name), fuzz::$name::run);
        }
    )*};
}

targets!(archive_file, frame, heads, journal, page, record, service, site_file, table);
