//! When something happened: all its occurrences over the whole record.

use super::Size;
use super::axis::Span;
use super::drawing::{Anchor, Canvas, Drawing, Path};
use super::stack::{gaps, time_axis};
use crate::content::View;
use crate::strings::pictures as words;

/// Draws occurrences (from, to; ms since 1970) over the whole record, and a bracket over the
/// stretch that is shown larger.
pub fn draw(
    view: &View<'_>,
    occurrences: &[(i64, i64)],
    shown: Option<(i64, i64)>,
    size: Size,
) -> Drawing {
    let (from_ms, to_ms) = view.extent();
    let span = Span { from_ms, to_ms, left: size.left(), right: size.right() };
    let mut canvas = Canvas::default();
    let (top, bottom) = (18.0, 36.0);
    canvas.rect("run-track", span.left, top, span.right - span.left, bottom - top);
    for (left, right) in gaps(view, &span) {
        canvas.rect("absent", left, top, right - left, bottom - top);
        canvas.hatch("gap", left, top, right - left, bottom - top);
    }
    let mut path = Path::default();
    let mut reached = f64::NEG_INFINITY;
    for (from, to) in occurrences {
        // Occurrences that fall on one another are drawn once.
        let (left, right) = (span.x(*from), span.x(*to).max(span.x(*from) + 1.4));
        if right <= reached + 0.2 {
            continue;
        }
        path.go(left, top);
        path.to(right, top);
        path.to(right, bottom);
        path.to(left, bottom);
        path.close();
        reached = right;
    }
    canvas.path("run", path);
    if let Some((from, to)) = shown {
        let (left, right) = (span.x(from), span.x(to));
        let (left, right) = (left.min(right - 3.0).max(span.left), right.max(left + 3.0));
        canvas.line("moment-edge", (left, 14.0), (right, 14.0));
        canvas.line("moment-edge", (left, 14.0), (left, bottom));
        canvas.line("moment-edge", (right, 14.0), (right, bottom));
        let middle = f64::midpoint(left, right);
        let (x, anchor) = match middle {
            x if x < span.left + 60.0 => (left, Anchor::Start),
            x if x > span.right - 60.0 => (right, Anchor::End),
            x => (x, Anchor::Middle),
        };
        canvas.text("quiet", x, 10.0, anchor, words::SHOWN_BELOW);
    }
    time_axis(&mut canvas, view, &span, bottom);
    canvas.finish(size.width(), (bottom + 36.0) as u32)
}
