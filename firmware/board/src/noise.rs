//! Raw bits of a noise source become a seed, if they pass the health tests of NIST SP 800-90B
//! (section 4.4, from memory): a source that is stuck or leans too far gives none.
//!
//! The tests assume a quarter of a bit of entropy in each raw bit (common practice, no source: ring
//! oscillators looked at too often lean and repeat). They notice a source that has failed; they do
//! not prove that one is good.

use sha2::{Digest, Sha256};

/// Raw bits a seed is made of: at a quarter of a bit each, eight times what a seed of 256 bits
/// needs.
pub const RAW_BITS: u32 = 8192;

/// As many equal bits in a row that a good source gives them once in 2²⁰ starts: 1 + 20 / ¼.
const REPEATS: u32 = 81;
/// Bits in a window of the proportion test …
const WINDOW: u32 = 1024;
/// … and how many of them may equal its first: 1 + the (1 − 2⁻²⁰) quantile of the binomial
/// distribution of 1024 bits with chance 2^−¼ (computed with scipy 1.x, `binom.ppf`).
const ALIKE: u32 = 915;

/// A source that failed a health test.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum Unhealthy {
    /// One value too often in a row.
    #[error("the noise source is stuck")]
    Stuck,
    /// One value too often in a window.
    #[error("the noise source leans to one side")]
    Leaning,
    /// Fewer than [`RAW_BITS`] bits were given.
    #[error("the noise source gave too few bits")]
    TooFew,
}

/// The tests on a stream of bits.
#[derive(Clone, Debug, Default)]
struct Health {
    bits: u32,
    last: bool,
    repeats: u32,
    first: bool,
    alike: u32,
    failed: Option<Unhealthy>,
}

impl Health {
    fn push(&mut self, bit: bool) {
        self.repeats = if self.bits > 0 && bit == self.last { self.repeats + 1 } else { 1 };
        self.last = bit;
        if self.bits.is_multiple_of(WINDOW) {
            (self.first, self.alike) = (bit, 0);
        }
        self.alike += u32::from(bit == self.first);
        self.bits = self.bits.saturating_add(1);
        if self.repeats >= REPEATS {
            self.failed = Some(Unhealthy::Stuck);
        } else if self.alike >= ALIKE {
            self.failed = self.failed.or(Some(Unhealthy::Leaning));
        }
    }
}

/// Gathers raw bits and hashes them.
#[derive(Clone, Default)]
pub struct Gatherer {
    health: Health,
    hash: Sha256,
    byte: u8,
}

impl Gatherer {
    /// Takes a bit of the source that is tested.
    pub fn bit(&mut self, bit: bool) {
        self.health.push(bit);
        self.byte = self.byte << 1 | u8::from(bit);
        if self.health.bits.is_multiple_of(8) {
            self.hash.update([self.byte]);
        }
    }

    /// Stirs in what is not counted on: counts of the converter, times.
    pub fn stir(&mut self, bytes: &[u8]) {
        self.hash.update(bytes);
    }

    /// The seed.
    pub fn seed(self) -> Result<[u8; 32], Unhealthy> {
        match self.health {
            Health { failed: Some(failed), .. } => Err(failed),
            Health { bits: ..RAW_BITS, .. } => Err(Unhealthy::TooFew),
            _ => Ok(self.hash.finalize().into()),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Bits of a good generator, `lean` of 256 of them forced to one.
    fn gather(bits: u32, lean: u32, seed: u32) -> Result<[u8; 32], Unhealthy> {
        let mut state = seed;
        let mut gatherer = Gatherer::default();
        for _ in 0..bits {
            // A xorshift generator (Marsaglia 2003).
            state ^= state << 13;
            state ^= state >> 17;
            state ^= state << 5;
            gatherer.bit(state >> 8 & 255 < lean || state & 1 == 1);
        }
        gatherer.seed()
    }

    #[test]
    fn a_good_source_gives_seeds_that_differ() {
        let seeds: std::vec::Vec<_> =
            (1..=50).map(|seed| gather(RAW_BITS, 0, seed * 7919).unwrap()).collect();
        for (n, seed) in seeds.iter().enumerate() {
            assert!(seeds[..n].iter().all(|before| before != seed));
        }
    }

    #[test]
    fn a_failed_source_gives_none() {
        assert_eq!(gather(RAW_BITS, 256, 1), Err(Unhealthy::Stuck));
        // 93 % ones.
        assert!(gather(RAW_BITS, 220, 1).is_err());
        // 60 % ones still holds the quarter of a bit that is counted on.
        assert!(gather(RAW_BITS, 51, 1).is_ok());
        assert_eq!(gather(RAW_BITS - 1, 0, 1), Err(Unhealthy::TooFew));
        assert_eq!(gather(0, 0, 1), Err(Unhealthy::TooFew));
    }

    /// Edges of both tests (SP 800-90B 4.4.1 and 4.4.2): one fewer passes.
    #[test]
    fn edges() {
        let health = |bits: &dyn Fn(u32) -> bool| {
            let mut health = Health::default();
            (0..WINDOW).for_each(|n| health.push(bits(n)));
            health.failed
        };
        let run = |bits: u32| {
            move |n: u32| match n.checked_sub(300) {
                Some(n) if n <= bits => n < bits,
                _ => n.is_multiple_of(2),
            }
        };
        assert_eq!(health(&run(REPEATS)), Some(Unhealthy::Stuck));
        assert_eq!(health(&run(REPEATS - 1)), None);
        let ones = |count: u32| {
            move |n: u32| {
                // `count` ones spread over the window, the first place among them.
                n == 0 || n * count / WINDOW != (n - 1) * count / WINDOW
            }
        };
        assert_eq!(health(&ones(ALIKE)), Some(Unhealthy::Leaning));
        assert_eq!(health(&ones(ALIKE - 2)), None);
    }

    #[test]
    fn what_is_stirred_in_matters() {
        let stirred = |byte| {
            let mut gatherer = Gatherer::default();
            gatherer.stir(&[byte]);
            (0..RAW_BITS).for_each(|n| gatherer.bit(n.wrapping_mul(2_654_435_761) >> 31 == 1));
            gatherer.seed().unwrap()
        };
        assert_ne!(stirred(1), stirred(2));
    }
}
