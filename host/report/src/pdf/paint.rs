//! Pages written down: what is on them, its structure, links, bookmarks and the running foot.

use super::PdfError;
use super::blocks::{QUIET, RULE, tone_colour};
use super::face::{Face, Faces, Laid, Line, Piece, Setting};
use super::pages::Put;
use super::sizes::{FOOT, SIDE, TOP};
use super::slice::{Bar, Ink, Slice, Words};
use super::tags::{Place, Tags};
use crate::content::{Document, Tone};
use crate::picture::drawing::{Anchor, Drawing, Path, Shape, Step};
use crate::picture::style::{Colour, INK, look};
use crate::strings::page as words;
use krilla::SerializeSettings;
use krilla::annotation::{Annotation, LinkAnnotation, Target};
use krilla::color::rgb;
use krilla::configure::{Accessibility, Archival, ConfigurationBuilder};
use krilla::destination::XyzDestination;
use krilla::geom::{PathBuilder, Point, Rect, Transform};
use krilla::metadata::{DateTime, Metadata, PageLayout, TextDirection};
use krilla::num::NormalizedF32;
use krilla::outline::{Outline, OutlineNode};
use krilla::page::PageSettings;
use krilla::paint::{Fill, LineJoin, Stroke, StrokeDash};
use krilla::surface::Surface;
use krilla::tagging::{Artifact, ArtifactType, ContentTag, SpanTag};
use std::collections::HashMap;
use std::rc::Rc;

/// A link found while painting, to be laid over the page afterwards.
struct Link {
    rect: (f32, f32, f32, f32),
    to: String,
    words: String,
    place: Place,
}

/// Pages in the making.
pub struct Painter<'a> {
    /// The fonts.
    pub faces: &'a mut Faces,
    /// The structure.
    pub tags: Tags,
    /// Where each anchor is.
    pub anchors: HashMap<String, (usize, f32)>,
    /// Width and height of a sheet, pt.
    pub sheet: (f32, f32),
    /// Words within pictures that were set already.
    labels: HashMap<(String, bool, u32), Rc<Laid>>,
}

impl<'a> Painter<'a> {
    /// Paints with `faces`.
    pub fn new(
        faces: &'a mut Faces,
        tags: Tags,
        anchors: HashMap<String, (usize, f32)>,
        sheet: (f32, f32),
    ) -> Self {
        Self { faces, tags, anchors, sheet, labels: HashMap::new() }
    }

    /// The whole file.
    pub fn paint(
        mut self,
        document: &Document,
        slices: &[Slice],
        pages: &[Vec<Put>],
    ) -> Result<Vec<u8>, PdfError> {
        let mut pdf = krilla::Document::new_with(settings()?);
        for (number, puts) in pages.iter().enumerate() {
            let size = PageSettings::from_wh(self.sheet.0, self.sheet.1).ok_or(PdfError::Sheet)?;
            let mut page = pdf.start_page_with(size);
            let mut surface = page.surface();
            let mut links = Vec::new();
            for bar in bars(slices, puts) {
                artifact(&mut surface, ArtifactType::Layout, |surface| draw_bar(surface, bar));
            }
            for put in puts {
                let slice = &slices[put.slice];
                let (x, y) = (SIDE, TOP + put.y);
                if let (true, Some(head)) = (put.head, &slice.head) {
                    for ink in &head.inks {
                        artifact(&mut surface, ArtifactType::PaginationOther, |surface| {
                            repeated(surface, ink, x, y - head.height);
                        });
                    }
                }
                for ink in &slice.inks {
                    self.ink(&mut surface, ink, (x, y), &mut links);
                }
            }
            artifact(&mut surface, ArtifactType::Footer, |surface| {
                self.foot(surface, document, number + 1, pages.len());
            });
            surface.finish();
            for link in links {
                let Some(annotation) = self.link(&link) else { continue };
                let leaf = page.add_tagged_annotation(annotation);
                self.tags.put(link.place, leaf);
            }
            page.finish();
        }
        pdf.set_outline(outline(slices, pages));
        pdf.set_metadata(metadata(document));
        pdf.set_tag_tree(self.tags.finish());
        pdf.finish().map_err(|error| PdfError::Written(reason(&error)))
    }

