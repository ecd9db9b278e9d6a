//! The report's own fonts, and words set in them: shaped, broken into lines, ready to be drawn.

use crate::picture::style::Colour;
use krilla::text::{Font, GlyphId, KrillaGlyph};
use parley::fontique::{Blob, Collection, CollectionOptions, FontInfo, SourceCache};
use parley::style::{
    FontFamily, FontFamilyName, FontWeight, LineHeight, OverflowWrap, StyleProperty,
};
use parley::{FontContext, LayoutContext};
use std::borrow::Cow;
use std::collections::HashMap;
use std::fmt::Write;
use std::rc::Rc;
use std::sync::Arc;

const REGULAR: &[u8] = include_bytes!("../../fonts/Inter-Regular.otf");
const BOLD: &[u8] = include_bytes!("../../fonts/Inter-SemiBold.otf");
const MONO: &[u8] = include_bytes!("../../fonts/NotoSansMono-Regular.ttf");

/// Family names inside the files.
const TEXT_FAMILY: &str = "Inter";
const MONO_FAMILY: &str = "Noto Sans Mono";

/// Which of the fonts.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Face {
    /// Ordinary words.
    Regular,
    /// Strong words and headings.
    Bold,
    /// Digits to be copied exactly.
    Mono,
}

/// How words are set.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Setting {
    /// Size, pt.
    pub size: f32,
    /// Distance of lines, pt.
    pub leading: f32,
}

/// Words in one face and colour.
#[derive(Clone, Debug, PartialEq)]
pub struct Piece {
    /// The words.
    pub words: String,
    /// Their face.
    pub face: Face,
    /// Their colour.
    pub colour: Colour,
}

/// Words set in lines.
#[derive(Clone, Debug)]
pub struct Laid {
    /// All the words.
    pub text: Rc<str>,
    /// Lines, top to bottom.
    pub lines: Vec<Line>,
    /// Width of the longest part that cannot be broken, pt.
    pub least: f32,
    /// Width of the whole in one line, pt.
    pub most: f32,
}

/// One line.
#[derive(Clone, Debug)]
pub struct Line {
    /// The baseline below the line's top, pt.
    pub baseline: f32,
    /// Height, pt.
    pub height: f32,
    /// Width without trailing space, pt.
    pub width: f32,
    /// Glyphs of one piece and font each.
    pub runs: Vec<Run>,
}

/// Glyphs in one font, of one piece.
#[derive(Clone, Debug)]
pub struct Run {
    /// Number of the piece.
    pub piece: usize,
    /// Where it begins in the line, pt.
    pub x: f32,
    /// How far it reaches, pt.
    pub advance: f32,
    /// The font.
    pub font: Font,
    /// Size, pt.
    pub size: f32,
    /// The glyphs.
    pub glyphs: Vec<KrillaGlyph>,
}

/// The fonts and what setting words needs.
pub struct Faces {
    fonts: FontContext,
    layouts: LayoutContext<u16>,
    /// Fonts for writing, by the number that setting knows their data by.
    written: HashMap<u64, Font>,
    infos: Vec<(FontInfo, &'static [u8])>,
}

impl Faces {
    /// The report's own fonts; none of the computer's, so that every computer sets alike.
    pub fn new() -> Self {
        let mut collection =
            Collection::new(CollectionOptions { shared: false, system_fonts: false });
        let mut written = HashMap::new();
        let mut infos = Vec::new();
        for bytes in [REGULAR, BOLD, MONO] {
            let blob = Blob::new(Arc::new(bytes));
            if let Some(font) = Font::new(bytes.into(), 0) {
                written.insert(blob.id(), font);
            }
            for (_, fonts) in collection.register_fonts(blob, None) {
                infos.extend(fonts.into_iter().map(|info| (info, bytes)));
            }
        }
        let fonts = FontContext { collection, source_cache: SourceCache::default() };
        Self { fonts, layouts: LayoutContext::new(), written, infos }
    }

