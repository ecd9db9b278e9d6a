//! Blocks of the content set as slices.

use super::face::{Face, Faces, Piece, Setting};
use super::sizes::Sizes;
use super::slice::{Bar, Ink, PieceInk, Slice, Words};
use super::tags::{Group, Tags};
use crate::content::{Block, Figure, Panel, Section, Span, Statement, Text, Tone};
use crate::picture::style::{Colour, INK};
use crate::strings::{page as words, sentences};
use krilla::tagging::{ListNumbering, Tag, TagKind};
use std::num::NonZeroU16;
use std::rc::Rc;

/// Ink of quiet words.
pub const QUIET: Colour = 0x0051_5c66;
/// Rules between rows.
pub const RULE: Colour = 0x00c9_cfd3;
/// Links.
const LINK: Colour = 0x0014_505c;
/// Behind text as it is.
const WASH: Colour = 0x00f4_f5f2;

/// Rows that a folded table may have and still be printed: paper cannot be unfolded.
const ROWS_PRINTED: usize = 60;

/// Room above a line for handwriting, pt.
const HANDWRITING: f32 = 11.0;

/// Where blocks go: a strip of the page.
#[derive(Clone, Copy, Debug)]
pub struct Frame {
    /// Left edge, pt.
    pub left: f32,
    /// Width, pt.
    pub width: f32,
}

/// How words look unless a span says otherwise.
#[derive(Clone, Copy, Debug)]
pub struct Manner {
    /// Face.
    pub face: Face,
    /// Colour.
    pub colour: Colour,
    /// Size and leading.
    pub setting: Setting,
}

/// Sets blocks.
pub struct Setter<'f> {
    /// The fonts.
    pub faces: &'f mut Faces,
    /// The structure.
    pub tags: Tags,
    /// Sizes in force.
    pub sizes: Sizes,
    /// Height of a page's field, pt.
    pub height: f32,
    statements: usize,
}

/// Colour of a tone; the shape and the word beside it say the same.
pub fn tone_colour(tone: Tone) -> Colour {
    match tone {
        Tone::Fault => 0x008a_2a1c,
        Tone::Watch => 0x006d_4c00,
        Tone::Info => 0x0037_506b,
        Tone::Well => 0x0022_5c36,
    }
}

/// Ordinary words.
pub fn plain(setting: Setting) -> Manner {
    Manner { face: Face::Regular, colour: INK, setting }
}

/// Quiet words.
pub fn quiet(setting: Setting) -> Manner {
    Manner { face: Face::Regular, colour: QUIET, setting }
}

/// Lines of set words as slices; single lines are not left behind or sent ahead.
pub fn lines(words: &Rc<Words>, x: f32, before: f32, out: &mut Vec<Slice>) {
    let count = words.laid.lines.len();
    for (line, of) in words.laid.lines.iter().enumerate() {
        // The first two and the last two lines stay together.
        let keep = line + 1 < count && (line == 0 || line + 2 == count);
        out.push(Slice {
            height: of.height,
            before: if line == 0 { before } else { 0.0 },
            keep,
            inks: vec![Ink::Words { words: Rc::clone(words), line, x, y: 0.0 }],
            ..Slice::default()
        });
    }
}

impl<'f> Setter<'f> {
    /// Sets with `faces` for pages with fields of `height`.
    pub fn new(faces: &'f mut Faces, height: f32) -> Self {
        Self { faces, tags: Tags::new(), sizes: Sizes { scale: 1.0 }, height, statements: 0 }
    }

    /// Begins again with the first statement.
    pub fn begin(&mut self) {
        self.statements = 0;
    }

