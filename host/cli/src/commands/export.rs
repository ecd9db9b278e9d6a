//! `export`: the record as a table.

use crate::args::Export;
use crate::failure::Failure;
use crate::{load, output};
use pumpwitness_recording::{Format, write_table};

/// Writes the rows of a recording as CSV or Parquet.
pub fn run(arguments: &Export) -> Result<(), Failure> {
    let ending = arguments.out.extension().and_then(|ending| ending.to_str()).unwrap_or("");
    let format = match ending.to_ascii_lowercase().as_str() {
        "csv" => Format::Csv,
        "parquet" => Format::Parquet,
        _ => {
            return Err(Failure::usage(format_args!(
                "--out {}: name a file that ends in .csv or .parquet",
                arguments.out.display()
            )));
        }
    };
    output::may_write(&arguments.out, arguments.replace)?;
    let loaded = load::recording(&arguments.input)?;
    write_table(&loaded.recording, &arguments.out, format).map_err(output::not_written)?;
    output::print(&format!(
        "{} rows written to {}\n",
        loaded.recording.columns.len(),
        arguments.out.display()
    ))
}
