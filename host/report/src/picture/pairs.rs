//! How values of two records lie: a bar from the tenth to the nine-tenths point with its median,
//! the first record outlined, the second filled.

use super::Size;
use super::axis::Scale;
use super::drawing::{Anchor, Canvas, Drawing};

/// A line of the picture, in the reader's unit.
#[derive(Clone, Debug)]
pub struct Pair {
    /// What it is, with its unit.
    pub name: String,
    /// Tenth, median and nine-tenths point of the first record.
    pub first: [f64; 3],
    /// Of the second.
    pub second: [f64; 3],
    /// False where the scale need not begin at nought.
    pub from_nought: bool,
}

/// Draws it.
pub fn draw(pairs: &[Pair], size: Size) -> Drawing {
    const ROW: f64 = 58.0;
    let mut canvas = Canvas::default();
    let (left, right) = (4.0, size.right() - 10.0);
    for (number, pair) in pairs.iter().enumerate() {
        let top = number as f64 * ROW;
        canvas.text("name", left, top + 12.0, Anchor::Start, &pair.name);
        let all = pair.first.iter().chain(&pair.second);
        let (low, high) = all.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), value| {
            (low.min(*value), high.max(*value))
        });
        // A little below nought is the scatter of a resting sensor.
        let low = if pair.from_nought && low > -0.05 * high { 0.0 } else { low };
        // The scale runs along the row, so its lower end lies to the left.
        let scale = Scale::new(low, high, 6.0, left, right);
        let axis = top + 40.0;
        for tick in scale.ticks() {
            let x = scale.y(tick);
            canvas.line("grid", (x, top + 17.0), (x, axis));
            let anchor = match x {
                x if x < left + 12.0 => Anchor::Start,
                x if x > right - 12.0 => Anchor::End,
                _ => Anchor::Middle,
            };
            let words = crate::format::fixed(tick, scale.decimals());
            canvas.text("quiet", x, axis + 11.0, anchor, &words);
        }
        for (of, class, y) in
            [(pair.first, "bar-frame", top + 19.0), (pair.second, "bar", top + 30.0)]
        {
            let [tenth, median, nine_tenths] = of.map(|value| scale.y(value));
            canvas.rect(class, tenth, y, (nine_tenths - tenth).max(1.5), 8.0);
            canvas.line("median", (median, y - 1.5), (median, y + 9.5));
        }
    }
    canvas.finish(size.width(), (pairs.len() as f64 * ROW).max(1.0) as u32)
}
