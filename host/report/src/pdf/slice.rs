//! What a page is filled with: slices that are never cut, each with what is drawn in it.

use super::face::Laid;
use super::tags::Place;
use crate::content::Tone;
use crate::picture::Drawing;
use crate::picture::style::Colour;
use std::rc::Rc;

/// A strip of the page over its whole width. Coordinates inside are from its upper left corner, pt.
#[derive(Clone, Debug, Default)]
pub struct Slice {
    /// Height, pt.
    pub height: f32,
    /// Room above it, pt; none at the top of a page.
    pub before: f32,
    /// True where it must not be the last on its page.
    pub keep: bool,
    /// What is drawn.
    pub inks: Vec<Ink>,
    /// Anchors that lead here.
    pub anchors: Vec<String>,
    /// A heading for the bookmarks: level from 1, words.
    pub bookmark: Option<(usize, String)>,
    /// What is repeated above it where it comes first on a page.
    pub head: Option<Rc<Head>>,
    /// A bar down the left side.
    pub bar: Option<Bar>,
    /// True where it begins a new page.
    pub fresh: bool,
}

/// The head of a table, repeated on every page it goes on to.
#[derive(Clone, Debug)]
pub struct Head {
    /// Height, pt.
    pub height: f32,
    /// What is drawn.
    pub inks: Vec<Ink>,
}

/// A bar down the left side, in one piece over slices of the same number.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bar {
    /// Number of the statement.
    pub number: usize,
    /// Where, pt from the left.
    pub x: f32,
    /// How grave; told by width and line as well as by colour.
    pub tone: Tone,
}

/// One thing drawn.
#[derive(Clone, Debug)]
pub enum Ink {
    /// A line of set words, with its upper left corner at `x`, `y`.
    Words {
        /// The words.
        words: Rc<Words>,
        /// Which line.
        line: usize,
        /// From the left, pt.
        x: f32,
        /// From the top, pt.
        y: f32,
    },
    /// A drawing.
    Drawing {
        /// The drawing.
        drawing: Rc<Drawing>,
        /// From the left, pt.
        x: f32,
        /// From the top, pt.
        y: f32,
        /// Size of one unit of the drawing, pt.
        scale: f32,
        /// Where it belongs; `None` where words beside it say the same.
        place: Option<Place>,
    },
    /// A filled rectangle; decoration.
    Rect {
        /// From the left, pt.
        x: f32,
        /// From the top, pt.
        y: f32,
        /// Width, pt.
        width: f32,
        /// Height, pt.
        height: f32,
        /// Colour.
        colour: Colour,
    },
    /// The number of the page that an anchor is on, ending at `right`.
    PageOf {
        /// The anchor.
        anchor: String,
        /// From the left, pt.
        right: f32,
        /// From the top to the baseline, pt.
        baseline: f32,
        /// Size, pt.
        size: f32,
        /// Where it belongs.
        place: Place,
    },
}

impl Ink {
    /// The same, moved.
    #[must_use]
    pub fn moved(mut self, right: f32, down: f32) -> Self {
        match &mut self {
            Self::Words { x, y, .. } | Self::Drawing { x, y, .. } | Self::Rect { x, y, .. } => {
                *x += right;
                *y += down;
            }
            Self::PageOf { right: x, baseline, .. } => {
                *x += right;
                *baseline += down;
            }
        }
        self
    }
}

/// Set words with what each piece of them is.
#[derive(Clone, Debug)]
pub struct Words {
    /// The set words.
    pub laid: Laid,
    /// Its pieces.
    pub pieces: Vec<PieceInk>,
}

/// What a piece of set words is.
#[derive(Clone, Debug)]
pub struct PieceInk {
    /// Colour.
    pub colour: Colour,
    /// Where it belongs.
    pub place: Place,
    /// The anchor it leads to, and the place for the link.
    pub link: Option<(String, Place)>,
}
