//! `plan`: the site file and the fitting sheet, from options or by asking.

use crate::args::Plan;
use crate::commands::report::Form;
use crate::failure::{Context, Failure};
use crate::output;
use jiff::Timestamp;
use pumpwitness_link::arming;
use pumpwitness_report::sheet;
use pumpwitness_site_file::{Site, parse, quoted};
use std::fmt::Write as _;
use std::io::{BufRead, IsTerminal, Write as _};

/// A key of the site file and how it is asked for.
#[derive(Clone, Copy)]
struct Question {
    section: &'static str,
    key: &'static str,
    asks: &'static str,
    /// Taken when nothing is typed; empty: the key is left out.
    otherwise: &'static str,
    /// True where the value is written in quotes.
    quoted: bool,
    /// Asked only when this key has this value.
    only_if: Option<(&'static str, &'static str, &'static str)>,
}

const fn ask(
    section: &'static str,
    key: &'static str,
    asks: &'static str,
    otherwise: &'static str,
    quoted: bool,
) -> Question {
    Question { section, key, asks, otherwise, quoted, only_if: None }
}

const fn ask_if(
    only_if: (&'static str, &'static str, &'static str),
    question: Question,
) -> Question {
    Question { only_if: Some(only_if), ..question }
}

const SWITCH: (&str, &str, &str) = ("control", "kind", "pressure-switch");
const HELD: (&str, &str, &str) = ("control", "kind", "constant-pressure");

/// In the order asked, which is that of the site file.
const QUESTIONS: [Question; 24] = [
    ask("site", "name", "Name of the site", "", true),
    ask("site", "customer", "Customer (may be left out)", "", true),
    ask("site", "address", "Address (may be left out)", "", true),
    ask("site", "time_zone", "Time zone, such as Europe/Lisbon", "", true),
    ask("site", "units", "Units of the report: metric or us", "metric", true),
    ask("supply", "nominal_v", "Nominal voltage where the logger measures it, V", "230", false),
    ask("supply", "frequency_hz", "Nominal frequency, 50 or 60 Hz", "50", false),
    ask("motor", "rated_current_a", "Rated current on the motor's nameplate, A", "", false),
    ask("motor", "service_factor", "Service factor on the nameplate", "1", false),
    ask("motor", "start", "How the motor is started: direct, soft or drive", "direct", true),
    ask(
        "control",
        "kind",
        "Control: pressure-switch or constant-pressure",
        "pressure-switch",
        true,
    ),
    ask_if(SWITCH, ask("control", "cut_in_bar", "Cut-in pressure, bar", "", false)),
    ask_if(SWITCH, ask("control", "cut_out_bar", "Cut-out pressure, bar", "", false)),
    ask_if(HELD, ask("control", "setpoint_bar", "Pressure held, bar", "", false)),
    ask("tank", "volume_l", "Whole volume of the tank, L (empty: unknown or none)", "", false),
    ask("tank", "precharge_bar", "Air pressure with the tank drained, bar", "", false),
    ask("transducer", "kind", "Pressure transducer: 4-20ma or ratiometric", "4-20ma", true),
    ask("transducer", "low_bar", "Pressure at its low end, bar", "0", false),
    ask(
        "transducer",
        "high_bar",
        "Pressure at its high end, bar (empty: none fitted)",
        "10",
        false,
    ),
    ask("pump", "rated_flow_lpm", "Rated flow of the pump, L/min", "", false),
    ask("lamps", "1", "What lamp 1 says, in your words (empty: not watched)", "", true),
    ask("lamps", "2", "What lamp 2 says", "", true),
    ask("fit", "by", "Who fits the logger", "", true),
    ask("fit", "reason", "What is complained of, such as: trips at night", "", true),
];

/// Writes the site file, and the fitting sheet where one is asked for.
pub fn run(arguments: &Plan) -> Result<(), Failure> {
    output::may_write(&arguments.out, arguments.replace)?;
    let form = arguments.sheet.as_deref().map(Form::of).transpose()?;
    if let Some(sheet) = &arguments.sheet {
        output::may_write(sheet, arguments.replace)?;
    }
    let mut answers = Answers::given(&arguments.set)?;
    if !arguments.no_questions {
        answers.ask_for_the_rest(&mut std::io::stdin().lock())?;
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

fn sheet_of(site: &Site, form: Form) -> Result<Vec<u8>, Failure> {
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

/// What has been answered, by place in [`QUESTIONS`]; keys that are not asked for come behind.
struct Answers {
    asked: Vec<Option<String>>,
    others: Vec<(String, String, String)>,
}

impl Answers {
    /// Answers of the form `section.key=value`.
    fn given(set: &[String]) -> Result<Self, Failure> {
        let mut answers = Self { asked: vec![None; QUESTIONS.len()], others: Vec::new() };
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
            let place = QUESTIONS.iter().position(|q| q.section == section && q.key == key);
            match place {
                Some(place) => answers.asked[place] = Some(value.to_owned()),
                None => {
                    answers.others.push((section.to_owned(), key.to_owned(), value.to_owned()));
                }
            }
        }
        Ok(answers)
    }

    fn answer(&self, section: &str, key: &str) -> Option<&str> {
        let place = QUESTIONS.iter().position(|q| q.section == section && q.key == key)?;
        self.asked[place].as_deref()
    }

    /// True where another spelling of the quantity was given, such as psi for bar.
    fn given_otherwise(&self, question: &Question) -> bool {
        let stem = |key: &str| key.rsplit_once('_').map_or(key, |(stem, _)| stem).to_owned();
        self.others
            .iter()
            .any(|(section, key, _)| section == question.section && stem(key) == stem(question.key))
    }

    fn concerns(&self, question: &Question) -> bool {
        question
            .only_if
            .is_none_or(|(section, key, value)| self.answer(section, key) == Some(value))
    }

    /// Asks for what was not given; an answer that cannot be is asked for again.
    fn ask_for_the_rest(&mut self, input: &mut impl BufRead) -> Result<(), Failure> {
        if std::io::stdin().is_terminal() {
            output::print("Enter takes the value in brackets, or leaves the line out.\n")?;
        }
        for (place, question) in QUESTIONS.iter().enumerate() {
            if self.asked[place].is_some()
                || self.given_otherwise(question)
                || !self.concerns(question)
            {
                continue;
            }
            loop {
                let brackets = match question.otherwise {
                    "" => String::new(),
                    value => format!(" [{value}]"),
                };
                print!("{}{brackets}: ", question.asks);
                let _ = std::io::stdout().flush();
                let mut line = String::new();
                let count = input.read_line(&mut line).or_input("cannot read the answer")?;
                let typed = line.trim();
                let value = if typed.is_empty() { question.otherwise } else { typed };
                self.asked[place] = (!value.is_empty()).then(|| value.to_owned());
                // The one nameplate value without which nothing can be judged.
                let needed = question.key == "rated_current_a" && value.is_empty();
                let complaint = if needed {
                    Some("this one is needed: the analysis judges by it".to_owned())
                } else {
                    self.complaint()
                };
                match complaint {
                    Some(complaint) if count > 0 => output::print(&format!("  {complaint}\n"))?,
                    _ => break,
                }
            }
        }
        Ok(())
    }

    /// What is wrong with the answers so far, whatever is still missing.
    fn complaint(&self) -> Option<String> {
        use pumpwitness_site_file::SiteFileError as Error;
        match parse(&self.text()) {
            Ok(_) | Err(Error::MissingKey { .. } | Error::MissingSection { .. }) => None,
            // Texts are quoted here; what is no TOML is a number that is none.
            Err(Error::Syntax { .. }) => Some("type a plain number, such as 2.5".to_owned()),
            Err(error) => {
                let text = error.to_string();
                // The line number is that of a file which the user does not see.
                Some(text.split_once(": ").map_or(text.clone(), |(_, rest)| rest.to_owned()))
            }
        }
    }

    /// The site file.
    fn text(&self) -> String {
        let mut text = String::new();
        let mut sections: Vec<&str> = QUESTIONS.iter().map(|question| question.section).collect();
        sections.extend(self.others.iter().map(|(section, _, _)| section.as_str()));
        let mut written: Vec<&str> = Vec::new();
        for section in sections {
            if written.contains(&section) || self.left_out(section) {
                continue;
            }
            written.push(section);
            let mut lines = String::new();
            for (question, answer) in QUESTIONS.iter().zip(&self.asked) {
                if let (true, Some(value)) = (question.section == section, answer) {
                    let value = if question.quoted { quoted(value) } else { value.clone() };
                    let _ = writeln!(lines, "{} = {value}", question.key);
                }
            }
            for (_, key, value) in self.others.iter().filter(|(name, _, _)| name == section) {
                let plain = value.parse::<f64>().is_ok();
                let value = if plain { value.clone() } else { quoted(value) };
                let _ = writeln!(lines, "{key} = {value}");
            }
            if !lines.is_empty() {
                let gap = if text.is_empty() { "" } else { "\n" };
                let _ = write!(text, "{gap}[{section}]\n{lines}");
            }
        }
        text
    }

    /// A section whose first quantity is unknown says nothing.
    fn left_out(&self, section: &str) -> bool {
        let lacks = |key: &str| {
            self.answer(section, key).is_none()
                && !QUESTIONS
                    .iter()
                    .any(|q| q.section == section && q.key == key && self.given_otherwise(q))
        };
        match section {
            "transducer" => lacks("high_bar"),
            "tank" => lacks("volume_l"),
            "control" => lacks("setpoint_bar") && (lacks("cut_in_bar") || lacks("cut_out_bar")),
            _ => false,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn answered(lines: &str) -> Answers {
        let mut answers = Answers::given(&[]).ok().unwrap();
        answers.ask_for_the_rest(&mut lines.as_bytes()).ok().unwrap();
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
        let mut answers = Answers::given(&set.map(str::to_owned)).ok().unwrap();
        answers.ask_for_the_rest(&mut "".as_bytes()).ok().unwrap();
        let site = parse(&answers.text()).unwrap();
        let Some(pumpwitness_site_file::Control::PressureSwitch { cut_in_bar, .. }) = site.control
        else {
            panic!("{}", answers.text())
        };
        assert!((cut_in_bar - 2.068).abs() < 0.001);
    }
}
