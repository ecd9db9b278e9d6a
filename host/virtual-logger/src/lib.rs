//! The logger's own code inside the host, behind a virtual serial port.

#[cfg(unix)]
pub mod port;
#[cfg(unix)]
pub mod pty;