    /// Words set for `width`, their spans in `group`.
    pub fn words(
        &mut self,
        text: &Text,
        manner: Manner,
        width: Option<f32>,
        group: Group,
    ) -> Rc<Words> {
        let pieces = split(text, manner);
        let mut inks = Vec::new();
        for (span, piece) in text.0.iter().zip(&pieces) {
            let (place, link) = match span {
                Span::Link { to, .. } => {
                    let group = self.tags.group(group, Tag::Link);
                    (self.tags.place(group), Some((to.clone(), self.tags.place(group))))
                }
                Span::Strong(_) => {
                    let group = self.tags.group(group, Tag::Strong);
                    (self.tags.place(group), None)
                }
                _ => (self.tags.place(group), None),
            };
            inks.push(PieceInk { colour: piece.colour, place, link });
        }
        let laid = self.faces.lay(&pieces, width, manner.setting);
        Rc::new(Words { laid, pieces: inks })
    }

    /// Words in pieces of their own colours, all in `group`.
    pub fn pieces(
        &mut self,
        pieces: &[Piece],
        width: Option<f32>,
        setting: Setting,
        group: Group,
    ) -> Rc<Words> {
        let laid = self.faces.lay(pieces, width, setting);
        let inks = pieces.iter().map(|piece| PieceInk {
            colour: piece.colour,
            place: self.tags.place(group),
            link: None,
        });
        Rc::new(Words { pieces: inks.collect(), laid })
    }

    /// A paragraph.
    pub fn paragraph(
        &mut self,
        text: &Text,
        manner: Manner,
        at: Frame,
        parent: Group,
        out: &mut Vec<Slice>,
    ) {
        let group = self.tags.group(parent, Tag::P);
        let words = self.words(text, manner, Some(at.width), group);
        lines(&words, at.left, self.sizes.pt(4.0), out);
    }

    /// A heading with its mark of severity; `bookmark` where it is to be found in the outline.
    pub fn heading(
        &mut self,
        title: &str,
        tone: Option<Tone>,
        level: usize,
        at: Frame,
        parent: Group,
    ) -> Vec<Slice> {
        let group = self.tags.group(parent, heading_tag(level, title));
        let setting = self.sizes.heading(level);
        let mut pieces = vec![Piece { words: title.to_owned(), face: Face::Bold, colour: INK }];
        if let Some(tone) = tone {
            let words = format!("   {} {}", words::tone_shape(tone), words::tone(tone));
            pieces.push(Piece { words, face: Face::Regular, colour: tone_colour(tone) });
        }
        let words = self.pieces(&pieces, Some(at.width), setting, group);
        let mut slices = Vec::new();
        lines(&words, at.left, self.sizes.above_heading(level), &mut slices);
        for slice in &mut slices {
            slice.keep = true;
        }
        if level == 2
            && let Some(first) = slices.first_mut()
        {
            first.inks = first.inks.drain(..).map(|ink| ink.moved(0.0, 6.0)).collect();
            let (x, width) = (at.left, at.width);
            first.inks.push(Ink::Rect { x, y: 0.0, width, height: 0.6, colour: INK });
            first.height += 6.0;
        }
        slices
    }

    /// A section with all it holds.
    pub fn section(
        &mut self,
        section: &Section,
        level: usize,
        at: Frame,
        parent: Group,
        out: &mut Vec<Slice>,
    ) {
        let group = self.tags.group(parent, Tag::Section);
        let mut heading = self.heading(&section.title, section.tone, level, at, group);
        if let Some(first) = heading.first_mut() {
            first.anchors.push(section.id.clone());
            first.bookmark = Some((level - 1, section.title.clone()));
        }
        out.append(&mut heading);
        for block in &section.blocks {
            self.block(block, level, at, group, out);
        }
    }

    /// A block.
    pub fn block(
        &mut self,
        block: &Block,
        level: usize,
        at: Frame,
        parent: Group,
        out: &mut Vec<Slice>,
    ) {
        match block {
            Block::Paragraph(text) => {
                let manner = plain(self.sizes.body());
                self.paragraph(text, manner, at, parent, out);
            }
            Block::Aside(text) => {
                let manner = quiet(self.sizes.aside());
                self.paragraph(text, manner, at, parent, out);
            }
            Block::List(items) => self.list(items, at, parent, out),
            Block::Facts(facts) => self.facts(facts, at, parent, out),
            Block::Blanks(names) => self.blanks(names, at, parent, out),
            Block::Table(table) => self.table(table, at, parent, out),
            Block::Figure(figure) => self.figure(figure, at, parent, out),
            Block::Statement(statement) => self.statement(statement, level, at, parent, out),
            Block::Panels(panels) => self.panels(panels, level, at, parent, out),
            Block::Folded { summary, blocks } => {
                if rows(blocks) <= ROWS_PRINTED {
                    for block in blocks {
                        self.block(block, level, at, parent, out);
                    }
                } else {
                    let text = Text::from(sentences::not_printed(summary));
                    let manner = quiet(self.sizes.aside());
                    self.paragraph(&text, manner, at, parent, out);
                }
            }
            Block::Section(section) => self.section(section, level + 1, at, parent, out),
            Block::Verbatim(text) => self.verbatim(text, at, parent, out),
        }
    }

