//! What a site file says, in one set of units.

/// A whole site file, in one set of units.
#[derive(Clone, Debug, PartialEq)]
pub struct Site {
    /// Name of the site.
    pub name: Option<String>,
    /// Name of the customer; left out of what is given away by the option for it.
    pub customer: Option<String>,
    /// Where the site is; left out likewise.
    pub address: Option<String>,
    /// IANA time zone, e.g. `Europe/Lisbon`; UTC when absent. Whether the name exists is for the
    /// reader of clocks to say: this crate has no time zone table.
    pub time_zone: Option<String>,
    /// Units of reports.
    pub units: Units,
    /// Supply.
    pub supply: Supply,
    /// Motor.
    pub motor: Motor,
    /// Control; `None` when not declared.
    pub control: Option<Control>,
    /// Tank.
    pub tank: Option<Tank>,
    /// Transducer.
    pub transducer: Option<Transducer>,
    /// Pump's rated flow, L/min.
    pub rated_flow_lpm: Option<f64>,
    /// Limits set here take the place of general ones; their source is "site file".
    pub limits: Limits,
    /// Labels of watched lamps: input number 1 to 8, label; by rising number.
    pub lamps: Vec<(u8, String)>,
    /// What a lamp means at a stop, where it is stated; otherwise its label has to tell.
    pub lamp_means: Vec<(u8, LampMeaning)>,
    /// Who fitted the sensors, which, and what was checked then.
    pub fit: Fit,
}

/// The fitting as its technician stated it: the first link in the chain of custody.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Fit {
    /// Who fitted the sensors.
    pub by: Option<String>,
    /// When, in the writer's own form; a date.
    pub on: Option<String>,
    /// Why the logger was fitted: what was complained of.
    pub reason: Option<String>,
    /// Serial number of the pressure transducer.
    pub transducer_serial: Option<String>,
    /// Serial number of the current clamp.
    pub clamp_serial: Option<String>,
    /// Serial number of the voltage sense.
    pub sense_serial: Option<String>,
    /// What the fit checks said when the technician left.
    pub checks: Option<String>,
}

impl Fit {
    /// Keys of the section and the longest text of each, bytes, in the order they are written.
    pub(crate) const KEYS: [(&str, usize); 7] = [
        ("by", 64),
        ("on", 32),
        ("reason", 200),
        ("transducer_serial", 32),
        ("clamp_serial", 32),
        ("sense_serial", 32),
        ("checks", 400),
    ];

    /// Each key with its value, in the order of [`Fit::KEYS`].
    pub fn fields(&self) -> [(&'static str, Option<&String>); 7] {
        let values = [
            &self.by,
            &self.on,
            &self.reason,
            &self.transducer_serial,
            &self.clamp_serial,
            &self.sense_serial,
            &self.checks,
        ];
        std::array::from_fn(|n| (Self::KEYS[n].0, values[n].as_ref()))
    }

    /// Made of the values in the order of [`Fit::KEYS`].
    pub(crate) fn of(values: [Option<String>; 7]) -> Self {
        let [by, on, reason, transducer_serial, clamp_serial, sense_serial, checks] = values;
        Self { by, on, reason, transducer_serial, clamp_serial, sense_serial, checks }
    }
}

/// Units of reports.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Units {
    /// bar, L, °C.
    #[default]
    Metric,
    /// psi, gal (US), °F.
    Us,
}

/// Supply as declared.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Supply {
    /// Nominal voltage, V.
    pub nominal_v: f64,
    /// Nominal frequency, 50 or 60 Hz.
    pub frequency_hz: f64,
    /// 1 or 3.
    pub phases: u8,
}

/// Motor as declared.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Motor {
    /// Rated current, A.
    pub rated_current_a: f64,
    /// Service factor; 1.0 when not declared.
    pub service_factor: f64,
    /// How it is started.
    pub start: Start,
}

impl Motor {
    /// Current above which the pump counts as running, A. Common practice: even an unloaded motor
    /// draws well above 15 % of its rated current, a sleeping drive below.
    pub fn running_above_a(&self) -> f64 {
        0.15 * self.rated_current_a
    }
}

/// How the motor is started.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Start {
    /// Straight on the line.
    #[default]
    Direct,
    /// Soft starter.
    Soft,
    /// Variable-speed drive.
    Drive,
}

/// Control of the pump.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Control {
    /// On at `cut_in_bar`, off at `cut_out_bar` (bar gauge).
    PressureSwitch {
        /// Starts at, bar.
        cut_in_bar: f64,
        /// Stops at, bar.
        cut_out_bar: f64,
    },
    /// A drive holds `setpoint_bar`.
    ConstantPressure {
        /// Held pressure, bar.
        setpoint_bar: f64,
    },
}

/// Tank as declared.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Tank {
    /// Whole volume, L.
    pub volume_l: f64,
    /// Air pressure with the tank drained, bar gauge.
    pub precharge_bar: Option<f64>,
}

/// Transducer as declared.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Transducer {
    /// How it reports.
    pub kind: TransducerKind,
    /// Pressure at its low end, bar.
    pub low_bar: f64,
    /// Pressure at its high end, bar.
    pub high_bar: f64,
}

/// How a transducer reports.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum TransducerKind {
    /// 4–20 mA.
    #[default]
    Loop,
    /// 0.5–4.5 V of 5 V.
    Ratiometric,
}

/// Limits the owner sets.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Limits {
    /// Shortest run that is good for the motor, s.
    pub min_run_s: Option<f64>,
    /// Most starts in an hour.
    pub max_starts_per_hour: Option<f64>,
}

/// What it says of a stop when a lamp lights.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LampMeaning {
    /// Protection against running dry.
    DryRun,
    /// Overload protection.
    Overload,
    /// Over-temperature protection.
    OverTemperature,
    /// Supply out of range, or gone.
    Supply,
    /// Sensor failed.
    Sensor,
    /// The motor does not come up to speed.
    FailedStart,
    /// Nothing about stops: such a lamp as "running".
    Nothing,
}

impl LampMeaning {
    /// Words of the site file.
    pub(crate) const WORDS: &[(&str, Self)] = &[
        ("dry-run", Self::DryRun),
        ("overload", Self::Overload),
        ("over-temperature", Self::OverTemperature),
        ("supply", Self::Supply),
        ("sensor", Self::Sensor),
        ("failed-start", Self::FailedStart),
        ("nothing", Self::Nothing),
    ];
}

impl Units {
    /// Words of the site file.
    pub(crate) const WORDS: &[(&str, Self)] = &[("metric", Self::Metric), ("us", Self::Us)];
}

impl Start {
    /// Words of the site file.
    pub(crate) const WORDS: &[(&str, Self)] =
        &[("direct", Self::Direct), ("soft", Self::Soft), ("drive", Self::Drive)];
}

impl TransducerKind {
    /// Words of the site file.
    pub(crate) const WORDS: &[(&str, Self)] =
        &[("4-20ma", Self::Loop), ("ratiometric", Self::Ratiometric)];
}
