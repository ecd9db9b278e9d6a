//! A drawing in the making: shapes with classes of `style`, no identifiers, so that any number of
//! drawings share a page. What it is written down as (SVG, PDF) is settled later.

use std::borrow::Cow;

/// A finished drawing.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Drawing {
    /// Width of its coordinates.
    pub width: u32,
    /// Height of its coordinates.
    pub height: u32,
    /// What is in it, the lowest first.
    pub shapes: Vec<Shape>,
}

/// Class names of `style`, apart by spaces.
pub type Class = Cow<'static, str>;

/// One shape, in coordinates that grow to the right and down.
#[derive(Clone, Debug, PartialEq)]
#[allow(missing_docs)] // the fields are the coordinates
pub enum Shape {
    Rect { class: Class, x: f64, y: f64, width: f64, height: f64 },
    Line { class: Class, from: (f64, f64), to: (f64, f64) },
    Path { class: Class, path: Path },
    Circle { class: Class, x: f64, y: f64, radius: f64 },
    Text { class: Class, x: f64, y: f64, anchor: Anchor, words: String },
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
    shapes: Vec<Shape>,
}

impl Canvas {
    /// The drawing, done.
    pub fn finish(self, width: u32, height: u32) -> Drawing {
        Drawing { width, height, shapes: self.shapes }
    }

    /// A rectangle.
    pub fn rect(&mut self, class: &'static str, x: f64, y: f64, width: f64, height: f64) {
        let (width, height) = (width.max(0.0), height.max(0.0));
        self.shapes.push(Shape::Rect { class: class.into(), x, y, width, height });
    }

    /// A straight line.
    pub fn line(&mut self, class: &'static str, from: (f64, f64), to: (f64, f64)) {
        self.shapes.push(Shape::Line { class: class.into(), from, to });
    }

    /// A path; nothing where it is empty.
    pub fn path(&mut self, class: impl Into<Class>, path: Path) {
        if !path.steps.is_empty() {
            self.shapes.push(Shape::Path { class: class.into(), path });
        }
    }

    /// A circle.
    pub fn circle(&mut self, class: impl Into<Class>, x: f64, y: f64, radius: f64) {
        self.shapes.push(Shape::Circle { class: class.into(), x, y, radius });
    }

    /// Text.
    pub fn text(&mut self, class: &'static str, x: f64, y: f64, anchor: Anchor, words: &str) {
        let words = words.to_owned();
        self.shapes.push(Shape::Text { class: class.into(), x, y, anchor, words });
    }

    /// Slanted lines over a rectangle: missing rows are told by a pattern, not by a tone.
    pub fn hatch(&mut self, class: &'static str, x: f64, y: f64, width: f64, height: f64) {
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
        self.path(class, path);
    }
}

/// A path over points on a grid of a tenth of a unit, finer than any printer shows.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Path {
    /// Its steps.
    pub steps: Vec<Step>,
    at: (i32, i32),
}

/// A step of a path, in tenths of a unit.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Step {
    /// Moves without drawing.
    Go(i32, i32),
    /// Draws a line.
    To(i32, i32),
    /// Back to where it began.
    Close,
}

impl Path {
    fn tenths(x: f64, y: f64) -> (i32, i32) {
        ((x * 10.0).round() as i32, (y * 10.0).round() as i32)
    }

    /// Moves without drawing.
    pub fn go(&mut self, x: f64, y: f64) {
        self.at = Self::tenths(x, y);
        self.steps.push(Step::Go(self.at.0, self.at.1));
    }

    /// Draws a line.
    pub fn to(&mut self, x: f64, y: f64) {
        let to = Self::tenths(x, y);
        if to != self.at {
            self.at = to;
            self.steps.push(Step::To(to.0, to.1));
        }
    }

    /// Back to where it began.
    pub fn close(&mut self) {
        self.steps.push(Step::Close);
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
    fn points_on_one_level_are_left_out() {
        let mut path = Path::default();
        let points = [(0.0, 1.0), (1.0, 1.0), (2.0, 1.0), (3.0, 2.5), (3.0, -0.5)];
        path.polyline(points.into_iter(), true);
        assert_eq!(
            path.steps,
            [Step::Go(0, 10), Step::To(20, 10), Step::To(30, 25), Step::To(30, -5)]
        );
    }

    #[test]
    fn nothing_is_hatched_where_there_is_nothing() {
        let mut canvas = Canvas::default();
        canvas.hatch("gap", 0.0, 0.0, 0.0, 10.0);
        assert!(canvas.shapes.is_empty());
    }
}