    fn list(&mut self, items: &[Text], at: Frame, parent: Group, out: &mut Vec<Slice>) {
        let group = self.tags.group(parent, Tag::L(ListNumbering::Disc));
        let indent = self.sizes.pt(10.0);
        let manner = plain(self.sizes.fact());
        for (number, item) in items.iter().enumerate() {
            let entry = self.tags.group(group, Tag::LI);
            let label = self.tags.group(entry, Tag::Lbl);
            let bullet = self.words(&"•".into(), manner, None, label);
            let body = self.tags.group(entry, Tag::LBody);
            let words = self.words(item, manner, Some(at.width - indent), body);
            let first = out.len();
            let before = self.sizes.pt(if number == 0 { 4.0 } else { 2.0 });
            lines(&words, at.left + indent, before, out);
            if let Some(slice) = out.get_mut(first) {
                slice.inks.push(Ink::Words { words: bullet, line: 0, x: at.left + 1.0, y: 0.0 });
            }
        }
    }

    fn facts(&mut self, facts: &[(String, Text)], at: Frame, parent: Group, out: &mut Vec<Slice>) {
        let group = self.tags.group(parent, Tag::L(ListNumbering::None));
        let label_width = (at.width * 0.3).clamp(self.sizes.pt(60.0), self.sizes.pt(130.0));
        let gap = self.sizes.pt(8.0);
        for (number, (name, what)) in facts.iter().enumerate() {
            let entry = self.tags.group(group, Tag::LI);
            let label_group = self.tags.group(entry, Tag::Lbl);
            let manner = quiet(self.sizes.label());
            let label = self.words(
                &Text::default().quoted(name.clone()),
                manner,
                Some(label_width),
                label_group,
            );
            let body = self.tags.group(entry, Tag::LBody);
            let manner = plain(self.sizes.fact());
            let width = at.width - label_width - gap;
            let value = self.words(what, manner, Some(width), body);
            let before = self.sizes.pt(if number == 0 { 4.0 } else { 0.6 });
            let count = label.laid.lines.len().max(value.laid.lines.len());
            for line in 0..count {
                let mut inks = Vec::new();
                let mut height: f32 = 0.0;
                for (words, x) in [(&label, at.left), (&value, at.left + label_width + gap)] {
                    if let Some(of) = words.laid.lines.get(line) {
                        height = height.max(of.height);
                        inks.push(Ink::Words { words: Rc::clone(words), line, x, y: 0.0 });
                    }
                }
                out.push(Slice {
                    height,
                    before: if line == 0 { before } else { 0.0 },
                    keep: line + 1 < count.min(6),
                    inks,
                    ..Slice::default()
                });
            }
        }
    }

    /// Names with lines that leave room for handwriting.
    fn blanks(&mut self, names: &[String], at: Frame, parent: Group, out: &mut Vec<Slice>) {
        let group = self.tags.group(parent, Tag::L(ListNumbering::None));
        let label_width = at.width * 0.35;
        for name in names {
            let entry = self.tags.group(group, Tag::LI);
            let label_group = self.tags.group(entry, Tag::Lbl);
            let manner = quiet(self.sizes.label());
            let text = Text::default().quoted(name.clone());
            let words = self.words(&text, manner, Some(label_width), label_group);
            let first = out.len();
            lines(&words, at.left, self.sizes.pt(HANDWRITING), out);
            if let (true, Some(last)) = (out.len() > first, out.last_mut()) {
                let (x, width) = (at.left + label_width, at.width - label_width);
                last.inks.push(Ink::Rect {
                    x,
                    y: last.height - 1.0,
                    width,
                    height: 0.6,
                    colour: QUIET,
                });
            }
        }
    }