    fn link(&self, link: &Link) -> Option<Annotation> {
        let (page, y) = self.anchors.get(&link.to)?;
        let (left, top, right, bottom) = link.rect;
        let rect = Rect::from_ltrb(left, top, right, bottom)?;
        let to = XyzDestination::new(*page, Point::from_xy(0.0, (TOP + y - 6.0).max(0.0)));
        let target = Target::Destination(to.into());
        Some(Annotation::new_link(LinkAnnotation::new(rect, target), Some(link.words.clone())))
    }

    fn ink(
        &mut self,
        surface: &mut Surface<'_>,
        ink: &Ink,
        (left, top): (f32, f32),
        links: &mut Vec<Link>,
    ) {
        match ink {
            Ink::Words { words, line, x, y } => {
                self.words(surface, words, *line, (left + x, top + y), links);
            }
            Ink::Drawing { drawing, x, y, scale, place } => {
                let at = Transform::from_row(*scale, 0.0, 0.0, *scale, left + x, top + y);
                if let Some(place) = place {
                    let leaf = surface.start_tagged(ContentTag::Other);
                    self.tags.put(*place, leaf);
                } else {
                    surface.start_tagged(ContentTag::Artifact(Artifact::with_kind(
                        ArtifactType::Layout,
                    )));
                }
                surface.push_transform(&at);
                self.drawing(surface, drawing);
                surface.pop();
                surface.end_tagged();
            }
            Ink::Rect { .. } => {
                artifact(surface, ArtifactType::Layout, |surface| {
                    repeated(surface, ink, left, top);
                });
            }
            Ink::PageOf { anchor, right, baseline, size, place } => {
                let Some((page, _)) = self.anchors.get(anchor) else { return };
                let words = (page + 1).to_string();
                let laid = self.plain(&words, *size);
                let Some(line) = laid.lines.first() else { return };
                let leaf = surface.start_tagged(ContentTag::Span(SpanTag::empty()));
                self.tags.put(*place, leaf);
                let start = (left + right - line.width, top + baseline);
                glyphs(surface, &laid, line, start, Some(INK), None);
                surface.end_tagged();
            }
        }
    }

    fn words(
        &mut self,
        surface: &mut Surface<'_>,
        words: &Words,
        line: usize,
        (x, y): (f32, f32),
        links: &mut Vec<Link>,
    ) {
        let Some(line) = words.laid.lines.get(line) else { return };
        for run in &line.runs {
            let piece = &words.pieces[run.piece];
            let leaf = surface.start_tagged(ContentTag::Span(SpanTag::empty()));
            self.tags.put(piece.place, leaf);
            surface.set_stroke(None);
            surface.set_fill(Some(fill(piece.colour, 1.0)));
            let start = Point::from_xy(x + run.x, y + line.baseline);
            let text = &words.laid.text;
            surface.draw_glyphs(start, &run.glyphs, run.font.clone(), text, run.size, false);
            surface.end_tagged();
            if let Some((to, place)) = &piece.link {
                let range = run.glyphs.first().zip(run.glyphs.last());
                let words = range.map_or("", |(first, last)| {
                    text.get(first.text_range.start..last.text_range.end).unwrap_or("")
                });
                links.push(Link {
                    rect: (x + run.x, y, x + run.x + run.advance, y + line.height),
                    to: to.clone(),
                    words: words.to_owned(),
                    place: *place,
                });
            }
        }
    }

    fn plain(&mut self, words: &str, size: f32) -> Rc<Laid> {
        self.label(words, false, size)
    }

    fn label(&mut self, words: &str, bold: bool, size: f32) -> Rc<Laid> {
        let key = (words.to_owned(), bold, size.to_bits());
        if let Some(laid) = self.labels.get(&key) {
            return Rc::clone(laid);
        }
        let face = if bold { Face::Bold } else { Face::Regular };
        let piece = Piece { words: words.to_owned(), face, colour: INK };
        let setting = Setting { size, leading: size * 1.3 };
        let laid = Rc::new(self.faces.lay(&[piece], None, setting));
        self.labels.insert(key, Rc::clone(&laid));
        laid
    }

