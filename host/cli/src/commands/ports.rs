//! `ports`: where a logger may be.

use crate::failure::Failure;
use crate::output;
use pumpwitness_link::ports;
use std::fmt::Write;

/// Lists the serial ports, USB ones first.
pub fn run() -> Result<(), Failure> {
    let mut text = String::new();
    for port in ports::list() {
        let kind = if port.usb { "USB" } else { "other" };
        let _ = writeln!(text, "{:<24} {kind:<6} {}", port.name, port.description);
    }
    if text.is_empty() {
        text.push_str("no serial port found: plug the logger in and look again\n");
    }
    output::print(&text)
}
