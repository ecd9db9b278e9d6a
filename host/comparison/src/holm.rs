//! Many tests at once: of twenty without any difference one has p below 0.05 by chance.
//!
//! Source: S. Holm, Scandinavian Journal of Statistics 6 (1979) 65–70.

/// Each p corrected for the number of tests.
pub fn adjusted(p: &[f64]) -> Vec<f64> {
    let mut order: Vec<usize> = (0..p.len()).collect();
    order.sort_by(|a, b| p[*a].total_cmp(&p[*b]));
    let mut adjusted = vec![1.0; p.len()];
    let mut largest: f64 = 0.0;
    for (place, number) in order.into_iter().enumerate() {
        largest = largest.max(((p.len() - place) as f64 * p[number]).min(1.0));
        adjusted[number] = largest;
    }
    adjusted
}

#[cfg(test)]
mod tests {
    use super::adjusted;

    #[test]
    fn the_smallest_pays_for_all() {
        let p = adjusted(&[0.01, 0.04, 0.03, 0.005]);
        let expected = [0.03, 0.06, 0.06, 0.02];
        assert!(p.iter().zip(expected).all(|(a, b)| (a - b).abs() < 1e-12), "{p:?}");
        assert!(adjusted(&[]).is_empty());
    }
}
