//! Sizes on paper, pt.

use super::face::Setting;
use crate::content::Paper;

/// Left and right margin.
pub const SIDE: f32 = 43.0;
/// Upper margin.
pub const TOP: f32 = 40.0;
/// Room below the field: the running foot stands in it.
pub const FOOT: f32 = 52.0;

/// Width and height of a sheet: ISO 216 and ASME Y14.1.
pub fn sheet(paper: Paper) -> (f32, f32) {
    match paper {
        Paper::A4 => (595.276, 841.89),
        Paper::Letter => (612.0, 792.0),
    }
}

/// Settings of words, all made smaller alike where page one has much to say.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Sizes {
    /// Share of the full size.
    pub scale: f32,
}

impl Sizes {
    fn of(self, size: f32, leading: f32) -> Setting {
        Setting { size: size * self.scale, leading: leading * self.scale }
    }

    /// Paragraphs.
    pub fn body(self) -> Setting {
        self.of(9.2, 13.2)
    }

    /// Sources, reservations, captions.
    pub fn aside(self) -> Setting {
        self.of(8.2, 11.6)
    }

    /// Names of facts.
    pub fn label(self) -> Setting {
        self.of(8.2, 13.0)
    }

    /// What facts are.
    pub fn fact(self) -> Setting {
        self.of(8.8, 13.0)
    }

    /// Cells.
    pub fn cell(self) -> Setting {
        self.of(8.0, 11.0)
    }

    /// Text as it is.
    pub fn verbatim(self) -> Setting {
        self.of(8.0, 10.6)
    }

    /// Over a statement.
    pub fn over(self) -> Setting {
        self.of(8.2, 11.6)
    }

    /// The best explanation, and further ones.
    pub fn headline(self, first: bool) -> Setting {
        if first { self.of(14.5, 18.5) } else { self.of(11.5, 15.0) }
    }

    /// Headings by level; 1 is the title.
    pub fn heading(self, level: usize) -> Setting {
        match level {
            0 | 1 => self.of(19.0, 23.0),
            2 => self.of(14.0, 18.0),
            3 => self.of(11.2, 15.0),
            _ => self.of(9.6, 13.2),
        }
    }

    /// Room above a heading.
    pub fn above_heading(self, level: usize) -> f32 {
        self.scale
            * match level {
                0 | 1 => 0.0,
                2 => 22.0,
                3 => 16.0,
                _ => 9.0,
            }
    }

    /// `pt` in the same proportion as the words.
    pub fn pt(self, pt: f32) -> f32 {
        pt * self.scale
    }
}
