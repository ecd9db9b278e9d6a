//! Findings as HTML and pictures.
