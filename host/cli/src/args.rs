//! What the user typed. What it means is worked out in `commands`.

use clap::{Args, Parser, Subcommand};
use std::path::PathBuf;

/// An independent witness for water-pump installations.
///
/// Fit the logger, leave it for days, download it, and see when the pump ran, why it stopped and
/// what the record says about the cause.
///
/// Work on mains and pressure is for qualified people: isolate and prove dead before fitting or
/// removing a sensor. The logger is no protective device, and nothing it shows proves that a
/// circuit is dead.
#[derive(Debug, Parser)]
#[command(name = "pumpwitness", version, propagate_version = true, max_term_width = 100)]
pub struct Arguments {
    /// What to do.
    #[command(subcommand)]
    pub command: Command,
}

/// What to do.
#[derive(Debug, Subcommand)]
pub enum Command {
    /// Show the whole journey on an invented site: record, download, analyse, report.
    Demo(Demo),
    /// List the serial ports a logger may be on.
    Ports,
    /// Write the site file, by asking, and the sheet for the fitting.
    Plan(Plan),
    /// Show live readings and say whether the sensors are fitted right.
    Watch(Watch),
    /// Open the page for the time at the panel: live readings, fit checks, arming, fetching,
    /// records. On this computer only.
    Open(Open),
    /// Give the logger its site file, set its clock, and start recording.
    Arm(Arm),
    /// Download the record of a logger, check it, and file it with the others.
    Collect(Collect),
    /// List the records kept on this computer, look for some, or add files to them.
    Records(Records),
    /// Compare a logger with a reference instrument and have it keep the correction.
    Calibrate(Calibrate),
    /// Read a table of another logger (CSV or Parquet) into a recording.
    Import(Import),
    /// Say when the pump ran, why it stopped, what was found and what may be the cause.
    Analyse(Analyse),
    /// Write the evidence report as one HTML or PDF file.
    Report(Report),
    /// Compare two records, before and after a repair or of two sites: what changed, how surely.
    Compare(Compare),
    /// Say what an archive proves: page by page proven, consistent, damaged or missing.
    ///
    /// Exit 0: nothing speaks against it. Exit 3: damage, loss or forgery was found.
    Verify(Verify),
    /// Pack report, record, tables, captures and how to check them into one zip file.
    Bundle(Bundle),
    /// Write the record as a table (CSV or Parquet).
    Export(Export),
}

/// Show the whole journey on an invented site.
#[derive(Debug, Args)]
pub struct Demo {
    /// Which invented site (see --list).
    #[arg(long, value_name = "NAME")]
    pub scenario: Option<String>,
    /// Folder for the archive, the analysis and the report.
    #[arg(long, value_name = "DIR", default_value = "demo-out")]
    pub out: PathBuf,
    /// Name the invented sites and stop.
    #[arg(long)]
    pub list: bool,
}

/// Which port.
#[derive(Debug, Args)]
pub struct PortChoice {
    /// Serial port of the logger; may be left out when only one is there (see `ports`).
    #[arg(long, value_name = "PORT")]
    pub port: Option<String>,
    /// Longest wait for one answer of the logger, s; asked three times before it counts as silent.
    #[arg(long, value_name = "SECONDS", default_value_t = 2,
          value_parser = clap::value_parser!(u16).range(1..=600))]
    pub patience: u16,
}

/// Write the site file and the fitting sheet.
#[derive(Debug, Args)]
pub struct Plan {
    /// Site file to write.
    #[arg(long, value_name = "SITE.toml")]
    pub out: PathBuf,
    /// Fitting sheet to write: one page to print, FILE.html or FILE.pdf.
    #[arg(long, value_name = "FILE")]
    pub sheet: Option<PathBuf>,
    /// A value of the site file, which is then not asked for, e.g. `--set motor.rated_current_a=7.2`;
    /// may be repeated.
    #[arg(long, value_name = "SECTION.KEY=VALUE")]
    pub set: Vec<String>,
    /// Ask for nothing: take what --set gives.
    #[arg(long)]
    pub no_questions: bool,
    /// Replace files that exist.
    #[arg(long)]
    pub replace: bool,
}

/// Open the page for the time at the panel.
#[derive(Debug, Args)]
pub struct Open {
    /// Offer this serial port too, on which a logger is that USB does not tell of.
    #[arg(long, value_name = "PORT")]
    pub port: Option<String>,
    /// Network port of the loopback address; any free one when left out.
    #[arg(long, value_name = "N", default_value_t = 0)]
    pub listen: u16,
    /// Folder of recordings; pumpwitness-recordings in your home folder when left out.
    #[arg(long, value_name = "DIR")]
    pub folder: Option<PathBuf>,
    /// Print the address only.
    #[arg(long)]
    pub no_browser: bool,
    /// Add a simulated logger to learn with: wrong fits to put right, days that pass in seconds.
    #[arg(long)]
    pub practice: bool,
    /// File of keys known from elsewhere, instead of the one in your configuration folder.
    #[arg(long, value_name = "FILE")]
    pub trust: Option<PathBuf>,
}

