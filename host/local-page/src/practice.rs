//! Practice: a simulated logger at an invented site, in real time at the end of a [`cable`], with
//! wrong fits to be found and put right, and days that pass in seconds. The logger's code is the
//! real one; only what its sensors see is invented. Its name and number say so in every record.

mod cable;
mod misfit;

use crate::ports::{Line, Place, Ports};
use crate::snapshot::{PanelLamp, Planted, Practice as Shown};
use cable::Cable;
use jiff::Timestamp;
use misfit::{MISFITS, Misfits};
use pumpwitness_core::wave::HalfWave;
use pumpwitness_link::LinkError;
use pumpwitness_site_model::design::Design;
use pumpwitness_site_model::lamps::LampRole;
use pumpwitness_site_model::{Cause, Sink, SiteModel, SiteParameters, inflict};
use pumpwitness_virtual_logger::{FLASH_BYTES, VirtualLogger};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::thread::{self, JoinHandle};
use std::time::{Duration, Instant};

/// Name of the place among the ports.
pub const PLACE: &str = "practice";

/// Number of the simulated logger.
const DEVICE: [u8; 8] = *b"PRACTICE";
/// The practised site lives so long ago, so that its days can pass before today, days.
const BEHIND_DAYS: f64 = 60.0;
const DAY_MS: i64 = 86_400_000;
/// Between two steps of the real time.
const TICK: Duration = Duration::from_millis(50);
/// Site time run through in one piece while days pass, ms: the line is answered in between.
const PIECE_MS: i64 = DAY_MS / 24;
/// Between two pieces: a lock let go and taken again at once is seen free by nobody.
const BREATH: Duration = Duration::from_millis(2);
/// The tap that is open while the sensors are fitted, L/min at 3 bar: the pump starts about each
/// minute.
const TAP_LPM: f64 = 22.0;
/// A skip ends so long before the pump starts or stops, ms: time for the readings of before.
const SKIP_SHORT_MS: i64 = 5_000;
/// Longest skip, ms: readings a minute apart are taken for a clock that was set.
const SKIP_MOST_MS: i64 = 50_000;
/// A lamp test lasts, ms.
const LAMP_TEST_MS: i64 = 4_000;
const SEED: u64 = 20_261;

/// The practised site: sound but for a draw that never ends, such as a running cistern.
fn parameters() -> SiteParameters {
    let design = Design {
        name: "Practice site (simulated)",
        tank_l: 100.0,
        daily_l: 1100.0,
        ..Design::HOUSE
    };
    let mut site = design.build();
    if let Err(error) = inflict(&mut site, Cause::IdleDraw, 0.5) {
        unreachable!("{error}");
    }
    for (input, label, role) in
        [(1, "running", LampRole::Running), (2, "dry running", LampRole::DryRun)]
    {
        site.lamps[input - 1] = Some(role);
        site.declared.lamps.push((input as u8, label.to_owned()));
    }
    site
}

struct World {
    model: SiteModel,
    misfits: Misfits,
    /// Site time less the computer's clock, ms.
    shift_ms: i64,
    days_run: f64,
    tap_open: bool,
    labels: Vec<(u8, String)>,
}

impl World {
    fn now_ms(&self) -> i64 {
        self.model.now_us().div_euclid(1000)
    }

    fn days_left(&self) -> f64 {
        -(self.shift_ms as f64) / DAY_MS as f64
    }

    fn run(&mut self, until_ms: i64, logger: &mut VirtualLogger) {
        self.misfits.lamp_test(self.model.now_us(), logger);
        self.model.run(until_ms, &mut self.misfits.before(logger));
    }
}

/// Takes nothing down: for a look ahead.
struct Nowhere;

impl Sink for Nowhere {
    fn half_wave(&mut self, _: &HalfWave) {}
}

struct Inside {
    logger: Arc<Mutex<VirtualLogger>>,
    world: Mutex<World>,
    cable: Cable,
    stop: AtomicBool,
}

fn lock<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

/// A practised site with its logger. Clones are handles on the same one; time stands still once the
/// first is dropped.
pub struct Practice {
    inside: Arc<Inside>,
    clock: Option<JoinHandle<()>>,
}

