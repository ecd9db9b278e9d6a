//! One day at a glance: running, pressure, voltage, and the stops that are not ordinary control.

use super::Size;
use super::axis::{Scale, Span};
use super::decimate::Bucket;
use super::drawing::{Anchor, Canvas, Drawing, Path};
use super::pane::{self, Drawn};
use super::sign::{self, Nature};
use super::stack::gaps;
use crate::content::View;
use crate::strings::pictures as words;
use crate::times::from_ms;
use crate::units::Quantity;
use pumpwitness_analysis::outcome::StopReason;
use std::collections::BTreeMap;

/// Scales shared by all days, in the reader's unit; `None` where there is no such channel.
#[derive(Clone, Copy, Debug, Default)]
pub struct Shared {
    /// Lowest and highest pressure.
    pub pressure: Option<(f64, f64)>,
    /// Lowest and highest voltage.
    pub voltage: Option<(f64, f64)>,
}

/// A day and what stands beside it.
#[derive(Clone, Debug)]
pub struct Day {
    /// First moment of the local day, ms since 1970.
    pub from_ms: i64,
    /// First moment of the next.
    pub to_ms: i64,
    /// The day's name.
    pub name: String,
    /// The day in a few words.
    pub summary: String,
    /// Pressure in the reader's unit, in [`COLUMNS`] equal stretches; empty without the channel.
    pub pressure: Vec<Option<Bucket>>,
    /// Voltage likewise, V.
    pub voltage: Vec<Option<Bucket>>,
}

/// Stretches of a day: five minutes each on a day of 24 hours.
pub const COLUMNS: usize = 288;

/// Narrowest stretch outside the record that is hatched: a sliver at midnight tells nothing.
const NARROWEST: f64 = 1.0;

/// Draws it.
pub fn draw(view: &View<'_>, day: &Day, shared: &Shared, size: Size) -> Drawing {
    let span =
        Span { from_ms: day.from_ms, to_ms: day.to_ms, left: size.left(), right: size.right() };
    let mut canvas = Canvas::default();
    let gaps = gaps(view, &span);
    let (begins, ends) = view.extent();
    // Where the record had not begun, or had ended, nothing was recorded either.
    let (begins, ends) = (span.x(begins), span.x(ends));
    canvas.text("name", 0.0, 12.0, Anchor::Start, &day.name);
    canvas.text("quiet", span.right, 12.0, Anchor::End, &day.summary);
    let mut y = stops(&mut canvas, view, &span, 18.0);

    canvas.text("quiet", span.left - 5.0, y + 9.0, Anchor::End, words::RUNNING_SHORT);
    canvas.rect("run-track", begins, y, ends - begins, 10.0);
    let mut path = Path::default();
    for run in &view.analysis().runs {
        let (from, to) = (run.start.as_millisecond(), run.stop.as_millisecond());
        if span.shows(from, to) {
            let (left, right) = (span.x(from), span.x(to).max(span.x(from) + 0.6));
            path.go(left, y);
            path.to(right, y);
            path.to(right, y + 10.0);
            path.to(left, y + 10.0);
            path.close();
        }
    }
    canvas.path("run", path);
    y += 14.0;

    let lanes = [
        (&day.pressure, shared.pressure, Quantity::Bar, "pressure", 38.0),
        (&day.voltage, shared.voltage, Quantity::Volt, "voltage", 28.0),
    ];
    for (buckets, extent, quantity, class, height) in lanes {
        let Some((low, high)) = extent else { continue };
        let drawn = Drawn { traces: vec![(buckets.clone(), class)] };
        let scale = Scale { low, high, step: high - low, bottom: y + height, top: y };
        canvas.rect("frame", span.left, y, span.right - span.left, height);
        for line in view.declared(quantity) {
            let value = view.reader.convert(quantity, line.value);
            if value > low && value < high {
                let level = scale.y(value);
                canvas.line("declared", (span.left, level), (span.right, level));
            }
        }
        pane::traces(&mut canvas, &drawn, &scale, &span, &gaps);
        let digits = usize::from(quantity == Quantity::Bar && high < 20.0);
        canvas.text(
            "quiet",
            span.left - 5.0,
            y + 9.0,
            Anchor::End,
            &crate::format::fixed(high, digits),
        );
        canvas.text(
            "quiet",
            span.left - 5.0,
            y + height,
            Anchor::End,
            &crate::format::fixed(low, digits),
        );
        canvas.text("halo", span.left + 4.0, y + 11.0, Anchor::Start, view.reader.symbol(quantity));
        y += height + 5.0;
    }
    let outside = [(span.left, begins), (ends, span.right)];
    let outside = outside.into_iter().filter(|(left, right)| right - left > NARROWEST);
    for (left, right) in gaps.iter().copied().chain(outside) {
        canvas.hatch("gap", left, 18.0, right - left, y - 23.0);
    }
    hours(&mut canvas, view, &span, y - 5.0);
    canvas.finish(size.width(), (y + 14.0) as u32)
}