    fn drawing(&mut self, surface: &mut Surface<'_>, drawing: &Drawing) {
        for shape in &drawing.shapes {
            if let Shape::Text { class, x, y, anchor, words } = shape {
                let look = look(class);
                let laid = self.label(words, look.bold, look.size);
                let Some(line) = laid.lines.first() else { continue };
                let back = match anchor {
                    Anchor::Start => 0.0,
                    Anchor::Middle => line.width / 2.0,
                    Anchor::End => line.width,
                };
                let start = (*x as f32 - back, *y as f32);
                let halo = look.halo.then_some(3.0);
                glyphs(surface, &laid, line, start, look.fill, halo);
            } else {
                outline_of(surface, shape);
            }
        }
    }

    /// The running foot: which site and when, which file, which page of how many.
    fn foot(&mut self, surface: &mut Surface<'_>, document: &Document, number: usize, of: usize) {
        let (width, height) = self.sheet;
        let top = height - FOOT + 14.0;
        let right = width - SIDE;
        let rule = Rect::from_xywh(SIDE, top, width - 2.0 * SIDE, 0.4);
        if let Some(rule) = rule {
            block(surface, rule, RULE);
        }
        let page = self.plain(&words::page_of(number, of), 7.2);
        if let Some(line) = page.lines.first() {
            glyphs(surface, &page, line, (right - line.width, top + 11.0), Some(QUIET), None);
        }
        let room = right - SIDE - page.lines.first().map_or(0.0, |line| line.width) - 12.0;
        let setting = Setting { size: 7.2, leading: 9.0 };
        let mut lay = |words: String| {
            let piece = Piece { words, face: Face::Regular, colour: QUIET };
            self.faces.lay(&[piece], Some(room), setting)
        };
        let mut laid = lay(format!("{} · {}", document.title, document.subtitle));
        if laid.lines.len() > 1 {
            // A name that is too long by itself is cut; it stands in full on page one.
            laid = lay(document.title.clone());
        }
        if let Some(line) = laid.lines.first() {
            glyphs(surface, &laid, line, (SIDE, top + 11.0), Some(QUIET), None);
        }
        for (place, hash) in document.hashes.iter().enumerate() {
            let piece = Piece { words: hash.clone(), face: Face::Mono, colour: QUIET };
            let laid = self.faces.lay(&[piece], None, Setting { size: 7.0, leading: 8.4 });
            if let Some(line) = laid.lines.first() {
                let y = top + 20.0 + 8.4 * place as f32;
                glyphs(surface, &laid, line, (SIDE, y), Some(QUIET), None);
            }
        }
    }
}

/// Draws what needs neither structure nor words.
fn repeated(surface: &mut Surface<'_>, ink: &Ink, left: f32, top: f32) {
    match ink {
        Ink::Rect { x, y, width, height, colour } => {
            if let Some(rect) = Rect::from_xywh(left + x, top + y, *width, *height) {
                block(surface, rect, *colour);
            }
        }
        Ink::Words { words, line, x, y } => {
            if let Some(line) = words.laid.lines.get(*line) {
                let start = (left + x, top + y + line.baseline);
                glyphs(surface, &words.laid, line, start, Some(INK), None);
            }
        }
        Ink::Drawing { .. } | Ink::PageOf { .. } => {}
    }
}

fn artifact(surface: &mut Surface<'_>, kind: ArtifactType, draw: impl FnOnce(&mut Surface<'_>)) {
    surface.start_tagged(ContentTag::Artifact(Artifact::with_kind(kind)));
    draw(surface);
    surface.end_tagged();
}

fn paint(colour: Colour) -> krilla::paint::Paint {
    let [_, red, green, blue] = colour.to_be_bytes();
    rgb::Color::new(red, green, blue).into()
}

