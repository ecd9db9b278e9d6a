//! [`Site`] → canonical text.

use crate::model::{Control, Site, Start, TransducerKind, Units};
use std::fmt::Write;

fn word<T: PartialEq>(words: &[(&'static str, T)], value: &T) -> &'static str {
    // Each table lists every variant of its type.
    words.iter().find(|(_, listed)| listed == value).map_or("", |(word, _)| word)
}

/// Text as the site file writes it: a TOML string.
pub fn quoted(text: &str) -> String {
    toml::Value::String(text.to_owned()).to_string()
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
