//! A site file by questions: what is asked, in the order of the file, and the text that the answers
//! make. Who asks, and how, is for the caller.

use crate::error::SiteFileError;
use crate::parse::parse;
use crate::text::quoted;
use std::fmt::Write;

/// A key of the site file and how it is asked for.
#[derive(Clone, Copy, Debug)]
pub struct Question {
    /// Its section.
    pub section: &'static str,
    /// Its key there.
    pub key: &'static str,
    /// The question, without unit and choices.
    pub asks: &'static str,
    /// Unit of the answer; empty where it has none.
    pub unit: &'static str,
    /// Taken when nothing is answered; empty: the key is left out.
    pub otherwise: &'static str,
    /// The words it can be; empty where it is not one of a few.
    pub choices: &'static [&'static str],
    /// Without it there is no site file.
    pub needed: bool,
    /// Asked only when this section's key has this value.
    pub only_if: Option<(&'static str, &'static str, &'static str)>,
    /// True where the value is written in quotes.
    quoted: bool,
}

const NUMBER: Question = Question {
    section: "",
    key: "",
    asks: "",
    unit: "",
    otherwise: "",
    choices: &[],
    needed: false,
    only_if: None,
    quoted: false,
};

const fn number(
    section: &'static str,
    key: &'static str,
    asks: &'static str,
    unit: &'static str,
    otherwise: &'static str,
) -> Question {
    Question { section, key, asks, unit, otherwise, ..NUMBER }
}

const fn words(section: &'static str, key: &'static str, asks: &'static str) -> Question {
    Question { section, key, asks, quoted: true, ..NUMBER }
}

/// The first of the choices is taken when nothing is answered.
const fn choice(
    section: &'static str,
    key: &'static str,
    asks: &'static str,
    choices: &'static [&'static str],
) -> Question {
    Question { choices, otherwise: choices[0], ..words(section, key, asks) }
}

const SWITCH: Option<(&str, &str, &str)> = Some(("control", "kind", "pressure-switch"));
const HELD: Option<(&str, &str, &str)> = Some(("control", "kind", "constant-pressure"));

/// In the order asked, which is that of the site file.
pub const QUESTIONS: [Question; 24] = [
    words("site", "name", "Name of the site"),
    words("site", "customer", "Customer (may be left out)"),
    words("site", "address", "Address (may be left out)"),
    words("site", "time_zone", "Time zone, such as Europe/Lisbon"),
    choice("site", "units", "Units of the report", &["metric", "us"]),
    number("supply", "nominal_v", "Nominal voltage where the logger measures it", "V", "230"),
    Question {
        choices: &["50", "60"],
        ..number("supply", "frequency_hz", "Nominal frequency", "Hz", "50")
    },
    Question {
        needed: true,
        ..number("motor", "rated_current_a", "Rated current on the motor's nameplate", "A", "")
    },
    number("motor", "service_factor", "Service factor on the nameplate", "", "1"),
    choice("motor", "start", "How the motor is started", &["direct", "soft", "drive"]),
    choice("control", "kind", "Control", &["pressure-switch", "constant-pressure"]),
    Question { only_if: SWITCH, ..number("control", "cut_in_bar", "Cut-in pressure", "bar", "") },
    Question { only_if: SWITCH, ..number("control", "cut_out_bar", "Cut-out pressure", "bar", "") },
    Question { only_if: HELD, ..number("control", "setpoint_bar", "Pressure held", "bar", "") },
    number("tank", "volume_l", "Whole volume of the tank (empty: unknown or none)", "L", ""),
    number("tank", "precharge_bar", "Air pressure with the tank drained", "bar", ""),
    choice("transducer", "kind", "Pressure transducer", &["4-20ma", "ratiometric"]),
    number("transducer", "low_bar", "Pressure at its low end", "bar", "0"),
    number("transducer", "high_bar", "Pressure at its high end (empty: none fitted)", "bar", "10"),
    number("pump", "rated_flow_lpm", "Rated flow of the pump", "L/min", ""),
    words("lamps", "1", "What lamp 1 says, in your words (empty: not watched)"),
    words("lamps", "2", "What lamp 2 says (empty: not watched)"),
    words("fit", "by", "Who fits the logger"),
    words("fit", "reason", "What is complained of, such as: trips at night"),
];

