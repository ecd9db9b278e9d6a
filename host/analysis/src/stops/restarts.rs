//! Automatic restarts: starts that follow a protective stop by a wait that comes back again and
//! again.

use super::protective;
use crate::facts::Facts;
use crate::limits;
use crate::outcome::StopReason;

/// Scatter among fixed waits.
const WAIT_SCATTER_S: f64 = limits::WAIT_SCATTER_S.value;
/// Shortest fixed wait.
const WAIT_LEAST_S: f64 = limits::WAIT_LEAST_S.value;

/// Which runs are automatic restarts, and the fixed waits: length, s, and how often; the most
/// frequent first.
pub fn find(reasons: &[Option<StopReason>], facts: &Facts) -> (Vec<bool>, Vec<(f64, u32)>) {
    let mut waits: Vec<(usize, f64)> = facts
        .runs
        .windows(2)
        .enumerate()
        // A stop the record does not explain is no evidence of a protection, however even the
        // rhythm: taps, timers and levels repeat too.
        .filter(|(n, pair)| {
            pair[1].start_seen
                && reasons[*n].is_some_and(|r| protective(r) && r != StopReason::Unexplained)
        })
        .map(|(n, pair)| (n + 1, (pair[1].time.start_ms - pair[0].time.end_ms) as f64 / 1000.0))
        .filter(|(_, wait)| *wait >= WAIT_LEAST_S)
        .collect();
    waits.sort_by(|a, b| a.1.total_cmp(&b.1));
    let mut automatic = vec![false; reasons.len()];
    let mut fixed = Vec::new();
    let mut first = 0;
    while first < waits.len() {
        let mut last = first;
        while last + 1 < waits.len() && waits[last + 1].1 - waits[first].1 <= WAIT_SCATTER_S {
            last += 1;
        }
        if last - first + 1 >= 3 {
            for (run, _) in &waits[first..=last] {
                automatic[*run] = true;
            }
            let middle = waits[usize::midpoint(first, last)].1;
            fixed.push((middle, (last - first + 1) as u32));
        }
        first = last + 1;
    }
    fixed.sort_by_key(|w| std::cmp::Reverse(w.1));
    (automatic, fixed)
}
