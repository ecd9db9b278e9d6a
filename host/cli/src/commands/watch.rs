//! `watch`: live readings and fit checks in the terminal.

use crate::args::Watch;
use crate::failure::Failure;
use crate::{line, load, output};
use jiff::Timestamp;
use pumpwitness_fitting::checks::Stated;
use pumpwitness_fitting::reading::Lamp;
use pumpwitness_fitting::{Check, Checks, Reading, Signal, State};
use pumpwitness_link::{Client, ClientError, SerialLine, arming};
use pumpwitness_protocol::settings::Settings;
use pumpwitness_site_file::{BAR_PER_PSI, Site};
use std::fmt::Write;
use std::io::{BufRead, IsTerminal};
use std::sync::mpsc::{self, Receiver};
use std::time::Duration;

/// Between two readings; the logger renews them each 0.2 s.
const EVERY: Duration = Duration::from_millis(200);
/// Readings between two looks at the memory.
const MEMORY_EVERY: u32 = 25;
/// Readings between two lines where no terminal watches.
const LINE_EVERY: u32 = 5;
/// Before a line that went away is tried again.
const AGAIN: Duration = Duration::from_secs(1);

/// How to use it, under the checks.
const KEYS: &str = "type and press Enter: r the pump runs · s it stands still · a number: what the \
    gauge reads · q quit";

/// Watches the logger on a port until told to stop, or for `--seconds`.
pub fn run(arguments: &Watch) -> Result<(), Failure> {
    let named = arguments.site.as_deref().map(load::site).transpose()?;
    let mut watching = Watching {
        settings: Settings::default(),
        site: named.as_ref().map(|(site, _)| site.clone()),
        checks: None,
        note: None,
        stated: Stated { running: None, gauge_bar: arguments.gauge_bar },
        screen: Screen { lines: 0, terminal: std::io::stdout().is_terminal() },
    };
    let typed = typed(arguments.seconds.is_none());
    let mut client = line::open(&arguments.port)?;
    watching.meet(&mut client, named.as_ref()).map_err(Failure::input)?;
    let rounds = arguments.seconds.map(|seconds| u64::from(seconds) * 5);
    let mut round: u32 = 0;
    loop {
        while let Ok(words) = typed.try_recv() {
            if !watching.heard(&words) {
                return Ok(());
            }
        }
        let looked = watching.look(&mut client, round);
        if let Err(error) = looked {
            watching.screen.show(&format!("{error}\nwaiting for the logger to come back\n"))?;
            std::thread::sleep(AGAIN);
            // A line that is not there again yet is tried again.
            if let Ok(again) = line::open(&arguments.port) {
                client = again;
                let _ = watching.meet(&mut client, named.as_ref());
            }
        }
        round = round.wrapping_add(1);
        if rounds.is_some_and(|rounds| u64::from(round) >= rounds) {
            return watching.close();
        }
        std::thread::sleep(EVERY);
    }
}

/// Lines typed, on a thread of their own; none where nobody can type.
fn typed(wanted: bool) -> Receiver<String> {
    let (sender, receiver) = mpsc::channel();
    if wanted {
        std::thread::spawn(move || {
            for line in std::io::stdin().lock().lines().map_while(Result::ok) {
                if sender.send(line).is_err() {
                    break;
                }
            }
        });
    }
    receiver
}

struct Watching {
    settings: Settings,
    site: Option<Site>,
    checks: Option<Checks>,
    /// What is to be known about the logger's settings.
    note: Option<String>,
    stated: Stated,
    screen: Screen,
}

impl Watching {
    /// Asks who is there; gives a logger that records nothing yet the site's settings, so that its
    /// readings are those of this site.
    fn meet(
        &mut self,
        client: &mut Client<SerialLine>,
        named: Option<&(Site, String)>,
    ) -> Result<(), ClientError> {
        let identity = client.hello()?;
        let status = client.status()?;
        self.settings = client.settings()?;
        self.note = None;
        if let Some((site, text)) = named {
            match arming::settings(site, text) {
                Ok(wanted) if wanted == self.settings => {}
                Ok(wanted) if !status.armed => {
                    client.put_settings(&wanted)?;
                    self.settings = wanted;
                }
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
                self.note =
                    Some("no site file: name one with --site to have the fit checked".to_owned());
            }
        }
        if self.checks.is_none() {
            self.checks = self.site.as_ref().map(Checks::new);
        }
        if let Some(checks) = &mut self.checks {
            checks.meet(&identity, Timestamp::now().as_millisecond());
            checks.memory(status);
            checks.state(self.stated);
        }
        Ok(())
    }

