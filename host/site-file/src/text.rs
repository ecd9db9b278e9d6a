//! [`Site`] → canonical text.

use crate::error::SiteFileError;
use crate::model::{Control, Fit, LampMeaning, Site, Start, TransducerKind, Units};
use crate::parse::parse;
use std::fmt::Write;

fn word<T: PartialEq>(words: &[(&'static str, T)], value: &T) -> &'static str {
    // Each table lists every variant of its type.
    words.iter().find(|(_, listed)| listed == value).map_or("", |(word, _)| word)
}

/// Text as the site file writes it: a TOML string.
pub fn quoted(text: &str) -> String {
    toml::Value::String(text.to_owned()).to_string()
}

/// The text of a site file with `value` under `key` of `[fit]`; comments and order stay as they are.
/// What goes beyond the longest text of that key is cut off.
///
/// # Errors
///
/// Those of [`crate::parse()`] for `text`.
pub fn with_fit(text: &str, key: FitKey, value: &str) -> Result<String, SiteFileError> {
    let mut wanted = parse(text)?;
    let (name, field) = match key {
        FitKey::On => ("on", &mut wanted.fit.on),
        FitKey::Checks => ("checks", &mut wanted.fit.checks),
    };
    let bytes_max = Fit::KEYS.iter().find(|(key, _)| *key == name).map_or(0, |(_, max)| *max);
    let mut said = String::new();
    for letter in value.chars().filter(|letter| !letter.is_control()) {
        if said.len() + letter.len_utf8() > bytes_max {
            break;
        }
        said.push(letter);
    }
    let line = format!("{name} = {}", quoted(&said));
    *field = Some(said);
    let mut lines: Vec<&str> = text.lines().collect();
    let header = lines.iter().position(|line| line.trim_start().starts_with("[fit]"));
    if let Some(header) = header {
        let end = lines[header + 1..]
            .iter()
            .position(|line| line.trim_start().starts_with('['))
            .map_or(lines.len(), |n| header + 1 + n);
        let old = (header + 1..end)
            .find(|n| lines[*n].split_once('=').is_some_and(|(key, _)| key.trim() == name));
        match old {
            Some(old) => lines[old] = &line,
            None => lines.insert(header + 1, &line),
        }
    } else {
        lines.extend(["", "[fit]", &line]);
    }
    let edited = lines.join("\n") + "\n";
    // A value over several lines, or a table written in another way: then canonically.
    Ok(if parse(&edited).as_ref() == Ok(&wanted) { edited } else { wanted.to_toml() })
}

/// A key of `[fit]` that the program fills in.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum FitKey {
    /// When it was fitted.
    On,
    /// What the fit checks said.
    Checks,
}

impl Site {
    /// The site file in canonical form: every key in a fixed order, in the first unit of its
    /// quantity. [`crate::parse()`] makes the same [`Site`] of it.
    pub fn to_toml(&self) -> String {
        let mut text = String::new();
        // Writing to a string does not fail.
        let _ = self.write(&mut text);
        text
    }

    fn write(&self, out: &mut String) -> std::fmt::Result {
        writeln!(out, "[site]")?;
        if let Some(name) = &self.name {
            writeln!(out, "name = {}", quoted(name))?;
        }
        if let Some(customer) = &self.customer {
            writeln!(out, "customer = {}", quoted(customer))?;
        }
        if let Some(address) = &self.address {
            writeln!(out, "address = {}", quoted(address))?;
        }
        if let Some(zone) = &self.time_zone {
            writeln!(out, "time_zone = {}", quoted(zone))?;
        }
        writeln!(out, "units = \"{}\"", word(Units::WORDS, &self.units))?;
        writeln!(out, "\n[supply]\nnominal_v = {}", self.supply.nominal_v)?;
        writeln!(out, "frequency_hz = {}", self.supply.frequency_hz)?;
        writeln!(out, "phases = {}", self.supply.phases)?;
        writeln!(out, "\n[motor]\nrated_current_a = {}", self.motor.rated_current_a)?;
        writeln!(out, "service_factor = {}", self.motor.service_factor)?;
        writeln!(out, "start = \"{}\"", word(Start::WORDS, &self.motor.start))?;
        match self.control {
            Some(Control::PressureSwitch { cut_in_bar, cut_out_bar }) => {
                writeln!(out, "\n[control]\nkind = \"pressure-switch\"")?;
                writeln!(out, "cut_in_bar = {cut_in_bar}\ncut_out_bar = {cut_out_bar}")?;
            }
            Some(Control::ConstantPressure { setpoint_bar }) => {
                writeln!(out, "\n[control]\nkind = \"constant-pressure\"")?;
                writeln!(out, "setpoint_bar = {setpoint_bar}")?;
            }
            None => {}
        }
        if let Some(tank) = self.tank {
            writeln!(out, "\n[tank]\nvolume_l = {}", tank.volume_l)?;
            if let Some(precharge_bar) = tank.precharge_bar {
                writeln!(out, "precharge_bar = {precharge_bar}")?;
            }
        }
        if let Some(transducer) = self.transducer {
            let kind = word(TransducerKind::WORDS, &transducer.kind);
            writeln!(out, "\n[transducer]\nkind = \"{kind}\"")?;
            writeln!(out, "low_bar = {}\nhigh_bar = {}", transducer.low_bar, transducer.high_bar)?;
        }
        if let Some(flow) = self.rated_flow_lpm {
            writeln!(out, "\n[pump]\nrated_flow_lpm = {flow}")?;
        }
        if self.limits.min_run_s.is_some() || self.limits.max_starts_per_hour.is_some() {
            writeln!(out, "\n[limits]")?;
        }
        if let Some(seconds) = self.limits.min_run_s {
            writeln!(out, "min_run_s = {seconds}")?;
        }
        if let Some(starts) = self.limits.max_starts_per_hour {
            writeln!(out, "max_starts_per_hour = {starts}")?;
        }
        if !self.lamps.is_empty() {
            writeln!(out, "\n[lamps]")?;
        }
        for (lamp, label) in &self.lamps {
            writeln!(out, "{lamp} = {}", quoted(label))?;
        }
        if !self.lamp_means.is_empty() {
            writeln!(out, "\n[lamp_means]")?;
        }
        for (lamp, meaning) in &self.lamp_means {
            writeln!(out, "{lamp} = \"{}\"", word(LampMeaning::WORDS, meaning))?;
        }
        if self.fit != crate::model::Fit::default() {
            writeln!(out, "\n[fit]")?;
        }
        for (key, value) in self.fit.fields() {
            if let Some(value) = value {
                writeln!(out, "{key} = {}", quoted(value))?;
            }
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const PLAIN: &str = "# mine\n[supply]\nnominal_v = 230 # measured\nfrequency_hz = 50\n\n[motor]\n\
        rated_current_a = 7.2\n";

    #[test]
    fn what_the_checks_said_is_written_beside_what_stands_there() {
        let text = with_fit(PLAIN, FitKey::Checks, "13 of 13 fit checks good").unwrap();
        assert_eq!(text, format!("{PLAIN}\n[fit]\nchecks = \"13 of 13 fit checks good\"\n"));
        let again = with_fit(&text, FitKey::Checks, "1 bad: \"power\"").unwrap();
        let dated = with_fit(&again, FitKey::On, "2026-05-04").unwrap();
        assert!(dated.starts_with(PLAIN), "{dated}");
        let fit = parse(&dated).unwrap().fit;
        assert_eq!(fit.checks.as_deref(), Some("1 bad: \"power\""));
        assert_eq!(fit.on.as_deref(), Some("2026-05-04"));
    }

    #[test]
    fn another_way_of_writing_it_becomes_the_canonical_one() {
        for fit in ["fit.by = \"A\"\n", "fit = { by = \"A\", checks = \"old\" }\n"] {
            let text = format!("{fit}{PLAIN}");
            let edited = with_fit(&text, FitKey::Checks, &"long".repeat(200)).unwrap();
            let fit = parse(&edited).unwrap().fit;
            assert_eq!(fit.by.as_deref(), Some("A"));
            assert_eq!(fit.checks.unwrap().len(), 400);
        }
        assert!(with_fit("no site file", FitKey::On, "x").is_err());
    }
}
