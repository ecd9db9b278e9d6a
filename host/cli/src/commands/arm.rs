//! `arm`: site file and clock into the logger.

use crate::args::Arm;
use crate::failure::Failure;
use crate::{line, load, output};
use jiff::Timestamp;
use pumpwitness_link::arming;
use pumpwitness_protocol::hex::Hex;

/// Arms the logger on a port.
pub fn run(arguments: &Arm) -> Result<(), Failure> {
    let (site, text) = load::site(&arguments.site)?;
    let mut client = line::open(&arguments.port)?;
    let clock = (!arguments.keep_clock).then(|| Timestamp::now().as_millisecond());
    let identity = arming::arm(&mut client, &site, &text, clock).map_err(Failure::input)?;
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
