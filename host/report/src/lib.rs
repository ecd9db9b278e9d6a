//! Findings as one self-contained HTML file, or as PDF, with drawn pictures.
//!
//! [`content`] says what the report says (sections, sentences, tables, figures), from the analysis,
//! the recording and the site file; [`picture`] draws; `html` writes the page, `pdf`
//! the sheets; [`strings`] holds
//! every fixed word; [`units`], [`format`] and [`times`] turn values into the reader's; [`budget`] says
//! how far a reading may be from the truth.
//!
//! Pure: values in, one string or the bytes of one file out. No file, no clock.

pub mod budget;
pub mod content;
pub mod format;
mod html;
mod pdf;
pub mod picture;
mod restate;
pub mod sheet;
pub mod strings;
pub mod times;
pub mod units;

pub use content::custody::Integrity;
use jiff::Timestamp;
pub use pdf::PdfError;
use pumpwitness_analysis::outcome::Analysis;
use pumpwitness_comparison::outcome::Comparison;
use pumpwitness_recording::Recording;
use pumpwitness_site_file::Site;
use units::Style;

/// What a report is made of.
#[derive(Clone, Copy, Debug)]
pub struct ReportInput<'a> {
    /// What was found.
    pub analysis: &'a Analysis,
    /// The record it was found in.
    pub recording: &'a Recording,
    /// The site as declared.
    pub site: &'a Site,
    /// What a check of the archive said, where one was made.
    pub integrity: Option<&'a Integrity>,
    /// When the report is made.
    pub generated: Timestamp,
    /// Version of the program that makes it.
    pub program_version: &'a str,
}

/// The report as one HTML file, in the units the site file asks for.
pub fn html(input: &ReportInput<'_>) -> String {
    html_in(input, Style::of(input.site))
}

/// The report as one PDF file, in the units the site file asks for: PDF/A-2a, tagged, A4 or Letter.
/// The same input gives the same bytes.
///
/// # Errors
///
/// [`PdfError`] where the writer refuses; no input is known to bring that about.
pub fn pdf(input: &ReportInput<'_>) -> Result<Vec<u8>, PdfError> {
    pdf::file(&content::document(&content::View::new(input, Style::of(input.site))))
}

/// Two records compared, as one HTML file; in the units of the second.
pub fn compared_html(
    first: &ReportInput<'_>,
    second: &ReportInput<'_>,
    comparison: &Comparison,
) -> String {
    html::page_of(&compared(first, second, comparison))
}

/// Two records compared, as one PDF file; in the units of the second.
///
/// # Errors
///
/// As [`pdf`].
pub fn compared_pdf(
    first: &ReportInput<'_>,
    second: &ReportInput<'_>,
    comparison: &Comparison,
) -> Result<Vec<u8>, PdfError> {
    pdf::file(&compared(first, second, comparison))
}

fn compared(
    first: &ReportInput<'_>,
    second: &ReportInput<'_>,
    comparison: &Comparison,
) -> content::Document {
    let style = Style::of(second.site);
    let (first, second) = (content::View::new(first, style), content::View::new(second, style));
    content::compared::document(&first, &second, comparison)
}

/// The report as one HTML file, in units of the reader's choice.
pub fn html_in(input: &ReportInput<'_>, style: Style) -> String {
    let view = content::View::new(input, style);
    html::page(&view, &content::document(&view))
}

/// The report as a page for a program that serves it: its viewer asks for rows and captures at the
/// address `rows` (relative to the page's own), which [`rows`] answers. It is smaller than that of
/// [`html`] and shows every single row of a record however long.
pub fn html_served(input: &ReportInput<'_>, rows: &str) -> String {
    let view = content::View::new(input, Style::of(input.site));
    html::page_served(&view, &content::document(&view), rows)
}

/// Rows and captures between two moments, ms since 1970, as JSON for the viewer of [`html_served`]:
/// single ones as far as the viewer shows them at once, else summed up in steps.
pub fn rows(input: &ReportInput<'_>, from_ms: i64, to_ms: i64) -> String {
    let view = content::View::new(input, Style::of(input.site));
    html::stretch(&view, from_ms, to_ms)
}
