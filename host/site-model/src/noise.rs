//! Chance: one small generator a subject, seeded, so that a change in one subject's draws leaves
//! the others' as they were.

/// Standard deviation of each sum of [`byte_sums`]: four bytes, uniform from 0 to 255.
pub const BYTE_SUM_SD: f64 = 147.799_9;

/// A seeded generator: xorshift64* (Marsaglia; Vigna's multiplier, from memory). Fast, and good
/// enough for noise; nothing secret hangs on it.
#[derive(Clone, Debug)]
pub struct Noise {
    state: u64,
}

impl Noise {
    /// The generator of `subject` for a site's `seed`.
    pub fn new(seed: u64, subject: u64) -> Self {
        // Mixed as splitmix64 does, so that near-by seeds give unlike streams; never zero.
        let mut mixed = seed ^ subject.wrapping_mul(0x9E37_79B9_7F4A_7C15);
        mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        Self { state: (mixed ^ (mixed >> 31)) | 1 }
    }

    /// Sixty-four random bits.
    #[inline]
    pub fn word(&mut self) -> u64 {
        self.state ^= self.state >> 12;
        self.state ^= self.state << 25;
        self.state ^= self.state >> 27;
        self.state.wrapping_mul(0x2545_F491_4F6C_DD1D)
    }

    /// Uniform in 0 to 1, 1 excluded.
    pub fn uniform(&mut self) -> f64 {
        (self.word() >> 11) as f64 / (1u64 << 53) as f64
    }

    /// Uniform between two values.
    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.uniform()
    }

    /// Uniform on a logarithmic scale between two positive values.
    pub fn between_log(&mut self, low: f64, high: f64) -> f64 {
        low * (high / low).powf(self.uniform())
    }

    /// True with probability `share`.
    pub fn chance(&mut self, share: f64) -> bool {
        self.uniform() < share
    }

    /// One of `choices`.
    pub fn choose<T: Copy>(&mut self, choices: &[T]) -> T {
        choices[(self.word() >> 33) as usize % choices.len()]
    }

    /// Bell-shaped about 0 with standard deviation 1: eight bytes summed (Irwin–Hall).
    pub fn gaussian(&mut self) -> f64 {
        let (low, high) = byte_sums(self.word());
        (low + high) as f64 / (BYTE_SUM_SD * std::f64::consts::SQRT_2)
    }

    /// Waiting time of a Poisson process with mean 1.
    pub fn exponential(&mut self) -> f64 {
        -(1.0 - self.uniform()).ln()
    }
}

/// Sums of the four low and the four high bytes of a random word, each about 0, from −510 to 510:
/// two bell-shaped values for two additions and a multiplication.
#[inline]
pub fn byte_sums(word: u64) -> (i64, i64) {
    const ODD: u64 = 0x00FF_00FF_00FF_00FF;
    let pairs = (word & ODD) + ((word >> 8) & ODD);
    let halves = (pairs & 0x0000_FFFF_0000_FFFF) + ((pairs >> 16) & 0x0000_FFFF_0000_FFFF);
    ((halves & 0xFFFF_FFFF) as i64 - 510, (halves >> 32) as i64 - 510)
}

/// A level that wanders about zero and forgets with a time constant (Ornstein–Uhlenbeck).
#[derive(Clone, Debug)]
pub struct Wander {
    level: f64,
    spread: f64,
    memory_s: f64,
}

impl Wander {
    /// Standard deviation `spread`, forgetting over `memory_s` seconds.
    pub fn new(spread: f64, memory_s: f64) -> Self {
        Self { level: 0.0, spread, memory_s }
    }

    /// The level `dt_s` later; `dt_s` well below the memory.
    pub fn step(&mut self, dt_s: f64, noise: &mut Noise) -> f64 {
        let share = (dt_s / self.memory_s).min(1.0);
        self.level += -self.level * share + self.spread * (2.0 * share).sqrt() * noise.gaussian();
        self.level
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bells_have_the_mean_and_spread_they_claim() {
        let mut noise = Noise::new(7, 1);
        let (mut sum, mut square, mut low, mut cross) = (0.0, 0.0, 0.0, 0.0);
        let count = 200_000;
        for _ in 0..count {
            let value = noise.gaussian();
            sum += value;
            square += value * value;
            let (a, b) = byte_sums(noise.word());
            low += (a * a) as f64;
            cross += (a * b) as f64;
        }
        let n = f64::from(count);
        assert!((sum / n).abs() < 0.01);
        assert!((square / n - 1.0).abs() < 0.02);
        // Irwin–Hall: four uniforms on 0..=255 have variance 4·(256² − 1)/12.
        assert!((low / n / (4.0 * 65535.0 / 12.0) - 1.0).abs() < 0.02);
        assert!((cross / n).abs() < 200.0);
    }

    #[test]
    fn byte_sums_reach_their_ends() {
        assert_eq!(byte_sums(0), (-510, -510));
        assert_eq!(byte_sums(u64::MAX), (510, 510));
        assert_eq!(byte_sums(0x0000_0000_0000_00FF), (-255, -510));
    }

    #[test]
    fn waiting_times_and_wander_have_their_means() {
        let mut noise = Noise::new(11, 2);
        let mean = (0..100_000).map(|_| noise.exponential()).sum::<f64>() / 1e5;
        assert!((mean - 1.0).abs() < 0.02);
        let mut wander = Wander::new(0.5, 10.0);
        let square = (0..400_000).map(|_| wander.step(0.5, &mut noise).powi(2)).sum::<f64>() / 4e5;
        assert!((square.sqrt() - 0.5).abs() < 0.05);
    }
}