/// Signs of stops, one row a reason; gives the coordinate below the last row.
fn stops(canvas: &mut Canvas, view: &View<'_>, span: &Span, top: f64) -> f64 {
    let mut rows: BTreeMap<StopReason, Vec<f64>> = BTreeMap::new();
    for run in &view.analysis().runs {
        let at = run.stop.as_millisecond();
        if let Some(reason) = run.stop_reason
            && sign::nature(reason) != Nature::Normal
            && (span.from_ms..span.to_ms).contains(&at)
        {
            rows.entry(reason).or_default().push(span.x(at));
        }
    }
    let mut y = top;
    for (reason, places) in rows {
        for (x, count) in clusters(&places, span.left + 7.0, span.right) {
            sign::draw(canvas, reason, x, y + 8.0, 6.0);
            if count > 1 {
                canvas.text("", x + 9.0, y + 12.0, Anchor::Start, &format!("×{count}"));
            }
        }
        y += 18.0;
    }
    y
}

/// How far a sign with its count reaches to the right of its middle.
fn reach(count: usize) -> f64 {
    match count {
        0 | 1 => 9.0,
        count => 14.0 + 6.6 * (1.0 + f64::from(count.ilog10() + 1)),
    }
}

/// Signs from `places` in rising order, those that would overlap put together with their number,
/// all between `left` and `right`.
fn clusters(places: &[f64], left: f64, right: f64) -> Vec<(f64, usize)> {
    let mut clusters: Vec<(f64, usize)> = Vec::new();
    for x in places {
        match clusters.last_mut() {
            Some((first, count)) if x - 8.0 < *first + reach(*count + 1) => *count += 1,
            _ => clusters.push((x.max(left), 1)),
        }
    }
    // At the right edge signs move in, and take in those they would cover.
    while let Some((x, count)) = clusters.pop() {
        let x = x.min(right - reach(count));
        match clusters.last_mut() {
            Some((before, of)) if *before + reach(*of) > x - 8.0 => *of += count,
            _ => {
                clusters.push((x.max(left), count));
                break;
            }
        }
    }
    clusters
}

fn hours(canvas: &mut Canvas, view: &View<'_>, span: &Span, bottom: f64) {
    let midnight = view.times.bare_time(from_ms(span.from_ms), crate::times::Fine::Minute);
    let apart = Size::apart(midnight.chars().count()).max(70.0) * 1.3;
    for (ms, _) in span.ticks(&view.times, apart) {
        let x = span.x(ms);
        canvas.line("tick", (x, bottom), (x, bottom + 3.0));
        let label = view.times.bare_time(from_ms(ms), crate::times::Fine::Minute);
        let anchor = match x {
            x if x < span.left + 12.0 => Anchor::Start,
            x if x > span.right - 18.0 => Anchor::End,
            _ => Anchor::Middle,
        };
        canvas.text("quiet", x, bottom + 13.0, anchor, &label);
    }
}

#[cfg(test)]
mod tests {
    use super::{clusters, reach};

    #[test]
    fn signs_never_overlap() {
        let mut places: Vec<f64> =
            (0..400).map(|n| 50.0 + f64::from(n * 7919 % 6600) / 10.0).collect();
        places.extend([705.0, 708.0, 712.0]);
        places.sort_by(f64::total_cmp);
        for step in 1..40 {
            let some: Vec<f64> = places.iter().copied().step_by(step).collect();
            let signs = clusters(&some, 57.0, 716.0);
            assert_eq!(signs.iter().map(|(_, count)| count).sum::<usize>(), some.len());
            for pair in signs.windows(2) {
                assert!(pair[0].0 + reach(pair[0].1) <= pair[1].0 - 6.0, "{pair:?}");
            }
            assert!(signs.last().is_none_or(|(x, count)| x + reach(*count) <= 716.0));
        }
    }
}