    /// Whether the text font has a glyph for `character`.
    fn has(&self, character: char) -> bool {
        self.infos.first().is_some_and(|(info, bytes)| {
            let glyph = info.charmap_index().charmap(bytes).and_then(|map| map.map(character));
            glyph.is_some_and(|glyph| glyph != 0)
        })
    }

    /// `words` with characters that no font here has, and those that would hide or turn others,
    /// written as their code point: nothing is dropped in silence.
    pub fn shown<'w>(&self, words: &'w str) -> Cow<'w, str> {
        let plain = |c: char| c == ' ' || (!c.is_control() && self.has(c));
        if words.chars().all(plain) {
            return Cow::Borrowed(words);
        }
        let mut out = String::with_capacity(words.len() + 8);
        for character in words.chars() {
            match character {
                c if plain(c) => out.push(c),
                '\n' | '\t' => out.push(' '),
                // Writing to a string does not fail.
                c => drop(write!(out, "[U+{:04X}]", u32::from(c))),
            }
        }
        Cow::Owned(out)
    }

    /// Sets `pieces` in lines no wider than `width`.
    pub fn lay(&mut self, pieces: &[Piece], width: Option<f32>, setting: Setting) -> Laid {
        let mut text = String::new();
        let mut ranges = Vec::new();
        for piece in pieces {
            let from = text.len();
            text.push_str(&self.shown(&piece.words));
            ranges.push(from..text.len());
        }
        let mut builder = self.layouts.ranged_builder(&mut self.fonts, &text, 1.0, false);
        builder.push_default(family(Face::Regular));
        builder.push_default(StyleProperty::FontSize(setting.size));
        builder.push_default(StyleProperty::LineHeight(LineHeight::Absolute(setting.leading)));
        builder.push_default(StyleProperty::OverflowWrap(OverflowWrap::BreakWord));
        for (number, (piece, range)) in pieces.iter().zip(&ranges).enumerate() {
            builder.push(StyleProperty::Brush(number as u16), range.clone());
            match piece.face {
                Face::Regular => {}
                Face::Bold => {
                    builder.push(StyleProperty::FontWeight(FontWeight::new(600.0)), range.clone());
                }
                Face::Mono => {
                    builder.push(family(Face::Mono), range.clone());
                    builder.push(StyleProperty::FontSize(setting.size * 0.9), range.clone());
                    let anywhere = StyleProperty::OverflowWrap(OverflowWrap::Anywhere);
                    builder.push(anywhere, range.clone());
                }
            }
        }
        let mut layout = builder.build(&text);
        let widths = layout.calculate_content_widths();
        layout.break_all_lines(width);
        let mut lines = Vec::with_capacity(layout.len());
        for line in layout.lines() {
            let metrics = line.metrics();
            let top = metrics.block_min_coord;
            lines.push(Line {
                baseline: metrics.baseline - top,
                height: metrics.block_max_coord - top,
                width: metrics.advance - metrics.hanging_advance,
                runs: self.runs(&line),
            });
        }
        Laid { text: text.into(), lines, least: widths.min, most: widths.max }
    }

    /// The glyphs of a line, apart by font and piece.
    fn runs(&self, line: &parley::Line<'_, u16>) -> Vec<Run> {
        let mut runs: Vec<Run> = Vec::new();
        let mut x = 0.0;
        for run in line.runs() {
            let Some(font) = self.written.get(&run.font().data.id()) else { continue };
            let size = run.font_size();
            let mut fresh = true;
            for cluster in run.visual_clusters() {
                let piece = usize::from(cluster.style().brush);
                if cluster.is_ligature_continuation() {
                    // A ligature has its glyph in its first cluster; the text goes on.
                    if let Some(glyph) = runs.last_mut().and_then(|run| run.glyphs.last_mut()) {
                        glyph.text_range.end = cluster.text_range().end;
                    }
                    continue;
                }
                if fresh || runs.last().is_some_and(|run| run.piece != piece) {
                    let (font, glyphs) = (font.clone(), Vec::new());
                    runs.push(Run { piece, x, advance: 0.0, font, size, glyphs });
                    fresh = false;
                }
                for glyph in cluster.glyphs() {
                    let Some(run) = runs.last_mut() else { break };
                    run.glyphs.push(KrillaGlyph::new(
                        GlyphId::new(glyph.id),
                        glyph.advance / size,
                        glyph.x / size,
                        glyph.y / size,
                        0.0,
                        cluster.text_range(),
                        None,
                    ));
                    run.advance += glyph.advance;
                    x += glyph.advance;
                }
            }
        }
        runs
    }
}