    fn verbatim(&mut self, text: &str, at: Frame, parent: Group, out: &mut Vec<Slice>) {
        let group = self.tags.group(parent, Tag::P);
        let manner = Manner { face: Face::Mono, colour: INK, setting: self.sizes.verbatim() };
        let inset = 6.0;
        for (number, line) in text.lines().enumerate() {
            let line = if line.is_empty() { " " } else { line };
            let words = self.words(&line.into(), manner, Some(at.width - 2.0 * inset), group);
            let first = out.len();
            let before = if number == 0 { self.sizes.pt(5.0) } else { 0.0 };
            lines(&words, at.left + inset, before, out);
            for slice in &mut out[first..] {
                let (x, width, height) = (at.left, at.width, slice.height + 0.1);
                slice.inks.insert(0, Ink::Rect { x, y: 0.0, width, height, colour: WASH });
            }
        }
    }

    fn figure(&mut self, figure: &Figure, at: Frame, parent: Group, out: &mut Vec<Slice>) {
        let alt = format!("{}. {}", figure.title, figure.description);
        let group = self.tags.group(parent, Tag::Figure(Some(alt)));
        let place = self.tags.place(group);
        let drawing = &figure.wide;
        let scale = at.width / drawing.width.max(1) as f32;
        let captioned = !figure.caption.0.is_empty();
        out.push(Slice {
            height: drawing.height as f32 * scale,
            before: self.sizes.pt(8.0),
            keep: captioned,
            inks: vec![Ink::Drawing {
                drawing: Rc::new(drawing.clone()),
                x: at.left,
                y: 0.0,
                scale,
                place: Some(place),
            }],
            anchors: vec![figure.id.clone()],
            ..Slice::default()
        });
        if captioned {
            let manner = plain(self.sizes.aside());
            self.paragraph(&figure.caption, manner, at, parent, out);
        }
    }

    fn statement(
        &mut self,
        statement: &Statement,
        level: usize,
        at: Frame,
        parent: Group,
        out: &mut Vec<Slice>,
    ) {
        self.statements += 1;
        let number = self.statements;
        let inset = self.sizes.pt(13.0);
        let inside = Frame { left: at.left + inset, width: at.width - inset };
        let first = out.len();
        let over = self.tags.group(parent, Tag::P);
        let tone = statement.tone;
        let pieces = [
            Piece {
                words: format!("{} {}", words::tone_shape(tone), words::tone(tone)),
                face: Face::Bold,
                colour: tone_colour(tone),
            },
            Piece { words: format!("   {}", statement.over), face: Face::Regular, colour: QUIET },
        ];
        let set = self.pieces(&pieces, Some(inside.width), self.sizes.over(), over);
        lines(&set, inside.left, self.sizes.pt(9.0), out);
        let heading = self.tags.group(parent, heading_tag(level + 1, &statement.headline));
        let pieces = [Piece { words: statement.headline.clone(), face: Face::Bold, colour: INK }];
        let setting = self.sizes.headline(number == 1);
        let set = self.pieces(&pieces, Some(inside.width), setting, heading);
        lines(&set, inside.left, 0.0, out);
        for slice in &mut out[first..] {
            slice.keep = true;
        }
        for block in &statement.blocks {
            self.block(block, level + 1, inside, parent, out);
        }
        for slice in &mut out[first..] {
            slice.bar = Some(Bar { number, x: at.left, tone });
        }
    }

