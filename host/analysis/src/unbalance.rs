//! Voltage unbalance by its two definitions.

/// NEMA MG 1 clause 14.36: largest deviation from the mean of three line-to-line voltages, as a
/// share of the mean.
pub fn nema(volts: [f64; 3]) -> f64 {
    let mean = volts.iter().sum::<f64>() / 3.0;
    volts.iter().map(|v| (v - mean).abs()).fold(0.0, f64::max) / mean
}

/// IEC 61000-4-30 clause 5.7: negative over positive sequence, from three line-to-line magnitudes.
pub fn negative_sequence(volts: [f64; 3]) -> f64 {
    let squares = volts.map(|v| v * v);
    let sum: f64 = squares.iter().sum();
    let beta = squares.iter().map(|s| s * s).sum::<f64>() / (sum * sum);
    // Equal voltages make this 1 plus rounding.
    let root = (3.0 - 6.0 * beta).clamp(0.0, 1.0).sqrt();
    ((1.0 - root) / (1.0 + root)).sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Published examples (trade press; journal letter in IEEE Power Engineering Review 2001), the
    /// negative-sequence column computed independently from phasors.
    #[test]
    fn published_examples() {
        for (volts, by_nema, by_iec) in [
            ([462.0, 463.0, 455.0], 1.0870, 1.0914),
            ([203.0, 210.0, 212.0], 2.5600, 2.6064),
            ([480.0, 476.0, 472.0], 0.8403, 0.9704),
            ([460.0, 467.0, 450.0], 1.9608, 2.1465),
            ([230.0, 220.0, 210.0], 4.5455, 5.2564),
            ([400.0, 400.0, 380.0], 3.3898, 3.3630),
            ([400.0, 400.0, 400.0], 0.0, 0.0),
        ] {
            assert!((nema(volts) * 100.0 - by_nema).abs() < 5e-5, "{volts:?}");
            assert!((negative_sequence(volts) * 100.0 - by_iec).abs() < 5e-5, "{volts:?}");
        }
    }
}
