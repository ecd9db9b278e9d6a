//! Panes stacked on one time axis, with runs, stops, gaps and the moment marked.

use super::axis::Span;
use super::decimate::{Bucket, Series, decimate};
use super::drawing::{Anchor, Canvas, Drawing};
use super::pane::{self, Drawn};
use super::{Size, sign};
use crate::content::{Lamp, View};
use crate::strings::pictures as words;
use crate::times::{Fine, from_ms};
use crate::units::Quantity;

pub use super::pane::{Line, Pane};

/// A picture of a stretch of time.
#[derive(Clone, Debug)]
pub struct Stack<'a> {
    /// First moment, ms since 1970.
    pub from_ms: i64,
    /// Last moment.
    pub to_ms: i64,
    /// Panes, top to bottom.
    pub panes: Vec<Pane<'a>>,
    /// What is marked.
    pub moments: Vec<Moment>,
}

/// A marked stretch of time.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Moment {
    /// Start, ms since 1970.
    pub from_ms: i64,
    /// End.
    pub to_ms: i64,
    /// True for the one that the caption speaks of, flagged "A".
    pub flagged: bool,
}

const FLAGS: f64 = 17.0;
const RUNS: f64 = 20.0;
const LAMP: f64 = 14.0;
const HEADER: f64 = 18.0;
/// Letters of a lamp's label for which there is room beside its lane.
const LABEL_LETTERS: usize = 16;

/// Draws it.
pub fn draw(view: &View<'_>, stack: &Stack<'_>, size: Size) -> Drawing {
    let span = Span {
        from_ms: stack.from_ms,
        to_ms: stack.to_ms,
        left: size.left(),
        right: size.right_beside_labels(),
    };
    let mut canvas = Canvas::default();
    let gaps = gaps(view, &span);
    let lamps: Vec<Lamp<'_>> = view.lamps().into_iter().filter(|lamp| shone(lamp, &span)).collect();
    let first_top = FLAGS + RUNS + lamps.len() as f64 * LAMP;
    let mut tops = Vec::new();
    let mut y = first_top;
    for pane in &stack.panes {
        let top = y + HEADER;
        let bottom = top + if pane.tall { 112.0 } else { 82.0 };
        tops.push((top, bottom));
        y = bottom + 4.0;
    }
    let bottom = y - 4.0;

    for moment in &stack.moments {
        band(&mut canvas, moment, &span, FLAGS, bottom);
    }
    runs(&mut canvas, view, &span, size);
    for (n, lamp) in lamps.iter().enumerate() {
        lane(&mut canvas, lamp, &span, FLAGS + RUNS + n as f64 * LAMP, size);
    }
    for (pane, (top, bottom)) in stack.panes.iter().zip(tops) {
        let drawn = drawn(view, pane, &span);
        let scale = pane::scale(view, pane, &drawn, top, bottom);
        let symbol = view.reader.symbol(pane.quantity);
        canvas.text(
            "name halo",
            span.left,
            top - 5.0,
            Anchor::Start,
            &format!("{}, {symbol}", pane.title),
        );
        pane::frame(&mut canvas, &scale, &span);
        for (left, right) in &gaps {
            canvas.rect("absent", *left, top, right - left, bottom - top);
            canvas.hatch("gap", *left, top, right - left, bottom - top);
        }
        pane::traces(&mut canvas, &drawn, &scale, &span, &gaps);
        pane::lines(&mut canvas, view, pane, &scale, &span, size);
        pane::peaks(&mut canvas, view, pane, &drawn, &scale, &span);
    }
    for moment in stack.moments.iter().filter(|moment| moment.flagged) {
        edges(&mut canvas, moment, &span, bottom);
    }
    time_axis(&mut canvas, view, &span, bottom);
    canvas.finish(size.width(), (bottom + 36.0) as u32)
}

/// Gaps of the record as stretches of the picture.
pub fn gaps(view: &View<'_>, span: &Span) -> Vec<(f64, f64)> {
    let gaps = &view.analysis().recording.gaps;
    let shown = gaps.iter().map(|gap| (gap.start.as_millisecond(), gap.end.as_millisecond()));
    shown
        .filter(|(from, to)| span.shows(*from, *to))
        .map(|(from, to)| (span.x(from), span.x(to)))
        .filter(|(left, right)| right - left > 0.5)
        .collect()
}

/// A pane's traces in columns of about one coordinate, in the reader's unit.
fn drawn(view: &View<'_>, pane: &Pane<'_>, span: &Span) -> Drawn {
    let columns = (span.right - span.left) as usize;
    Drawn {
        traces: pane
            .traces
            .iter()
            .map(|(series, class)| {
                (buckets(view, *series, pane.quantity, span.from_ms, span.to_ms, columns), *class)
            })
            .collect(),
    }
}

/// Rows summed up in equal stretches, in the reader's unit.
pub fn buckets(
    view: &View<'_>,
    series: Series<'_>,
    quantity: Quantity,
    from_ms: i64,
    to_ms: i64,
    count: usize,
) -> Vec<Option<Bucket>> {
    let in_unit = |value: f32| view.reader.convert(quantity, f64::from(value)) as f32;
    let mut buckets = decimate(view.columns(), series, from_ms, to_ms, count);
    for bucket in buckets.iter_mut().flatten() {
        *bucket = Bucket {
            min: in_unit(bucket.min),
            max: in_unit(bucket.max),
            mean: in_unit(bucket.mean),
        };
    }
    buckets
}