fn family(face: Face) -> StyleProperty<'static, u16> {
    const TEXT: &[FontFamilyName<'static>] = &[FontFamilyName::Named(Cow::Borrowed(TEXT_FAMILY))];
    const DIGITS: &[FontFamilyName<'static>] = &[
        FontFamilyName::Named(Cow::Borrowed(MONO_FAMILY)),
        FontFamilyName::Named(Cow::Borrowed(TEXT_FAMILY)),
    ];
    let names = if face == Face::Mono { DIGITS } else { TEXT };
    StyleProperty::FontFamily(FontFamily::List(Cow::Borrowed(names)))
}

#[cfg(test)]
mod tests {
    use super::*;

    const SETTING: Setting = Setting { size: 10.0, leading: 14.0 };

    fn piece(words: &str, face: Face) -> Piece {
        Piece { words: words.to_owned(), face, colour: 0 }
    }

    #[test]
    fn lines_keep_to_the_width() {
        let mut faces = Faces::new();
        let words = "The pump starts often and runs briefly each time. ".repeat(4);
        let pieces = [piece(&words, Face::Regular), piece("a0".repeat(40).as_str(), Face::Mono)];
        let laid = faces.lay(&pieces, Some(120.0), SETTING);
        assert!(laid.lines.len() > 5);
        for line in &laid.lines {
            assert!(line.width <= 120.01, "{}", line.width);
            assert!(line.height > 13.9, "{}", line.height);
        }
        let glyphs: usize = laid.lines.iter().flat_map(|l| &l.runs).map(|r| r.glyphs.len()).sum();
        assert_eq!(glyphs, laid.text.chars().count(), "every character is drawn");
        assert_eq!(laid.lines.last().unwrap().runs.last().unwrap().piece, 1);
    }

    #[test]
    fn digits_stand_under_one_another() {
        let mut faces = Faces::new();
        let mut width = |words| faces.lay(&[piece(words, Face::Regular)], None, SETTING).most;
        assert_eq!(width("111"), width("088"));
    }

    #[test]
    fn what_no_font_has_is_named() {
        let faces = Faces::new();
        assert_eq!(faces.shown("Çeşme – Ωμ ≥ −3\u{a0}°C ✓ ▲"), "Çeşme – Ωμ ≥ −3\u{a0}°C ✓ ▲");
        assert_eq!(faces.shown("水\u{202e}x\ty\u{7}"), "[U+6C34][U+202E]x y[U+0007]");
    }

    #[test]
    fn every_fixed_sign_of_the_report_is_in_the_font() {
        let faces = Faces::new();
        for sign in "■◆○✓▲–−·×Ω°±≤≥“”’‘…\u{a0}\u{202f}Δ²³½→•".chars()
        {
            assert!(faces.has(sign), "{sign} {:04x}", u32::from(sign));
        }
        // The words themselves, wherever they are added later.
        let words = [
            include_str!("../strings/causes.rs"),
            include_str!("../strings/compared.rs"),
            include_str!("../strings/custody.rs"),
            include_str!("../strings/kinds.rs"),
            include_str!("../strings/measures.rs"),
            include_str!("../strings/page.rs"),
            include_str!("../strings/pictures.rs"),
            include_str!("../strings/sentences.rs"),
            include_str!("../strings/stops.rs"),
        ];
        for sign in words.concat().chars().filter(|sign| !sign.is_ascii()) {
            assert!(faces.has(sign), "{sign} {:04x}", u32::from(sign));
        }
    }
}