/// Show live readings and check the fit.
#[derive(Debug, Args)]
pub struct Watch {
    /// Site file (TOML) to check the fit against; else the one kept in the logger.
    #[arg(long, value_name = "SITE.toml")]
    pub site: Option<PathBuf>,
    /// Which port.
    #[command(flatten)]
    pub port: PortChoice,
    /// What the gauge beside the transducer reads, bar.
    #[arg(long, value_name = "BAR")]
    pub gauge_bar: Option<f64>,
    /// Stop after this many seconds and sum up.
    #[arg(long, value_name = "SECONDS")]
    pub seconds: Option<u32>,
    /// At the end, write what the checks came to into `[fit] checks` of the site file, so that
    /// `arm` gives it to the logger with the rest.
    #[arg(long, requires = "site")]
    pub keep_checks: bool,
}

/// Give the logger its site file.
#[derive(Debug, Args)]
pub struct Arm {
    /// Site file (TOML): supply, motor, control, tank, transducer.
    #[arg(long, value_name = "SITE.toml")]
    pub site: PathBuf,
    /// Which port.
    #[command(flatten)]
    pub port: PortChoice,
    /// Leave the logger's clock as it is.
    #[arg(long)]
    pub keep_clock: bool,
}

/// Download the record.
#[derive(Debug, Args)]
pub struct Collect {
    /// File to write instead of filing the record in the folder of recordings (see `records`). An
    /// interrupted download is gone on with by the same command, in either case.
    #[arg(long, value_name = "FILE")]
    pub out: Option<PathBuf>,
    /// Folder of recordings, instead of yours.
    #[arg(long, value_name = "DIR", conflicts_with = "out")]
    pub folder: Option<PathBuf>,
    /// Which port.
    #[command(flatten)]
    pub port: PortChoice,
    /// Replace FILE if it exists.
    #[arg(long, requires = "out")]
    pub replace: bool,
    /// Your name, to stand in the archive as who collected it.
    #[arg(long, value_name = "NAME")]
    pub by: Option<String>,
    /// Once the file is verified, tell the logger that it may reuse this memory.
    #[arg(long)]
    pub release: bool,
}

/// List, look for and add records.
#[derive(Debug, Args)]
pub struct Records {
    /// Folder of recordings; else the one that the variable PUMPWITNESS_RECORDS names, else
    /// pumpwitness-recordings in your home folder.
    #[arg(long, value_name = "DIR")]
    pub folder: Option<PathBuf>,
    /// Only those whose site has this in its name.
    #[arg(long, value_name = "NAME")]
    pub site: Option<String>,
    /// Only those that reach to this day or beyond, e.g. 2026-03-01, as the site counts days.
    #[arg(long, value_name = "DAY")]
    pub from: Option<String>,
    /// Only those that begin on this day or before.
    #[arg(long, value_name = "DAY")]
    pub to: Option<String>,
    /// Only those that give this cause, e.g. waterlogged-tank.
    #[arg(long, value_name = "CAUSE")]
    pub cause: Option<String>,
    /// Only those with this finding, e.g. voltage-dip.
    #[arg(long, value_name = "KIND")]
    pub finding: Option<String>,
    /// Only those of which all these words are said.
    #[arg(long, value_name = "WORDS")]
    pub words: Option<String>,
    /// Print JSON (schema pumpwitness.records/1) instead of text.
    #[arg(long)]
    pub json: bool,
    /// Analyse and check every record again first, as after noting the keys of more loggers.
    #[arg(long)]
    pub afresh: bool,
    /// File of keys known from elsewhere, instead of the one in your configuration folder.
    #[arg(long, value_name = "FILE")]
    pub trust: Option<PathBuf>,
    /// Archives to file in the folder; they stay where they are, too.
    #[arg(
        long,
        value_name = "FILE",
        num_args = 1..,
        conflicts_with_all = ["site", "from", "to", "cause", "finding", "words", "json", "afresh"]
    )]
    pub add: Vec<PathBuf>,
}

/// Compare with a reference.
#[derive(Debug, Args)]
#[group(id = "what", required = true, multiple = false, args = ["show", "file"])]
pub struct Calibrate {
    /// Print the calibration in force, in the form of its file.
    #[arg(long)]
    pub show: bool,
    /// Readings of the reference and of the logger (TOML): work out the correction and have the
    /// logger keep it.
    #[arg(long, value_name = "CALIBRATION.toml")]
    pub file: Option<PathBuf>,
    /// Which port.
    #[command(flatten)]
    pub port: PortChoice,
    /// Show what would be put in force, and leave the logger as it is.
    #[arg(long, requires = "file")]
    pub dry_run: bool,
}

/// How to read a table.
#[derive(Clone, Debug, Default, Args)]
pub struct TableChoice {
    /// Which column is which, e.g. `--column "P1=pressure_psi"`; may be repeated.
    #[arg(long = "column", value_name = "NAME=CHANNEL")]
    pub columns: Vec<String>,
    /// Time zone of times written without one, e.g. Europe/Lisbon.
    #[arg(long, value_name = "ZONE")]
    pub time_zone: Option<String>,
    /// How times are written, where they cannot be read without, e.g. "%d/%m/%Y %H:%M:%S".
    #[arg(long, value_name = "PATTERN")]
    pub time_format: Option<String>,
}

