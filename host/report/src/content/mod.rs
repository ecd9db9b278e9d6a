//! What the report says, apart from how it is written down: sections, sentences, tables, figures.
//! `html` writes this model out for the screen, `pdf` for paper.

pub mod compared;
pub mod custody;
mod days;
mod document;
mod evidence;
mod finding;
mod limits;
mod method;
mod page_one;
mod record;
mod runs;
mod statistics;
mod telling;
mod uncertainty;
mod view;

pub use document::document;
pub use evidence::told;
pub use view::{Lamp, View};

/// A whole report.
#[derive(Clone, Debug)]
pub struct Document {
    /// Kind of document, over the title.
    pub kind: String,
    /// Title.
    pub title: String,
    /// The line under the title.
    pub subtitle: String,
    /// The line at the foot.
    pub foot: String,
    /// Sections in order; the first is page one.
    pub sections: Vec<Section>,
    /// SHA-256 of each file it was made from, with its name in words: at the foot of every page.
    pub hashes: Vec<String>,
    /// When it was made.
    pub made: jiff::Timestamp,
    /// The program that made it.
    pub program: String,
    /// The sheet it is printed on.
    pub paper: Paper,
}

/// A sheet of paper.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Paper {
    /// 210 mm × 297 mm.
    A4,
    /// 8.5 in × 11 in.
    Letter,
}

/// A section, with a name to link to.
#[derive(Clone, Debug)]
pub struct Section {
    /// Anchor, unique in the document: letters, digits and hyphens.
    pub id: String,
    /// Heading.
    pub title: String,
    /// A mark of severity before the heading.
    pub tone: Option<Tone>,
    /// What it holds.
    pub blocks: Vec<Block>,
}

/// How grave something is. Always shown as shape and word, never by colour alone.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Tone {
    /// Wrong.
    Fault,
    /// Worth an eye.
    Watch,
    /// Worth knowing.
    Info,
    /// Nothing wrong.
    Well,
}

/// A piece of a section.
#[derive(Clone, Debug)]
pub enum Block {
    /// A paragraph.
    Paragraph(Text),
    /// A small, quiet paragraph: sources, reservations.
    Aside(Text),
    /// A list without order.
    List(Vec<Text>),
    /// Names and what they are.
    Facts(Vec<(String, Text)>),
    /// Lines to be filled in by hand, with what belongs on each.
    Blanks(Vec<String>),
    /// A table.
    Table(Table),
    /// A picture.
    Figure(Figure),
    /// A set-off statement.
    Statement(Statement),
    /// Panels side by side where there is room.
    Panels(Vec<Panel>),
    /// Folded away on a screen, left out on paper.
    Folded {
        /// What is inside, in a few words.
        summary: String,
        /// The inside.
        blocks: Vec<Block>,
    },
    /// A section inside this one.
    Section(Section),
    /// Text exactly as it was, line by line.
    Verbatim(String),
}

/// A set-off statement, such as a verdict.
#[derive(Clone, Debug)]
pub struct Statement {
    /// How grave.
    pub tone: Tone,
    /// Words over the headline.
    pub over: String,
    /// The headline.
    pub headline: String,
    /// What follows.
    pub blocks: Vec<Block>,
}

/// One of several panels.
#[derive(Clone, Debug)]
pub struct Panel {
    /// Heading; empty where what is in it has one.
    pub title: String,
    /// True where it takes the whole width.
    pub wide: bool,
    /// What it holds.
    pub blocks: Vec<Block>,
}

/// A table.
#[derive(Clone, Debug, Default)]
pub struct Table {
    /// What it shows; read out by screen readers, shown above.
    pub caption: String,
    /// Columns.
    pub columns: Vec<Column>,
    /// Rows, each as long as `columns`. The first cell names the row.
    pub rows: Vec<Vec<Cell>>,
}

/// A column of a table.
#[derive(Clone, Debug)]
pub struct Column {
    /// Heading.
    pub title: String,
    /// True where the cells are numbers and align to the right.
    pub numeric: bool,
}

impl Column {
    /// A column of words.
    pub fn words(title: impl Into<String>) -> Self {
        Self { title: title.into(), numeric: false }
    }

    /// A column of numbers.
    pub fn numbers(title: impl Into<String>) -> Self {
        Self { title: title.into(), numeric: true }
    }
}

/// A cell of a table.
#[derive(Clone, Debug)]
pub enum Cell {
    /// Words or numbers.
    Text(Text),
    /// A stop reason: its sign, drawn, and its name.
    Sign(pumpwitness_analysis::outcome::StopReason),
    /// A share from 0 to 1, drawn as a bar with its number.
    Share(f64),
}

impl<T: Into<Text>> From<T> for Cell {
    fn from(text: T) -> Self {
        Self::Text(text.into())
    }
}

/// A picture with all that goes with it.
#[derive(Clone, Debug)]
pub struct Figure {
    /// Anchor, unique in the document.
    pub id: String,
    /// What it shows, for those who cannot see it; one line.
    pub title: String,
    /// What there is to see in it, in words.
    pub description: String,
    /// Drawn for a page or a desktop.
    pub wide: crate::picture::Drawing,
    /// Drawn for a phone; `None` where the wide one serves.
    pub narrow: Option<crate::picture::Drawing>,
    /// The words under it.
    pub caption: Text,
    /// The values behind it.
    pub table: Option<Table>,
    /// The stretch of time it shows, ms since 1970, where a closer look makes sense.
    pub span: Option<(i64, i64)>,
}

/// Words with a little emphasis.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Text(pub Vec<Span>);

/// A stretch of words.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Span {
    /// As it is.
    Plain(String),
    /// Strong.
    Strong(String),
    /// Digits and names to be copied exactly: hashes, file names.
    Exact(String),
    /// Taken from a file: set apart so that its writing direction cannot touch what stands around.
    Quoted(String),
    /// A link inside the document.
    Link {
        /// Anchor.
        to: String,
        /// Words.
        words: String,
    },
}

impl Text {
    /// Adds plain words.
    #[must_use]
    pub fn plain(mut self, words: impl Into<String>) -> Self {
        self.0.push(Span::Plain(words.into()));
        self
    }

    /// Adds strong words.
    #[must_use]
    pub fn strong(mut self, words: impl Into<String>) -> Self {
        self.0.push(Span::Strong(words.into()));
        self
    }

    /// Adds digits or names to be copied exactly.
    #[must_use]
    pub fn exact(mut self, words: impl Into<String>) -> Self {
        self.0.push(Span::Exact(words.into()));
        self
    }

    /// Adds words taken from a file.
    #[must_use]
    pub fn quoted(mut self, words: impl Into<String>) -> Self {
        self.0.push(Span::Quoted(words.into()));
        self
    }

    /// Adds a link inside the document.
    #[must_use]
    pub fn link(mut self, to: impl Into<String>, words: impl Into<String>) -> Self {
        self.0.push(Span::Link { to: to.into(), words: words.into() });
        self
    }
}

impl From<String> for Text {
    fn from(words: String) -> Self {
        Self(vec![Span::Plain(words)])
    }
}

impl From<&str> for Text {
    fn from(words: &str) -> Self {
        words.to_owned().into()
    }
}
