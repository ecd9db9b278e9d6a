//! Watching a logger: who is there, by which settings its readings are read, and the checks they
//! feed. The same for a terminal and for a page; the one file here that asks a line.

use crate::checks::{Check, Checks, Stated};
use crate::reading::Reading;
use pumpwitness_link::{Client, ClientError, Transport, arming};
use pumpwitness_protocol::message::{Identity, Status};
use pumpwitness_protocol::settings::Settings;
use pumpwitness_site_file::Site;

/// Looks between two questions for the state of the memory: at five a second, each five seconds.
const MEMORY_EVERY: u32 = 25;

/// A watch over one logger and one site.
#[derive(Debug)]
pub struct Session {
    named: Option<(Site, String)>,
    site: Option<Site>,
    checks: Option<Checks>,
    stated: Stated,
    settings: Settings,
    identity: Option<Identity>,
    status: Option<Status>,
    clock_off_ms: i64,
    note: Option<String>,
    looks: u32,
}

impl Session {
    /// With a site file and its text; without one, that of the logger is taken.
    pub fn new(named: Option<(Site, String)>) -> Self {
        let site = named.as_ref().map(|(site, _)| site.clone());
        Self {
            checks: site.as_ref().map(Checks::new),
            site,
            named,
            stated: Stated::default(),
            settings: Settings::default(),
            identity: None,
            status: None,
            clock_off_ms: 0,
            note: None,
            looks: 0,
        }
    }

    /// Asks who is there; gives a logger that records nothing yet the site's settings, so that its
    /// readings are those of this site. `host_ms` is the host's clock, ms since 1970.
    pub fn meet<T: Transport>(
        &mut self,
        client: &mut Client<T>,
        host_ms: i64,
    ) -> Result<(), ClientError> {
        let identity = client.hello()?;
        let status = client.status()?;
        self.settings = client.settings()?;
        self.note = None;
        if let Some((site, text)) = &self.named {
            match arming::settings(site, text) {
                Ok(wanted) if wanted == self.settings => {}
                Ok(wanted) if !status.armed => match client.put_settings(&wanted) {
                    Ok(()) => self.settings = wanted,
                    Err(ClientError::Device(refused)) => {
                        self.note = Some(format!("{refused}; readings are by those it has"));
                    }
                    Err(error) => return Err(error),
                },
                Ok(_) => {
                    self.note = Some(
                        "the logger is armed with other settings: readings are by those".to_owned(),
                    );
                }
                Err(error) => self.note = Some(error.to_string()),
            }
        } else if self.site.is_none() {
            let text = client.site_text()?;
            self.site = std::str::from_utf8(&text)
                .ok()
                .filter(|text| !text.is_empty())
                .and_then(|text| pumpwitness_site_file::parse(text).ok());
            if self.site.is_none() {
                self.note = Some("no site file: name one to have the fit checked".to_owned());
            }
        }
        if self.checks.is_none() {
            self.checks = self.site.as_ref().map(Checks::new);
        }
        if let Some(checks) = &mut self.checks {
            checks.meet(&identity, host_ms);
            checks.memory(status);
            checks.state(self.stated);
        }
        self.clock_off_ms = identity.clock_ms.saturating_sub(host_ms);
        self.identity = Some(identity);
        self.status = Some(status);
        Ok(())
    }

    /// Takes a set of readings, and now and then the state of the memory.
    pub fn look<T: Transport>(&mut self, client: &mut Client<T>) -> Result<Reading, ClientError> {
        let reading = Reading::of(&client.live()?, &self.settings);
        if let Some(checks) = &mut self.checks {
            checks.see(&reading);
            self.stated = checks.stated();
        }
        if self.looks.is_multiple_of(MEMORY_EVERY) {
            let status = client.status()?;
            self.status = Some(status);
            if let Some(checks) = &mut self.checks {
                checks.memory(status);
            }
        }
        self.looks = self.looks.wrapping_add(1);
        Ok(reading)
    }

    /// Takes what the technician states.
    pub fn state(&mut self, stated: Stated) {
        self.stated = stated;
        if let Some(checks) = &mut self.checks {
            checks.state(stated);
        }
    }

    /// What is stated at present.
    pub fn stated(&self) -> Stated {
        self.stated
    }

    /// The site the fit is checked for: the one named, or the logger's own.
    pub fn site(&self) -> Option<&Site> {
        self.site.as_ref()
    }

    /// The site named and its text.
    pub fn named(&self) -> Option<&(Site, String)> {
        self.named.as_ref()
    }

    /// Takes the site file as it was given to the logger: the same site, with more said in it. What
    /// was seen stands.
    pub fn rename(&mut self, site: Site, text: String) {
        self.site = Some(site.clone());
        self.named = Some((site, text));
    }

    /// Settings by which the readings are read.
    pub fn settings(&self) -> &Settings {
        &self.settings
    }

    /// The logger, once met, as it introduced itself last.
    pub fn identity(&self) -> Option<&Identity> {
        self.identity.as_ref()
    }

    /// Its memory, as last told.
    pub fn status(&self) -> Option<&Status> {
        self.status.as_ref()
    }

    /// Its clock less the host's when it was met last, ms.
    pub fn clock_off_ms(&self) -> i64 {
        self.clock_off_ms
    }

    /// What is to be known about the logger's settings.
    pub fn note(&self) -> Option<&str> {
        self.note.as_deref()
    }

    /// The checks; none without a site.
    pub fn list(&self) -> Vec<Check> {
        self.checks.as_ref().map(Checks::list).unwrap_or_default()
    }

    /// The checks in one line for the chain of custody.
    pub fn summary(&self) -> Option<String> {
        self.checks.as_ref().map(Checks::summary)
    }
}
