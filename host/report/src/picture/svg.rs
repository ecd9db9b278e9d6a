//! A drawing in the making: shapes with classes of `picture.css`, no identifiers, so that any
//! number of drawings share a page.

use crate::html::escape;
use std::fmt::Write;

/// A finished drawing, without the outer element.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Svg {
    /// Width of its coordinates.
    pub width: u32,
    /// Height of its coordinates.
    pub height: u32,
    /// What is in it.
    pub body: String,
}

/// Where a text hangs on its point.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Anchor {
    /// Begins there.
    Start,
    /// Has its middle there.
    Middle,
    /// Ends there.
    End,
}

/// A drawing in the making.
#[derive(Debug, Default)]
pub struct Canvas {
    body: String,
}

/// A coordinate with one decimal, as short as can be.
fn short(value: f64) -> String {
    let tenths = (value * 10.0).round() as i64;
    if tenths % 10 == 0 {
        return (tenths / 10).to_string();
    }
    let sign = if tenths < 0 { "-" } else { "" };
    format!("{sign}{}.{}", tenths.abs() / 10, tenths.abs() % 10)
}

impl Canvas {
    /// The drawing, done.
    pub fn finish(self, width: u32, height: u32) -> Svg {
        Svg { width, height, body: self.body }
    }

    /// A rectangle.
    pub fn rect(&mut self, class: &str, x: f64, y: f64, width: f64, height: f64) {
        let _ = write!(
            self.body,
            r#"<rect class="{class}" x="{}" y="{}" width="{}" height="{}"/>"#,
            short(x),
            short(y),
            short(width.max(0.0)),
            short(height.max(0.0))
        );
    }

    /// A straight line.
    pub fn line(&mut self, class: &str, from: (f64, f64), to: (f64, f64)) {
        let _ = write!(
            self.body,
            r#"<line class="{class}" x1="{}" y1="{}" x2="{}" y2="{}"/>"#,
            short(from.0),
            short(from.1),
            short(to.0),
            short(to.1)
        );
    }

    /// A path made by [`Path`]; nothing where it is empty.
    pub fn path(&mut self, class: &str, path: &Path) {
        if !path.data.is_empty() {
            let _ = write!(self.body, r#"<path class="{class}" d="{}"/>"#, path.data);
        }
    }

    /// A circle.
    pub fn circle(&mut self, class: &str, x: f64, y: f64, radius: f64) {
        let _ = write!(
            self.body,
            r#"<circle class="{class}" cx="{}" cy="{}" r="{}"/>"#,
            short(x),
            short(y),
            short(radius)
        );
    }

    /// Text, escaped.
    pub fn text(&mut self, class: &str, x: f64, y: f64, anchor: Anchor, words: &str) {
        let anchor = match anchor {
            Anchor::Start => "",
            Anchor::Middle => r#" text-anchor="middle""#,
            Anchor::End => r#" text-anchor="end""#,
        };
        let _ = write!(
            self.body,
            r#"<text class="{class}" x="{}" y="{}"{anchor}>"#,
            short(x),
            short(y)
        );
        escape::push(&mut self.body, words);
        self.body.push_str("</text>");
    }

    /// Slanted lines over a rectangle: missing rows are told by a pattern, not by a tone.
    pub fn hatch(&mut self, class: &str, x: f64, y: f64, width: f64, height: f64) {
        const STEP: f64 = 6.0;
        if width <= 0.0 || height <= 0.0 {
            return;
        }
        let mut path = Path::default();
        let mut along = STEP / 2.0;
        while along < width + height {
            // From the lower or right edge up to the left or upper one.
            let (x1, y1) = if along < width { (along, 0.0) } else { (width, along - width) };
            let (x2, y2) = if along < height { (0.0, along) } else { (along - height, height) };
            path.go(x + x1, y + y1);
            path.to(x + x2, y + y2);
            along += STEP;
        }
        self.path(class, &path);
    }
}

/// Path data in relative steps of a tenth of a unit.
#[derive(Debug, Default)]
pub struct Path {
    data: String,
    at: (i64, i64),
    letter: char,
}

impl Path {
    fn tenths(x: f64, y: f64) -> (i64, i64) {
        ((x * 10.0).round() as i64, (y * 10.0).round() as i64)
    }

    fn number(&mut self, tenths: i64, after_letter: bool) {
        if !after_letter && tenths >= 0 {
            self.data.push(' ');
        }
        if tenths < 0 {
            self.data.push('-');
        }
        let tenths = tenths.unsigned_abs();
        if tenths >= 10 || tenths == 0 {
            let _ = write!(self.data, "{}", tenths / 10);
        }
        if !tenths.is_multiple_of(10) {
            let _ = write!(self.data, ".{}", tenths % 10);
        }
    }

    /// Moves without drawing.
    pub fn go(&mut self, x: f64, y: f64) {
        self.at = Self::tenths(x, y);
        self.data.push('M');
        self.letter = 'M';
        self.number(self.at.0, true);
        self.number(self.at.1, false);
    }

    /// Draws a line.
    pub fn to(&mut self, x: f64, y: f64) {
        let to = Self::tenths(x, y);
        let step = (to.0 - self.at.0, to.1 - self.at.1);
        self.at = to;
        let (letter, first, second) = match step {
            (0, 0) => return,
            (across, 0) => ('h', across, None),
            (0, down) => ('v', down, None),
            (across, down) => ('l', across, Some(down)),
        };
        let fresh = self.letter != letter;
        if fresh {
            self.data.push(letter);
            self.letter = letter;
        }
        self.number(first, fresh);
        if let Some(second) = second {
            self.number(second, false);
        }
    }

    /// Back to where it began.
    pub fn close(&mut self) {
        self.data.push('z');
        self.letter = 'z';
    }

    /// A line through `points`; of points on one level only the ends are kept.
    pub fn polyline(&mut self, points: impl Iterator<Item = (f64, f64)>, begin: bool) {
        let mut begun = !begin;
        let mut level: Option<(f64, f64)> = None;
        let mut last: Option<i64> = None;
        for (x, y) in points {
            let tenth = (y * 10.0).round() as i64;
            if !begun {
                self.go(x, y);
                begun = true;
            } else if last == Some(tenth) {
                level = Some((x, y));
                continue;
            } else {
                if let Some((x, y)) = level.take() {
                    self.to(x, y);
                }
                self.to(x, y);
            }
            last = Some(tenth);
        }
        if let Some((x, y)) = level {
            self.to(x, y);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn paths_are_short_and_exact() {
        let mut path = Path::default();
        let points = [(0.0, 1.0), (1.0, 1.0), (2.0, 1.0), (3.0, 2.5), (3.0, -0.5)];
        path.polyline(points.into_iter(), true);
        assert_eq!(path.data, "M0 1h2l1 1.5v-3");
    }

    #[test]
    fn words_are_escaped() {
        let mut canvas = Canvas::default();
        canvas.text("label", 1.0, 2.25, Anchor::End, "</svg><script>");
        assert_eq!(
            canvas.finish(1, 1).body,
            "<text class=\"label\" x=\"1\" y=\"2.3\" text-anchor=\"end\">\
             &lt;/svg&gt;&lt;script&gt;</text>"
        );
    }

    #[test]
    fn hatching_stays_inside() {
        let mut canvas = Canvas::default();
        canvas.hatch("gap", 0.0, 0.0, 0.0, 10.0);
        assert!(canvas.body.is_empty());
    }
}
