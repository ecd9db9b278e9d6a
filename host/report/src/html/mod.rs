//! The content model as one HTML file: nothing runs but the viewer, whose digest the page's content
//! policy names. Nothing is fetched, but by a page that is made to be served: its viewer asks for
//! rows where the page came from, and nowhere else.

pub mod escape;
mod packed;
mod page;
mod record;
mod viewer;
mod writer;

use crate::content::{Document, View};
use record::Rows;

/// Size that a page with its record stays below, bytes.
const PAGE: usize = 4_600_000;
/// Most that rows and captures may take of it, bytes.
const RECORD: usize = 3_200_000;

/// The page of a view, with the record to look into.
pub fn page(view: &View<'_>, document: &Document) -> String {
    let plain = page::page(document, None);
    let room = PAGE.saturating_sub(plain.len()).min(RECORD);
    match record::json(view, Rows::InPage(room)) {
        Some(record) => page::page(document, Some(&record)),
        None => plain,
    }
}

/// The page of a view whose viewer asks for rows at `address`.
pub fn page_served(view: &View<'_>, document: &Document, address: &str) -> String {
    page::page(document, record::json(view, Rows::Served(address)).as_ref())
}

/// What is answered at that address.
pub fn stretch(view: &View<'_>, from_ms: i64, to_ms: i64) -> String {
    record::stretch(view, from_ms, to_ms).to_string()
}

/// The page of a document that has no single record.
pub fn page_of(document: &Document) -> String {
    page::page(document, None)
}
