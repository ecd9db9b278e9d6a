//! Rows in time order, each moment once.

use super::cells::MISSING;
use crate::columns::Channel;

/// How the rows of a file become rows of a recording.
pub struct Order {
    /// Moments, strictly increasing.
    pub moments_ms: Vec<i64>,
    /// Rows of the file in time order and whether each starts a new moment; `None` when they are
    /// in order already.
    rows: Option<Vec<(u32, bool)>>,
    /// Sentences for the reader.
    pub notes: Vec<String>,
}

/// Brings moments into order; rows without one are left out, rows of the same moment become one.
pub fn order(moments: Vec<i64>) -> Order {
    if moments.first() != Some(&MISSING) && moments.windows(2).all(|pair| pair[0] < pair[1]) {
        return Order { moments_ms: moments, rows: None, notes: Vec::new() };
    }
    let mut notes = Vec::new();
    let mut rows: Vec<u32> =
        (0..moments.len() as u32).filter(|row| moments[*row as usize] != MISSING).collect();
    let missing = moments.len() - rows.len();
    if missing > 0 {
        notes.push(format!("{missing} rows carry no time and were left out"));
    }
    let backwards =
        rows.windows(2).filter(|p| moments[p[1] as usize] < moments[p[0] as usize]).count();
    if backwards > 0 {
        notes.push(format!(
            "the rows were not in time order (time ran backwards {backwards} times): they were \
             sorted"
        ));
        // Stable: rows of the same moment stay in the file's order.
        rows.sort_by_key(|row| moments[*row as usize]);
    }
    let mut moments_ms: Vec<i64> = Vec::with_capacity(rows.len());
    let rows: Vec<(u32, bool)> = rows
        .into_iter()
        .map(|row| {
            let moment = moments[row as usize];
            let new = moments_ms.last() != Some(&moment);
            if new {
                moments_ms.push(moment);
            }
            (row, new)
        })
        .collect();
    let repeated = rows.len() - moments_ms.len();
    if repeated > 0 {
        notes.push(format!(
            "{repeated} rows repeat the time of another row: each was merged into it (first value \
             kept, extremes widened)"
        ));
    }
    Order { moments_ms, rows: Some(rows), notes }
}

impl Order {
    /// The values in this order; of several at one moment, `merge` makes one.
    pub fn apply(&self, values: Vec<f32>, merge: impl Fn(f32, f32) -> f32) -> Vec<f32> {
        let Some(rows) = &self.rows else { return values };
        let mut out: Vec<f32> = Vec::with_capacity(self.moments_ms.len());
        for (row, new) in rows {
            let value = values[*row as usize];
            match out.last_mut() {
                Some(last) if !new => *last = merge(*last, value),
                _ => out.push(value),
            }
        }
        out
    }

    /// A whole channel in this order.
    pub fn apply_channel(&self, channel: Channel) -> Channel {
        let mean = self.apply(channel.mean, first_value);
        if !channel.spread {
            return Channel { min: mean.clone(), max: mean.clone(), mean, spread: false };
        }
        // `f32::min` and `max` pass over NaN.
        Channel {
            min: self.apply(channel.min, f32::min),
            max: self.apply(channel.max, f32::max),
            mean,
            spread: true,
        }
    }
}

/// The first of two values, unless it is none.
pub fn first_value(first: f32, second: f32) -> f32 {
    if first.is_nan() { second } else { first }
}
