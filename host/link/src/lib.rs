//! The host's side of the link: a line, a typed client, and a download that can be gone on with.
//!
//! [`transport`] (bytes over a serial port or a pipe; [`ports`] lists the ports) → [`client`] (one
//! method a request, time limits, retries) → [`download`] (an archive file, page by page, verified).
//! [`error`] keeps the line's failures and the logger's refusals apart; [`arming`] says what a site
//! file means to the logger, [`calibrating`] what readings beside a reference do.
#![forbid(unsafe_code)]

pub mod arming;
pub mod calibrating;
pub mod client;
pub mod download;
pub mod error;
pub mod ports;
#[cfg(test)]
mod testing;
pub mod transport;

pub use client::{Client, Limits};
pub use download::{Download, DownloadError, Downloaded, Progress};
pub use error::{ClientError, DeviceError, LinkError};
pub use transport::{Pipe, SerialLine, Transport};
