//! How the classes of drawings look: one table for the style sheet of the page and for the paints
//! of the PDF, so that both show the same picture.

use std::fmt::Write;

/// A colour, 0xRRGGBB.
pub type Colour = u32;

/// Ink of words and strokes.
pub const INK: Colour = 0x001b_232b;
const QUIET: Colour = 0x0051_5c66;
const PALE: Colour = 0x008d_969d;
const WHITE: Colour = 0x00ff_ffff;
const MARK: Colour = 0x006d_4c00;

/// What a class sets.
#[derive(Clone, Copy, Debug)]
enum Set {
    /// Colour of the inside; `None` for no inside.
    Fill(Option<Colour>),
    /// Colour of the line; `None` for no line.
    Stroke(Option<Colour>),
    /// Width of the line.
    Width(f32),
    /// Dash and gap.
    Dash(f32, f32),
    /// Opacity of the inside.
    Opacity(f32),
    /// Size of words.
    Size(f32),
    /// Weight of words: 400 or 600.
    Weight(u16),
    /// Words stand on a white edge, to be read over lines.
    Halo,
    /// Corners of lines are round.
    Round,
}

use Set::{Dash, Fill, Halo, Opacity, Round, Size, Stroke, Weight, Width};

/// Classes in order: of two that set the same, the later one holds.
const CLASSES: &[(&str, &[Set])] = &[
    ("quiet", &[Fill(Some(QUIET))]),
    ("name", &[Weight(600)]),
    ("halo", &[Halo]),
    ("frame", &[Fill(None), Stroke(Some(PALE)), Width(0.8)]),
    ("grid", &[Stroke(Some(0x00e2_e5e7)), Width(0.8)]),
    ("tick", &[Stroke(Some(PALE)), Width(0.8)]),
    ("limit", &[Stroke(Some(INK)), Width(1.1), Dash(7.0, 3.0)]),
    ("declared", &[Stroke(Some(QUIET)), Width(0.9), Dash(1.5, 2.5)]),
    ("voltage", &[Fill(Some(0x003d_4a8a)), Stroke(Some(0x003d_4a8a))]),
    ("current", &[Fill(Some(0x00a3_400f)), Stroke(Some(0x00a3_400f))]),
    ("power", &[Fill(Some(0x007a_5c00)), Stroke(Some(0x007a_5c00))]),
    ("pressure", &[Fill(Some(0x000a_6472)), Stroke(Some(0x000a_6472))]),
    ("other", &[Fill(Some(0x004d_4d4d)), Stroke(Some(0x004d_4d4d))]),
    ("second", &[Dash(5.0, 2.0)]),
    ("third", &[Dash(2.0, 2.0)]),
    ("band", &[Opacity(0.28), Stroke(None)]),
    ("mean", &[Fill(None), Width(1.5), Round]),
    ("dot", &[Stroke(Some(WHITE)), Width(0.5)]),
    ("moment", &[Fill(Some(0x00f0_dfb0)), Opacity(0.6)]),
    ("moment-edge", &[Stroke(Some(MARK)), Width(1.2)]),
    ("flag", &[Fill(Some(MARK))]),
    ("flag-letter", &[Fill(Some(WHITE)), Weight(600)]),
    ("gap", &[Fill(None), Stroke(Some(QUIET)), Width(0.8)]),
    ("absent", &[Fill(Some(WHITE))]),
    ("run", &[Fill(Some(INK))]),
    ("run-track", &[Fill(Some(0x00ec_eeea))]),
    ("lamp", &[Fill(Some(MARK))]),
    ("clip", &[Fill(Some(INK))]),
    ("sign-open", &[Fill(Some(WHITE)), Stroke(Some(INK)), Width(1.0)]),
    ("sign-dashed", &[Fill(Some(WHITE)), Stroke(Some(INK)), Width(1.0), Dash(2.0, 1.6)]),
    ("sign-full", &[Fill(Some(INK))]),
    ("sign-dark", &[Size(9.5), Weight(600)]),
    ("sign-light", &[Size(9.5), Weight(600), Fill(Some(WHITE))]),
    ("bar", &[Fill(Some(QUIET))]),
    ("median", &[Stroke(Some(INK)), Width(2.2)]),
    ("bar-frame", &[Fill(None), Stroke(Some(PALE)), Width(0.8)]),
];

