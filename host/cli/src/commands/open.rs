//! `open`: the page for the time at the panel, served on this computer alone.

use crate::args::Open;
use crate::failure::Failure;
use crate::office::RecordOffice;
use crate::{filing, integrity, output};
use pumpwitness_local_page::office::Office;
use pumpwitness_local_page::ports::{Ports, UsbPorts, WithNamed};
use pumpwitness_local_page::practice::{Handle, Practice, WithPractice};
use pumpwitness_local_page::{Server, Setup};
use std::process::{Command, Stdio};
use std::sync::Arc;

/// Serves the page until Ctrl-C.
pub fn run(arguments: &Open) -> Result<(), Failure> {
    let folder = filing::open(arguments.folder.as_deref())?;
    let known = integrity::known(arguments.trust.as_deref())?;
    let office: Arc<dyn Office> = Arc::new(RecordOffice::new(folder, known));
    let practised = practised(arguments, &*office)?;
    let practice = practised.as_ref().map(Practice::handle);
    let setup = Setup {
        port: arguments.listen,
        ports: ports(practice.clone(), arguments.port.as_deref()),
        office,
        practice,
    };
    let server = Server::bind(setup).map_err(Failure::input)?;
    let url = server.url();
    output::print(&format!(
        "the page is at {url}\nit is for this computer and this run only: whoever has the address \
         can use it; Ctrl-C ends it\n"
    ))?;
    if !arguments.no_browser && !shown(&url) {
        output::print("no browser could be started: open the address in one\n")?;
    }
    server.run().map_err(Failure::input)
}

/// Where loggers are looked for.
fn ports(practice: Option<Handle>, named: Option<&str>) -> Box<dyn Ports> {
    let others: Box<dyn Ports> = match practice {
        Some(practice) => Box::new(WithPractice { others: UsbPorts, practice }),
        None => Box::new(UsbPorts),
    };
    match named {
        Some(name) => Box::new(WithNamed { others, name: name.to_owned() }),
        None => others,
    }
}

/// Shows an address by the system's own opener; false when that cannot be started.
fn shown(url: &str) -> bool {
    let mut opener = if cfg!(target_os = "macos") {
        Command::new("open")
    } else if cfg!(windows) {
        let mut opener = Command::new("rundll32");
        opener.arg("url.dll,FileProtocolHandler");
        opener
    } else {
        Command::new("xdg-open")
    };
    opener.arg(url).stdin(Stdio::null()).stdout(Stdio::null()).stderr(Stdio::null()).spawn().is_ok()
}

/// The practised site, where it was asked for; it ends when it is dropped.
fn practised(arguments: &Open, office: &dyn Office) -> Result<Option<Practice>, Failure> {
    if !arguments.practice {
        return Ok(None);
    }
    // Its site file is there to be chosen, as one planned in the office would be.
    office.keep_site(&Practice::site_toml()).map_err(Failure::input)?;
    Practice::begin().map(Some).map_err(Failure::input)
}
