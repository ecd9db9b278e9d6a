//! Rows to columns of a picture. The smallest and largest value of every column are kept, so that
//! no event is lost however long the stretch.

use pumpwitness_recording::{Channel, Columns};

/// Values of one channel, row by row.
#[derive(Clone, Copy, Debug)]
pub struct Series<'a> {
    /// Mean of each row.
    pub mean: &'a [f32],
    /// Smallest value within each row.
    pub min: &'a [f32],
    /// Largest value within each row.
    pub max: &'a [f32],
}

impl<'a> Series<'a> {
    /// A channel that may have extremes of its own.
    pub fn of(channel: &'a Channel) -> Self {
        Self { mean: &channel.mean, min: &channel.min, max: &channel.max }
    }

    /// A channel of plain values.
    pub fn plain(values: &'a [f32]) -> Self {
        Self { mean: values, min: values, max: values }
    }
}

/// What one column of a picture has to show.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bucket {
    /// Smallest.
    pub min: f32,
    /// Largest.
    pub max: f32,
    /// Mean over the time that rows cover.
    pub mean: f32,
}

/// Sums up the rows between `from_ms` and `to_ms` in `buckets` equal stretches. A stretch without
/// a value is `None`.
pub fn decimate(
    columns: &Columns,
    series: Series<'_>,
    from_ms: i64,
    to_ms: i64,
    buckets: usize,
) -> Vec<Option<Bucket>> {
    let mut sums = vec![Sum::EMPTY; buckets];
    let width_ms = (to_ms - from_ms) as f64 / buckets as f64;
    if buckets == 0 || width_ms <= 0.0 {
        return Vec::new();
    }
    let first = columns.end_ms.partition_point(|end| *end <= from_ms);
    // Stretch of the column that the row before ended in: most rows lie in it as a whole.
    let (mut current, mut inside) = (0, from_ms..from_ms);
    for row in first..columns.len() {
        let (start_ms, end_ms) = (columns.start_ms(row), columns.end_ms[row]);
        if start_ms >= to_ms {
            break;
        }
        let (mean, min, max) = (series.mean[row], series.min[row], series.max[row]);
        if mean.is_nan() && min.is_nan() && max.is_nan() {
            continue;
        }
        if inside.start <= start_ms && end_ms < inside.end {
            let covered = (end_ms - start_ms) as f64 / width_ms;
            sums[current].add(mean, min, max, covered.max(1e-9));
            continue;
        }
        let begin = (start_ms - from_ms) as f64 / width_ms;
        let end = (end_ms - from_ms) as f64 / width_ms;
        let first_bucket = begin.max(0.0) as usize;
        // A row that ends on a border does not reach into the next column.
        let last_bucket = ((end - 1e-9).max(0.0) as usize).clamp(first_bucket, buckets.max(1) - 1);
        for bucket in first_bucket..=last_bucket {
            let covered = end.min(bucket as f64 + 1.0) - begin.max(bucket as f64);
            if let Some(sum) = sums.get_mut(bucket) {
                sum.add(mean, min, max, covered.max(1e-9));
            }
        }
        current = last_bucket;
        let border_ms = |bucket: usize| bucket as f64 * width_ms;
        inside = from_ms + border_ms(current).ceil() as i64
            ..from_ms + border_ms(current + 1).floor() as i64;
    }
    sums.into_iter().map(Sum::bucket).collect()
}

#[derive(Clone, Copy)]
struct Sum {
    min: f32,
    max: f32,
    weighted: f64,
    weight: f64,
}

impl Sum {
    const EMPTY: Self =
        Self { min: f32::INFINITY, max: f32::NEG_INFINITY, weighted: 0.0, weight: 0.0 };

    fn add(&mut self, mean: f32, min: f32, max: f32, weight: f64) {
        // `min` and `max` of f32 pass over NaN.
        self.min = self.min.min(min).min(mean);
        self.max = self.max.max(max).max(mean);
        if !mean.is_nan() {
            self.weighted += f64::from(mean) * weight;
            self.weight += weight;
        }
    }

