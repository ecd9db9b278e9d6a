//! What can go wrong with a logger on a line: the line ([`LinkError`]) and the logger saying no
//! ([`DeviceError`]) are kept apart, for one is mended with a cable and the other is not.

use pumpwitness_protocol::message::{PROTOCOL_VERSION, Refusal};
use pumpwitness_protocol::settings::SITE_TEXT_MAX;
use std::io;

/// Why a request was not carried out.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum ClientError {
    /// The line.
    #[error(transparent)]
    Link(#[from] LinkError),
    /// The logger said no.
    #[error(transparent)]
    Device(#[from] DeviceError),
    /// The site text does not fit; nothing was sent.
    #[error(
        "the site file has {0} bytes and the logger keeps {SITE_TEXT_MAX}: shorten its comments"
    )]
    SiteTextTooLong(usize),
}

/// What went wrong on the line.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum LinkError {
    /// No such port.
    #[error("{port}: no such port; see `pumpwitness ports` for those there are")]
    Absent {
        /// The port.
        port: String,
    },
    /// Another program has it.
    #[error("{port} is in use by another program; close that one and try again")]
    Busy {
        /// The port.
        port: String,
    },
    /// No right to open it.
    #[error(
        "{port}: this user may not open the port; on Linux join the group that owns it (often `dialout`)"
    )]
    NotAllowed {
        /// The port.
        port: String,
    },
    /// It cannot be opened for another reason.
    #[error("{port} cannot be opened ({cause}); see `pumpwitness ports` for those there are")]
    NoPort {
        /// The port.
        port: String,
        /// What the system says.
        cause: String,
    },
    /// The line is gone.
    #[error("{port}: the connection broke ({cause}); plug the logger in again and repeat")]
    Broken {
        /// The port.
        port: String,
        /// What the system says.
        cause: io::Error,
    },
    /// No answer in time.
    #[error("{port}: no answer to `{request}`; is this the logger, and is it powered?")]
    Silent {
        /// The port.
        port: String,
        /// What was asked.
        request: &'static str,
    },
    /// Bytes that are no frames.
    #[error(
        "{port}: what comes from there is unreadable: this is no logger, or its cable is bad; choose another port or cable"
    )]
    Garbage {
        /// The port.
        port: String,
    },
    /// An answer to another question.
    #[error("{port}: the logger answered `{request}` with something else; update this program")]
    Unexpected {
        /// The port.
        port: String,
        /// What was asked.
        request: &'static str,
    },
}

/// The logger refused a request.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{port}: {refusal} (`{request}`); {}", remedy(*refusal))]
pub struct DeviceError {
    /// The port.
    pub port: String,
    /// What was asked.
    pub request: &'static str,
    /// What it said.
    pub refusal: Refusal,
}

fn remedy(refusal: Refusal) -> String {
    match refusal {
        Refusal::Version(_) => {
            return format!("this program speaks {PROTOCOL_VERSION}: update the older of the two");
        }
        Refusal::Unknown => "update the logger's firmware",
        Refusal::Settings => "check the values in the site file",
        Refusal::SiteText => "repeat; if it stays so, shorten the site file",
        Refusal::Range => "repeat, into a new file",
        Refusal::Clock => "set this computer's clock and repeat",
        Refusal::Memory => "repeat; if it stays so, collect what can be read and have it repaired",
        Refusal::Calibration => "check the calibration file against hardware-notes",
        Refusal::NoSeal => "the archive will hold no seal; everything else can be collected",
    }
    .to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_refusal_names_place_cause_and_remedy() {
        let said = |refusal| {
            DeviceError { port: "port 1".to_owned(), request: "hello", refusal }.to_string()
        };
        assert_eq!(
            said(Refusal::Version(2)),
            "port 1: the logger speaks protocol 2 (`hello`); this program speaks 1: update the older of the two"
        );
        for refusal in [
            Refusal::Unknown,
            Refusal::Settings,
            Refusal::SiteText,
            Refusal::Range,
            Refusal::Clock,
            Refusal::Memory,
        ] {
            let said = said(refusal);
            assert!(said.starts_with("port 1: the logger") && said.contains("; "), "{said}");
        }
    }
}
