//! The program `pumpwitness`: typed arguments → resolved arguments → one call. The only crate that
//! prints, opens files and picks exit codes.
//!
//! `args` is what the user may type, `commands` has one file a command, `load` and `line` read and
//! connect for them, `failure` has the exit codes, `output` the files, `summary` the text for people,
//! `progress` the bars, `integrity` what a check of an archive comes to beside an analysis, `trust` the
//! file of known keys, `opened` an archive read, checked and analysed, `filing` the folder of recordings, `office` what the
//! local page asks of them.

mod args;
mod beside;
mod commands;
mod failure;
mod filing;
mod integrity;
mod line;
mod load;
mod office;
mod opened;
mod output;
mod progress;
mod summary;
mod trust;

use args::{Arguments, Command};
use clap::Parser;
use std::process::ExitCode;

fn main() -> ExitCode {
    let outcome = match Arguments::parse().command {
        Command::Demo(demo) => commands::demo::run(&demo),
        Command::Ports => commands::ports::run(),
        Command::Plan(plan) => commands::plan::run(&plan),
        Command::Watch(watch) => commands::watch::run(&watch),
        Command::Open(open) => commands::open::run(&open),
        Command::Arm(arm) => commands::arm::run(&arm),
        Command::Collect(collect) => commands::collect::run(&collect),
        Command::Records(records) => commands::records::run(&records),
        Command::Calibrate(calibrate) => commands::calibrate::run(&calibrate),
        Command::Import(import) => commands::import::run(&import),
        Command::Analyse(analyse) => commands::analyse::run(&analyse),
        Command::Report(report) => commands::report::run(&report),
        Command::Compare(compare) => commands::compare::run(&compare),
        Command::Export(export) => commands::export::run(&export),
        Command::Bundle(bundle) => commands::bundle::run(&bundle),
        Command::Verify(verify) => commands::verify::run(&verify),
    };
    match outcome {
        Ok(()) => ExitCode::SUCCESS,
        Err(failure) => {
            eprintln!("pumpwitness: {failure}");
            failure.exit_code()
        }
    }
}