/// Size of words that no class sets.
const WORDS: f32 = 11.0;

/// The style sheet.
pub fn css() -> String {
    // Writing to a string does not fail.
    let mut out = format!(
        "svg text {{ font-family: var(--figures); font-size: {WORDS}px; fill: {}; }}\n",
        hex(Some(INK))
    );
    for (class, sets) in CLASSES {
        let _ = write!(out, "svg .{class} {{");
        for set in *sets {
            let _ = match set {
                Fill(colour) => write!(out, " fill: {};", hex(*colour)),
                Stroke(colour) => write!(out, " stroke: {};", hex(*colour)),
                Width(width) => write!(out, " stroke-width: {width};"),
                Dash(dash, gap) => write!(out, " stroke-dasharray: {dash} {gap};"),
                Opacity(opacity) => write!(out, " fill-opacity: {opacity};"),
                Size(size) => write!(out, " font-size: {size}px;"),
                Weight(weight) => write!(out, " font-weight: {weight};"),
                Halo => write!(
                    out,
                    " paint-order: stroke; stroke: #fff; stroke-width: 3px; \
                     stroke-linejoin: round;"
                ),
                Round => write!(out, " stroke-linejoin: round;"),
            };
        }
        out.push_str(" }\n");
    }
    out.push_str("svg.inline { vertical-align: -0.2em; overflow: visible; }\n");
    out
}

fn hex(colour: Option<Colour>) -> String {
    colour.map_or_else(|| "none".to_owned(), |colour| format!("#{colour:06x}"))
}

/// How a shape looks, all its classes put together.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Look {
    /// Colour of the inside.
    pub fill: Option<Colour>,
    /// Opacity of the inside.
    pub opacity: f32,
    /// Colour of the line.
    pub stroke: Option<Colour>,
    /// Width of the line.
    pub width: f32,
    /// Dash and gap.
    pub dash: Option<(f32, f32)>,
    /// Size of words.
    pub size: f32,
    /// Bold words.
    pub bold: bool,
    /// Words stand on a white edge.
    pub halo: bool,
    /// Corners of lines are round.
    pub round: bool,
}

/// The look of a shape with the classes of `names`.
pub fn look(names: &str) -> Look {
    let mut look = Look {
        fill: Some(INK),
        opacity: 1.0,
        stroke: None,
        width: 1.0,
        dash: None,
        size: WORDS,
        bold: false,
        halo: false,
        round: false,
    };
    for (class, sets) in CLASSES {
        if !names.split(' ').any(|name| name == *class) {
            continue;
        }
        for set in *sets {
            match *set {
                Fill(colour) => look.fill = colour,
                Stroke(colour) => look.stroke = colour,
                Width(width) => look.width = width,
                Dash(dash, gap) => look.dash = Some((dash, gap)),
                Opacity(opacity) => look.opacity = opacity,
                Size(size) => look.size = size,
                Weight(weight) => look.bold = weight > 500,
                Halo => look.halo = true,
                Round => look.round = true,
            }
        }
    }
    look
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn classes_add_up_in_the_order_of_the_table() {
        let band = look("band voltage");
        assert_eq!((band.fill, band.stroke, band.opacity), (Some(0x003d_4a8a), None, 0.28));
        let mean = look("mean current third");
        assert_eq!((mean.fill, mean.stroke), (None, Some(0x00a3_400f)));
        assert_eq!((mean.width, mean.dash), (1.5, Some((2.0, 2.0))));
        assert_eq!(look("").size, WORDS);
    }

    #[test]
    fn the_sheet_names_every_class_once() {
        let css = css();
        for (class, _) in CLASSES {
            assert_eq!(css.matches(&format!("svg .{class} {{")).count(), 1, "{class}");
        }
        assert!(
            css.contains(
                "svg .limit { stroke: #1b232b; stroke-width: 1.1; stroke-dasharray: 7 3; }"
            )
        );
    }
}
