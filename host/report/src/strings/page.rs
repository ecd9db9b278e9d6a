//! Words of the page around the content.

use crate::content::Tone;

/// Language of these strings (BCP 47).
pub const LANGUAGE: &str = "en";
/// Kind of document.
pub const KIND: &str = "Pump installation: what the record shows";
/// Heading of the table of contents.
pub const CONTENTS: &str = "Contents";
/// Link past the first page.
pub const SKIP: &str = "Skip to contents";
/// Summary of a folded table behind a picture.
pub const VALUES_BEHIND: &str = "Values behind the picture";
/// Name of the box around a text given as it is.
pub const VERBATIM: &str = "Text as it was declared";

/// The word for a tone.
pub fn tone(tone: Tone) -> &'static str {
    match tone {
        Tone::Fault => "fault",
        Tone::Watch => "worth watching",
        Tone::Info => "for information",
        Tone::Well => "nothing wrong found",
    }
}

/// The shape for a tone.
pub fn tone_shape(tone: Tone) -> &'static str {
    match tone {
        Tone::Fault => "■",
        Tone::Watch => "◆",
        Tone::Info => "○",
        Tone::Well => "✓",
    }
}

/// At the foot of every printed page.
pub fn page_of(number: usize, of: usize) -> String {
    format!("page {number} of {of}")
}
