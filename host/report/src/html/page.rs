//! Document to page.

use super::viewer::SCRIPT;
use super::writer::Writer;
use crate::content::{Block, Cell, Document, Figure, Section, Span, Statement, Table, Text, Tone};
use crate::picture::{Drawing, sign, style, svg};
use crate::strings::{page as words, stops};
use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use serde_json::Value;
use sha2::{Digest, Sha256};
use std::fmt::Write;

const HEAD: &str = "<!DOCTYPE html>\n";
const STYLE: &str = include_str!("style.css");

/// Nothing runs but the viewer, and nothing is fetched but by one that is served, whatever a name in a
/// file may contain.
fn policy(record: Option<&Value>) -> String {
    let mut policy = String::from("default-src 'none'; style-src 'unsafe-inline'");
    if let Some(record) = record {
        if record["served"].is_string() {
            policy.push_str("; connect-src 'self'");
        }
        let digest = STANDARD.encode(Sha256::digest(SCRIPT.as_bytes()));
        // Writing to a string does not fail.
        let _ = write!(policy, "; script-src 'sha256-{digest}'");
    }
    policy
}

/// The whole page; `record` is what the viewer draws from, where there is one.
pub fn page(document: &Document, record: Option<&Value>) -> String {
    let mut out = Writer::new(HEAD);
    out.open("html", &[("lang", words::LANGUAGE)]).open("head", &[]);
    out.open("meta", &[("charset", "utf-8")]);
    out.open("meta", &[("http-equiv", "Content-Security-Policy"), ("content", &policy(record))]);
    out.open("meta", &[("name", "viewport"), ("content", "width=device-width, initial-scale=1")]);
    out.open("meta", &[("name", "color-scheme"), ("content", "light")]);
    out.open("meta", &[("name", "referrer"), ("content", "no-referrer")]);
    out.element("title", &[], &document.title);
    out.open("style", &[]).markup(STYLE).markup(&style::css()).close().close_line();
    out.open("body", &[]);
    out.element("a", &[("class", "skip"), ("href", "#contents")], words::SKIP);
    out.open("header", &[]);
    out.element("p", &[("class", "kind")], &document.kind);
    out.open("h1", &[]).element("bdi", &[], &document.title).close();
    out.open("p", &[("class", "subtitle")]).element("bdi", &[], &document.subtitle).close();
    out.close_line();
    out.open("main", &[]);
    for (place, section) in document.sections.iter().enumerate() {
        if section.id == "days" && record.is_some() {
            viewer(&mut out);
        }
        self::section(&mut out, section, 2, if place == 0 { "page-one" } else { "part" });
        if place == 0 {
            if record.is_some() {
                out.open("p", &[("class", "viewer-link"), ("hidden", "")]);
                out.element("a", &[("href", "#viewer")], words::VIEWER_LINK).close_line();
            }
            // One page needs no list of its parts.
            if document.sections.len() > 1 {
                contents(&mut out, document);
            }
        }
    }
    out.close_line();
    out.open("footer", &[]).element("p", &[], &document.foot).close_line();
    if let Some(record) = record {
        // In JSON every letter may be written as its code: no name can end the element.
        let data = record.to_string().replace('<', "\\u003c");
        out.open("script", &[("type", "application/json"), ("id", "record-data")]);
        out.markup(&data).close_line();
        out.open("script", &[]).markup(SCRIPT).close_line();
    }
    let mut page = out.finish();
    page.push('\n');
    page
}

/// Where the viewer goes; hidden until its script runs.
fn viewer(out: &mut Writer) {
    out.open(
        "section",
        &[
            ("id", "viewer"),
            ("class", "part"),
            ("aria-labelledby", "viewer-heading"),
            ("hidden", ""),
        ],
    );
    out.element("h2", &[("id", "viewer-heading")], words::VIEWER_TITLE);
    out.element("p", &[("class", "aside")], words::VIEWER_LEAD).close_line();
}

fn contents(out: &mut Writer, document: &Document) {
    out.open("nav", &[("id", "contents"), ("aria-label", words::CONTENTS)]);
    out.element("p", &[("class", "panel-title")], words::CONTENTS).open("ol", &[]);
    for section in &document.sections {
        out.open("li", &[]);
        out.element("a", &[("href", &format!("#{}", section.id))], &section.title);
        let inner: Vec<&Section> = section
            .blocks
            .iter()
            .filter_map(|block| match block {
                Block::Section(inner) => Some(inner),
                _ => None,
            })
            .collect();
        if !inner.is_empty() {
            out.open("ul", &[]);
            for inner in inner {
                out.open("li", &[]);
                out.element("a", &[("href", &format!("#{}", inner.id))], &inner.title);
                if let Some(tone) = inner.tone {
                    out.text(" ").element("span", &[("class", "quiet")], words::tone(tone));
                }
                out.close();
            }
            out.close();
        }
        out.close();
    }
    out.close().close_line();
}

