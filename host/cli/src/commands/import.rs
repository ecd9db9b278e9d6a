//! `import`: a table of another logger as a recording.

use crate::args::Import;
use crate::failure::Failure;
use crate::{load, output};
use pumpwitness_recording::{Format, read_table, write_table};

/// Reads a table and writes it as a recording that carries its site file.
pub fn run(arguments: &Import) -> Result<(), Failure> {
    output::may_write(&arguments.out, arguments.replace)?;
    let (site, text) = load::site(&arguments.site)?;
    let options = load::import_options(&arguments.reading)?;
    let mut recording =
        read_table(&arguments.table, &options, Some(&site)).map_err(load::no_recording)?;
    recording.source.site_text = Some(text);
    for loss in &recording.source.losses {
        eprintln!("pumpwitness: note: {loss}");
    }
    write_table(&recording, &arguments.out, Format::Parquet).map_err(output::not_written)?;
    output::print(&format!(
        "{} rows from {} written to {}\n",
        recording.columns.len(),
        arguments.table.display(),
        arguments.out.display()
    ))
}