fn fill(colour: Colour, opacity: f32) -> Fill {
    let opacity = NormalizedF32::new(opacity).unwrap_or(NormalizedF32::ONE);
    Fill { paint: paint(colour), opacity, ..Fill::default() }
}

fn block(surface: &mut Surface<'_>, rect: Rect, colour: Colour) {
    let mut path = PathBuilder::new();
    path.push_rect(rect);
    if let Some(path) = path.finish() {
        surface.set_stroke(None);
        surface.set_fill(Some(fill(colour, 1.0)));
        surface.draw_path(&path);
    }
}

/// One line of set words, its baseline beginning at `start`; on a white edge of `halo` where given.
fn glyphs(
    surface: &mut Surface<'_>,
    laid: &Laid,
    line: &Line,
    start: (f32, f32),
    colour: Option<Colour>,
    halo: Option<f32>,
) {
    for run in &line.runs {
        let at = Point::from_xy(start.0 + run.x, start.1);
        if let Some(width) = halo {
            surface.set_fill(None);
            surface.set_stroke(Some(Stroke {
                paint: paint(0x00ff_ffff),
                width,
                line_join: LineJoin::Round,
                ..Stroke::default()
            }));
            surface.draw_glyphs(at, &run.glyphs, run.font.clone(), &laid.text, run.size, true);
        }
        surface.set_stroke(None);
        surface.set_fill(Some(fill(colour.unwrap_or(INK), 1.0)));
        surface.draw_glyphs(at, &run.glyphs, run.font.clone(), &laid.text, run.size, false);
    }
}

/// Share of the radius at which the handles of a quarter of a circle lie, (4/3)·(√2 − 1).
const QUARTER: f32 = 0.552_284_8;

/// Draws a shape other than words.
fn outline_of(surface: &mut Surface<'_>, shape: &Shape) {
    let mut builder = PathBuilder::new();
    let class = match shape {
        Shape::Rect { class, x, y, width, height } => {
            let rect = Rect::from_xywh(*x as f32, *y as f32, *width as f32, *height as f32);
            let Some(rect) = rect else { return };
            builder.push_rect(rect);
            class
        }
        Shape::Line { class, from, to } => {
            builder.move_to(from.0 as f32, from.1 as f32);
            builder.line_to(to.0 as f32, to.1 as f32);
            class
        }
        Shape::Path { class, path } => {
            steps(&mut builder, path);
            class
        }
        Shape::Circle { class, x, y, radius } => {
            let (x, y, r) = (*x as f32, *y as f32, *radius as f32);
            let k = r * QUARTER;
            builder.move_to(x + r, y);
            builder.cubic_to(x + r, y + k, x + k, y + r, x, y + r);
            builder.cubic_to(x - k, y + r, x - r, y + k, x - r, y);
            builder.cubic_to(x - r, y - k, x - k, y - r, x, y - r);
            builder.cubic_to(x + k, y - r, x + r, y - k, x + r, y);
            builder.close();
            class
        }
        Shape::Text { .. } => return,
    };
    let Some(path) = builder.finish() else { return };
    let look = look(class);
    let flat = matches!(shape, Shape::Line { .. });
    let inside = look.fill.filter(|_| !flat).map(|colour| fill(colour, look.opacity));
    let stroke = look.stroke.map(|colour| Stroke {
        paint: paint(colour),
        width: look.width,
        line_join: if look.round { LineJoin::Round } else { LineJoin::Miter },
        dash: look.dash.map(|(dash, gap)| StrokeDash { array: vec![dash, gap], offset: 0.0 }),
        ..Stroke::default()
    });
    if inside.is_some() || stroke.is_some() {
        surface.set_fill(inside);
        surface.set_stroke(stroke);
        surface.draw_path(&path);
    }
}

fn steps(builder: &mut PathBuilder, path: &Path) {
    let unit = |tenths: i32| tenths as f32 / 10.0;
    for step in &path.steps {
        match *step {
            Step::Go(x, y) => builder.move_to(unit(x), unit(y)),
            Step::To(x, y) => builder.line_to(unit(x), unit(y)),
            Step::Close => builder.close(),
        }
    }
}

