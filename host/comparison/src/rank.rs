//! Whether two samples come from one distribution: the rank-sum test of Mann and Whitney.
//!
//! Source: H. B. Mann and D. R. Whitney, Annals of Mathematical Statistics 18 (1947) 50–60, with the
//! normal approximation corrected for ties and continuity, as in Lehmann, Nonparametrics (1975).
//! Checked against `scipy.stats.mannwhitneyu(method="asymptotic")` in tests/reference.

/// Result of the test.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RankSum {
    /// Two-sided p.
    pub p: f64,
    /// Chance that a value of the second sample is larger than one of the first, ties half.
    pub superiority: f64,
}

/// The test; `None` where a sample is empty or all values are alike.
pub fn mann_whitney(first: &[f64], second: &[f64]) -> Option<RankSum> {
    let (n1, n2) = (first.len() as f64, second.len() as f64);
    let mut all: Vec<(f64, bool)> = first.iter().map(|value| (*value, false)).collect();
    all.extend(second.iter().map(|value| (*value, true)));
    if first.is_empty() || second.is_empty() {
        return None;
    }
    all.sort_by(|a, b| a.0.total_cmp(&b.0));
    let (mut ranks, mut ties) = (0.0, 0.0);
    let mut at = 0;
    while at < all.len() {
        let same = all[at..].iter().take_while(|(value, _)| *value == all[at].0).count();
        let of_second = all[at..at + same].iter().filter(|(_, second)| *second).count();
        // Equal values share the mean of their ranks.
        let rank = at as f64 + f64::midpoint(same as f64, 1.0);
        ranks += rank * of_second as f64;
        ties += (same as f64).powi(3) - same as f64;
        at += same;
    }
    let u = ranks - n2 * (n2 + 1.0) / 2.0;
    let n = n1 + n2;
    let sigma = (n1 * n2 / 12.0 * ((n + 1.0) - ties / (n * (n - 1.0)))).sqrt();
    if sigma.is_nan() || sigma <= 0.0 {
        return None;
    }
    let z = (((u - n1 * n2 / 2.0).abs() - 0.5) / sigma).max(0.0);
    Some(RankSum { p: two_sided(z), superiority: u / (n1 * n2) })
}

/// Two-sided p of a standard normal `z`.
pub fn two_sided(z: f64) -> f64 {
    libm::erfc(z.abs() / std::f64::consts::SQRT_2).min(1.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn agrees_with_scipy() {
        // scipy 1.17.1: mannwhitneyu(a, b, method="asymptotic"); U of b is n1*n2 - U of a.
        let a = [19.0, 22.0, 16.0, 29.0, 24.0];
        let b = [20.0, 11.0, 17.0, 12.0];
        let result = mann_whitney(&a, &b).unwrap();
        assert!((result.p - 0.111_346_886_533_140_41).abs() < 1e-9, "{}", result.p);
        assert!((result.superiority - 3.0 / 20.0).abs() < 1e-12);
        // With ties.
        let a = [1.0, 2.0, 2.0, 3.0, 5.0, 5.0, 5.0];
        let b = [2.0, 4.0, 5.0, 5.0, 6.0, 7.0, 7.0, 8.0];
        let result = mann_whitney(&a, &b).unwrap();
        assert!((result.p - 0.050_747_455_459_524).abs() < 1e-9, "{}", result.p);
    }

    #[test]
    fn alike_or_empty_is_no_test() {
        assert_eq!(mann_whitney(&[1.0, 1.0], &[1.0, 1.0]), None);
        assert_eq!(mann_whitney(&[], &[1.0]), None);
    }
}
