//! Robust statistics: medians, spreads, quantiles, slopes. Values that are not finite are ignored.

/// Median absolute deviation of a normal distribution is 0.6745 of its standard deviation
/// (tables of the normal distribution); its inverse turns one into the other.
const MAD_TO_SIGMA: f64 = 1.4826;

/// Finite values, sorted.
pub fn sorted(values: impl IntoIterator<Item = f64>) -> Vec<f64> {
    let mut values: Vec<f64> = values.into_iter().filter(|v| v.is_finite()).collect();
    values.sort_by(f64::total_cmp);
    values
}

/// Quantile `q` (0 to 1) of sorted values, by straight line between ranks (Hyndman and Fan's
/// type 7, the default of numpy).
pub fn quantile_sorted(sorted: &[f64], q: f64) -> Option<f64> {
    let last = sorted.len().checked_sub(1)?;
    let place = q.clamp(0.0, 1.0) * last as f64;
    let below = place.floor() as usize;
    let above = (below + 1).min(last);
    Some(sorted[below] + (sorted[above] - sorted[below]) * (place - below as f64))
}

/// Quantile `q` of values in any order.
pub fn quantile(values: impl IntoIterator<Item = f64>, q: f64) -> Option<f64> {
    let mut values: Vec<f64> = values.into_iter().filter(|v| v.is_finite()).collect();
    quantile_of(&mut values, q)
}

/// As [`quantile_sorted`], of finite values in any order, which it puts in another.
pub fn quantile_of(values: &mut [f64], q: f64) -> Option<f64> {
    let last = values.len().checked_sub(1)?;
    let place = q.clamp(0.0, 1.0) * last as f64;
    let below = place.floor() as usize;
    let (_, at, behind) = values.select_nth_unstable_by(below, f64::total_cmp);
    let at = *at;
    let above = behind.iter().copied().min_by(f64::total_cmp).unwrap_or(at);
    Some(at + (above - at) * (place - below as f64))
}

/// Median of values in any order.
pub fn median(values: impl IntoIterator<Item = f64>) -> Option<f64> {
    quantile(values, 0.5)
}

/// Median of values by their weights: half of the weight lies on either side of it. `None` where there
/// is no weight.
pub fn weighted_median(pairs: impl IntoIterator<Item = (f64, f64)>) -> Option<f64> {
    let mut pairs: Vec<(f64, f64)> =
        pairs.into_iter().filter(|(value, weight)| value.is_finite() && *weight > 0.0).collect();
    pairs.sort_by(|a, b| a.0.total_cmp(&b.0));
    let half = pairs.iter().map(|pair| pair.1).sum::<f64>() / 2.0;
    let mut sum = 0.0;
    pairs.into_iter().find_map(|(value, weight)| {
        sum += weight;
        (sum >= half).then_some(value)
    })
}

/// Median and robust standard deviation (1.4826 × median absolute deviation).
pub fn centre_and_sigma(values: impl IntoIterator<Item = f64>) -> Option<(f64, f64)> {
    let sorted = sorted(values);
    let centre = quantile_sorted(&sorted, 0.5)?;
    let deviation = median(sorted.iter().map(|v| (v - centre).abs()))?;
    Some((centre, deviation * MAD_TO_SIGMA))
}

/// Slope of the straight line through the points by Theil and Sen (median of pairwise slopes);
/// `None` below three points. Thinned to at most 200 points.
pub fn theil_sen(points: &[(f64, f64)]) -> Option<f64> {
    if points.len() < 3 {
        return None;
    }
    let step = points.len().div_ceil(200);
    let points: Vec<_> = points.iter().step_by(step).collect();
    let slopes = points.iter().enumerate().flat_map(|(n, a)| {
        points[n + 1..].iter().filter(|b| b.0 > a.0).map(|b| (b.1 - a.1) / (b.0 - a.0))
    });
    median(slopes)
}

/// Slope of the straight line through the points by least squares; `None` where it is undefined.
pub fn least_squares_slope(points: impl Iterator<Item = (f64, f64)> + Clone) -> Option<f64> {
    let (mut n, mut sum_x, mut sum_y) = (0.0, 0.0, 0.0);
    for (x, y) in points.clone() {
        n += 1.0;
        sum_x += x;
        sum_y += y;
    }
    if n < 2.0 {
        return None;
    }
    let (mean_x, mean_y) = (sum_x / n, sum_y / n);
    let (mut xx, mut xy) = (0.0, 0.0);
    for (x, y) in points {
        xx += (x - mean_x).powi(2);
        xy += (x - mean_x) * (y - mean_y);
    }
    (xx > 0.0).then(|| xy / xx)
}

/// Rises from 0 at `from` to 1 at `to` in a straight line; falls where `to` is below `from`.
pub fn ramp(value: f64, from: f64, to: f64) -> f64 {
    if value.is_nan() { 0.0 } else { ((value - from) / (to - from)).clamp(0.0, 1.0) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn quantiles_agree_with_numpy() {
        // numpy.quantile([1, 2, 3, 4], [0.5, 0.1]) → 2.5, 1.3
        assert_eq!(median([4.0, 1.0, 3.0, 2.0]), Some(2.5));
        assert!((quantile([4.0, 1.0, 3.0, 2.0], 0.1).unwrap() - 1.3).abs() < 1e-12);
        assert_eq!(median([f64::NAN]), None);
    }

    #[test]
    fn a_quantile_needs_no_order() {
        let mut values: Vec<f64> = (0..301).map(|n| f64::from(n * 7919 % 301) / 3.0).collect();
        let in_order = sorted(values.iter().copied());
        for hundredths in 0..=100 {
            let q = f64::from(hundredths) / 100.0;
            assert_eq!(quantile_of(&mut values, q), quantile_sorted(&in_order, q));
        }
        assert_eq!(quantile_of(&mut [], 0.5), None);
    }

    #[test]
    fn one_wild_value_moves_neither_centre_nor_slope() {
        let (centre, sigma) = centre_and_sigma([9.9, 10.0, 10.1, 1e6, 10.0]).unwrap();
        assert_eq!(centre, 10.0);
        assert!(sigma < 0.2);
        let mut points: Vec<_> = (0..20).map(|n| (f64::from(n), 3.0 * f64::from(n))).collect();
        points[7].1 = -500.0;
        assert!((theil_sen(&points).unwrap() - 3.0).abs() < 1e-9);
    }

    #[test]
    fn the_regression_example_of_a_supply_line() {
        // Five readings at a start; slope −0.29637 Ω by numpy.polyfit (computed check value).
        let amps = [0.2, 16.1, 32.4, 48.0, 2.1];
        let volts = [236.1, 231.4, 226.5, 222.0, 235.6];
        let slope = least_squares_slope(amps.into_iter().zip(volts)).unwrap();
        assert!((slope + 0.29637).abs() < 1e-5, "{slope}");
    }

    #[test]
    fn a_median_by_weight_is_that_of_as_many_equal_values() {
        let pairs = [(3.0, 1.0), (1.0, 2.0), (7.0, 4.0), (f64::NAN, 9.0), (9.0, 0.0)];
        assert_eq!(weighted_median(pairs), median([3.0, 1.0, 1.0, 7.0, 7.0, 7.0, 7.0]));
        assert_eq!(weighted_median([(1.0, 0.0)]), None);
    }
}
