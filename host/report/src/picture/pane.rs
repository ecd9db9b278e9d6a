//! One pane: a frame with a value scale, lines of limits, and traces.

use super::Size;
use super::axis::{Scale, Span};
use super::decimate::{Bucket, Series};
use super::drawing::{Anchor, Canvas, Path};
use crate::content::View;
use crate::format::{fixed, significant};
use crate::units::Quantity;

/// What a pane shows.
#[derive(Clone, Debug)]
pub struct Pane<'a> {
    /// Name of the quantity.
    pub title: &'static str,
    /// What the values are.
    pub quantity: Quantity,
    /// Values, each with the class of its colour and line.
    pub traces: Vec<(Series<'a>, &'static str)>,
    /// Limits and declared values.
    pub lines: Vec<Line>,
    /// True where the peaks of starts may run off the top, so that the rest can be seen. They are
    /// then marked with their size.
    pub peaks_may_leave: bool,
    /// True where the finding is about this pane.
    pub tall: bool,
}

/// A level drawn across a pane.
#[derive(Clone, Debug, PartialEq)]
pub struct Line {
    /// Where, in the unit of the quantity.
    pub value: f64,
    /// What it is.
    pub label: String,
    /// True for what the finding was judged against, false for what was declared.
    pub judged: bool,
}

/// A pane's traces summed up for the columns of a picture, in the reader's unit.
pub struct Drawn {
    /// Columns of each trace.
    pub traces: Vec<(Vec<Option<Bucket>>, &'static str)>,
}

impl Drawn {
    /// Smallest and largest value.
    pub fn extent(&self) -> Option<(f64, f64)> {
        let buckets = self.traces.iter().flat_map(|(buckets, _)| buckets.iter().flatten());
        buckets.fold(None, |extent, bucket| {
            let (min, max) = (f64::from(bucket.min), f64::from(bucket.max));
            let (low, high) = extent.unwrap_or((min, max));
            Some((low.min(min), high.max(max)))
        })
    }