    /// Panels two by two; one after another where two would not fit a page.
    fn panels(
        &mut self,
        panels: &[Panel],
        level: usize,
        at: Frame,
        parent: Group,
        out: &mut Vec<Slice>,
    ) {
        let gap = self.sizes.pt(20.0);
        let half = (at.width - gap) / 2.0;
        let mut rest = panels;
        while let Some((first, after)) = rest.split_first() {
            let pair = after.first().filter(|second| !first.wide && !second.wide);
            let Some(second) = pair else {
                let mut slices = self.panel(first, level, at, parent);
                out.append(&mut slices);
                rest = after;
                continue;
            };
            let kept = self.tags.clone();
            let left = Frame { left: at.left, width: half };
            let right = Frame { left: at.left + half + gap, width: half };
            let columns =
                [self.panel(first, level, left, parent), self.panel(second, level, right, parent)];
            let beside = beside(columns);
            if beside.height <= self.height {
                out.push(beside);
            } else {
                self.tags = kept;
                for panel in [first, second] {
                    let mut slices = self.panel(panel, level, at, parent);
                    out.append(&mut slices);
                }
            }
            rest = &after[1..];
        }
    }

    fn panel(&mut self, panel: &Panel, level: usize, at: Frame, parent: Group) -> Vec<Slice> {
        let mut out = Vec::new();
        if !panel.title.is_empty() {
            self.panel_title(panel, level, at, parent, &mut out);
        }
        for block in &panel.blocks {
            self.block(block, level + 1, at, parent, &mut out);
        }
        out
    }

    fn panel_title(
        &mut self,
        panel: &Panel,
        level: usize,
        at: Frame,
        parent: Group,
        out: &mut Vec<Slice>,
    ) {
        let group = self.tags.group(parent, heading_tag(level + 1, &panel.title));
        let pieces = [Piece { words: panel.title.clone(), face: Face::Bold, colour: QUIET }];
        let set = self.pieces(&pieces, Some(at.width), self.sizes.over(), group);
        lines(&set, at.left, self.sizes.pt(8.0), out);
        for slice in out.iter_mut() {
            slice.keep = true;
        }
        if let Some(first) = out.first_mut() {
            let down = self.sizes.pt(4.0);
            first.inks = first.inks.drain(..).map(|ink| ink.moved(0.0, down)).collect();
            first.height += down;
            let (x, width) = (at.left, at.width);
            first.inks.push(Ink::Rect { x, y: 0.0, width, height: 0.5, colour: RULE });
        }
    }
}

/// The spans of a text as pieces to be set.
pub fn split(text: &Text, manner: Manner) -> Vec<Piece> {
    let piece = |span: &Span| {
        let (words, face, colour) = match span {
            Span::Plain(words) | Span::Quoted(words) => (words, manner.face, manner.colour),
            Span::Strong(words) => (words, Face::Bold, manner.colour),
            Span::Exact(words) => (words, Face::Mono, manner.colour),
            Span::Link { words, .. } => (words, manner.face, LINK),
        };
        Piece { words: words.clone(), face, colour }
    };
    text.0.iter().map(piece).collect()
}

/// Columns as one slice.
fn beside(columns: [Vec<Slice>; 2]) -> Slice {
    let mut whole = Slice {
        before: columns.iter().filter_map(|c| c.first()).map(|s| s.before).fold(0.0, f32::max),
        ..Slice::default()
    };
    for column in columns {
        let mut y = 0.0;
        for (number, slice) in column.into_iter().enumerate() {
            if number > 0 {
                y += slice.before;
            }
            whole.inks.extend(slice.inks.into_iter().map(|ink| ink.moved(0.0, y)));
            whole.anchors.extend(slice.anchors);
            y += slice.height;
        }
        whole.height = whole.height.max(y);
    }
    whole
}

/// Rows of all tables in `blocks`.
fn rows(blocks: &[Block]) -> usize {
    blocks
        .iter()
        .map(|block| match block {
            Block::Table(table) => table.rows.len(),
            Block::Folded { blocks, .. } => rows(blocks),
            _ => 0,
        })
        .sum()
}

/// The tag of a heading.
pub fn heading_tag(level: usize, title: &str) -> TagKind {
    let level = NonZeroU16::new(level.clamp(1, 6) as u16).unwrap_or(NonZeroU16::MIN);
    Tag::Hn(level, Some(title.to_owned())).into()
}