    fn look(&mut self, client: &mut Client<SerialLine>, round: u32) -> Result<(), Failure> {
        let live = client.live().map_err(Failure::input)?;
        let reading = Reading::of(&live, &self.settings);
        if let Some(checks) = &mut self.checks {
            checks.see(&reading);
            if round.is_multiple_of(MEMORY_EVERY) {
                checks.memory(client.status().map_err(Failure::input)?);
            }
        }
        if self.screen.terminal {
            let mut text = readings(&reading, &self.settings);
            if let Some(note) = &self.note {
                let _ = writeln!(text, "note: {note}");
            }
            if let Some(checks) = &self.checks {
                text += &listed(&checks.list());
            }
            let _ = writeln!(text, "\n{KEYS}");
            self.screen.show(&text)
        } else if round.is_multiple_of(LINE_EVERY) {
            output::print(&one_line(&reading))
        } else {
            Ok(())
        }
    }

    /// Takes what was typed; false to stop.
    fn heard(&mut self, words: &str) -> bool {
        match words.trim() {
            "q" | "quit" => return false,
            "r" => self.stated.running = Some(true),
            "s" => self.stated.running = Some(false),
            number => {
                if let Ok(value) = number.replace(',', ".").parse::<f64>() {
                    let us = self.site.as_ref().map(|site| site.units)
                        == Some(pumpwitness_site_file::Units::Us);
                    self.stated.gauge_bar = Some(if us { value * BAR_PER_PSI } else { value });
                }
            }
        }
        if let Some(checks) = &mut self.checks {
            checks.state(self.stated);
        }
        self.screen.typed();
        true
    }

    /// Where no terminal watched, the checks are told at the end.
    fn close(&self) -> Result<(), Failure> {
        let mut text = String::new();
        if let Some(note) = &self.note {
            let _ = writeln!(text, "note: {note}");
        }
        if let (false, Some(checks)) = (self.screen.terminal, &self.checks) {
            text += &listed(&checks.list());
            let _ = writeln!(text, "\n{}", checks.summary());
        }
        output::print(&text)
    }
}

/// A block of lines on the terminal that is written over by the next.
struct Screen {
    lines: usize,
    terminal: bool,
}

impl Screen {
    fn show(&mut self, text: &str) -> Result<(), Failure> {
        let mut out = String::new();
        if self.terminal && self.lines > 0 {
            // Up to the first line of the block before, and clear from there (ECMA-48 CUU and ED).
            let _ = write!(out, "\x1b[{}A\x1b[J", self.lines);
        }
        out += text;
        self.lines = text.lines().count();
        output::print(&out)
    }

    /// The terminal has echoed a line.
    fn typed(&mut self) {
        self.lines += usize::from(self.lines > 0);
    }
}

fn readings(reading: &Reading, settings: &Settings) -> String {
    let mut text = String::new();
    let time = Timestamp::from_millisecond(reading.time_ms)
        .map_or_else(|_| "clock not set".to_owned(), |time| time.strftime("%F %T UTC").to_string());
    let frequency =
        reading.frequency_hz.map_or("no frequency".to_owned(), |f| format!("{f:.2} Hz"));
    let _ =
        writeln!(text, "{time}    {}", if reading.running { "pump runs" } else { "pump rests" });
    let _ = writeln!(text, "voltage   {:>8.1} V     {frequency}", reading.voltage_v);
    let _ = writeln!(text, "current   {:>8.2} A", reading.current_a);
    let _ = writeln!(text, "power     {:>8.0} W", reading.power_w);
    if let (Some(bar), Some(signal)) = (reading.pressure_bar, reading.signal) {
        let wire = match signal {
            Signal::LoopMa(ma) => format!("{ma:.2} mA"),
            Signal::SupplyPercent(percent) => format!("{percent:.1} % of its supply"),
        };
        let _ = writeln!(text, "pressure  {bar:>8.2} bar   {:.1} psi   {wire}", bar / BAR_PER_PSI);
    }
    for (number, label) in (1_u8..).zip(&settings.lamps) {
        if settings.lamp_fitted(number) {
            let state = match reading.lamps[usize::from(number) - 1] {
                Lamp::Dark => "dark",
                Lamp::Lit => "lit",
                Lamp::Flashing => "flashing",
            };
            let shown: String = label.chars().filter(|letter| !letter.is_control()).collect();
            let _ = writeln!(text, "lamp {number}    {state:>8}       {shown}");
        }
    }
    text
}

fn one_line(reading: &Reading) -> String {
    let mut text =
        format!("{:.1} V  {:.2} A  {:.0} W", reading.voltage_v, reading.current_a, reading.power_w);
    if let Some(hertz) = reading.frequency_hz {
        let _ = write!(text, "  {hertz:.2} Hz");
    }
    if let Some(bar) = reading.pressure_bar {
        let _ = write!(text, "  {bar:.2} bar");
    }
    let _ = writeln!(text, "  {}", if reading.running { "runs" } else { "rests" });
    text
}

fn listed(checks: &[Check]) -> String {
    checks.iter().fold("\n".to_owned(), |mut text, check| {
        let sign = match check.state {
            State::Good => "[good]",
            State::Waiting => "[ …  ]",
            State::Bad => "[BAD ]",
        };
        let _ = writeln!(text, "{sign} {}: {}", check.title, check.says);
        if let Some(remedy) = check.remedy {
            let _ = writeln!(text, "       {remedy}");
        }
        text
    })
}
