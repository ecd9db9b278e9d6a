//! One section of a site file: typed reading of its keys, each error with its line.

use crate::error::SiteFileError;
use crate::quantities::{Key, Quantity, Spelling, keys_of};
use std::ops::Range;
use toml::de::{DeTable, DeValue};

/// Line of a byte of `text`, from 1.
pub fn line_at(text: &str, byte: usize) -> usize {
    text.bytes().take(byte).filter(|byte| *byte == b'\n').count() + 1
}

/// `did you mean …` for the nearest of `known`, or the list of them when none is near.
pub fn suggestion(written: &str, known: &[String]) -> String {
    let written = written.to_lowercase();
    let nearest = known
        .iter()
        .map(|name| (strsim::damerau_levenshtein(&written, name), name))
        .min_by_key(|(distance, _)| *distance);
    match nearest {
        // A third of the letters may be wrong: enough for slips and for a forgotten unit.
        Some((distance, name)) if distance <= name.len() / 3 => {
            format!("did you mean `{name}`?")
        }
        _ => format!("it may be one of {}", known.join(", ")),
    }
}

/// A number for a reader: at most six significant digits.
pub fn readable(value: f64) -> String {
    let digits = 5 - value.abs().max(1e-9).log10().floor() as i32;
    let scale = 10_f64.powi(digits.clamp(0, 12));
    format!("{}", (value * scale).round() / scale)
}

struct Entry<'a> {
    key: &'a str,
    line: usize,
    value: &'a DeValue<'a>,
}

/// A section and what stands in it.
pub struct Section<'a> {
    name: &'static str,
    line: usize,
    entries: Vec<Entry<'a>>,
}

impl<'a> Section<'a> {
    /// Opens a section; every key must be one of `known`.
    pub fn open(
        name: &'static str,
        known: &[Key],
        text: &str,
        span: Range<usize>,
        table: &'a DeTable<'a>,
    ) -> Result<Self, SiteFileError> {
        let mut entries: Vec<Entry<'a>> = table
            .iter()
            .map(|(key, value)| Entry {
                key: key.get_ref(),
                line: line_at(text, key.span().start),
                value: value.get_ref(),
            })
            .collect();
        entries.sort_by_key(|entry| entry.line);
        let known = keys_of(known);
        if let Some(entry) = entries.iter().find(|entry| !known.iter().any(|k| k == entry.key)) {
            return Err(SiteFileError::UnknownKey {
                line: entry.line,
                section: name,
                key: entry.key.to_owned(),
                remedy: suggestion(entry.key, &known),
            });
        }
        Ok(Self { name, line: line_at(text, span.start), entries })
    }

