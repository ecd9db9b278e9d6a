//! Drawings as SVG: what stands between `<svg>` and `</svg>`, as short as can be.

use super::drawing::{Anchor, Drawing, Path, Shape, Step};
use crate::html::escape;
use std::fmt::Write;

/// A drawing's content. Its looks are the classes of `style`.
pub fn body(drawing: &Drawing) -> String {
    let mut out = String::with_capacity(drawing.shapes.len() * 80);
    for shape in &drawing.shapes {
        self::shape(&mut out, shape);
    }
    out
}

/// Writing to a string does not fail, so results are dropped.
fn shape(out: &mut String, shape: &Shape) {
    match shape {
        Shape::Rect { class, x, y, width, height } => {
            let (x, y, width, height) = (short(*x), short(*y), short(*width), short(*height));
            let _ = write!(
                out,
                r#"<rect class="{class}" x="{x}" y="{y}" width="{width}" height="{height}"/>"#
            );
        }
        Shape::Line { class, from, to } => {
            let (x1, y1, x2, y2) = (short(from.0), short(from.1), short(to.0), short(to.1));
            let _ =
                write!(out, r#"<line class="{class}" x1="{x1}" y1="{y1}" x2="{x2}" y2="{y2}"/>"#);
        }
        Shape::Path { class, path } => {
            let _ = write!(out, r#"<path class="{class}" d="{}"/>"#, path_data(path));
        }
        Shape::Circle { class, x, y, radius } => {
            let (x, y, radius) = (short(*x), short(*y), short(*radius));
            let _ = write!(out, r#"<circle class="{class}" cx="{x}" cy="{y}" r="{radius}"/>"#);
        }
        Shape::Text { class, x, y, anchor, words } => {
            let anchor = match anchor {
                Anchor::Start => "",
                Anchor::Middle => r#" text-anchor="middle""#,
                Anchor::End => r#" text-anchor="end""#,
            };
            let (x, y) = (short(*x), short(*y));
            let _ = write!(out, r#"<text class="{class}" x="{x}" y="{y}"{anchor}>"#);
            escape::push(out, words);
            out.push_str("</text>");
        }
    }
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

/// Path data in relative steps, which are shorter.
fn path_data(path: &Path) -> String {
    let mut out = String::with_capacity(path.steps.len() * 6);
    let mut at = (0, 0);
    let mut letter = ' ';
    for step in &path.steps {
        let (next, first, second) = match *step {
            Step::Go(x, y) => {
                at = (x, y);
                ('M', x, Some(y))
            }
            Step::To(x, y) => {
                let (across, down) = (x - at.0, y - at.1);
                at = (x, y);
                match (across, down) {
                    (across, 0) => ('h', across, None),
                    (0, down) => ('v', down, None),
                    (across, down) => ('l', across, Some(down)),
                }
            }
            Step::Close => {
                out.push('z');
                letter = 'z';
                continue;
            }
        };
        // A repeated letter may be left out, but numbers after M would be lines.
        let fresh = letter != next || next == 'M';
        if fresh {
            out.push(next);
            letter = next;
        }
        number(&mut out, first, fresh);
        if let Some(second) = second {
            number(&mut out, second, false);
        }
    }
    out
}

fn number(out: &mut String, tenths: i32, after_letter: bool) {
    if tenths < 0 {
        out.push('-');
    } else if !after_letter {
        out.push(' ');
    }
    let tenths = tenths.unsigned_abs();
    if tenths >= 10 || tenths == 0 {
        let _ = write!(out, "{}", tenths / 10);
    }
    if !tenths.is_multiple_of(10) {
        let _ = write!(out, ".{}", tenths % 10);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::picture::drawing::Canvas;

    #[test]
    fn paths_are_short_and_exact() {
        let mut path = Path::default();
        let points = [(0.0, 1.0), (1.0, 1.0), (2.0, 1.0), (3.0, 2.5), (3.0, -0.5)];
        path.polyline(points.into_iter(), true);
        path.go(0.0, 0.0);
        path.to(1.0, 0.0);
        path.close();
        assert_eq!(path_data(&path), "M0 1h2l1 1.5v-3M0 0h1z");
    }

    #[test]
    fn words_are_escaped() {
        let mut canvas = Canvas::default();
        canvas.text("label", 1.0, 2.25, Anchor::End, "</svg><script>");
        assert_eq!(
            body(&canvas.finish(1, 1)),
            "<text class=\"label\" x=\"1\" y=\"2.3\" text-anchor=\"end\">\
             &lt;/svg&gt;&lt;script&gt;</text>"
        );
    }
}