    fn bucket(self) -> Option<Bucket> {
        if self.min > self.max {
            return None;
        }
        let mean = if self.weight > 0.0 {
            (self.weighted / self.weight) as f32
        } else {
            f32::midpoint(self.min, self.max)
        };
        Some(Bucket { min: self.min, max: self.max, mean })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ten_rows() -> Columns {
        Columns {
            end_ms: (1..=10).map(|n| n * 100).collect(),
            span_ms: vec![100; 10],
            ..Columns::default()
        }
    }

    #[test]
    fn no_extreme_is_lost() {
        let columns = ten_rows();
        let mean: Vec<f32> = (0..10).map(|n| n as f32).collect();
        let mut max = mean.clone();
        max[3] = 99.0;
        let series = Series { mean: &mean, min: &mean, max: &max };
        let buckets = decimate(&columns, series, 0, 1000, 2);
        assert_eq!(buckets[0], Some(Bucket { min: 0.0, max: 99.0, mean: 2.0 }));
        assert_eq!(buckets[1], Some(Bucket { min: 5.0, max: 9.0, mean: 7.0 }));
    }

    #[test]
    fn a_long_row_fills_every_column_it_covers() {
        let columns = Columns { end_ms: vec![1000], span_ms: vec![1000], ..Columns::default() };
        let values = [5.0];
        let buckets = decimate(&columns, Series::plain(&values), 0, 2000, 4);
        assert!(buckets[0].is_some() && buckets[1].is_some());
        assert_eq!(buckets[2..], [None, None]);
    }

    /// Against the definition: for every column, whatever rows reach into it.
    #[test]
    fn columns_are_what_reaches_into_them() {
        let mut random = fastrand::Rng::with_seed(4);
        let mut columns = Columns::default();
        let mut end_ms = 1_000;
        for _ in 0..2_000 {
            let span_ms = if random.u8(..20) == 0 { random.u32(1..9_000) } else { 200 };
            let gap_ms = if random.u8(..50) == 0 { random.i64(1..5_000) } else { 0 };
            end_ms += gap_ms + i64::from(span_ms);
            columns.end_ms.push(end_ms);
            columns.span_ms.push(span_ms);
        }
        let mean: Vec<f32> = (0..columns.len()).map(|_| random.f32()).collect();
        let max: Vec<f32> = mean.iter().map(|mean| mean + random.f32()).collect();
        let series = Series { mean: &mean, min: &mean, max: &max };
        for (from_ms, to_ms, count) in [(0, end_ms + 10, 7), (50_001, 333_334, 123), (0, 9_000, 40)]
        {
            let width_ms = (to_ms - from_ms) as f64 / count as f64;
            let shown = decimate(&columns, series, from_ms, to_ms, count);
            for (n, bucket) in shown.iter().enumerate() {
                let left = from_ms as f64 + n as f64 * width_ms;
                let reach = |row: usize| {
                    let end = (columns.end_ms[row] as f64).min(left + width_ms);
                    end - (columns.start_ms(row) as f64).max(left)
                };
                // A row that only touches a border may be on either side of it.
                let rows = |least: f64| (0..columns.len()).filter(move |row| reach(*row) > least);
                let Some(bucket) = bucket else {
                    assert_eq!(rows(1e-3).count(), 0);
                    continue;
                };
                let (sum, weight) = rows(0.0).fold((0.0, 0.0), |(sum, weight), row| {
                    (sum + f64::from(mean[row]) * reach(row), weight + reach(row))
                });
                assert!((f64::from(bucket.mean) - sum / weight).abs() < 1e-5, "{n}: {bucket:?}");
                let most = |least| rows(least).map(|row| max[row]).fold(f32::MIN, f32::max);
                assert!(most(1e-3) <= bucket.max && bucket.max <= most(-1e-3), "{n}: {bucket:?}");
            }
        }
    }

    #[test]
    fn rows_outside_and_missing_values_are_left_out() {
        let columns = ten_rows();
        let values = [f32::NAN; 10];
        assert_eq!(decimate(&columns, Series::plain(&values), 0, 1000, 3), [None; 3]);
        assert_eq!(decimate(&columns, Series::plain(&values), 5000, 6000, 2), [None; 2]);
        assert!(decimate(&columns, Series::plain(&values), 10, 10, 2).is_empty());
    }
}