fn band(canvas: &mut Canvas, moment: &Moment, span: &Span, top: f64, bottom: f64) {
    if span.shows(moment.from_ms, moment.to_ms.max(moment.from_ms + 1)) {
        let (left, right) = (span.x(moment.from_ms), span.x(moment.to_ms));
        // A moment that fills the picture needs no shade, which would only dull it.
        if right - left < 0.8 * (span.right - span.left) {
            canvas.rect("moment", left, top, (right - left).max(1.5), bottom - top);
        }
    }
}

fn edges(canvas: &mut Canvas, moment: &Moment, span: &Span, bottom: f64) {
    let (left, right) = (span.x(moment.from_ms), span.x(moment.to_ms));
    let inside = |ms: i64| (span.from_ms..=span.to_ms).contains(&ms);
    if inside(moment.from_ms) {
        canvas.line("moment-edge", (left, FLAGS - 2.0), (left, bottom));
    }
    if inside(moment.to_ms) && right - left > 3.0 {
        canvas.line("moment-edge", (right, FLAGS - 2.0), (right, bottom));
    }
    let middle = f64::midpoint(left, right).clamp(span.left + 8.0, span.right - 8.0);
    canvas.rect("flag", middle - 8.0, 1.0, 16.0, FLAGS - 3.0);
    canvas.text("flag-letter", middle, 12.0, Anchor::Middle, "A");
    canvas.line("moment-edge", (left, FLAGS - 2.0), (right, FLAGS - 2.0));
}

/// The track of runs, with the sign of every stop that there is room for.
fn runs(canvas: &mut Canvas, view: &View<'_>, span: &Span, size: Size) {
    let (top, height) = (FLAGS + 5.0, 9.0);
    canvas.rect("run-track", span.left, top, span.right - span.left, height);
    let label = match size {
        Size::Wide => words::RUNNING,
        Size::Narrow => words::RUNNING_SHORT,
    };
    canvas.text("quiet", span.left - 5.0, top + 8.0, Anchor::End, label);
    let mut free = f64::NEG_INFINITY;
    for run in &view.analysis().runs {
        let (from, to) = (run.start.as_millisecond(), run.stop.as_millisecond());
        if !span.shows(from, to) {
            continue;
        }
        canvas.rect("run", span.x(from), top, (span.x(to) - span.x(from)).max(0.8), height);
        let x = span.x(to);
        if let Some(reason) = run.stop_reason
            && to <= span.to_ms
            && x - 7.0 > free
        {
            let x = x.clamp(span.left + 7.0, span.right - 7.0);
            sign::draw(canvas, reason, x, top + height / 2.0, 6.5);
            free = x + 7.0;
        }
    }
}

/// Whether a lamp shone in the span.
fn shone(lamp: &Lamp<'_>, span: &Span) -> bool {
    lamp.lit.iter().any(|lit| span.shows(lit.from_ms, lit.to_ms))
}

/// The lane of a lamp: a bar while it was lit, a low one while it flashed, its label beside it or,
/// where that leaves too little for the picture, inside.
fn lane(canvas: &mut Canvas, lamp: &Lamp<'_>, span: &Span, top: f64, size: Size) {
    canvas.rect("run-track", span.left, top, span.right - span.left, 9.0);
    for lit in lamp.lit.iter().filter(|lit| span.shows(lit.from_ms, lit.to_ms)) {
        let (left, right) = (span.x(lit.from_ms), span.x(lit.to_ms));
        let (down, height) = if lit.flashing { (3.0, 4.0) } else { (0.0, 9.0) };
        canvas.rect("lamp", left, top + down, (right - left).max(0.8), height);
    }
    let mut label: String = lamp.label.chars().filter(|letter| !letter.is_control()).collect();
    if label.chars().count() > LABEL_LETTERS {
        label = label.chars().take(LABEL_LETTERS - 1).chain(['…']).collect();
    }
    let (class, x) = match size {
        Size::Wide => ("", span.right + 5.0),
        Size::Narrow => ("halo", span.left + 4.0),
    };
    canvas.text(class, x, top + 8.5, Anchor::Start, &label);
}

/// Ticks and labels under the lowest pane, and the date and offset once.
pub fn time_axis(canvas: &mut Canvas, view: &View<'_>, span: &Span, bottom: f64) {
    let from = from_ms(span.from_ms);
    let fine = if span.to_ms - span.from_ms < 3000 { Fine::Tenth } else { Fine::Second };
    let fine = if span.to_ms - span.from_ms > 600_000 { Fine::Minute } else { fine };
    let apart = Size::apart(view.times.bare_time(from, fine).chars().count());
    for (ms, label) in span.ticks(&view.times, apart) {
        let x = span.x(ms);
        canvas.line("tick", (x, bottom), (x, bottom + 4.0));
        let half = label.chars().count() as f64 * 3.1;
        if x + half < span.right + 4.0 {
            canvas.text("", x, bottom + 15.0, Anchor::Middle, &label);
        }
    }
    let dates = view.dates(span.from_ms, span.to_ms);
    let mut words = format!("{dates} · {}", view.times.zone_words(from));
    if words.chars().count() as f64 * 6.0 > span.right - span.left {
        words = format!("{dates} · {}", view.times.offset(from));
    }
    canvas.text("quiet", span.left, bottom + 31.0, Anchor::Start, &words);
}