/// What has been answered, by place in [`QUESTIONS`]; keys that are not asked for come behind.
#[derive(Clone, Debug)]
pub struct Answers {
    asked: Vec<Option<String>>,
    others: Vec<(String, String, String)>,
}

impl Default for Answers {
    /// Nothing answered.
    fn default() -> Self {
        Self { asked: vec![None; QUESTIONS.len()], others: Vec::new() }
    }
}

impl Answers {
    /// Answers a key, whether it is asked for or not. An empty value leaves the key out.
    pub fn answer(&mut self, section: &str, key: &str, value: &str) {
        match QUESTIONS.iter().position(|q| q.section == section && q.key == key) {
            Some(place) => self.answer_question(place, value),
            None => self.others.push((section.to_owned(), key.to_owned(), value.to_owned())),
        }
    }

    /// Answers the question at `place` of [`QUESTIONS`].
    pub fn answer_question(&mut self, place: usize, value: &str) {
        if let Some(answer) = self.asked.get_mut(place) {
            *answer = (!value.is_empty()).then(|| value.to_owned());
        }
    }

    /// True where the question at `place` is still to be asked.
    pub fn open(&self, place: usize) -> bool {
        let question = &QUESTIONS[place];
        self.asked[place].is_none() && !self.given_otherwise(question) && self.concerns(question)
    }

    fn of(&self, section: &str, key: &str) -> Option<&str> {
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
        question.only_if.is_none_or(|(section, key, value)| self.of(section, key) == Some(value))
    }

    /// What is wrong with the answers so far, whatever is still missing.
    pub fn complaint(&self) -> Option<String> {
        match parse(&self.text()) {
            Ok(_)
            | Err(SiteFileError::MissingKey { .. } | SiteFileError::MissingSection { .. }) => None,
            Err(error) => Some(plainly(&error)),
        }
    }

    /// Section and key of the answer that an error in [`Answers::text`] is about; of what is
    /// missing, those of the question that was left open.
    pub fn blamed(&self, error: &SiteFileError) -> Option<(String, String)> {
        let open = QUESTIONS.iter().find(|question| match error {
            SiteFileError::MissingSection { section, .. } => {
                question.section == *section && (question.needed || *section != "motor")
            }
            SiteFileError::MissingKey { section, key, .. } => {
                question.section == *section && question.key == key
            }
            _ => false,
        });
        if let Some(open) = open {
            return Some((open.section.to_owned(), open.key.to_owned()));
        }
        let text = self.text();
        let lines: Vec<&str> = text.lines().take(error.line()?).collect();
        let (key, _) = lines.last()?.split_once('=')?;
        let section = lines
            .iter()
            .rev()
            .find_map(|line| line.strip_prefix('[').and_then(|line| line.strip_suffix(']')))?;
        Some((section.to_owned(), key.trim().to_owned()))
    }

