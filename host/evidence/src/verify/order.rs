//! Which of the pages that declare their address are in order, and which are strays.
//!
//! Pages in order have rising addresses, and lie at a constant distance from where they would lie in
//! an undisturbed file, except where bytes were taken out or put in. The pages in order are the
//! longest such chain, where each change of distance costs as much as a few pages: so two pages or
//! sectors that changed places are seen as that, and not as one taken out and another put in.

use super::layout::{Declared, home};
use std::ops::Range;

/// Twice what a change of distance costs, in pages: more than two sectors that changed places.
const CHANGE_COSTS: i64 = 9;
/// How many runs a chain may leap over; bounds the work on hostile files.
const LEAP: usize = 512;

/// Neighbours in the file at one distance from home.
struct Run {
    found: Range<usize>,
    offset: i64,
    last: i64,
}

/// For each page whether it is in order. `pages` is the number of pages the file should hold;
/// `end_offset` how far the end mark lies from home, if there is one.
pub fn in_order(found: &[(Declared, i64)], pages: usize, end_offset: Option<i64>) -> Vec<bool> {
    let runs = runs(found, pages);
    // Pages of run `i` behind index `last`.
    let gain = |run: &Run, last: i64| {
        let pages = &found[run.found.clone()];
        pages.len() - pages.partition_point(|(_, index)| *index <= last)
    };
    let change = |a: i64, b: i64| if a == b { 0 } else { CHANGE_COSTS };
    let mut best: Vec<(i64, Option<usize>)> = Vec::with_capacity(runs.len());
    for (i, run) in runs.iter().enumerate() {
        let mut here = (2 * run.found.len() as i64 - change(run.offset, 0), None);
        for j in (i.saturating_sub(LEAP)..i).rev() {
            let gained = gain(run, runs[j].last) as i64;
            let score = best[j].0 + 2 * gained - change(runs[j].offset, run.offset);
            if gained > 0 && score > here.0 {
                here = (score, Some(j));
            }
        }
        best.push(here);
    }
    let end = |i: usize| best[i].0 - end_offset.map_or(0, |end| change(runs[i].offset, end));
    let mut at = (0..runs.len()).max_by_key(|i| (end(*i), *i));
    let mut flags = vec![false; found.len()];
    while let Some(i) = at {
        let before = best[i].1;
        let behind = before.map_or(-1, |j| runs[j].last);
        for n in runs[i].found.clone() {
            flags[n] = found[n].1 > behind;
        }
        at = before;
    }
    flags
}

fn runs(found: &[(Declared, i64)], pages: usize) -> Vec<Run> {
    let mut runs: Vec<Run> = Vec::new();
    for (n, (declared, index)) in found.iter().enumerate() {
        if !(0..pages as i64).contains(index) {
            continue;
        }
        let offset = declared.at as i64 - home(*index);
        match runs.last_mut() {
            Some(run) if run.offset == offset && run.found.end == n => {
                run.found.end = n + 1;
                run.last = *index;
            }
            _ => runs.push(Run { found: n..n + 1, offset, last: *index }),
        }
    }
    runs
}
