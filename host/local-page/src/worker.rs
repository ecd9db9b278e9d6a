//! The worker: one thread that owns the line to the logger. Orders come by a channel, what is to be
//! shown goes to the board.
//!
//! It reads live values while a page looks, tries a lost line again, and carries out what needs the
//! line: arming ([`arm`]) and fetching ([`fetch`]).

mod arm;
mod fetch;

use crate::board::Board;
use crate::office::Office;
use crate::ports::{Line, Ports};
use crate::snapshot::{CheckShown, LampLabel, Link, Live, Logger, Memory, Site, Stated};
use pumpwitness_fitting::{Session, checks, endurance};
use pumpwitness_link::{Client, ClientError, Limits, LinkError, Transport};
use pumpwitness_protocol::hex::Hex;
use pumpwitness_protocol::message::Status;
use pumpwitness_protocol::page::PAGES_PER_SECTOR;
use pumpwitness_site_file::Units;
use std::io;
use std::sync::Arc;
use std::sync::mpsc::{Receiver, RecvTimeoutError};
use std::time::{Duration, Instant};

/// Between two readings; the logger renews them each 0.2 s.
const EVERY: Duration = Duration::from_millis(220);
/// Before a line that went away is tried again.
const AGAIN: Duration = Duration::from_secs(1);
/// Between two looks for ports: while one is to be chosen, and while one is in use.
const PORTS_EVERY: (Duration, Duration) = (Duration::from_secs(1), Duration::from_secs(4));
/// A logger that says nothing for four seconds is lost.
const LIMITS: Limits = Limits { answer: Duration::from_secs(2), tries: 2 };
/// Longest wait inside a read before it is asked whether to stop.
const SLICE: Duration = Duration::from_millis(100);
/// Share of the time that an ordinary pump runs.
const ORDINARY_DUTY: f64 = 0.25;

/// What the worker is told.
#[derive(Debug)]
pub enum Order {
    /// Use the logger on this port.
    Connect(String),
    /// Let go of it.
    Disconnect,
    /// Check the fit for this site: the site, its text, and what the file is asked for by.
    Site(Box<pumpwitness_site_file::Site>, String, String),
    /// What the technician states.
    Stated(Stated),
    /// Arm the logger; the job has begun.
    Arm,
    /// Fetch its record; the job has begun.
    Fetch {
        /// Let the logger reuse its memory afterwards.
        release: bool,
        /// Who collects it.
        by: String,
    },
}

/// A line that can be told to stop.
struct Stoppable {
    line: Line,
    board: Arc<Board>,
}

impl Stoppable {
    fn check(&self) -> io::Result<()> {
        if self.board.stopping() { Err(io::Error::other("stopped")) } else { Ok(()) }
    }
}

impl Transport for Stoppable {
    fn name(&self) -> &str {
        self.line.name()
    }

    fn read(&mut self, buffer: &mut [u8], wait: Duration) -> io::Result<usize> {
        self.check()?;
        self.line.read(buffer, wait.min(SLICE))
    }

    fn write_all(&mut self, bytes: &[u8]) -> io::Result<()> {
        self.check()?;
        self.line.write_all(bytes)
    }

    fn now(&self) -> Instant {
        self.line.now()
    }
}

/// A logger in use.
struct Using {
    port: String,
    client: Option<Client<Stoppable>>,
    tried: Instant,
    trouble: Option<String>,
    link: Link,
}

/// The worker.
pub struct Worker {
    ports: Box<dyn Ports>,
    office: Arc<dyn Office>,
    board: Arc<Board>,
    using: Option<Using>,
    session: Session,
    file: Option<String>,
    ports_seen: Option<Instant>,
}

impl Worker {
    /// With nothing chosen yet.
    pub fn new(ports: Box<dyn Ports>, office: Arc<dyn Office>, board: Arc<Board>) -> Self {
        Self {
            ports,
            office,
            board,
            using: None,
            session: Session::new(None),
            file: None,
            ports_seen: None,
        }
    }

