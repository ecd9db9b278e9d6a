//! The host's side of the link: a line, a typed client, and a download that can be gone on with.
//!
//! [`transport`] (bytes over a serial port or a pipe; [`ports`] lists the ports) → [`client`] (one
//! method a request, time limits, retries) → [`download`] (an archive file, page by page, verified).
//! [`arming`] says what a site file means to the logger.

pub mod arming;
pub mod client;
pub mod download;
pub mod ports;
pub mod transport;

pub use client::{Client, Limits, LinkError};
pub use download::{Download, DownloadError, Downloaded, Progress};
pub use transport::{Pipe, SerialLine, Transport};
