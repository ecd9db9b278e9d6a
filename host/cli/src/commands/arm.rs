//! `arm`: site file and clock into the logger.

use crate::args::Arm;
use crate::failure::{Context, Failure};
use crate::{line, load, output};
use jiff::Timestamp;
use pumpwitness_link::{Client, Transport, arming};
use pumpwitness_protocol::hex::Hex;
use pumpwitness_protocol::message::Identity;
use pumpwitness_site_file::Site;

/// Arms the logger on a port.
pub fn run(arguments: &Arm) -> Result<(), Failure> {
    let (site, text) = load::site(&arguments.site)?;
    let mut client = line::open(&arguments.port)?;
    let clock = (!arguments.keep_clock).then(|| Timestamp::now().as_millisecond());
    let identity = arm(&mut client, &site, &text, clock)?;
    let name = site.name.as_deref().unwrap_or("this site");
    output::print(&format!(
        "logger {} is armed for {name} and records from now on{}\n",
        Hex(&identity.device),
        match clock {
            Some(now) => format!("; its clock was {}", off_by(identity.clock_ms - now)),
            None => String::new(),
        }
    ))
}

/// Gives a logger its site, sets its clock (ms since 1970) if one is given, and starts recording.
/// The identity is that before anything was changed.
pub fn arm<T: Transport>(
    client: &mut Client<T>,
    site: &Site,
    text: &str,
    clock_ms: Option<i64>,
) -> Result<Identity, Failure> {
    let settings = arming::settings(site, text).or_input("site file")?;
    let identity = client.hello().map_err(Failure::input)?;
    if let Some(clock_ms) = clock_ms {
        client.set_clock(clock_ms).map_err(Failure::input)?;
    }
    client.put_settings(&settings).map_err(Failure::input)?;
    client.put_site_text(text.as_bytes()).map_err(Failure::input)?;
    client.arm().map_err(Failure::input)?;
    Ok(identity)
}

/// "0.4 s slow", "2.1 s fast".
fn off_by(ms: i64) -> String {
    let seconds = ms.unsigned_abs() as f64 / 1000.0;
    let way = if ms < 0 { "slow" } else { "fast" };
    if seconds < 86_400.0 {
        format!("{seconds:.1} s {way} and has been set")
    } else {
        format!("{:.0} days {way} and has been set", seconds / 86_400.0)
    }
}
