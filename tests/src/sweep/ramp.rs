//! Does the confidence grow with the severity? Rank correlation, by cause.

/// Kendall's τ-b of pairs (x, y): 1 where y rises whenever x does, 0 without any order, −1 where it
/// falls; ties count for neither (Kendall, Rank Correlation Methods, 1970). `None` where x or y does
/// not vary.
pub fn kendall(pairs: &[(f64, f64)]) -> Option<f64> {
    let (mut score, mut in_x, mut in_y) = (0.0_f64, 0.0_f64, 0.0_f64);
    for (n, a) in pairs.iter().enumerate() {
        for b in &pairs[n + 1..] {
            let (x, y) = (sign(b.0 - a.0), sign(b.1 - a.1));
            score += x * y;
            in_x += x.abs();
            in_y += y.abs();
        }
    }
    (in_x > 0.0 && in_y > 0.0).then(|| score / (in_x * in_y).sqrt())
}

fn sign(value: f64) -> f64 {
    if value == 0.0 { 0.0 } else { value.signum() }
}

/// Largest fall of y from one x to any later one.
pub fn largest_fall(pairs: &[(f64, f64)]) -> f64 {
    let mut fall = 0.0_f64;
    for (n, a) in pairs.iter().enumerate() {
        for b in &pairs[n + 1..] {
            fall = fall.max(a.1 - b.1);
        }
    }
    fall
}

#[cfg(test)]
mod tests {
    use super::*;

    /// scipy.stats.kendalltau([1,2,3,4,5], [1,3,2,4,4]) gives 0.7378647873726218.
    #[test]
    fn kendall_is_scipys() {
        let pairs: Vec<(f64, f64)> =
            [1.0, 2.0, 3.0, 4.0, 5.0].into_iter().zip([1.0, 3.0, 2.0, 4.0, 4.0]).collect();
        assert!((kendall(&pairs).unwrap() - 0.737_864_787_372_621_8).abs() < 1e-12);
        assert!(kendall(&[(1.0, 2.0), (2.0, 2.0)]).is_none());
        assert!((largest_fall(&pairs) - 1.0).abs() < 1e-12);
    }
}
