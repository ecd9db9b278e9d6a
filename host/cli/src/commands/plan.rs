//! `plan`: the site file and the fitting sheet, from options or by asking.

use crate::args::Plan;
use crate::commands::report::Form;
use crate::failure::{Context, Failure};
use crate::output;
use jiff::Timestamp;
use pumpwitness_link::arming;
use pumpwitness_report::sheet;
use pumpwitness_site_file::questions::{Answers, QUESTIONS, Question};
use pumpwitness_site_file::{Site, parse};
use std::fmt::Write as _;
use std::io::{BufRead, IsTerminal, Write as _};

/// Writes the site file, and the fitting sheet where one is asked for.
pub fn run(arguments: &Plan) -> Result<(), Failure> {
    output::may_write(&arguments.out, arguments.replace)?;
    let form = arguments.sheet.as_deref().map(Form::of).transpose()?;
    if let Some(sheet) = &arguments.sheet {
        output::may_write(sheet, arguments.replace)?;
    }
    let mut answers = given(&arguments.set)?;
    if !arguments.no_questions {
        ask_for_the_rest(&mut answers, &mut std::io::stdin().lock())?;
    }
    let text = answers.text();
    let site = parse(&text).map_err(|error| {
        Failure::usage(format_args!(
            "{error} (give values with --set SECTION.KEY=VALUE, or leave --no-questions away)"
        ))
    })?;
    crate::load::zone(&site)?;
    for warning in site.warnings() {
        eprintln!("pumpwitness: note: {warning}");
    }
    output::write_file(&arguments.out, text.as_bytes())?;
    let mut said = format!("site file written to {}\n", arguments.out.display());
    if let (Some(form), Some(path)) = (form, &arguments.sheet) {
        output::write_file(path, &sheet_of(&site, form)?)?;
        let _ = writeln!(said, "fitting sheet written to {}", path.display());
    }
    let _ = writeln!(
        said,
        "next: a qualified person fits the sensors, isolated and proved dead; then\n  \
         pumpwitness watch --site {0}\n  pumpwitness arm --site {0}",
        arguments.out.display()
    );
    output::print(&said)
}

/// The fitting sheet of a site.
pub fn sheet_of(site: &Site, form: Form) -> Result<Vec<u8>, Failure> {
    let days = |duty| {
        let bytes = pumpwitness_virtual_logger::FLASH_BYTES as u64;
        pumpwitness_fitting::endurance::days(bytes, duty)
    };
    let settings = arming::settings(site, "").map_err(Failure::usage)?;
    let span_bar = site.transducer.map_or(0.0, |t| t.high_bar - t.low_bar);
    let deadbands = &settings.deadbands;
    let input = sheet::SheetInput {
        site,
        deadbands: (
            f64::from(deadbands.voltage_dv) / 10.0,
            f64::from(deadbands.current_ca) / 100.0,
            f64::from(deadbands.signal) / 8000.0 * span_bar,
        ),
        days_at_a_quarter: days(0.25),
        days_always_running: days(1.0),
        generated: Timestamp::now(),
        program_version: env!("CARGO_PKG_VERSION"),
    };
    match form {
        Form::Html => Ok(sheet::html(&input).into_bytes()),
        Form::Pdf => sheet::pdf(&input).map_err(Failure::input),
    }
}

/// Answers of the form `section.key=value`.
fn given(set: &[String]) -> Result<Answers, Failure> {
    let mut answers = Answers::default();
    for pair in set {
        let (section, key, value) = pair
            .split_once('=')
            .and_then(|(name, value)| {
                let (section, key) = name.split_once('.')?;
                Some((section.trim(), key.trim(), value.trim()))
            })
            .ok_or_else(|| {
                Failure::usage(format_args!("--set {pair}: write it as SECTION.KEY=VALUE"))
            })?;
        answers.answer(section, key, value);
    }
    Ok(answers)
}

/// Asks for what was not given; an answer that cannot be is asked for again.
fn ask_for_the_rest(answers: &mut Answers, input: &mut impl BufRead) -> Result<(), Failure> {
    if std::io::stdin().is_terminal() {
        output::print("Enter takes the value in brackets, or leaves the line out.\n")?;
    }
    for (place, question) in QUESTIONS.iter().enumerate() {
        if !answers.open(place) {
            continue;
        }
        loop {
            print!("{}: ", asked(question));
            let _ = std::io::stdout().flush();
            let mut line = String::new();
            let count = input.read_line(&mut line).or_input("cannot read the answer")?;
            let typed = line.trim();
            let value = if typed.is_empty() { question.otherwise } else { typed };
            answers.answer_question(place, value);
            let complaint = if question.needed && value.is_empty() {
                Some("this one is needed: the analysis judges by it".to_owned())
            } else {
                answers.complaint()
            };
            match complaint {
                Some(complaint) if count > 0 => output::print(&format!("  {complaint}\n"))?,
                _ => break,
            }
        }
    }
    Ok(())
}

/// "Cut-in pressure, bar", "Control: pressure-switch or constant-pressure [pressure-switch]".
fn asked(question: &Question) -> String {
    let mut text = question.asks.to_owned();
    if let Some((last, others)) = question.choices.split_last() {
        let _ = write!(text, ": {} or {last}", others.join(", "));
    }
    if !question.unit.is_empty() {
        let _ = write!(text, ", {}", question.unit);
    }
    if !question.otherwise.is_empty() {
        let _ = write!(text, " [{}]", question.otherwise);
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    fn answered(lines: &str) -> Answers {
        let mut answers = Answers::default();
        ask_for_the_rest(&mut answers, &mut lines.as_bytes()).ok().unwrap();
        answers
    }

    #[test]
    fn answers_become_a_site_file() {
        let lines = "Hill \"top\"\n\n\nEurope/Lisbon\n\n\n\n7.2\n1.15\n\n\n2\n3.5\n60\n1.8\n\n\n\n45\n\
            dry running\n\n\nreason\n";
        let site = parse(&answered(lines).text()).unwrap();
        assert_eq!(site.name.as_deref(), Some("Hill \"top\""));
        assert_eq!(site.motor.rated_current_a, 7.2);
        assert_eq!(site.tank.unwrap().precharge_bar, Some(1.8));
        assert_eq!(site.lamps, [(1, "dry running".to_owned())]);
        assert_eq!(site.fit.reason.as_deref(), Some("reason"));
    }

    #[test]
    fn an_answer_that_cannot_be_is_asked_for_again() {
        let lines = "\n\n\n\n\n9000\n400\n\n\nx\n6\n";
        let site = parse(&answered(lines).text()).unwrap();
        assert_eq!((site.supply.nominal_v, site.motor.rated_current_a), (400.0, 6.0));
        assert!(site.control.is_none(), "its pressures are unknown");
    }

    #[test]
    fn other_units_are_taken_and_not_asked_for() {
        let set = ["control.cut_in_psi=30", "control.cut_out_psi=50", "motor.rated_current_a=9"];
        let mut answers = given(&set.map(str::to_owned)).ok().unwrap();
        ask_for_the_rest(&mut answers, &mut "".as_bytes()).ok().unwrap();
        let site = parse(&answers.text()).unwrap();
        let Some(pumpwitness_site_file::Control::PressureSwitch { cut_in_bar, .. }) = site.control
        else {
            panic!("{}", answers.text())
        };
        assert!((cut_in_bar - 2.068).abs() < 0.001);
    }
}