    /// The level that 98 % of the columns' means stay below.
    fn usual_top(&self) -> Option<f64> {
        let mut means: Vec<f32> = self
            .traces
            .iter()
            .flat_map(|(buckets, _)| buckets.iter().flatten())
            .map(|bucket| bucket.mean)
            .collect();
        means.sort_by(f32::total_cmp);
        means.get(means.len() * 98 / 100).map(|mean| f64::from(*mean))
    }
}

/// The value scale of a pane. A limit far outside the values is left to the caption.
pub fn scale(view: &View<'_>, pane: &Pane<'_>, drawn: &Drawn, top: f64, bottom: f64) -> Scale {
    let (mut low, mut high) = drawn.extent().unwrap_or((0.0, 1.0));
    if pane.peaks_may_leave
        && let Some(usual) = drawn.usual_top()
        && usual > 0.0
        && high > 2.0 * usual
    {
        high = 1.3 * usual;
    }
    // The noise of a resting channel is not blown up to fill the pane.
    let declared = pane.lines.iter().map(|line| view.reader.convert(pane.quantity, line.value));
    let least = match pane.quantity {
        Quantity::Ampere => 0.05 * view.input.site.motor.rated_current_a,
        Quantity::Watt => 20.0,
        _ => 0.0,
    };
    high = high.max(declared.fold(least, |most, value| most.max(value * 0.05)));
    let reach = (high - low).max(high.abs() * 0.05);
    for line in &pane.lines {
        let value = view.reader.convert(pane.quantity, line.value);
        if line.judged || (value > low - 0.6 * reach && value < high + 0.6 * reach) {
            (low, high) = (low.min(value), high.max(value));
        }
    }
    // A resting channel's scatter about zero is no reason for a step below it.
    if low < 0.0 && low > -0.05 * high {
        low = 0.0;
    }
    // Currents, powers and pressures stand on zero; a voltage does where it came near it.
    if low > 0.0
        && (pane.quantity != Quantity::Volt && pane.quantity != Quantity::Hertz || low < high * 0.3)
    {
        low = 0.0;
    }
    let margin = (high - low) * 0.04;
    let low = if low == 0.0 { low } else { low - margin };
    Scale::new(low, high + margin, ((bottom - top) / 26.0).max(2.0), bottom, top)
}

/// Draws frame, grid and numbers.
pub fn frame(canvas: &mut Canvas, scale: &Scale, span: &Span) {
    for tick in scale.ticks() {
        let y = scale.y(tick);
        canvas.line("grid", (span.left, y), (span.right, y));
        canvas.text("quiet", span.left - 5.0, y + 3.8, Anchor::End, &fixed(tick, scale.decimals()));
    }
    canvas.rect("frame", span.left, scale.top, span.right - span.left, scale.bottom - scale.top);
}

/// Draws the traces: a band from smallest to largest, and a line through the means.
pub fn traces(canvas: &mut Canvas, drawn: &Drawn, scale: &Scale, span: &Span, gaps: &[(f64, f64)]) {
    for (buckets, class) in &drawn.traces {
        let width = (span.right - span.left) / buckets.len().max(1) as f64;
        let (mut band, mut mean) = (Path::default(), Path::default());
        for piece in pieces(buckets, span, width, gaps) {
            let x = |n: usize| span.left + (n as f64 + 0.5) * width;
            let spread = piece.iter().any(|(_, bucket)| {
                scale.y(f64::from(bucket.min)) - scale.y(f64::from(bucket.max)) > 0.7
            });
            if spread {
                let upper = piece.iter().map(|(n, b)| (x(*n), scale.y(f64::from(b.max))));
                let lower = piece.iter().rev().map(|(n, b)| (x(*n), scale.y(f64::from(b.min))));
                band.polyline(upper, true);
                band.polyline(lower, false);
                band.close();
            }
            mean.polyline(piece.iter().map(|(n, b)| (x(*n), scale.y(f64::from(b.mean)))), true);
            if piece.len() == 1 {
                mean.to(x(piece[0].0) + 1.0, scale.y(f64::from(piece[0].1.mean)));
            }
        }
        canvas.path(format!("band {class}"), band);
        canvas.path(format!("mean {class}"), mean);
    }
}

/// Columns with values, apart where a gap of the record lies between them.
fn pieces(
    buckets: &[Option<Bucket>],
    span: &Span,
    width: f64,
    gaps: &[(f64, f64)],
) -> Vec<Vec<(usize, Bucket)>> {
    let mut pieces: Vec<Vec<(usize, Bucket)>> = Vec::new();
    let filled = buckets.iter().enumerate().filter_map(|(n, bucket)| Some((n, (*bucket)?)));
    for (n, bucket) in filled {
        let joined = pieces.last_mut().filter(|piece| {
            let last = piece.last().map_or(0, |(last, _)| *last);
            let (from, to) =
                (span.left + (last as f64 + 0.5) * width, span.left + (n as f64 + 0.5) * width);
            n == last + 1 || !gaps.iter().any(|gap| gap.0 < to && gap.1 > from)
        });
        match joined {
            Some(piece) => piece.push((n, bucket)),
            None => pieces.push(vec![(n, bucket)]),
        }
    }
    pieces
}

/// Draws levels with their labels, moved apart where they would touch. Levels outside the scale
/// are left out.
pub fn lines(
    canvas: &mut Canvas,
    view: &View<'_>,
    pane: &Pane<'_>,
    scale: &Scale,
    span: &Span,
    size: Size,
) {
    let mut shown: Vec<(f64, &Line)> = pane
        .lines
        .iter()
        .map(|line| (view.reader.convert(pane.quantity, line.value), line))
        .filter(|(value, _)| (scale.low..=scale.high).contains(value))
        .map(|(value, line)| (scale.y(value), line))
        .collect();
    shown.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut lowest = f64::NEG_INFINITY;
    for (y, line) in shown {
        let class = if line.judged { "limit" } else { "declared" };
        canvas.line(class, (span.left, y), (span.right, y));
        let value = view.reader.convert(pane.quantity, line.value);
        let symbol = view.reader.symbol(pane.quantity);
        let words = format!("{}\u{a0}{symbol} {}", significant(value, 3), line.label);
        if size == Size::Wide {
            let baseline = (y + 3.8).max(lowest + 11.5);
            lowest = baseline;
            canvas.text(
                if line.judged { "name" } else { "" },
                span.right + 5.0,
                baseline,
                Anchor::Start,
                &words,
            );
            continue;
        }
        let above = y - 3.5;
        let baseline = if above - lowest >= 11.5 && above - 9.0 > scale.top {
            above
        } else {
            (y + 10.5).max(lowest + 11.5)
        };
        lowest = baseline;
        canvas.text("halo", span.right - 4.0, baseline, Anchor::End, &words);
    }
}

/// Marks peaks that run off the top; their largest stands over the pane.
pub fn peaks(
    canvas: &mut Canvas,
    view: &View<'_>,
    pane: &Pane<'_>,
    drawn: &Drawn,
    scale: &Scale,
    span: &Span,
) {
    let mut largest = f32::NEG_INFINITY;
    for (buckets, _) in &drawn.traces {
        let width = (span.right - span.left) / buckets.len().max(1) as f64;
        let mut free = f64::NEG_INFINITY;
        for (n, bucket) in buckets.iter().enumerate() {
            let off = bucket.map_or(f32::NEG_INFINITY, |bucket| bucket.max);
            if f64::from(off) <= scale.high {
                continue;
            }
            largest = largest.max(off);
            let x = span.left + (n as f64 + 0.5) * width;
            if x < free {
                continue;
            }
            let mut path = Path::default();
            path.go(x - 3.5, scale.top + 6.0);
            path.to(x, scale.top);
            path.to(x + 3.5, scale.top + 6.0);
            path.close();
            canvas.path("clip", path);
            free = x + 9.0;
        }
    }
    if largest > f32::NEG_INFINITY {
        let symbol = view.reader.symbol(pane.quantity);
        let value = format!("{}\u{a0}{symbol}", significant(f64::from(largest), 3));
        let words = crate::strings::pictures::peaks(&value);
        canvas.text("quiet", span.right, scale.top - 5.0, Anchor::End, &words);
    }
}
