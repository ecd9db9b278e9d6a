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

/// Heading of the viewer.
pub const VIEWER_TITLE: &str = "The record, to look into";
/// Under it.
pub const VIEWER_LEAD: &str = "All channels on one time axis. Dark bars on top: the pump running, \
    with the sign of why it stopped; shaded: what findings speak of; line: mean; band: smallest to \
    largest value; dotted: as declared; hatched: nothing recorded.";
/// Leads there.
pub const VIEWER_LINK: &str = "Look into the record: zoom and read values";

/// Words within the viewer, by the names its script knows them by.
pub const VIEWER: &[(&str, &str)] = &[
    ("tools", "Move and zoom"),
    ("jump", "Go to a finding …"),
    ("left", "Earlier"),
    ("right", "Later"),
    ("closer", "Zoom in"),
    ("wider", "Zoom out"),
    ("whole", "Whole record"),
    ("back", "Back to the picture"),
    ("open", "Look closer in the record"),
    ("plot", "The record over time"),
    ("runs", "runs"),
    ("months", "Jan Feb Mar Apr May Jun Jul Aug Sep Oct Nov Dec"),
    ("readout", "Values at the dashed line"),
    ("at", "From"),
    ("row", "one row of the record"),
    ("cycle", "one cycle, renewed every half cycle"),
    ("summed", "rows summed up; zoom in for single rows"),
    ("apart", "rows summed up; single rows of this stretch are in the record, not in this page"),
    (
        "unreachable",
        "The program that serves this page does not answer: finer values cannot be had.",
    ),
    ("nothing", "no row of the record here"),
    ("running", "Pump running for"),
    ("stopped", "stopped by:"),
    ("mean", "mean"),
    ("least", "least"),
    ("most", "most"),
    (
        "help",
        "Drag to move; click, then turn the wheel to zoom; pinch on a touch screen. Keys: ← → move \
         the dashed line, with Shift the view; + − zoom; Page up, Page down, Home, End; 0 whole \
         record; n, p next and previous stop or finding.",
    ),
];
