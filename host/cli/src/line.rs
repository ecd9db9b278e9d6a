//! From a port's name to a client.

use crate::args::PortChoice;
use crate::failure::Failure;
use pumpwitness_link::{Client, Limits, SerialLine, ports};
use std::time::Duration;

/// Opens the chosen port, or the only one there is.
pub fn open(choice: &PortChoice) -> Result<Client<SerialLine>, Failure> {
    let name = match &choice.port {
        Some(name) => name.clone(),
        None => only_one()?,
    };
    let line = SerialLine::open(&name).map_err(Failure::input)?;
    let answer = Duration::from_secs(choice.patience.into());
    Ok(Client::new(line, Limits { answer, ..Limits::default() }))
}

fn only_one() -> Result<String, Failure> {
    let mut usb = ports::list().into_iter().filter(|port| port.usb);
    match (usb.next(), usb.next()) {
        (Some(port), None) => Ok(port.name),
        (None, _) => Err(Failure::input(
            "no logger found on USB: plug it in, or name its port with --port (see `pumpwitness ports`)",
        )),
        (Some(_), Some(_)) => Err(Failure::usage(
            "more than one USB device may be the logger: name its port with --port (see `pumpwitness ports`)",
        )),
    }
}
