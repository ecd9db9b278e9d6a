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

/// Share of its rated power that a motor may carry at this unbalance (NEMA MG 1 figure 14-1, as
/// tabulated in an engineering handbook on line; straight lines between its points).
pub fn derating(nema_share: f64) -> f64 {
    const POINTS: [(f64, f64); 10] = [
        (0.5, 1.00),
        (1.0, 1.00),
        (1.5, 0.97),
        (2.0, 0.95),
        (2.5, 0.93),
        (3.0, 0.89),
        (3.5, 0.85),
        (4.0, 0.82),
        (4.5, 0.78),
        (5.0, 0.76),
    ];
    let percent = nema_share * 100.0;
    let above = POINTS.iter().position(|point| point.0 >= percent);
    match above {
        Some(0) => 1.0,
        Some(n) => {
            let (from, to) = (POINTS[n - 1], POINTS[n]);
            from.1 + (to.1 - from.1) * (percent - from.0) / (to.0 - from.0)
        }
        // The standard's figure ends here; beyond it motors are not to be run.
        None => POINTS[POINTS.len() - 1].1,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// NEMA MG 1: example of the trade press, 460, 467, 450 V are 1.96 % unbalance; figure 14-1 gives
    /// some 0.95 at 2 %, 0.89 at 3 %, and readings of 0.75 and 0.88 occur at 5 and 3 %: ±0.01.
    #[test]
    fn derating_by_the_figure() {
        for (percent, factor) in [(0.0, 1.0), (1.0, 1.0), (2.0, 0.95), (3.0, 0.885), (5.0, 0.755)] {
            assert!((derating(percent / 100.0) - factor).abs() < 0.0101, "{percent}");
        }
        assert!((derating(nema([460.0, 467.0, 450.0])) - 0.952).abs() < 0.01);
        assert!(derating(0.2) < 0.77);
    }

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