    /// The site file.
    pub fn text(&self) -> String {
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
                    let value = if question.quoted {
                        quoted(value)
                    } else {
                        // One line an answer: no key comes in with a number.
                        value.replace(char::is_control, " ")
                    };
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
            self.of(section, key).is_none()
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

/// The error without the line of a file that whoever answers does not see.
pub fn plainly(error: &SiteFileError) -> String {
    match error {
        // Texts are quoted here; what is no TOML is a number that is none.
        SiteFileError::Syntax { .. } => "type a plain number, such as 2.5".to_owned(),
        error => {
            let text = error.to_string();
            text.split_once(": ").map_or(text.clone(), |(_, rest)| rest.to_owned())
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{Control, Site};

    fn site(answers: &[(&str, &str, &str)]) -> Site {
        let mut given = Answers::default();
        for (section, key, value) in answers {
            given.answer(section, key, value);
        }
        parse(&given.text()).unwrap()
    }

    const NEEDED: [(&str, &str, &str); 3] = [
        ("supply", "nominal_v", "230"),
        ("supply", "frequency_hz", "50"),
        ("motor", "rated_current_a", "7.2"),
    ];

    #[test]
    fn a_section_of_which_the_quantity_is_unknown_is_left_out() {
        let mut answers = NEEDED.to_vec();
        answers.push(("control", "kind", "pressure-switch"));
        answers.extend([("transducer", "kind", "4-20ma"), ("transducer", "low_bar", "0")]);
        let site = site(&answers);
        assert!(site.control.is_none() && site.transducer.is_none() && site.tank.is_none());
    }

    #[test]
    fn another_unit_answers_the_question() {
        let mut answers = Answers::default();
        answers.answer("control", "kind", "pressure-switch");
        answers.answer("control", "cut_in_psi", "30");
        let place = |key| QUESTIONS.iter().position(|q| q.key == key).unwrap();
        assert!(!answers.open(place("cut_in_bar")) && answers.open(place("cut_out_bar")));
        assert!(!answers.open(place("setpoint_bar")), "asked of the other kind only");
    }

    #[test]
    fn a_text_may_hold_anything() {
        let mut answers = NEEDED.to_vec();
        answers.push(("site", "name", "Hill \"top\" \\ [x]\u{1F4A7}"));
        assert_eq!(site(&answers).name.as_deref(), Some("Hill \"top\" \\ [x]\u{1F4A7}"));
        answers
            .extend([("control", "kind", "constant-pressure"), ("control", "setpoint_bar", "3")]);
        assert_eq!(site(&answers).control, Some(Control::ConstantPressure { setpoint_bar: 3.0 }));
    }

    #[test]
    fn what_cannot_be_is_complained_of_and_what_is_missing_is_not() {
        let mut answers = Answers::default();
        assert_eq!(answers.complaint(), None);
        answers.answer("supply", "nominal_v", "abc");
        assert!(answers.complaint().unwrap().contains("plain number"));
        answers.answer("supply", "nominal_v", "9000");
        assert!(answers.complaint().is_some());
    }

    #[test]
    fn the_answer_that_is_wrong_is_the_one_blamed() {
        let blamed = |wrong: &[(&str, &str, &str)]| {
            let mut answers = Answers::default();
            for (section, key, value) in NEEDED.iter().chain(wrong) {
                answers.answer(section, key, value);
            }
            let error = parse(&answers.text()).unwrap_err();
            let (section, key) = answers.blamed(&error).unwrap();
            format!("{section}.{key}")
        };
        let switch = ("control", "kind", "pressure-switch");
        for (cut_in, cut_out, wrong) in
            [("x", "3.5", "cut_in_bar"), ("2", "x", "cut_out_bar"), ("2", "-9", "cut_out_bar")]
        {
            let given =
                [switch, ("control", "cut_in_bar", cut_in), ("control", "cut_out_bar", cut_out)];
            assert_eq!(blamed(&given), format!("control.{wrong}"));
        }
        // What contradicts something else is blamed where the error stands.
        let given = [switch, ("control", "cut_in_bar", "4"), ("control", "cut_out_bar", "3")];
        assert!(blamed(&given).starts_with("control.cut_"), "{}", blamed(&given));
        assert_eq!(blamed(&[("supply", "no_such", "1")]), "supply.no_such");
        assert_eq!(blamed(&[("motor", "rated_current_a", "")]), "motor.rated_current_a");
        assert_eq!(blamed(&[("supply", "nominal_v", "230\nphases = 9")]), "supply.nominal_v");
    }
}
