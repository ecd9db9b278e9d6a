//! `calibrate`: readings beside a reference into numbers the logger keeps.

use crate::args::Calibrate;
use crate::failure::{Context, Failure, FileContext};
use crate::{line, output};
use pumpwitness_link::calibrating::{parse, show};
use std::fs;

/// Longest calibration file that is read.
const FILE_BYTES_MAX: u64 = 1 << 16;

/// Shows or changes the calibration of the logger on a port.
pub fn run(arguments: &Calibrate) -> Result<(), Failure> {
    let Some(path) = &arguments.file else {
        let mut client = line::open(&arguments.port)?;
        client.hello().map_err(Failure::input)?;
        return output::print(&show(&client.calibration().map_err(Failure::input)?));
    };
    let place = path.display();
    let size = fs::metadata(path).or_unread(format_args!("calibration file {place}"))?.len();
    if size > FILE_BYTES_MAX {
        return Err(Failure::input(format_args!(
            "{place} has {size} bytes: that is no calibration file"
        )));
    }
    let text = fs::read_to_string(path).or_unread(format_args!("calibration file {place}"))?;
    let readings = parse(&text).or_input(format_args!("calibration file {place}"))?;
    let mut client = line::open(&arguments.port)?;
    client.hello().map_err(Failure::input)?;
    let before = client.calibration().map_err(Failure::input)?;
    let after = readings.apply(&before).or_input(format_args!("calibration file {place}"))?;
    if arguments.dry_run {
        return output::print(&format!("# not put in force\n{}", show(&after)));
    }
    client.put_calibration(&after).map_err(Failure::input)?;
    output::print(&format!(
        "# put in force; compare once more with the reference\n{}",
        show(&client.calibration().map_err(Failure::input)?)
    ))
}
