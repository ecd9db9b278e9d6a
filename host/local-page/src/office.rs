//! What the page asks of the rest of the program: site files kept in order, records filed, read and
//! given away. Whoever starts the page brings an [`Office`]; this crate knows neither the analysis
//! nor the folder. All of it may take its time and is called beside the server's thread.

use serde::{Deserialize, Serialize};
use std::path::{Path, PathBuf};

/// Why something cannot be had.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum OfficeError {
    /// There is none of that name.
    #[error("there is no such record or file here")]
    Absent,
    /// Anything else: one sentence with cause and remedy.
    #[error("{0}")]
    Failed(String),
}

/// What came of it.
pub type Outcome<T> = Result<T, OfficeError>;

/// A site file known to the folder.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct KnownSite {
    /// What it is asked for by; a plain name, no path.
    pub file: String,
    /// Name of the site.
    pub name: String,
}

/// Which records are wanted; empty texts ask for nothing.
#[derive(Clone, Debug, Default, PartialEq, Eq, Deserialize)]
#[serde(default)]
pub struct Wanted {
    /// Site, by its name.
    pub site: String,
    /// First day, `YYYY-MM-DD` in UTC.
    pub from: String,
    /// Last day.
    pub to: String,
    /// Cause, as in the schema of the analysis.
    pub cause: String,
    /// Words that all occur in what is said of the record.
    pub words: String,
}

/// Records that fit, and what can be chosen from.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Records {
    /// Names of all sites in the folder.
    pub sites: Vec<String>,
    /// All causes in the folder.
    pub causes: Vec<String>,
    /// The records that fit, newest first.
    pub records: Vec<Entry>,
}

/// One record in the index. Times are RFC 3339.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Entry {
    /// What it is asked for by; a plain stem, no path.
    pub id: String,
    /// Name of the site.
    pub site: String,
    /// First moment.
    pub start: String,
    /// Last moment.
    pub end: String,
    /// Number of the logger.
    pub device: String,
    /// First cause of the verdict.
    pub cause: String,
    /// The verdict in one sentence.
    pub says: String,
    /// Runs of the pump.
    pub runs: u64,
    /// Stops by reason.
    pub stops: std::collections::BTreeMap<String, u64>,
    /// What the check of the archive says, in one line.
    pub integrity: String,
    /// Length of the archive.
    pub bytes: u64,
}

/// One record with what was found.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Record {
    /// As in the index.
    #[serde(flatten)]
    pub entry: Entry,
    /// The verdict as a heading.
    pub headline: String,
    /// What was found.
    pub findings: Vec<Finding>,
    /// Causes, best first.
    pub verdict: Vec<Cause>,
    /// Causes that the record contradicts.
    pub ruled_out: Vec<RuledOut>,
    /// Chain of custody.
    pub custody: Vec<Custody>,
}

/// A finding.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Finding {
    /// Kind, as in the schema of the analysis.
    pub kind: String,
    /// `info`, `watch` or `fault`.
    pub severity: String,
    /// What was seen, for people.
    pub text: String,
    /// First moment, RFC 3339.
    pub start: String,
    /// Last moment.
    pub end: String,
    /// How often.
    pub count: u64,
    /// What it points to.
    pub points_to: String,
}

/// A cause.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Cause {
    /// Name, as in the schema of the analysis.
    pub cause: String,
    /// For people.
    pub text: String,
    /// 0 to 1.
    pub confidence: f64,
    /// What would settle it.
    pub next_checks: Vec<String>,
}

/// A cause that is none.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct RuledOut {
    /// Name.
    pub cause: String,
    /// Why not.
    pub because: String,
}

/// A line of the chain of custody.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Custody {
    /// Who or what.
    pub name: String,
    /// What is known of it.
    pub says: String,
}

/// Which rows of a record are wanted.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
pub struct Span {
    /// From, ms since 1970.
    pub from_ms: i64,
    /// To, ms since 1970.
    pub to_ms: i64,
    /// At most so many.
    #[serde(default = "Span::most")]
    pub most: usize,
}

impl Span {
    /// Most rows given at once, whatever was asked for.
    pub const MOST: usize = 5000;

    fn most() -> usize {
        Self::MOST
    }
}

/// Rows on the time axis, by rising time.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Rows {
    /// The rows.
    pub rows: Vec<Row>,
    /// Rows in the span beyond those given.
    pub left_out: u64,
}

/// One row; what is not measured is `null`.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Row {
    /// Since when it holds, ms since 1970; for a cycle the same as `ms`.
    pub from_ms: i64,
    /// Its end, ms since 1970.
    pub ms: i64,
    /// Voltage, V.
    pub voltage_v: Option<f64>,
    /// Current, A.
    pub current_a: Option<f64>,
    /// Power, W.
    pub power_w: Option<f64>,
    /// Pressure, bar.
    pub pressure_bar: Option<f64>,
    /// The pump counts as running.
    pub running: Option<bool>,
    /// Numbers of the lamps that are lit.
    pub lamps: Vec<u8>,
    /// `row` of the record, or `cycle` of a capture.
    pub detail: &'static str,
}

/// What a report is written as.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Form {
    /// One HTML file.
    Html,
    /// One PDF file.
    Pdf,
}

/// A file to be given away.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Given {
    /// Its bytes.
    pub bytes: Vec<u8>,
    /// Its media type.
    pub media_type: &'static str,
}

/// The rest of the program. Names that come in are those that were given out before: an
/// implementation looks them up and never makes a path of them.
pub trait Office: Send + Sync {
    /// Site files known.
    fn sites(&self) -> Outcome<Vec<KnownSite>>;

    /// Text of a known site file.
    fn site_text(&self, file: &str) -> Outcome<String>;

    /// Keeps the text of a site file, which has been checked, as that of its site; gives what it is
    /// asked for by.
    fn keep_site(&self, toml: &str) -> Outcome<String>;

    /// The fitting sheet of a site as PDF.
    fn sheet(&self, toml: &str) -> Outcome<Vec<u8>>;

    /// File into which the record of `device` (hexadecimal) is downloaded before it is filed; the
    /// same each time, in a folder that is there, so that an unfinished download is gone on with.
    fn incoming(&self, device: &str) -> Outcome<PathBuf>;

    /// Analyses a downloaded archive and moves it to its place; gives its id.
    fn file_away(&self, archive: &Path) -> Outcome<String>;

    /// Records that fit.
    fn records(&self, wanted: &Wanted) -> Outcome<Records>;

    /// One record.
    fn record(&self, id: &str) -> Outcome<Record>;

    /// Its interactive report, one HTML page that brings scripts and styles with it.
    fn view(&self, id: &str) -> Outcome<Vec<u8>>;

    /// Rows of a span in the packed form that its interactive report reads (JSON).
    fn detail(&self, id: &str, from_ms: i64, to_ms: i64) -> Outcome<Vec<u8>>;

    /// Rows of it, [`Span::MOST`] at most.
    fn rows(&self, id: &str, span: Span) -> Outcome<Rows>;

    /// Writes a report of it; gives the name for [`Office::given`].
    fn report(&self, id: &str, form: Form) -> Outcome<String>;

    /// Packs a bundle of it; gives the name for [`Office::given`].
    fn bundle(&self, id: &str, private: bool) -> Outcome<String>;

    /// A file made by [`Office::report`] or [`Office::bundle`].
    fn given(&self, name: &str) -> Outcome<Given>;
}