/// Why there is no practice.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum PracticeError {
    /// The simulated logger.
    #[error("the simulated logger does not start: {0}")]
    Logger(pumpwitness_virtual_logger::Failure),
    /// The thread in which its time passes.
    #[error("the practised site cannot be started: {0}")]
    Thread(#[from] std::io::Error),
}

/// A handle on the practised site, for orders.
#[derive(Clone)]
pub struct Handle(Arc<Inside>);

impl Practice {
    /// Begins, with the wrong fits of a first lesson planted.
    pub fn begin() -> Result<Self, PracticeError> {
        let shift_ms = -(BEHIND_DAYS * DAY_MS as f64) as i64;
        let start_ms = Timestamp::now().as_millisecond() + shift_ms;
        let site = parameters();
        let mut model = SiteModel::new(&site, start_ms, SEED);
        model.open_tap(TAP_LPM);
        let logger =
            VirtualLogger::new(DEVICE, FLASH_BYTES, start_ms).map_err(PracticeError::Logger)?;
        let logger = Arc::new(Mutex::new(logger));
        let inside = Arc::new(Inside {
            logger,
            world: Mutex::new(World {
                model,
                misfits: Misfits::first_lesson(),
                shift_ms,
                days_run: 0.0,
                tap_open: true,
                labels: site.declared.lamps,
            }),
            cable: Cable::new(),
            stop: AtomicBool::new(false),
        });
        let ticking = Arc::clone(&inside);
        let clock = thread::Builder::new().name("practised site".to_owned()).spawn(move || {
            while !ticking.stop.load(Ordering::Relaxed) {
                let begun = Instant::now();
                {
                    let mut world = lock(&ticking.world);
                    let until_ms = Timestamp::now().as_millisecond() + world.shift_ms;
                    world.run(until_ms, &mut lock(&ticking.logger));
                }
                thread::sleep(TICK.saturating_sub(begun.elapsed()));
            }
        })?;
        Ok(Self { inside, clock: Some(clock) })
    }

    /// A handle for orders.
    pub fn handle(&self) -> Handle {
        Handle(Arc::clone(&self.inside))
    }

    /// Text of the practised site's file.
    pub fn site_toml() -> String {
        parameters().site_toml()
    }
}

impl Drop for Practice {
    fn drop(&mut self) {
        self.inside.stop.store(true, Ordering::Relaxed);
        if let Some(clock) = self.clock.take() {
            // A panic has been printed by its thread already.
            let _ = clock.join();
        }
        self.inside.cable.pull(0);
    }
}

impl Handle {
    /// As it stands.
    pub fn shown(&self) -> Shown {
        let world = lock(&self.0.world);
        let lit = world.misfits.lit();
        Shown {
            faults: MISFITS
                .iter()
                .map(|misfit| Planted {
                    key: misfit.key,
                    title: misfit.title,
                    planted: world.misfits.planted(misfit.key),
                })
                .collect(),
            now: Timestamp::from_millisecond(world.now_ms())
                .map_or_else(|_| String::new(), |time| time.strftime("%FT%TZ").to_string()),
            days: (world.days_run * 100.0).round() / 100.0,
            days_left: world.days_left().floor(),
            gauge_bar: (world.model.pressure_bar() * 20.0).round() / 20.0,
            pump_runs: world.model.pump_runs(),
            tap_open: world.tap_open,
            lamps: world
                .labels
                .iter()
                .map(|(number, label)| PanelLamp {
                    number: *number,
                    label: label.clone(),
                    lit: lit >> (number - 1) & 1 == 1,
                })
                .collect(),
            plugged: self.0.cable.is_in(),
        }
    }

    /// Plants a wrong fit, or puts it right; false when there is none of that key. Putting the lamp
    /// sensor right includes pressing the panel's lamp test.
    pub fn plant(&self, key: &str, planted: bool) -> bool {
        let mut world = lock(&self.0.world);
        let now_us = world.model.now_us();
        let known = world.misfits.plant(key, planted);
        if known && !planted && key == misfit::LAMP_UNSEEN {
            world.misfits.test_lamps_until(now_us + LAMP_TEST_MS * 1000);
        }
        known
    }

    /// Presses the panel's lamp test.
    pub fn test_lamps(&self) {
        let mut world = lock(&self.0.world);
        let until_us = world.model.now_us() + LAMP_TEST_MS * 1000;
        world.misfits.test_lamps_until(until_us);
    }