/// Bars of statements on a page: the bar, its top and its foot.
fn bars(slices: &[Slice], puts: &[Put]) -> Vec<(Bar, f32, f32)> {
    let mut bars: Vec<(Bar, f32, f32)> = Vec::new();
    for put in puts {
        let slice = &slices[put.slice];
        let Some(bar) = slice.bar else { continue };
        let foot = put.y + slice.height;
        match bars.last_mut() {
            Some((last, _, to)) if last.number == bar.number => *to = foot,
            _ => bars.push((bar, put.y, foot)),
        }
    }
    bars
}

fn draw_bar(surface: &mut Surface<'_>, (bar, from, to): (Bar, f32, f32)) {
    let strips: &[(f32, f32)] = match bar.tone {
        Tone::Fault | Tone::Well => &[(0.0, 4.5)],
        Tone::Watch => &[(0.0, 1.5), (3.0, 1.5)],
        Tone::Info => &[(0.0, 2.0)],
    };
    for (right, width) in strips {
        let rect = Rect::from_xywh(SIDE + bar.x + right, TOP + from, *width, to - from);
        if let Some(rect) = rect {
            block(surface, rect, tone_colour(bar.tone));
        }
    }
}

fn settings() -> Result<SerializeSettings, PdfError> {
    // Archivable (ISO 19005-2, level A) and accessible (ISO 14289-1).
    let configuration = ConfigurationBuilder::new()
        .with_archival_validator(Archival::A2_A)
        .with_accessibility_validator(Accessibility::UA1)
        .finish()
        .map_err(|error| PdfError::Written(format!("{error:?}")))?;
    Ok(SerializeSettings { configuration, enable_tagging: true, ..SerializeSettings::default() })
}

fn metadata(document: &Document) -> Metadata {
    let made = jiff::tz::Offset::UTC.to_datetime(document.made);
    let date = DateTime::new(made.year().clamp(0, 9999) as u16)
        .month(made.month() as u8)
        .day(made.day() as u8)
        .hour(made.hour() as u8)
        .minute(made.minute() as u8)
        .second(made.second() as u8)
        .utc_offset_hour(0)
        .utc_offset_minute(0);
    Metadata::new()
        .title(format!("{}: {}", document.title, document.kind))
        .description(document.subtitle.clone())
        .language(words::LANGUAGE.to_owned())
        .creator(document.program.clone())
        .creation_date(date)
        .document_id(document.hashes.join(" "))
        .text_direction(TextDirection::LeftToRight)
        .page_layout(PageLayout::OneColumn)
}

/// Bookmarks: sections, and the sections inside them.
fn outline(slices: &[Slice], pages: &[Vec<Put>]) -> Outline {
    let mut tops: Vec<(OutlineNode, Vec<OutlineNode>)> = Vec::new();
    for (page, puts) in pages.iter().enumerate() {
        for put in puts {
            let Some((level, words)) = &slices[put.slice].bookmark else { continue };
            let at = Point::from_xy(0.0, (TOP + put.y - 6.0).max(0.0));
            let node = OutlineNode::new(words.clone(), XyzDestination::new(page, at));
            match tops.last_mut() {
                Some((_, inner)) if *level > 1 => inner.push(node),
                _ => tops.push((node, Vec::new())),
            }
        }
    }
    let mut outline = Outline::new();
    for (mut node, inner) in tops {
        for node_inside in inner {
            node.push_child(node_inside);
        }
        outline.push_child(node);
    }
    outline
}

/// What the writer found against the standards, in short.
fn reason(error: &krilla::error::KrillaError) -> String {
    match error {
        krilla::error::KrillaError::Validation(found) => {
            let first = found.first().map(|(error, _)| format!("{error:?}"));
            let mut first = first.unwrap_or_default();
            first.truncate(first.char_indices().nth(300).map_or(first.len(), |(at, _)| at));
            format!("{error}, the first: {first}")
        }
        error => error.to_string(),
    }
}
