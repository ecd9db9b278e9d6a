//! The fundamental of a wave, for finding its zero crossings: two running means in a row.
//!
//! The first spans a third of a nominal cycle and so removes the third harmonic and its multiples,
//! the second a fifth; together they leave 0.77 of the fundamental and less than 3 % of any other
//! harmonic up to the 13th. Both are symmetric, so every frequency is delayed by the same time and
//! zero crossings keep their place. Sums of integers, so nothing drifts.

/// Frames the filters can look back on; a power of two.
pub(crate) const BACK: usize = 128;
const MASK: usize = BACK - 1;

/// Running means of one channel.
#[derive(Clone)]
pub(crate) struct Fundamental {
    thirds: [i32; BACK],
    at: usize,
    third: usize,
    fifth: usize,
    first: i32,
    second: i32,
    /// Offset of the channel in filtered units.
    offset: i32,
}

/// Odd number of frames nearest to a `part`-th of a nominal cycle.
fn length(frames_per_s: u32, nominal_hz: u8, part: u32) -> usize {
    let frames = frames_per_s / (u32::from(nominal_hz) * part);
    (frames | 1) as usize
}

impl Fundamental {
    /// Filters for a nominal frequency.
    pub(crate) fn new(frames_per_s: u32, nominal_hz: u8) -> Self {
        Self {
            thirds: [0; BACK],
            at: 0,
            third: length(frames_per_s, nominal_hz, 3),
            fifth: length(frames_per_s, nominal_hz, 5),
            first: 0,
            second: 0,
            offset: 0,
        }
    }

    /// Whole frames by which the output is later than the input.
    pub(crate) fn delay(&self) -> usize {
        self.third / 2 + self.fifth / 2
    }

    /// What the sums multiply a steady value by.
    pub(crate) fn gain(&self) -> i32 {
        (self.third * self.fifth) as i32
    }

    /// Sets the channel's offset, counts × 256.
    pub(crate) fn set_offset(&mut self, offset_q8: i32) {
        self.offset = ((i64::from(offset_q8) * i64::from(self.gain())) >> 8) as i32;
    }

    /// Takes the newest count and the one that leaves the first mean (see [`Self::leaving`]); gives
    /// the filtered wave without its offset, at most 2²⁹ either way.
    pub(crate) fn push(&mut self, newest: i16, leaving: i16) -> i32 {
        self.first += i32::from(newest) - i32::from(leaving);
        self.second += self.first - self.thirds[(self.at.wrapping_sub(self.fifth)) & MASK];
        self.thirds[self.at] = self.first;
        self.at = (self.at + 1) & MASK;
        self.second - self.offset
    }

    /// How many frames before the newest one the count leaving the first mean is.
    pub(crate) fn leaving(&self) -> usize {
        self.third
    }
}

#[cfg(test)]
mod tests {
    extern crate std;
    use super::*;
    use std::f64::consts::TAU;
    use std::vec::Vec;

    /// Amplitude of the filtered wave over that of the input.
    fn response(frames_per_s: u32, nominal_hz: u8, hz: f64) -> f64 {
        let mut filter = Fundamental::new(frames_per_s, nominal_hz);
        let input: Vec<i16> = (0..2000)
            .map(|n| (10_000.0 * (TAU * hz * f64::from(n) / f64::from(frames_per_s)).sin()) as i16)
            .collect();
        let gain = f64::from(filter.gain());
        let mut largest = 0.0_f64;
        for n in 0..input.len() {
            let leaving = n.checked_sub(filter.leaving()).map_or(0, |at| input[at]);
            let out = filter.push(input[n], leaving);
            if n > 400 {
                largest = largest.max(f64::from(out).abs() / gain);
            }
        }
        largest / 10_000.0
    }

    #[test]
    fn harmonics_are_left_behind() {
        for (rate, nominal) in [(8000, 50), (8000, 60), (6400, 50), (16_000, 50), (4416, 60)] {
            let hz = f64::from(nominal);
            let passed = response(rate, nominal, hz);
            assert!((passed - 0.773).abs() < 0.02, "{rate} {nominal}: {passed}");
            for harmonic in [3, 5, 7, 9, 11, 13] {
                let rest = response(rate, nominal, hz * f64::from(harmonic)) / passed;
                assert!(rest < 0.05, "{rate} {nominal} harmonic {harmonic}: {rest}");
            }
        }
    }
}