    /// Works until the other end of the orders is dropped.
    pub fn run(mut self, orders: &Receiver<Order>) {
        let mut next = Instant::now();
        loop {
            match orders.recv_timeout(next.saturating_duration_since(Instant::now())) {
                Ok(order) => self.carry_out(order),
                Err(RecvTimeoutError::Timeout) => {
                    next = Instant::now() + EVERY;
                    if self.board.looked_at() {
                        self.look();
                    }
                }
                Err(RecvTimeoutError::Disconnected) => return,
            }
        }
    }

    fn carry_out(&mut self, order: Order) {
        match order {
            Order::Connect(port) => self.connect(port),
            Order::Disconnect => self.let_go(),
            Order::Site(site, text, file) => {
                let stated = self.session.stated();
                self.session = Session::new(Some((*site, text)));
                self.session.state(stated);
                self.file = Some(file);
                self.meet();
            }
            Order::Stated(stated) => self
                .session
                .state(checks::Stated { running: stated.running, gauge_bar: stated.gauge_bar }),
            Order::Arm => {
                let outcome = self.arm();
                self.board.end(outcome);
            }
            Order::Fetch { release, by } => self.fetch(release, &by),
        }
        self.publish();
    }

    fn connect(&mut self, port: String) {
        self.using = None;
        self.forget_logger();
        self.using = Some(Using {
            port,
            client: None,
            tried: Instant::now(),
            trouble: None,
            link: Link::Connecting,
        });
        self.publish();
        self.open();
    }

    fn let_go(&mut self) {
        self.using = None;
        self.forget_logger();
    }

    /// A session for the same site with no logger met.
    fn forget_logger(&mut self) {
        self.session = Session::new(self.session.named().cloned());
        self.board.change(|shown| shown.live = None);
    }

    /// Opens the line in use and asks who is there.
    fn open(&mut self) {
        let Some(using) = &mut self.using else { return };
        using.tried = Instant::now();
        if let Some(port) = renamed(&mut *self.ports, &self.session, &using.port) {
            using.port = port;
        }
        match self.ports.open(&using.port) {
            Ok(line) => {
                let line = Stoppable { line, board: Arc::clone(&self.board) };
                using.client = Some(Client::new(line, LIMITS));
                self.meet();
            }
            Err(error) => self.lost(&error.to_string()),
        }
    }

    fn meet(&mut self) {
        let Some(using) = &mut self.using else { return };
        let Some(client) = &mut using.client else { return };
        let before = self.session.identity().map(|identity| identity.device);
        let clock_ms = self.ports.clock_ms(&using.port);
        match self.session.meet(client, clock_ms) {
            Ok(()) => {
                using.link = Link::There;
                using.trouble = None;
                let now = self.session.identity().map(|identity| identity.device);
                if let (Some(before), Some(now)) = (before, now)
                    && before != now
                {
                    // What was seen of the other says nothing about this one.
                    self.forget_logger();
                    self.meet();
                    if let Some(using) = &mut self.using {
                        using.trouble = Some(format!(
                            "this is another logger than before: {} instead of {}",
                            Hex(&now),
                            Hex(&before)
                        ));
                    }
                }
            }
            // Also where the logger said no: what answers so is met anew before anything of it is
            // shown.
            Err(error) => self.lost(&error.to_string()),
        }
    }

    fn lost(&mut self, why: &str) {
        if let Some(using) = &mut self.using {
            using.client = None;
            using.link = Link::Lost;
            using.trouble = Some(why.to_owned());
            using.tried = Instant::now();
        }
    }

    fn look(&mut self) {
        let since = if self.using.is_some() { PORTS_EVERY.1 } else { PORTS_EVERY.0 };
        if self.ports_seen.is_none_or(|seen| seen.elapsed() >= since) {
            self.ports_seen = Some(Instant::now());
            let list = self.ports.list();
            self.board.change(|shown| shown.ports = list);
        }
        let Some(using) = &mut self.using else { return };
        match &mut using.client {
            Some(client) => match self.session.look(client) {
                Ok(reading) => {
                    let labels = labels(self.session.site());
                    self.board.read_now();
                    self.board.change(|shown| shown.live = Some(Live::of(&reading, &labels)));
                }
                Err(error) => self.lost(&error.to_string()),
            },
            None if using.tried.elapsed() >= AGAIN => self.open(),
            None => return,
        }
        self.publish();
    }

