//! Pictures, drawn as vectors: values over time in panes, captures, when something happened, and
//! days at a glance. Each is drawn twice, for a page and for a phone, because a picture scaled down
//! takes its words with it.

mod axis;
pub mod capture;
pub mod decimate;
pub mod drawing;
pub mod glance;
pub mod pairs;
mod pane;
pub mod sign;
pub mod stack;
pub mod strip;
pub mod style;
pub mod svg;

pub use drawing::Drawing;

/// For what width a picture is drawn.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Size {
    /// A page or a desktop.
    Wide,
    /// A phone.
    Narrow,
}

impl Size {
    /// Width of the drawing.
    fn width(self) -> u32 {
        match self {
            Self::Wide => 720,
            Self::Narrow => 343,
        }
    }

    /// Left edge of the plot.
    fn left(self) -> f64 {
        match self {
            Self::Wide => 50.0,
            Self::Narrow => 38.0,
        }
    }

    /// Right edge of the plot, where labels of levels stand beside it on a page and inside it on a
    /// phone.
    fn right_beside_labels(self) -> f64 {
        match self {
            Self::Wide => self.right() - 116.0,
            Self::Narrow => self.right(),
        }
    }

    /// Right edge of the drawing.
    fn right(self) -> f64 {
        f64::from(self.width()) - 4.0
    }

    /// Least distance of time labels of `characters`.
    fn apart(characters: usize) -> f64 {
        characters as f64 * 6.2 + 18.0
    }
}