    /// Opens the tap, or shuts it.
    pub fn tap(&self, open: bool) {
        let mut world = lock(&self.0.world);
        world.tap_open = open;
        world.model.open_tap(if open { TAP_LPM } else { 0.0 });
    }

    /// Lets the time pass to shortly before the pump starts or stops, or as far as one skip goes;
    /// nothing happens where that is near, while lamps are tested, or where the practised days are
    /// used up.
    pub fn skip(&self) {
        let mut world = lock(&self.0.world);
        let now_ms = world.now_ms();
        if world.misfits.testing(now_ms * 1000) {
            return;
        }
        let mut ahead = world.model.clone();
        let runs = ahead.pump_runs();
        let mut change_ms = now_ms;
        while ahead.pump_runs() == runs && change_ms < now_ms + SKIP_MOST_MS + SKIP_SHORT_MS {
            change_ms += TICK.as_millis() as i64;
            ahead.run(change_ms, &mut Nowhere);
        }
        let skipped_ms = change_ms - SKIP_SHORT_MS - now_ms;
        if skipped_ms > 0 && world.shift_ms + skipped_ms <= 0 {
            world.shift_ms += skipped_ms;
            world.run(now_ms + skipped_ms, &mut lock(&self.0.logger));
        }
    }

    /// Lets days pass at once; `progress` is told how many tenths of a day have, and says false to
    /// stop. The tap is shut: the site lives by itself. `None` when there are not so many days left.
    pub fn pass_days(&self, days: f64, mut progress: impl FnMut(f64) -> bool) -> Option<f64> {
        if !(days > 0.0 && days <= lock(&self.0.world).days_left()) {
            return None;
        }
        self.tap(false);
        let mut left_ms = (days * DAY_MS as f64) as i64;
        let mut passed = 0.0;
        while left_ms > 0 && !self.0.stop.load(Ordering::Relaxed) {
            let piece_ms = left_ms.min(PIECE_MS);
            {
                let mut world = lock(&self.0.world);
                world.shift_ms += piece_ms;
                let until_ms = world.now_ms() + piece_ms;
                world.run(until_ms, &mut lock(&self.0.logger));
                world.days_run += piece_ms as f64 / DAY_MS as f64;
            }
            left_ms -= piece_ms;
            passed += piece_ms as f64 / DAY_MS as f64;
            if !progress(passed) {
                break;
            }
            // Whoever waits for the logger gets it.
            thread::sleep(BREATH);
        }
        Some(passed)
    }

    /// Pulls the cable, after so many bytes of answers.
    pub fn unplug(&self, after_bytes: usize) {
        self.0.cable.pull(after_bytes);
    }

    /// The simulated logger, to be reached over another line than the cable.
    pub fn logger(&self) -> Arc<Mutex<VirtualLogger>> {
        Arc::clone(&self.0.logger)
    }

    /// Puts the cable back in.
    pub fn plug(&self) {
        self.0.cable.put_in();
    }
}

/// The practised logger beside other ports.
pub struct WithPractice<P> {
    /// The others.
    pub others: P,
    /// The practised site.
    pub practice: Handle,
}

impl<P: Ports> Ports for WithPractice<P> {
    fn list(&mut self) -> Vec<Place> {
        let mut list = Vec::new();
        if self.practice.0.cable.is_in() {
            list.push(Place {
                name: PLACE.to_owned(),
                what: "practice logger (simulated)".to_owned(),
                serial: None,
            });
        }
        list.extend(self.others.list());
        list
    }

    fn open(&mut self, name: &str) -> Result<Line, LinkError> {
        if name != PLACE {
            return self.others.open(name);
        }
        match self.practice.0.cable.line(&self.practice.0.logger) {
            Some(line) => Ok(Box::new(line)),
            None => Err(LinkError::Absent { port: PLACE.to_owned() }),
        }
    }

    fn clock_ms(&self, name: &str) -> i64 {
        if name == PLACE {
            Timestamp::now().as_millisecond() + lock(&self.practice.0.world).shift_ms
        } else {
            self.others.clock_ms(name)
        }
    }

    fn simulated(&self, name: &str) -> bool {
        name == PLACE || self.others.simulated(name)
    }
}
