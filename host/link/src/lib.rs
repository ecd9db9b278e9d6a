//! Typed client and resumable download.
