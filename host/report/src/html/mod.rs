//! The content model as one HTML file: nothing is fetched, and nothing runs but the viewer, whose
//! digest the page's content policy names.

pub mod escape;
mod packed;
mod page;
mod record;
mod writer;

use crate::content::{Document, View};

/// Size that a page with its record stays below, bytes.
const PAGE: usize = 4_600_000;
/// Most that rows and captures may take of it, bytes.
const RECORD: usize = 3_200_000;

/// The page of a view, with the record to look into.
pub fn page(view: &View<'_>, document: &Document) -> String {
    let plain = page::page(document, None);
    let room = PAGE.saturating_sub(plain.len()).min(RECORD);
    match record::json(view, room) {
        Some(record) => page::page(document, Some(&record)),
        None => plain,
    }
}

/// The page of a document that has no single record.
pub fn page_of(document: &Document) -> String {
    page::page(document, None)
}
