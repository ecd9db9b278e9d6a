//! How far a difference of medians may be off: resampling with a fixed seed.
//!
//! Source: B. Efron, Annals of Statistics 7 (1979) 1–26 (percentile interval); in blocks for values
//! that follow one another, H. R. Künsch, Annals of Statistics 17 (1989) 1217–1241.

/// Resamples.
const TIMES: usize = 2000;
/// Values taken into a resample at most; with more the interval would only be narrower.
const MOST: usize = 1500;
/// Any number; the same each time, so that the same records give the same report.
const SEED: u64 = 20_260_711;

/// The value at `share` of sorted `values`, between neighbours in proportion; NaN without values.
pub fn quantile(values: &[f64], share: f64) -> f64 {
    let Some(last) = values.len().checked_sub(1) else { return f64::NAN };
    let place = share * last as f64;
    let low = place.floor() as usize;
    let (a, b) = (values[low], values[(low + 1).min(last)]);
    a + (b - a) * (place - low as f64)
}

/// `values` in order.
pub fn sorted(mut values: Vec<f64>) -> Vec<f64> {
    values.retain(|value| value.is_finite());
    values.sort_by(f64::total_cmp);
    values
}

/// 95 % interval of the difference (second less first) of the quantile at `share`. Each sample comes
/// in blocks of values that belong together; single values are blocks of one.
pub fn interval(first: &[Vec<f64>], second: &[Vec<f64>], share: f64) -> (f64, f64) {
    let mut random = fastrand::Rng::with_seed(SEED);
    let mut draw = |blocks: &[Vec<f64>]| {
        let total: usize = blocks.iter().map(Vec::len).sum();
        let mut values = Vec::with_capacity(total.min(MOST) + 64);
        while values.len() < total.min(MOST) {
            values.extend_from_slice(&blocks[random.usize(..blocks.len())]);
        }
        values.sort_by(f64::total_cmp);
        quantile(&values, share)
    };
    if first.iter().all(Vec::is_empty) || second.iter().all(Vec::is_empty) {
        return (f64::NAN, f64::NAN);
    }
    let differences = sorted((0..TIMES).map(|_| -draw(first) + draw(second)).collect());
    (quantile(&differences, 0.025), quantile(&differences, 0.975))
}

/// Each value as a block of its own.
pub fn single(values: &[f64]) -> Vec<Vec<f64>> {
    values.iter().map(|value| vec![*value]).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn quantiles_lie_between_neighbours() {
        // numpy.quantile([1, 2, 3, 4], 0.25) = 1.75, its default rule.
        assert!((quantile(&[1.0, 2.0, 3.0, 4.0], 0.25) - 1.75).abs() < 1e-12);
        assert!(quantile(&[], 0.5).is_nan());
    }

    #[test]
    fn the_interval_holds_the_difference_and_is_the_same_each_time() {
        let first: Vec<f64> = (0..200).map(|n| f64::from(n % 20)).collect();
        let second: Vec<f64> = first.iter().map(|value| value + 5.0).collect();
        let (low, high) = interval(&single(&first), &single(&second), 0.5);
        assert!(low <= 5.0 && high >= 5.0 && low > 2.0 && high < 8.0, "{low} to {high}");
        assert_eq!(interval(&single(&first), &single(&second), 0.5), (low, high));
    }

    #[test]
    fn values_that_belong_together_make_it_wider() {
        // Ten days, each with a level of its own.
        let days: Vec<Vec<f64>> = (0..10).map(|day| vec![f64::from(day); 30]).collect();
        let loose: Vec<Vec<f64>> = days.concat().iter().map(|value| vec![*value]).collect();
        let width = |(low, high): (f64, f64)| high - low;
        assert!(width(interval(&days, &days, 0.5)) > 2.0 * width(interval(&loose, &loose, 0.5)));
    }
}