    fn publish(&self) {
        let logger = self.using.as_ref().map(|using| self.logger(using));
        let site = self.session.site().map(|site| self.site(site));
        let checks: Vec<CheckShown> = self.session.list().into_iter().map(Into::into).collect();
        let summary = self.session.summary();
        let stated = self.session.stated();
        self.board.change(|shown| {
            shown.logger = logger;
            shown.site = site;
            shown.checks = checks;
            shown.summary = summary;
            shown.stated = Stated { running: stated.running, gauge_bar: stated.gauge_bar };
        });
    }

    fn logger(&self, using: &Using) -> Logger {
        let identity = self.session.identity();
        let settings = self.session.settings();
        let trouble = using.trouble.clone().or_else(|| self.session.note().map(str::to_owned));
        Logger {
            port: using.port.clone(),
            link: using.link,
            trouble,
            device: identity.map_or_else(String::new, |who| Hex(&who.device).to_string()),
            firmware: identity.map_or_else(String::new, |who| {
                let [major, minor, patch] = who.firmware;
                format!("{major}.{minor}.{patch}")
            }),
            armed: self.session.status().is_some_and(|status| status.armed),
            memory: self.session.status().map(memory),
            clock_off_s: identity.map_or(0.0, |_| self.session.clock_off_ms() as f64 / 1000.0),
            settings_of: identity
                .map(|_| settings.site.to_string())
                .filter(|name| !name.is_empty()),
            simulated: self.ports.simulated(&using.port),
        }
    }

    fn site(&self, site: &pumpwitness_site_file::Site) -> Site {
        Site {
            name: site.name.clone().unwrap_or_else(|| "unnamed site".to_owned()),
            file: self.file.clone(),
            toml: self.session.named().map_or_else(|| site.to_toml(), |(_, text)| text.clone()),
            lamps: labels(Some(site)),
            units: match site.units {
                Units::Metric => "metric",
                Units::Us => "us",
            },
            warnings: site.warnings(),
            sheet: true,
            fitted: site.fit.checks.as_deref().is_some_and(checks::all_good),
        }
    }
}

/// A logger that was plugged into another socket: the port that now has its serial number.
fn renamed(ports: &mut dyn Ports, session: &Session, port: &str) -> Option<String> {
    let device = Hex(&session.identity()?.device).to_string();
    let list = ports.list();
    if list.iter().any(|place| place.name == port) {
        return None;
    }
    let its = |serial: &String| serial.eq_ignore_ascii_case(&device);
    list.into_iter().find(|place| place.serial.as_ref().is_some_and(its)).map(|place| place.name)
}

fn labels(site: Option<&pumpwitness_site_file::Site>) -> Vec<LampLabel> {
    site.map(|site| {
        site.lamps
            .iter()
            .map(|(number, label)| LampLabel { number: *number, label: label.clone() })
            .collect()
    })
    .unwrap_or_default()
}

fn memory(status: &Status) -> Memory {
    let (_, free) = endurance::bytes(status);
    let pages = |sectors: u32| u64::from(sectors) * PAGES_PER_SECTOR as u64;
    Memory {
        used_pages: pages(status.sectors_used),
        pages: pages(status.sectors.saturating_sub(status.sectors_bad)),
        days_left: Some((endurance::days(free, ORDINARY_DUTY) * 10.0).round() / 10.0),
    }
}

/// True where the line is to blame, which comes back when the cable does.
fn of_the_line(error: &ClientError) -> bool {
    matches!(
        error,
        ClientError::Link(
            LinkError::Broken { .. }
                | LinkError::Silent { .. }
                | LinkError::Absent { .. }
                | LinkError::Garbage { .. }
                | LinkError::Busy { .. }
                | LinkError::NoPort { .. }
        )
    )
}
