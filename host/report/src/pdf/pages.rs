//! Slices on pages: nothing is cut, no heading stands alone at the foot of a page.

use super::slice::Slice;
use std::collections::HashMap;

/// A slice on a page.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Put {
    /// Number of the slice.
    pub slice: usize,
    /// Its upper edge below that of the page's field, pt.
    pub y: f32,
    /// True where the head of its table is repeated above it.
    pub head: bool,
}

/// Slices page by page. Every slice is put once, in order.
pub fn fill(slices: &[Slice], height: f32) -> Vec<Vec<Put>> {
    let mut pages: Vec<Vec<Put>> = vec![Vec::new()];
    let mut y = 0.0;
    let mut first = 0;
    while first < slices.len() {
        let mut last = first;
        while slices[last].keep && last + 1 < slices.len() {
            last += 1;
        }
        let together = &slices[first..=last];
        let mut needed: f32 = together.iter().map(|slice| slice.before + slice.height).sum();
        if y == 0.0 {
            needed -= together[0].before;
        }
        let empty = pages.last().is_none_or(Vec::is_empty);
        // What is higher than a page is cut between its slices all the same.
        if !empty && (together[0].fresh || (y + needed > height && needed <= height)) {
            pages.push(Vec::new());
            y = 0.0;
        }
        for (number, slice) in together.iter().enumerate() {
            let mut top = if y == 0.0 { 0.0 } else { y + slice.before };
            if top > 0.0 && top + slice.height > height {
                pages.push(Vec::new());
                (y, top) = (0.0, 0.0);
            }
            let head = if y == 0.0 { slice.head.as_deref() } else { None };
            if let Some(head) = head {
                top += head.height;
            }
            if let Some(page) = pages.last_mut() {
                page.push(Put { slice: first + number, y: top, head: head.is_some() });
            }
            y = top + slice.height;
        }
        first = last + 1;
    }
    pages
}

/// Where each anchor is: page from 0, and how far down, pt.
pub fn anchors(slices: &[Slice], pages: &[Vec<Put>]) -> HashMap<String, (usize, f32)> {
    let mut anchors = HashMap::new();
    for (page, puts) in pages.iter().enumerate() {
        for put in puts {
            for anchor in &slices[put.slice].anchors {
                anchors.insert(anchor.clone(), (page, put.y));
            }
        }
    }
    anchors
}

#[cfg(test)]
mod tests {
    use super::super::slice::Head;
    use super::*;
    use std::rc::Rc;

    fn slice(height: f32, before: f32, keep: bool) -> Slice {
        Slice { height, before, keep, ..Slice::default() }
    }

    fn places(pages: &[Vec<Put>]) -> Vec<Vec<(usize, f32)>> {
        pages.iter().map(|page| page.iter().map(|put| (put.slice, put.y)).collect()).collect()
    }

    #[test]
    fn a_heading_goes_with_what_follows() {
        let slices = [slice(80.0, 0.0, false), slice(10.0, 5.0, true), slice(20.0, 2.0, false)];
        assert_eq!(places(&fill(&slices, 100.0)), [vec![(0, 0.0)], vec![(1, 0.0), (2, 12.0)]]);
    }

    #[test]
    fn what_is_too_high_to_keep_together_is_cut_between_slices() {
        let slices = [slice(60.0, 0.0, true), slice(60.0, 0.0, true), slice(60.0, 0.0, false)];
        assert_eq!(places(&fill(&slices, 100.0)), [vec![(0, 0.0)], vec![(1, 0.0)], vec![(2, 0.0)]]);
        // Higher than a page by itself: on a page of its own, never lost.
        let tall = [slice(10.0, 0.0, false), slice(150.0, 0.0, false), slice(10.0, 0.0, false)];
        assert_eq!(places(&fill(&tall, 100.0)).concat().len(), 3);
    }

    #[test]
    fn heads_are_repeated() {
        let head = Some(Rc::new(Head { height: 15.0, inks: Vec::new() }));
        let row = |head: &Option<Rc<Head>>| Slice { head: head.clone(), ..slice(40.0, 0.0, false) };
        let slices = [slice(15.0, 0.0, true), row(&head), row(&head), row(&head)];
        let pages = fill(&slices, 100.0);
        assert_eq!(places(&pages), [vec![(0, 0.0), (1, 15.0), (2, 55.0)], vec![(3, 15.0)]]);
        assert!(pages[1][0].head && !pages[0][1].head);
    }
}
