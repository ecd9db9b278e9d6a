//! `watch`: live readings and fit checks in the terminal.

use crate::args::Watch;
use crate::failure::{Context, Failure};
use crate::{line, load, output};
use jiff::Timestamp;
use pumpwitness_fitting::checks::Stated;
use pumpwitness_fitting::reading::Lamp;
use pumpwitness_fitting::{Check, Reading, Session, Signal, State};
use pumpwitness_link::{Client, SerialLine};
use pumpwitness_protocol::settings::Settings;
use pumpwitness_site_file::{BAR_PER_PSI, FitKey, Units, with_fit};
use std::fmt::Write;
use std::io::{BufRead, IsTerminal};
use std::sync::mpsc::{self, Receiver};
use std::time::Duration;

/// Between two readings; the logger renews them each 0.2 s.
const EVERY: Duration = Duration::from_millis(200);
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
    let mut session = Session::new(named);
    session.state(Stated { running: None, gauge_bar: arguments.gauge_bar });
    let mut watching = Watching {
        session,
        screen: Screen { lines: 0, terminal: std::io::stdout().is_terminal() },
    };
    let typed = typed(arguments.seconds.is_none());
    let mut client = line::open(&arguments.port)?;
    watching.session.meet(&mut client, now_ms()).map_err(Failure::input)?;
    let rounds = arguments.seconds.map(|seconds| u64::from(seconds) * 5);
    let mut round: u32 = 0;
    loop {
        while let Ok(words) = typed.try_recv() {
            if !watching.heard(&words) {
                return watching.keep(arguments);
            }
        }
        let looked = watching.look(&mut client, round);
        if let Err(error) = looked {
            watching.screen.show(&format!("{error}\nwaiting for the logger to come back\n"))?;
            std::thread::sleep(AGAIN);
            // A line that is not there again yet is tried again.
            if let Ok(again) = line::open(&arguments.port) {
                client = again;
                let _ = watching.session.meet(&mut client, now_ms());
            }
        }
        round = round.wrapping_add(1);
        if rounds.is_some_and(|rounds| u64::from(round) >= rounds) {
            watching.close()?;
            return watching.keep(arguments);
        }
        std::thread::sleep(EVERY);
    }
}

fn now_ms() -> i64 {
    Timestamp::now().as_millisecond()
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
    session: Session,
    screen: Screen,
}

impl Watching {
    fn look(&mut self, client: &mut Client<SerialLine>, round: u32) -> Result<(), Failure> {
        let reading = self.session.look(client).map_err(Failure::input)?;
        if self.screen.terminal {
            let mut text = readings(&reading, self.session.settings());
            if let Some(note) = self.session.note() {
                let _ = writeln!(text, "note: {note}");
            }
            let checks = self.session.list();
            if !checks.is_empty() {
                text += &listed(&checks);
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
        let mut stated = self.session.stated();
        match words.trim() {
            "q" | "quit" => return false,
            "r" => stated.running = Some(true),
            "s" => stated.running = Some(false),
            number => {
                if let Ok(value) = number.replace(',', ".").parse::<f64>() {
                    let us = self.session.site().map(|site| site.units) == Some(Units::Us);
                    stated.gauge_bar = Some(if us { value * BAR_PER_PSI } else { value });
                }
            }
        }
        self.session.state(stated);
        self.screen.typed();
        true
    }

    /// Where no terminal watched, the checks are told at the end.
    fn close(&self) -> Result<(), Failure> {
        let mut text = String::new();
        if let Some(note) = self.session.note() {
            let _ = writeln!(text, "note: {note}");
        }
        if let (false, Some(summary)) = (self.screen.terminal, self.session.summary()) {
            text += &listed(&self.session.list());
            let _ = writeln!(text, "\n{summary}");
        }
        output::print(&text)
    }

    /// Writes what the checks came to into the site file, where that was asked for: armed with it,
    /// the logger carries it in the chain of custody.
    fn keep(&self, arguments: &Watch) -> Result<(), Failure> {
        let (true, Some(path)) = (arguments.keep_checks, &arguments.site) else { return Ok(()) };
        let (Some(summary), Some((_, text))) = (self.session.summary(), self.session.named())
        else {
            return Ok(());
        };
        let text = with_fit(text, FitKey::Checks, &summary).or_input(path.display())?;
        output::write_file(path, text.as_bytes())?;
        output::print(&format!("{summary}: written to [fit] checks of {}\n", path.display()))
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
