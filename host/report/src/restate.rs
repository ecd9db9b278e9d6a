//! Sentences of the analysis speak in bar, L and °C. For a reader with other units the figure in
//! their unit is put behind, in brackets; no word of the sentence is changed. A number and its unit
//! are kept on one line.

use crate::units::{Quantity, Reader};
use std::fmt::Write;

/// Units that sentences use, the longer before its own beginning.
const UNITS: &[(&str, Quantity)] = &[
    ("bar/min", Quantity::BarPerMinute),
    ("bar", Quantity::Bar),
    ("L/min", Quantity::LitrePerMinute),
    ("L", Quantity::Litre),
    ("°C", Quantity::Celsius),
];

/// `sentence` with figures in the reader's unit behind those in other units.
pub fn restate(sentence: &str, reader: Reader) -> String {
    let mut out = String::with_capacity(sentence.len() + 32);
    let mut done = 0;
    for (at, character) in sentence.char_indices() {
        if at < done || !matches!(character, ' ' | '\u{a0}' | '\u{202f}') {
            continue;
        }
        let rest = &sentence[at + character.len_utf8()..];
        if character == ' ' && sentence[..at].ends_with(|c: char| c.is_ascii_digit()) && glued(rest)
        {
            out.push_str(&sentence[done..at]);
            out.push('\u{a0}');
            done = at + 1;
        }
        let Some((unit, quantity)) = unit_at(rest) else { continue };
        let symbol = reader.symbol(quantity);
        let before = &sentence[..at];
        if symbol == unit {
            continue;
        }
        let Some((value, number_at)) = number_before(before) else { continue };
        let mut restated = reader.number(quantity, value);
        let leading = &before[..number_at];
        let joint =
            [" to ", "–", " and ", " or "].into_iter().find(|joint| leading.ends_with(joint));
        if let Some(joint) = joint
            && let Some((first, _)) = number_before(&leading[..leading.len() - joint.len()])
        {
            restated = format!("{}{joint}{restated}", reader.number(quantity, first));
        }
        let end = at + character.len_utf8() + unit.len();
        out.push_str(&sentence[done.min(end)..end]);
        // Writing to a string does not fail.
        let _ = write!(out, " ({restated}\u{a0}{symbol})");
        done = end;
    }
    out.push_str(&sentence[done..]);
    out
}

/// Whether `rest` begins with a unit that a number must not be parted from.
fn glued(rest: &str) -> bool {
    const KEPT: &[&str] = &[
        "s", "ms", "min", "h", "d", "V", "A", "mA", "W", "kW", "kWh", "Hz", "Ω", "%", "bar",
        "bar/min", "L", "L/min", "°C",
    ];
    let word: &str = rest.split([' ', ',', '.', ';', ':', ')']).next().unwrap_or("");
    KEPT.contains(&word)
}

fn unit_at(rest: &str) -> Option<(&'static str, Quantity)> {
    UNITS.iter().copied().find(|(unit, _)| {
        rest.strip_prefix(unit).is_some_and(|after| {
            !after.starts_with(|next: char| next.is_alphanumeric() || next == '/')
        })
    })
}

/// The number that `text` ends with, and where it begins.
fn number_before(text: &str) -> Option<(f64, usize)> {
    let digits = text.trim_end_matches(|c: char| c.is_ascii_digit() || c == '.');
    let mut begin = digits.len();
    let mut value: f64 = text[begin..].parse().ok()?;
    if let Some(sign) = digits.chars().next_back()
        && matches!(sign, '-' | '−')
    {
        begin -= sign.len_utf8();
        value = -value;
    }
    Some((value, begin))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Style;
    use pumpwitness_site_file::{Site, Units};

    fn us() -> Reader {
        let mut site: Site = pumpwitness_site_file::parse(pumpwitness_site_file::EXAMPLE).unwrap();
        site.units = Units::Us;
        Reader(Style::of(&site))
    }

    fn plain(sentence: &str) -> String {
        restate(sentence, us()).replace('\u{a0}', " ")
    }

    #[test]
    fn figures_are_put_behind() {
        assert_eq!(plain("It fell to 3.5 bar."), "It fell to 3.5 bar (50.8 psi).");
        assert_eq!(
            plain("Between 2.0 and 3.5 bar, 60 L at 20 °C."),
            "Between 2.0 and 3.5 bar (29.0 and 50.8 psi), 60 L (15.9 gal) at 20 °C (68.0 °F)."
        );
        assert_eq!(plain("It lost 0.10 bar/min"), "It lost 0.10 bar/min (1.45 psi/min)");
        assert_eq!(plain("read −2.5 bar"), "read −2.5 bar (−36.3 psi)");
    }

    #[test]
    fn other_sentences_stay_as_they_are() {
        for sentence in ["a bar of 3 Lamps", "7.2 A at 230 V", "bar", "", "3 barrels", "5 L/h"] {
            assert_eq!(plain(sentence), sentence);
        }
        let site = pumpwitness_site_file::parse(pumpwitness_site_file::EXAMPLE).unwrap();
        assert_eq!(restate("3.5 bar of 4", Reader(Style::of(&site))), "3.5\u{a0}bar of 4");
    }
}