    fn entry(&self, key: &str) -> Option<&Entry<'a>> {
        self.entries.iter().find(|entry| entry.key == key)
    }

    /// Line of the key, or of the section when the key is not there.
    pub fn line_of(&self, quantity: &Quantity) -> usize {
        quantity.keys().find_map(|key| self.entry(&key)).map_or(self.line, |entry| entry.line)
    }

    /// The key a quantity was given by, or its preferred one.
    pub fn key_of(&self, quantity: &Quantity) -> String {
        let mut keys = quantity.keys();
        let given = quantity.keys().find(|key| self.entry(key).is_some());
        given.or_else(|| keys.next()).unwrap_or_default()
    }

    /// A number, in the first unit of its quantity.
    pub fn number(&self, quantity: &Quantity) -> Result<Option<f64>, SiteFileError> {
        let mut given: Option<(&Entry<'a>, f64)> = None;
        for spelling in quantity.spellings {
            let Some(entry) = self.entry(&quantity.key(spelling)) else { continue };
            if let Some((before, _)) = given {
                let (first, second) =
                    if before.line <= entry.line { (before, entry) } else { (entry, before) };
                return Err(SiteFileError::TwoUnits {
                    line: second.line,
                    key: second.key.to_owned(),
                    other: first.key.to_owned(),
                });
            }
            let written = number_of(entry)?;
            let value = written * spelling.factor;
            if !(quantity.min..=quantity.max).contains(&value) {
                return Err(SiteFileError::OutOfRange {
                    line: entry.line,
                    key: entry.key.to_owned(),
                    value: readable(written),
                    noun: quantity.noun,
                    range: range(quantity, spelling),
                });
            }
            given = Some((entry, value));
        }
        Ok(given.map(|(_, value)| value))
    }

    /// A number that must be there; `remedy` says what else would do, as the rest of a sentence.
    pub fn required(
        &self,
        quantity: &Quantity,
        remedy: &'static str,
    ) -> Result<f64, SiteFileError> {
        self.number(quantity)?.ok_or_else(|| self.missing(&self.key_of(quantity), remedy))
    }

    /// The error for a key that must be there.
    pub fn missing(&self, key: &str, remedy: &'static str) -> SiteFileError {
        SiteFileError::MissingKey {
            line: self.line,
            section: self.name,
            key: key.to_owned(),
            remedy,
        }
    }

    /// One of a few whole numbers.
    pub fn choice(&self, key: &str, allowed: [u8; 2]) -> Result<Option<u8>, SiteFileError> {
        let Some(entry) = self.entry(key) else { return Ok(None) };
        let value = number_of(entry)?;
        allowed.into_iter().find(|option| f64::from(*option) == value).map(Some).ok_or_else(|| {
            SiteFileError::NotAllowed {
                line: entry.line,
                key: key.to_owned(),
                value: readable(value),
                allowed: format!("{} or {}", allowed[0], allowed[1]),
            }
        })
    }

    /// One of a few words.
    pub fn word<T: Copy>(
        &self,
        key: &str,
        words: &[(&str, T)],
    ) -> Result<Option<T>, SiteFileError> {
        let Some(entry) = self.entry(key) else { return Ok(None) };
        let text = text_of(entry)?;
        let found = words.iter().find(|(word, _)| *word == text);
        found.map(|(_, value)| Some(*value)).ok_or_else(|| {
            let all: Vec<String> = words.iter().map(|(word, _)| format!("\"{word}\"")).collect();
            SiteFileError::NotAllowed {
                line: entry.line,
                key: key.to_owned(),
                value: format!("{text:?}"),
                allowed: all.join(" or "),
            }
        })
    }

    /// A text of 1 to `max` bytes.
    pub fn text(&self, key: &str, max: usize) -> Result<Option<String>, SiteFileError> {
        let Some(entry) = self.entry(key) else { return Ok(None) };
        let text = text_of(entry)?.trim();
        if text.is_empty() || text.len() > max {
            return Err(SiteFileError::TextLength {
                line: entry.line,
                key: key.to_owned(),
                bytes: text.len(),
                max,
            });
        }
        Ok(Some(text.to_owned()))
    }

    /// The error for a key that contradicts another.
    pub fn conflict(&self, quantity: &Quantity, cause: &str) -> SiteFileError {
        SiteFileError::Conflict {
            line: self.line_of(quantity),
            cause: format!("`{}` {cause}", self.key_of(quantity)),
        }
    }

    /// Refuses quantities that do not belong to the kind chosen.
    pub fn refuse(&self, quantities: &[&Quantity], kind: &str) -> Result<(), SiteFileError> {
        for quantity in quantities {
            if quantity.keys().any(|key| self.entry(&key).is_some()) {
                let cause = format!("does not belong to kind = \"{kind}\": take one of them out");
                return Err(self.conflict(quantity, &cause));
            }
        }
        Ok(())
    }
}

fn range(quantity: &Quantity, spelling: &Spelling) -> String {
    let end = |value: f64| readable(value / spelling.factor);
    let text = format!("{} and {} {}", end(quantity.min), end(quantity.max), spelling.unit);
    text.trim_end().to_owned()
}

fn number_of(entry: &Entry<'_>) -> Result<f64, SiteFileError> {
    let value = match entry.value {
        DeValue::Integer(integer) => {
            i64::from_str_radix(integer.as_str(), integer.radix()).ok().map(|value| value as f64)
        }
        DeValue::Float(float) => float.as_str().parse().ok().filter(|v: &f64| v.is_finite()),
        _ => None,
    };
    value.ok_or_else(|| wrong_kind(entry, "a plain number, such as 2.5"))
}

fn text_of<'a>(entry: &Entry<'a>) -> Result<&'a str, SiteFileError> {
    entry.value.as_str().ok_or_else(|| wrong_kind(entry, "text in quotes"))
}

fn wrong_kind(entry: &Entry<'_>, wanted: &'static str) -> SiteFileError {
    let found = match entry.value {
        DeValue::String(text) => {
            format!("the text {:?}", text.chars().take(40).collect::<String>())
        }
        DeValue::Integer(integer) => format!("the number {integer}"),
        DeValue::Float(float) => format!("the number {float}"),
        DeValue::Boolean(value) => format!("the word {value}"),
        DeValue::Datetime(_) => "a date or time".to_owned(),
        DeValue::Array(_) => "a list".to_owned(),
        DeValue::Table(_) => "a section".to_owned(),
    };
    SiteFileError::WrongKind { line: entry.line, key: entry.key.to_owned(), wanted, found }
}