fn section(out: &mut Writer, section: &Section, level: usize, class: &str) {
    let heading = format!("{}-heading", section.id);
    out.open("section", &[("id", &section.id), ("class", class), ("aria-labelledby", &heading)]);
    out.open(heading_element(level), &[("id", &heading)]);
    out.text(&section.title);
    if let Some(tone) = section.tone {
        out.text(" ");
        badge(out, tone);
    }
    out.close_line();
    for block in &section.blocks {
        self::block(out, block, level);
    }
    out.close_line();
}

fn heading_element(level: usize) -> &'static str {
    match level {
        0..=2 => "h2",
        3 => "h3",
        4 => "h4",
        _ => "h5",
    }
}

fn tone_class(tone: Tone) -> &'static str {
    match tone {
        Tone::Fault => "fault",
        Tone::Watch => "watch",
        Tone::Info => "info",
        Tone::Well => "well",
    }
}

/// Shape and word; the shape is drawn by the style sheet as text, so it survives grey printing.
fn badge(out: &mut Writer, tone: Tone) {
    let class = format!("badge {}", tone_class(tone));
    out.open("span", &[("class", &class)]);
    out.element("span", &[("aria-hidden", "true")], words::tone_shape(tone));
    out.text(" ").text(words::tone(tone)).close();
}

fn block(out: &mut Writer, block: &Block, level: usize) {
    match block {
        Block::Paragraph(text) => paragraph(out, text, None),
        Block::Aside(text) => paragraph(out, text, Some("aside")),
        Block::List(items) => {
            out.open("ul", &[]);
            for item in items {
                out.open("li", &[]);
                spans(out, item);
                out.close();
            }
            out.close_line();
        }
        Block::Facts(facts) => {
            out.open("dl", &[]);
            for (name, what) in facts {
                out.open("div", &[]).element("dt", &[], name).open("dd", &[]);
                spans(out, what);
                out.close().close();
            }
            out.close_line();
        }
        Block::Blanks(names) => {
            out.open("dl", &[("class", "blanks")]);
            for name in names {
                out.open("div", &[]).element("dt", &[], name).element("dd", &[], "").close();
            }
            out.close_line();
        }
        Block::Table(table) => self::table(out, table),
        Block::Figure(figure) => self::figure(out, figure),
        Block::Statement(statement) => self::statement(out, statement, level),
        Block::Panels(panels) => {
            out.open("div", &[("class", "panels")]);
            for panel in panels {
                let class = if panel.wide { "panel wide" } else { "panel" };
                out.open("div", &[("class", class)]);
                if !panel.title.is_empty() {
                    let class = [("class", "panel-title")];
                    out.element(heading_element(level + 1), &class, &panel.title);
                }
                for block in &panel.blocks {
                    self::block(out, block, level + 1);
                }
                out.close();
            }
            out.close_line();
        }
        Block::Folded { summary, blocks } => {
            out.open("details", &[]).element("summary", &[], summary);
            for block in blocks {
                self::block(out, block, level);
            }
            out.close_line();
        }
        Block::Section(inner) => section(out, inner, level + 1, "inner"),
        Block::Verbatim(text) => {
            scroller(out, words::VERBATIM);
            out.element("pre", &[], text).close_line();
        }
    }
}

fn paragraph(out: &mut Writer, text: &Text, class: Option<&str>) {
    match class {
        Some(class) => out.open("p", &[("class", class)]),
        None => out.open("p", &[]),
    };
    spans(out, text);
    out.close_line();
}

fn spans(out: &mut Writer, text: &Text) {
    for span in &text.0 {
        match span {
            Span::Plain(words) => out.text(words),
            Span::Strong(words) => out.element("strong", &[], words),
            Span::Exact(words) => out.element("code", &[], words),
            Span::Quoted(words) => out.element("bdi", &[], words),
            Span::Link { to, words } => out.element("a", &[("href", &format!("#{to}"))], words),
        };
    }
}

