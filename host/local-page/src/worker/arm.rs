//! Arming: the site file with what the fit checks came to, the clock, and off it goes.

use super::Worker;
use jiff::Timestamp;
use pumpwitness_link::arming;
use pumpwitness_protocol::hex::Hex;
use pumpwitness_site_file::{FitKey, Site, parse, with_fit};
use serde_json::{Value, json};

/// What the name of a practised site must hold, so that its record never passes for evidence.
const PRACTICE: &str = "practice";

impl Worker {
    pub(super) fn arm(&mut self) -> Result<(String, Value), String> {
        let Some(site) = self.session.site() else {
            return Err("choose the site first: the logger is armed with its file".to_owned());
        };
        let text = match self.session.named() {
            Some((_, text)) => text.clone(),
            None => site.to_toml(),
        };
        let using = self.using.as_mut().ok_or("choose a logger first")?;
        let client = using.client.as_mut().ok_or("the logger is not there: plug it in")?;
        let clock_ms = self.ports.clock_ms(&using.port);
        let simulated = self.ports.simulated(&using.port);
        let summary = self.session.summary().unwrap_or_default();
        let text = completed(&text, &summary, clock_ms, simulated)?;
        let site = parse(&text).map_err(|error| error.to_string())?;
        let armed = arming::arm(client, &site, &text, Some(clock_ms));
        let identity = armed.map_err(|error| error.to_string())?;
        let kept = self.office.keep_site(&text).map_err(|error| error.to_string());
        let off_s = identity.clock_ms.saturating_sub(clock_ms) as f64 / 1000.0;
        let name = site.name.clone().unwrap_or_else(|| "this site".to_owned());
        let device = Hex(&identity.device).to_string();
        self.session.rename(site, text);
        self.meet();
        // The logger is armed by now, whatever the folder says.
        let mut says = format!("logger {device} is armed for {name} and records from now on");
        match kept {
            Ok(file) => self.file = Some(file),
            Err(error) => says = format!("{says}; but its site file could not be kept: {error}"),
        }
        Ok((says, json!({ "device": device, "clock_was_off_s": off_s, "summary": summary })))
    }
}

/// The text to arm with.
fn completed(text: &str, summary: &str, clock_ms: i64, simulated: bool) -> Result<String, String> {
    let plain = |error: pumpwitness_site_file::SiteFileError| error.to_string();
    let mut text = with_fit(text, FitKey::Checks, summary).map_err(plain)?;
    let mut site: Site = parse(&text).map_err(plain)?;
    if site.fit.on.is_none()
        && let Ok(now) = Timestamp::from_millisecond(clock_ms)
    {
        text = with_fit(&text, FitKey::On, &now.strftime("%F").to_string()).map_err(plain)?;
        site = parse(&text).map_err(plain)?;
    }
    let name = site.name.as_deref().unwrap_or("");
    if simulated && !name.to_lowercase().contains(PRACTICE) {
        site.name = Some(format!("Practice: {name}").chars().take(60).collect());
        text = site.to_toml();
    }
    Ok(text)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_practised_site_says_so_in_its_name() {
        let text = pumpwitness_site_file::EXAMPLE;
        let real = completed(text, "all good", 0, false).unwrap();
        assert_eq!(parse(&real).unwrap().name, parse(text).unwrap().name);
        let practised = parse(&completed(text, "all good", 0, true).unwrap()).unwrap();
        assert_eq!(practised.name.as_deref(), Some("Practice: Upper orchard well"));
        assert_eq!(practised.fit.checks.as_deref(), Some("all good"));
        assert_eq!(practised.fit.on.as_deref(), Some("2026-05-04"), "as it stood there");
    }
}
