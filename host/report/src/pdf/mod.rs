//! The content model as PDF: archivable (PDF/A-2a), accessible (PDF/UA-1), the same bytes for the
//! same content.
//!
//! In the order data passes them: [`face`] sets words in the report's own fonts, [`blocks`] and
//! [`tables`] make slices of the content, [`pages`] puts them on pages, [`paint`] writes the file.
//! [`tags`] keeps the structure for screen readers.

mod blocks;
mod face;
mod pages;
mod paint;
mod sizes;
mod slice;
mod tables;
mod tags;

use crate::content::{Block, Document, Section, Text};
use crate::strings::page as words;
use blocks::{Frame, Setter, heading_tag, lines, plain, quiet};
use face::{Face, Faces};
use krilla::tagging::Tag;
use paint::Painter;
use sizes::{FOOT, SIDE, Sizes, TOP};
use slice::{Ink, Slice};
use std::fmt;
use tags::Tags;

/// Why no PDF was made.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum PdfError {
    /// The sheet has no area.
    Sheet,
    /// The writer refused, for instance because the file would not meet its standards.
    Written(String),
}

impl fmt::Display for PdfError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Sheet => f.write_str("the PDF cannot be made: the sheet has no area"),
            Self::Written(why) => write!(f, "the PDF cannot be made: {why}; the HTML report can"),
        }
    }
}

impl std::error::Error for PdfError {}

/// Sizes tried for page one, the largest first, so that the result stands on one sheet.
const SCALES: &[f32] = &[1.0, 0.97, 0.94, 0.91, 0.88, 0.85, 0.82, 0.79, 0.76];

/// The whole file.
pub fn file(document: &Document) -> Result<Vec<u8>, PdfError> {
    let sheet = sizes::sheet(document.paper);
    let field = Frame { left: 0.0, width: sheet.0 - 2.0 * SIDE };
    let height = sheet.1 - TOP - FOOT;
    let mut faces = Faces::new();
    let (slices, tags) = {
        let mut setter = Setter::new(&mut faces, height);
        let mut slices = page_one(&mut setter, document, field, height);
        let rest = slices.len();
        // One page needs no list of its parts.
        let one_page = document.sections.len() == 1;
        if !one_page {
            contents(&mut setter, document, field, &mut slices);
        }
        for section in document.sections.iter().skip(1) {
            setter.section(section, 2, field, Tags::ROOT, &mut slices);
        }
        foot_note(&mut setter, document, field, &mut slices);
        if let (false, Some(slice)) = (one_page, slices.get_mut(rest)) {
            slice.fresh = true;
        }
        (slices, setter.tags)
    };
    let pages = pages::fill(&slices, height);
    let anchors = pages::anchors(&slices, &pages);
    Painter::new(&mut faces, tags, anchors, sheet).paint(document, &slices, &pages)
}

/// Title and result, as large as goes on one page.
fn page_one(setter: &mut Setter<'_>, document: &Document, field: Frame, height: f32) -> Vec<Slice> {
    let empty = setter.tags.clone();
    let mut last = Vec::new();
    for scale in SCALES {
        setter.tags = empty.clone();
        setter.sizes = Sizes { scale: *scale };
        setter.begin();
        let mut slices = Vec::new();
        title(setter, document, field, &mut slices);
        if let Some(section) = document.sections.first() {
            let group = setter.tags.group(Tags::ROOT, Tag::Section);
            if let Some(first) = slices.first_mut() {
                first.anchors.push(section.id.clone());
                first.bookmark = Some((1, section.title.clone()));
            }
            for block in &section.blocks {
                // The title stands for the section's heading, so its headings move up by one.
                setter.block(block, 1, field, group, &mut slices);
            }
        }
        let fits = pages::fill(&slices, height).len() == 1;
        last = slices;
        if fits {
            break;
        }
    }
    setter.sizes = Sizes { scale: 1.0 };
    last
}

fn title(setter: &mut Setter<'_>, document: &Document, field: Frame, out: &mut Vec<Slice>) {
    let manner = quiet(setter.sizes.aside());
    setter.paragraph(&Text::from(document.kind.clone()), manner, field, Tags::ROOT, out);
    let group = setter.tags.group(Tags::ROOT, heading_tag(1, &document.title));
    let mut bold = plain(setter.sizes.heading(1));
    bold.face = Face::Bold;
    let text = Text::default().quoted(document.title.clone());
    let words = setter.words(&text, bold, Some(field.width), group);
    lines(&words, field.left, 0.0, out);
    let manner = quiet(setter.sizes.body());
    let text = Text::default().quoted(document.subtitle.clone());
    setter.paragraph(&text, manner, field, Tags::ROOT, out);
    if let Some(last) = out.last_mut() {
        let colour = crate::picture::style::INK;
        let y = last.height + 4.0;
        last.inks.push(Ink::Rect { x: 0.0, y, width: field.width, height: 1.2, colour });
        last.height += 6.0;
    }
}

/// Sections with the pages they are on.
fn contents(setter: &mut Setter<'_>, document: &Document, field: Frame, out: &mut Vec<Slice>) {
    let group = setter.tags.group(Tags::ROOT, Tag::TOC);
    let mut heading = setter.heading(words::CONTENTS, None, 2, field, Tags::ROOT);
    out.append(&mut heading);
    let setting = setter.sizes.body();
    let ordinary = plain(setting);
    let right = (field.width * 0.8).min(400.0);
    let mut entry = |section: &Section, indent: f32, out: &mut Vec<Slice>| {
        let item = setter.tags.group(group, Tag::TOCI);
        let text = Text::default().link(section.id.clone(), section.title.clone());
        let words = setter.words(&text, ordinary, Some(right - indent - 30.0), item);
        let place = setter.tags.place(item);
        let before = if indent == 0.0 { 3.0 } else { 0.0 };
        lines(&words, field.left + indent, before, out);
        if let (Some(slice), Some(line)) = (out.last_mut(), words.laid.lines.last()) {
            slice.inks.push(Ink::PageOf {
                anchor: section.id.clone(),
                right,
                baseline: line.baseline,
                size: setting.size,
                place,
            });
        }
    };
    for section in &document.sections {
        entry(section, 0.0, out);
        for block in &section.blocks {
            if let Block::Section(inner) = block {
                entry(inner, 14.0, out);
            }
        }
    }
}

fn foot_note(setter: &mut Setter<'_>, document: &Document, field: Frame, out: &mut Vec<Slice>) {
    let manner = quiet(setter.sizes.aside());
    let first = out.len();
    setter.paragraph(&Text::from(document.foot.clone()), manner, field, Tags::ROOT, out);
    if let Some(slice) = out.get_mut(first) {
        slice.before = 18.0;
    }
}
