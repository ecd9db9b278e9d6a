//! What length of time each row stands for, when the file does not say.
//!
//! A row sums up (or samples) the time since the row before it, but not longer than the logger's
//! own sampling interval: where a row is missing or the recording stopped, the rest of the distance
//! is a gap and must stay one. A logger may have several intervals, say 200 ms while something
//! happens and 1 s at rest. They are found as the distances that recur:
//!
//! - distances are sorted into classes 10 % wide;
//! - a class is an interval of the logger when it holds at least 1 % of all distances, or at least
//!   20 of them that cover at least 1 % of the time between neighbouring rows of recurring
//!   distances (an interval used rarely but for long); our choice: a lost row now and then is
//!   rarer than that;
//! - a distance within 25 % of such an interval, or below the shortest, is the row's span;
//! - any other distance holds a gap: the span is the shorter of the intervals in use before and
//!   after it.
//!
//! A gap that happens to be as long as one of the logger's intervals cannot be told from a row.

use std::cell::Cell;

/// Width of a class, as a ratio.
const CLASS: f64 = 1.1;
/// How far a distance may be from an interval, as a ratio.
const TOLERANCE: f64 = 1.25;

/// Spans of rows at these strictly increasing moments, ms. The first row gets the interval in use
/// after it; a single row gets 0.
pub fn spans(moments_ms: &[i64]) -> Vec<u32> {
    let distances: Vec<i64> = moments_ms.windows(2).map(|pair| pair[1] - pair[0]).collect();
    let intervals = intervals(&distances);
    // Most rows are as long as the one before.
    let known = Cell::new((0, None));
    let of = |distance: i64| {
        if known.get().0 != distance {
            known.set((distance, interval_of(distance, &intervals)));
        }
        known.get().1
    };
    let Some(shortest) = intervals.first().copied() else { return vec![0; moments_ms.len()] };

    let mut spans = Vec::with_capacity(moments_ms.len());
    let first = distances.iter().find_map(|distance| of(*distance)).unwrap_or(shortest);
    spans.push(first as u32);
    let mut before = first;
    for (row, distance) in distances.iter().enumerate() {
        let span = if *distance <= shortest {
            *distance
        } else if let Some(interval) = of(*distance) {
            before = interval;
            *distance
        } else {
            let after = distances[row + 1..].iter().take(8).find_map(|next| of(*next));
            before.min(after.unwrap_or(before)).min(*distance)
        };
        spans.push(u32::try_from(span).unwrap_or(u32::MAX));
    }
    spans
}

/// The interval that a distance is one of.
fn interval_of(distance: i64, intervals: &[i64]) -> Option<i64> {
    let distance = distance as f64;
    intervals
        .iter()
        .copied()
        .map(|interval| {
            let ratio = distance / interval as f64;
            (interval, ratio.max(1.0 / ratio))
        })
        .filter(|(_, ratio)| *ratio <= TOLERANCE)
        .min_by(|a, b| a.1.total_cmp(&b.1))
        .map(|(interval, _)| interval)
}

/// The distances that recur, rising.
fn intervals(distances: &[i64]) -> Vec<i64> {
    #[derive(Clone, Copy, Default)]
    struct Class {
        count: usize,
        total_ms: i64,
    }
    if distances.is_empty() {
        return Vec::new();
    }
    // ln(i64::MAX) / ln(1.1) is below 460.
    let mut classes = [Class::default(); 460];
    let mut known = (0, 0);
    for distance in distances {
        if known.0 != *distance {
            let class = ((*distance as f64).ln() / CLASS.ln()) as usize;
            known = (*distance, class.min(459));
        }
        let class = &mut classes[known.1];
        class.count += 1;
        class.total_ms = class.total_ms.saturating_add(*distance);
    }
    let recurring_ms = classes
        .iter()
        .filter(|class| class.count >= 20)
        .fold(0_i64, |sum, class| sum.saturating_add(class.total_ms));
    let mut found: Vec<i64> = classes
        .iter()
        .filter(|class| {
            (class.count >= 2 && class.count * 100 >= distances.len())
                || (class.count >= 20 && class.total_ms >= recurring_ms / 100)
        })
        .map(|class| (class.total_ms + class.count as i64 / 2) / class.count as i64)
        .collect();
    if found.is_empty() {
        // Nothing recurs: as few rows as that, or sampling without a rhythm.
        let mut sorted = distances.to_vec();
        sorted.sort_unstable();
        found.push(sorted[(sorted.len() - 1) / 2]);
    }
    // u32 holds 49 days; a longer interval is no interval.
    found.retain(|interval| (1..=i64::from(u32::MAX)).contains(interval));
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    fn moments(distances: &[i64]) -> Vec<i64> {
        let mut now = 1_760_000_000_000;
        let mut moments = vec![now];
        for distance in distances {
            now += distance;
            moments.push(now);
        }
        moments
    }

    #[test]
    fn a_lost_row_stays_a_gap_at_either_rhythm() {
        let mut distances = vec![200; 300];
        distances.extend([1000; 300]);
        distances[100] = 400; // one row lost while active
        distances[101] = 197;
        distances[450] = 2000; // one row lost at rest
        distances[500] = 3_600_000; // an hour without the logger
        let spans = spans(&moments(&distances));
        assert_eq!(spans[0], 200);
        assert_eq!(spans[101], 200);
        assert_eq!(spans[102], 197);
        assert_eq!(spans[299], 200);
        assert_eq!(spans[301], 1000);
        assert_eq!(spans[451], 1000);
        assert_eq!(spans[501], 1000);
    }

    #[test]
    fn a_rhythm_used_rarely_but_for_long_is_one() {
        // Active nearly all the time: 40 rows of 1 s among 10 000 of 200 ms.
        let mut distances = vec![200; 10_000];
        distances[5000..5040].fill(1000);
        let spans = spans(&moments(&distances));
        assert_eq!(spans[5001], 1000);
        assert_eq!(spans[5040], 1000);
    }

    #[test]
    fn few_rows() {
        assert!(spans(&[]).is_empty());
        assert_eq!(spans(&[5]), [0]);
        assert_eq!(spans(&[0, 10_000]), [10_000, 10_000]);
        assert_eq!(spans(&moments(&[60_000, 60_000, 7_200_000])), [60_000, 60_000, 60_000, 60_000]);
    }

    #[test]
    fn a_span_never_reaches_beyond_the_row_before() {
        let distances = [1, 200, 250, 3, 200, 900, 200, i64::MAX / 4, 200, 199];
        let moments = moments(&distances);
        for (distance, span) in distances.iter().zip(&spans(&moments)[1..]) {
            assert!(i64::from(*span) <= *distance && *span > 0, "{distance} {span}");
        }
    }
}
