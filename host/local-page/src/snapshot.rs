//! What the page is told: one value, as it stands now.

use crate::ports::Place;
use pumpwitness_fitting::reading::Lamp;
use pumpwitness_fitting::{Check, Reading, Signal};
use serde::Serialize;
use serde_json::Value;

/// Everything the page shows of the present.
#[derive(Clone, Debug, Default, Serialize)]
pub struct Snapshot {
    /// Grows with every change.
    pub version: u64,
    /// Places where a logger may be.
    pub ports: Vec<Place>,
    /// The logger chosen.
    pub logger: Option<Logger>,
    /// The site chosen, or the one the logger carries.
    pub site: Option<Site>,
    /// Latest readings.
    pub live: Option<Live>,
    /// Fit checks.
    pub checks: Vec<CheckShown>,
    /// Them in one line.
    pub summary: Option<String>,
    /// What the technician states.
    pub stated: Stated,
    /// What is being done, or was done last.
    pub job: Option<Job>,
    /// Practice, where it is on.
    pub practice: Option<Practice>,
}

/// How it stands with the line.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Link {
    /// Being opened.
    Connecting,
    /// It answers.
    There,
    /// It does not; tried again.
    Lost,
}

/// The logger.
#[derive(Clone, Debug, Serialize)]
pub struct Logger {
    /// Name of the line.
    pub port: String,
    /// How it stands.
    pub link: Link,
    /// What is wrong, in one sentence.
    pub trouble: Option<String>,
    /// Its number, hexadecimal; empty before it has answered.
    pub device: String,
    /// Its firmware.
    pub firmware: String,
    /// Armed.
    pub armed: bool,
    /// Its memory, once told.
    pub memory: Option<Memory>,
    /// Its clock less this computer's, s.
    pub clock_off_s: f64,
    /// Name of the site whose settings are in force.
    pub settings_of: Option<String>,
    /// Not a real one.
    pub simulated: bool,
}

/// Its memory.
#[derive(Clone, Copy, Debug, Serialize)]
pub struct Memory {
    /// Pages that hold records.
    pub used_pages: u64,
    /// Pages in all.
    pub pages: u64,
    /// Days until the oldest is overwritten, with the pump running a quarter of the time.
    pub days_left: Option<f64>,
}

/// The site.
#[derive(Clone, Debug, Serialize)]
pub struct Site {
    /// Its name.
    pub name: String,
    /// What its file is asked for by; `None` when it is the one the logger carries.
    pub file: Option<String>,
    /// Text of the file.
    pub toml: String,
    /// Labelled lamps.
    pub lamps: Vec<LampLabel>,
    /// `metric` or `us`.
    pub units: &'static str,
    /// What is allowed but odd.
    pub warnings: Vec<String>,
    /// True when a fitting sheet can be had.
    pub sheet: bool,
    /// True when a logger was armed with it after all fit checks were good.
    pub fitted: bool,
}

/// A labelled lamp.
#[derive(Clone, Debug, Serialize)]
pub struct LampLabel {
    /// Input, from 1.
    pub number: u8,
    /// The technician's words.
    pub label: String,
}

/// Readings; what is not measured is `null`.
#[derive(Clone, Debug, Serialize)]
pub struct Live {
    /// Moment by the logger's clock, RFC 3339; `null` while the clock is not set.
    pub time: Option<String>,
    /// Age of the readings when the snapshot was asked for, ms.
    pub age_ms: u64,
    /// The pump counts as running.
    pub running: bool,
    /// An input reached the end of its range.
    pub over_range: bool,
    /// V.
    pub voltage_v: f64,
    /// A.
    pub current_a: f64,
    /// W.
    pub power_w: f64,
    /// Hz.
    pub frequency_hz: Option<f64>,
    /// bar.
    pub pressure_bar: Option<f64>,
    /// What the transducer's wire carries.
    pub signal: Option<Wire>,
    /// V.
    pub transducer_supply_v: Option<f64>,
    /// V.
    pub supply_v: Option<f64>,
    /// °C.
    pub board_c: f64,
    /// Watched lamps.
    pub lamps: Vec<LampShown>,
}

/// What the transducer's wire carries.
#[derive(Clone, Copy, Debug, Serialize)]
pub struct Wire {
    /// `mA` or `%` of the transducer's supply.
    pub unit: &'static str,
    /// The value.
    pub value: f64,
}