/// Read a table of another logger.
#[derive(Debug, Args)]
pub struct Import {
    /// CSV or Parquet file with a time column and at least one of voltage, current, pressure,
    /// loop current, power, frequency.
    #[arg(value_name = "TABLE")]
    pub table: PathBuf,
    /// Site file (TOML).
    #[arg(long, value_name = "SITE.toml")]
    pub site: PathBuf,
    /// Recording to write: a Parquet table that carries the site file with it.
    #[arg(long, value_name = "FILE")]
    pub out: PathBuf,
    /// How to read the table.
    #[command(flatten)]
    pub reading: TableChoice,
    /// Replace FILE if it exists.
    #[arg(long)]
    pub replace: bool,
}

/// What to read.
#[derive(Debug, Args)]
pub struct Input {
    /// Archive of a logger, an imported recording, or a table directly.
    #[arg(value_name = "RECORDING")]
    pub recording: PathBuf,
    /// Site file (TOML), where the recording does not carry one or another is to be used.
    #[arg(long, value_name = "SITE.toml")]
    pub site: Option<PathBuf>,
    /// How to read a table.
    #[command(flatten)]
    pub reading: TableChoice,
}

/// Say what the record shows.
#[derive(Debug, Args)]
pub struct Analyse {
    /// What to read.
    #[command(flatten)]
    pub input: Input,
    /// Print JSON (schema pumpwitness.analysis/1) instead of text.
    #[arg(long)]
    pub json: bool,
}

/// Write the evidence report.
#[derive(Debug, Args)]
pub struct Report {
    /// What to read.
    #[command(flatten)]
    pub input: Input,
    /// File to write: FILE.html (interactive) or FILE.pdf (for paper and archives).
    #[arg(long, value_name = "FILE")]
    pub out: PathBuf,
    /// Trust file with the keys of known loggers (see `verify`); yours where none is named.
    #[arg(long, value_name = "FILE.toml")]
    pub trust: Option<PathBuf>,
}

/// Compare two records.
#[derive(Debug, Args)]
pub struct Compare {
    /// The first record: before.
    #[arg(value_name = "BEFORE")]
    pub first: PathBuf,
    /// The second record: after.
    #[arg(value_name = "AFTER")]
    pub second: PathBuf,
    /// Site file (TOML), where the records do not carry one or another is to be used.
    #[arg(long, value_name = "SITE.toml")]
    pub site: Option<PathBuf>,
    /// Site file of the second record, where it is another one.
    #[arg(long, value_name = "SITE.toml")]
    pub second_site: Option<PathBuf>,
    /// How to read tables.
    #[command(flatten)]
    pub reading: TableChoice,
    /// File to write: FILE.html or FILE.pdf.
    #[arg(long, value_name = "FILE")]
    pub out: Option<PathBuf>,
    /// Print the comparison as JSON (schema pumpwitness.comparison/1).
    #[arg(long)]
    pub json: bool,
}

/// Write the record as a table.
#[derive(Debug, Args)]
pub struct Export {
    /// What to read.
    #[command(flatten)]
    pub input: Input,
    /// File to write: FILE.csv or FILE.parquet.
    #[arg(long, value_name = "FILE")]
    pub out: PathBuf,
    /// Replace FILE if it exists.
    #[arg(long)]
    pub replace: bool,
}

/// Say what an archive proves.
#[derive(Debug, Args)]
pub struct Verify {
    /// Archive of a logger.
    #[arg(value_name = "ARCHIVE")]
    pub archive: PathBuf,
    /// Print JSON (schema pumpwitness.verification/1) instead of text.
    #[arg(long)]
    pub json: bool,
    /// File of keys known from elsewhere, instead of the one in your configuration folder.
    #[arg(long, value_name = "FILE")]
    pub trust: Option<PathBuf>,
    /// Note the key in this archive as that of its logger. Compare it first with one had from the
    /// logger itself.
    #[arg(long)]
    pub remember: bool,
    /// Where the key was had from; kept with it.
    #[arg(long, value_name = "TEXT", requires = "remember")]
    pub note: Option<String>,
    /// Exit 3 also when the archive is merely not proven.
    #[arg(long)]
    pub require_proof: bool,
}

/// Pack everything into one zip file.
#[derive(Debug, Args)]
pub struct Bundle {
    /// What to read.
    #[command(flatten)]
    pub input: Input,
    /// File to write: FILE.zip. The same record gives the same bytes.
    #[arg(long, value_name = "FILE.zip")]
    pub out: PathBuf,
    /// Replace FILE.zip if it exists.
    #[arg(long)]
    pub replace: bool,
    /// File of keys known from elsewhere, instead of the one in your configuration folder.
    #[arg(long, value_name = "FILE")]
    pub trust: Option<PathBuf>,
    /// Leave out the names of site and customer, the address and the words of the complaint; and
    /// with them the record itself, which carries them under its seal.
    #[arg(long)]
    pub private: bool,
    /// Pack the record all the same, with the names in it.
    #[arg(long, requires = "private")]
    pub keep_archive: bool,
}