fn statement(out: &mut Writer, statement: &Statement, level: usize) {
    let class = format!("statement {}", tone_class(statement.tone));
    out.open("div", &[("class", &class)]);
    out.open("p", &[("class", "over")]);
    badge(out, statement.tone);
    out.text(" ").text(&statement.over).close();
    out.element(heading_element(level + 1), &[("class", "headline")], &statement.headline);
    for block in &statement.blocks {
        self::block(out, block, level + 1);
    }
    out.close_line();
}

/// A box of its own to scroll in, so that the page itself never scrolls sideways; reachable by
/// keyboard.
fn scroller(out: &mut Writer, label: &str) {
    out.open(
        "div",
        &[("class", "scroller"), ("tabindex", "0"), ("role", "region"), ("aria-label", label)],
    );
}

fn table(out: &mut Writer, table: &Table) {
    scroller(out, &table.caption);
    out.open("table", &[]).element("caption", &[], &table.caption);
    out.open("thead", &[]).open("tr", &[]);
    for column in &table.columns {
        let class = if column.numeric { "number" } else { "words" };
        out.element("th", &[("scope", "col"), ("class", class)], &column.title);
    }
    out.close().close().open("tbody", &[]);
    for row in &table.rows {
        out.open("tr", &[]);
        for (place, (cell, column)) in row.iter().zip(&table.columns).enumerate() {
            match (place, column.numeric) {
                (0, _) => out.open("th", &[("scope", "row")]),
                (_, true) => out.open("td", &[("class", "number")]),
                (_, false) => out.open("td", &[]),
            };
            self::cell(out, cell);
            out.close();
        }
        out.close();
    }
    out.close().close().close_line();
}

fn cell(out: &mut Writer, cell: &Cell) {
    match cell {
        Cell::Text(text) => spans(out, text),
        Cell::Sign(reason) => {
            inline(out, &sign::inline(*reason));
            out.text(" ").text(stops::name(*reason));
        }
        Cell::Share(share) => {
            inline(out, &sign::bar(*share));
            out.text(" ").text(&crate::format::percent(*share));
        }
    }
}

/// A small drawing in a line of text. A word stands beside it, so it is hidden from readers.
fn inline(out: &mut Writer, drawing: &Drawing) {
    let (width, height) = (drawing.width.to_string(), drawing.height.to_string());
    out.open(
        "svg",
        &[
            ("xmlns", "http://www.w3.org/2000/svg"),
            ("class", "inline"),
            ("aria-hidden", "true"),
            ("width", &width),
            ("height", &height),
            ("viewBox", &format!("0 0 {width} {height}")),
        ],
    );
    out.markup(&svg::body(drawing)).close();
}

fn figure(out: &mut Writer, figure: &Figure) {
    let span = figure.span.map(|(from, to)| (from.to_string(), to.to_string()));
    let mut attributes = vec![("id", figure.id.as_str())];
    if let Some((from, to)) = &span {
        attributes.extend([("data-from", from.as_str()), ("data-to", to.as_str())]);
    }
    out.open("figure", &attributes);
    match &figure.narrow {
        Some(narrow) => {
            drawing(out, figure, &figure.wide, "wide");
            drawing(out, figure, narrow, "narrow");
        }
        None => drawing(out, figure, &figure.wide, "any"),
    }
    out.open("figcaption", &[]);
    spans(out, &figure.caption);
    out.close_line();
    if let Some(table) = &figure.table {
        out.open("details", &[]).element("summary", &[], words::VALUES_BEHIND);
        self::table(out, table);
        out.close_line();
    }
    out.close_line();
}

/// The drawing with its name and description; of two sizes only one is shown, and only the shown
/// one is read out.
fn drawing(out: &mut Writer, figure: &Figure, drawing: &Drawing, size: &str) {
    let title = format!("{}-{size}-title", figure.id);
    let description = format!("{}-{size}-desc", figure.id);
    let shape = format!("0 0 {} {}", drawing.width, drawing.height);
    out.open(
        "svg",
        &[
            ("xmlns", "http://www.w3.org/2000/svg"),
            ("class", &format!("picture {size}")),
            ("viewBox", &shape),
            ("role", "img"),
            ("aria-labelledby", &title),
            ("aria-describedby", &description),
        ],
    );
    out.element("title", &[("id", &title)], &figure.title);
    out.element("desc", &[("id", &description)], &figure.description);
    out.markup(&svg::body(drawing)).close_line();
}