/// A watched lamp.
#[derive(Clone, Debug, Serialize)]
pub struct LampShown {
    /// Input, from 1.
    pub number: u8,
    /// The technician's words.
    pub label: String,
    /// `dark`, `lit` or `flashing`.
    pub state: Lamp,
}

impl Live {
    /// Readings with the labels of the lamps.
    pub fn of(reading: &Reading, labels: &[LampLabel]) -> Self {
        Self {
            time: jiff::Timestamp::from_millisecond(reading.time_ms)
                .ok()
                .map(|time| time.to_string()),
            age_ms: 0,
            running: reading.running,
            over_range: reading.over_range,
            voltage_v: reading.voltage_v,
            current_a: reading.current_a,
            power_w: reading.power_w,
            frequency_hz: reading.frequency_hz,
            pressure_bar: reading.pressure_bar,
            signal: reading.signal.map(|signal| match signal {
                Signal::LoopMa(value) => Wire { unit: "mA", value },
                Signal::SupplyPercent(value) => Wire { unit: "%", value },
            }),
            transducer_supply_v: reading.transducer_supply_v,
            supply_v: reading.supply_v,
            board_c: reading.board_c,
            lamps: labels
                .iter()
                .filter_map(|lamp| {
                    let state = *reading.lamps.get(usize::from(lamp.number).checked_sub(1)?)?;
                    Some(LampShown { number: lamp.number, label: lamp.label.clone(), state })
                })
                .collect(),
        }
    }
}

/// A fit check.
#[derive(Clone, Debug, Serialize)]
pub struct CheckShown {
    /// Short fixed name.
    pub key: &'static str,
    /// Title.
    pub title: &'static str,
    /// `waiting`, `good` or `bad`.
    pub state: pumpwitness_fitting::State,
    /// What was seen, or what to do so that it is seen.
    pub says: String,
    /// What to do about it.
    pub remedy: Option<&'static str>,
}

impl From<Check> for CheckShown {
    fn from(check: Check) -> Self {
        let Check { id, title, state, says, remedy } = check;
        Self { key: id, title, state, says, remedy }
    }
}

/// What the technician states.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, serde::Deserialize)]
pub struct Stated {
    /// Whether the pump runs.
    pub running: Option<bool>,
    /// What the gauge reads, bar.
    pub gauge_bar: Option<f64>,
}

/// How a job stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum JobState {
    /// Under way.
    Going,
    /// Done.
    Done,
    /// It came to nothing; `says` tells why.
    Failed,
}

/// Something that takes its time; one at a time.
#[derive(Clone, Debug, Serialize)]
pub struct Job {
    /// Which one since the program began, from 1 on: what comes of an order is not taken for what came
    /// of the one before.
    pub number: u64,
    /// `arm`, `fetch`, `report`, `bundle` or `practice`.
    pub what: &'static str,
    /// How it stands.
    pub state: JobState,
    /// So much is done.
    pub done: u64,
    /// Of so much; 0 while that is not known.
    pub total: u64,
    /// Of what.
    pub unit: &'static str,
    /// In one sentence.
    pub says: String,
    /// What came of it.
    pub result: Option<Value>,
}

impl Job {
    /// One that begins; the board numbers it.
    pub fn begun(what: &'static str, unit: &'static str, says: &str) -> Self {
        Self {
            number: 0,
            what,
            state: JobState::Going,
            done: 0,
            total: 0,
            unit,
            says: says.to_owned(),
            result: None,
        }
    }
}

/// Practice with a simulated logger.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Practice {
    /// Wrong fits, planted or not.
    pub faults: Vec<Planted>,
    /// The present at the practised site, RFC 3339.
    pub now: String,
    /// Days that have passed there.
    pub days: f64,
    /// Days that can still pass.
    pub days_left: f64,
    /// What the gauge beside the transducer reads, bar: for the eye, not from the logger.
    pub gauge_bar: f64,
    /// The pump runs, by ear.
    pub pump_runs: bool,
    /// A tap is open.
    pub tap_open: bool,
    /// The lamps as the eye sees them.
    pub lamps: Vec<PanelLamp>,
    /// The cable is in.
    pub plugged: bool,
}

/// A wrong fit that can be planted and put right.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Planted {
    /// Short fixed name.
    pub key: &'static str,
    /// Title.
    pub title: &'static str,
    /// It is there.
    pub planted: bool,
}

/// A lamp on the practised panel.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct PanelLamp {
    /// Input, from 1.
    pub number: u8,
    /// What is written on it.
    pub label: String,
    /// It is lit.
    pub lit: bool,
}
