//! A bounded picture of a stretch of any length: means over equal buckets, which double in length
//! whenever there would be too many.

use super::row::Row;
use crate::facts::Sample;

/// Most buckets of a strip.
pub const BUCKETS: usize = 256;

/// Mean values over equal buckets.
#[derive(Clone, Debug)]
pub struct Strip {
    origin_ms: i64,
    bucket_ms: i64,
    buckets: Vec<Bucket>,
    /// End of the last bucket.
    until_ms: i64,
}

#[derive(Clone, Copy, Debug, Default)]
struct Bucket {
    number: i64,
    sums: [f32; 4],
    times: [f32; 4],
}

impl Bucket {
    fn join(&mut self, other: &Self) {
        for n in 0..4 {
            self.sums[n] += other.sums[n];
            self.times[n] += other.times[n];
        }
    }
}

impl Strip {
    /// Begins at `origin_ms` with buckets of `bucket_ms`.
    pub fn new(origin_ms: i64, bucket_ms: i64) -> Self {
        Self { origin_ms, bucket_ms: bucket_ms.max(1), buckets: Vec::new(), until_ms: i64::MIN }
    }

    /// Takes a row.
    pub fn push(&mut self, row: &Row) {
        // The mean of a long row stands for its middle.
        let span_ms = row.end_ms - row.start_ms;
        let at_ms = if span_ms > self.bucket_ms { row.end_ms - span_ms / 2 } else { row.end_ms };
        // Mostly it goes on in the bucket of the row before.
        if at_ms > self.until_ms {
            let number = (at_ms - self.origin_ms).max(1).saturating_sub(1) / self.bucket_ms;
            if self.buckets.last().is_none_or(|last| number > last.number) {
                if self.buckets.len() == BUCKETS {
                    self.halve();
                    return self.push(row);
                }
                self.buckets.push(Bucket { number, ..Bucket::default() });
            }
            self.until_ms = self.end_of_last();
        }
        let Some(bucket) = self.buckets.last_mut() else { return };
        let span = span_ms as f32;
        let values = [row.v, row.i, row.w, row.p];
        // Adding nothing is cheaper than asking whether to add.
        let weights = values.map(|value| if value.is_finite() { span } else { 0.0 });
        let products = values.map(|value| if value.is_finite() { value * span } else { 0.0 });
        for n in 0..4 {
            bucket.sums[n] += products[n];
            bucket.times[n] += weights[n];
        }
    }

    fn end_of_last(&self) -> i64 {
        self.buckets
            .last()
            .map_or(i64::MIN, |last| self.origin_ms + (last.number + 1) * self.bucket_ms)
    }

    fn halve(&mut self) {
        self.bucket_ms *= 2;
        let mut joined: Vec<Bucket> = Vec::with_capacity(BUCKETS);
        for bucket in &self.buckets {
            let number = bucket.number / 2;
            match joined.last_mut() {
                Some(last) if last.number == number => last.join(bucket),
                _ => joined.push(Bucket { number, ..*bucket }),
            }
        }
        self.buckets = joined;
        self.until_ms = self.end_of_last();
    }

    /// Length of a bucket, s.
    pub fn bucket_s(&self) -> f64 {
        self.bucket_ms as f64 / 1000.0
    }

    /// The picture; NaN where a channel has no value.
    pub fn samples(&self) -> impl Iterator<Item = Sample> + Clone + '_ {
        self.buckets.iter().map(|bucket| {
            let mean = |n: usize| bucket.sums[n] / bucket.times[n];
            Sample {
                time_ms: self.origin_ms + bucket.number * self.bucket_ms + self.bucket_ms / 2,
                v: mean(0),
                i: mean(1),
                w: mean(2),
                p: mean(3),
            }
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_long_stretch_stays_small_and_keeps_its_mean() {
        let mut strip = Strip::new(0, 1000);
        for n in 0..100_000_i64 {
            let p = n as f32 / 100_000.0;
            let row = Row {
                start_ms: n * 200,
                end_ms: n * 200 + 200,
                v: 230.0,
                v_min: f32::NAN,
                v_max: f32::NAN,
                i: f32::NAN,
                i_max: f32::NAN,
                p,
                p_min: p,
                p_max: p,
                ma: f32::NAN,
                ma_min: f32::NAN,
                ma_max: f32::NAN,
                w: 1.0,
                f: f32::NAN,
            };
            strip.push(&row);
        }
        let samples: Vec<_> = strip.samples().collect();
        assert!(samples.len() <= BUCKETS && samples.len() > BUCKETS / 4);
        assert!((samples[0].v - 230.0).abs() < 0.01 && samples[0].i.is_nan());
        let mean = samples.iter().map(|s| s.p).sum::<f32>() / samples.len() as f32;
        assert!((mean - 0.5).abs() < 0.02, "{mean}");
    }
}
