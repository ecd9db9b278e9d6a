//! The content model as one HTML file. No script; a content policy that forbids fetching anything.

pub mod escape;
mod page;
mod writer;

pub use page::page;
