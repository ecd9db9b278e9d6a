//! The site in time: every part moved on together, in steps of a tenth to a fifth of a second, and
//! of single half cycles while the motor starts or the supply is disturbed.

use crate::clock::Instant;
use crate::contactor::{Contactor, Presence};
use crate::drive::{Drive, DriveInputs, DriveParameters};
use crate::drivetrain::{Electrical, LineMotor, Load, Source, behind_drive, drive_input_w};
use crate::half_waves::{Sensing, Step, emit};
use crate::lamps::lit;
use crate::noise::Noise;
use crate::observer::Observer;
use crate::parameters::{ControlParameters, SiteParameters};
use crate::plant::{Balance, Plant};
use crate::protection::{Protection, Readings};
use crate::supply::Supply;
use crate::switch::PressureSwitch;
use crate::transducer::Transducer;
use crate::truth::{Cause, StopReason, Truth};
use pumpwitness_core::wave::HalfWave;

/// Who takes what the sensors see, in time order. Times are µs since 1970.
pub trait Sink {
    /// One half wave; it begins where the one before ended.
    fn half_wave(&mut self, wave: &HalfWave);
    /// Lamp inputs changed; bit 0 is input 1.
    fn lamps(&mut self, lit: u8, at_us: i64) {
        let _ = (lit, at_us);
    }
    /// The logger lost or regained its supply; without it no half wave is handed over.
    fn logger_power(&mut self, on: bool, at_us: i64) {
        let _ = (on, at_us);
    }
}

/// Seconds of half-cycle steps around an event of the supply.
const SETTLE_US: i64 = 1_200_000;
/// Least seconds of half-cycle steps in a start.
const START_US: i64 = 500_000;
/// A logger on the same supply lives on its capacitor for this long, s, below half the voltage.
const LOGGER_HOLD_S: f64 = 0.1;

#[derive(Clone, Debug)]
#[allow(clippy::large_enum_variant)] // one per site
enum Control {
    Switch { switch: PressureSwitch, contactor: Contactor, motor: LineMotor, moving: bool },
    Drive(Drive),
}

/// A site in time.
#[derive(Clone, Debug)]
pub struct SiteModel {
    site: SiteParameters,
    /// The site's own, without a tap opened by hand.
    idle_draw_lpm: f64,
    now_us: i64,
    dt_s: f64,
    half_carry: f64,
    settle_until_us: i64,
    supply: Supply,
    presence: Presence,
    plant: Plant,
    control: Control,
    protection: Protection,
    transducer: Transducer,
    sensing: Sensing,
    noise: Noise,
    electrical: Electrical,
    signal: f64,
    measured_bar: f64,
    lamps_lit: u8,
    logger_low_s: f64,
    logger_on: bool,
    observer: Observer,
    truth: Truth,
}

impl SiteModel {
    /// The site at rest at `start_ms` (ms since 1970). Equal arguments give equal half waves.
    pub fn new(site: &SiteParameters, start_ms: i64, seed: u64) -> Self {
        let start = Instant::new(start_ms * 1000, site.utc_offset_h);
        let pressure_bar = match site.control {
            ControlParameters::PressureSwitch(set) => {
                f64::midpoint(set.cut_in_bar, set.cut_out_bar)
            }
            ControlParameters::ConstantPressure(set) => set.setpoint_bar,
        };
        let control = match &site.control {
            ControlParameters::PressureSwitch(set) => Control::Switch {
                switch: PressureSwitch::new(set, pressure_bar, Noise::new(seed, 4)),
                contactor: Contactor::new(Noise::new(seed, 5)),
                motor: LineMotor::new(&site.motor, Noise::new(seed, 6)),
                moving: false,
            },
            ControlParameters::ConstantPressure(_) => Control::Drive(Drive::new(pressure_bar)),
        };
        let mut transducer = Transducer::new(start, Noise::new(seed, 7));
        let (signal, _) = transducer.step(start, 0.0, pressure_bar, false, &site.transducer);
        let nominal_v = site.supply.nominal_v;
        Self {
            idle_draw_lpm: site.demand.idle_draw_lpm,
            now_us: start.unix_us,
            dt_s: 0.1,
            half_carry: 0.0,
            settle_until_us: i64::MIN,
            supply: Supply::new(&site.supply, start, Noise::new(seed, 1)),
            presence: Presence::default(),
            plant: Plant::new(site, start, pressure_bar, seed),
            control,
            protection: Protection::new(&site.protection),
            transducer,
            sensing: Sensing {
                voltage_noise_share: site.supply.noise_share,
                // A clamp's noise at rest: 0.2 % of the rated current (common practice).
                current_floor_a: 0.002 * site.motor.rated_current_a,
                signal_noise_steps: site.transducer.noise_steps,
                live_steps: site.transducer.live_steps(),
                free_running_below_v: 0.1 * nominal_v,
            },
            noise: Noise::new(seed, 8),
            electrical: Electrical { voltage_v: nominal_v, ..Electrical::default() },
            signal,
            measured_bar: pressure_bar,
            lamps_lit: 0,
            logger_low_s: 0.0,
            logger_on: true,
            observer: Observer::new(
                site.causes.contains(&Cause::ControlHunting),
                site.causes.contains(&Cause::RestrictedIntake),
            ),
            truth: Truth { causes: site.true_causes(), ..Truth::default() },
            site: site.clone(),
        }
    }

    /// Present moment, µs since 1970.
    pub fn now_us(&self) -> i64 {
        self.now_us
    }

    /// What really happened so far.
    pub fn truth(&self) -> &Truth {
        &self.truth
    }

    /// Litres and joules so far.
    pub fn balance(&self) -> Balance {
        self.plant.balance()
    }

    /// Pressure before the transducer just now, bar gauge.
    pub fn pressure_bar(&self) -> f64 {
        self.plant.manifold_bar()
    }

    /// What the electrical sensors see just now.
    pub fn electrical(&self) -> Electrical {
        self.electrical
    }

    /// True while the pump runs.
    pub fn pump_runs(&self) -> bool {
        self.truth.running_since_ms.is_some()
    }

    /// Opens an outlet that stays open, on top of the site's own demand: `flow_lpm` at 3 bar, L/min;
    /// 0 shuts it.
    pub fn open_tap(&mut self, flow_lpm: f64) {
        self.site.demand.idle_draw_lpm = self.idle_draw_lpm + flow_lpm;
    }

    /// Runs until the first step that ends at or after `until_ms` (ms since 1970). Where a stretch
    /// is cut into several calls changes nothing.
    pub fn run(&mut self, until_ms: i64, sink: &mut impl Sink) {
        while self.now_us < until_ms * 1000 {
            self.step(sink);
        }
    }

    fn step(&mut self, sink: &mut impl Sink) {
        let at = Instant::new(self.now_us, self.site.utc_offset_h);
        if self.supply.step(at, self.dt_s, &self.site.supply) {
            self.settle_until_us = at.unix_us + SETTLE_US;
        }
        let source = Source {
            emf_v: self.supply.emf_v(&self.site.supply),
            impedance: self.supply.impedance(&self.site.supply),
        };
        let open_share = source.emf_v / self.site.supply.nominal_v;
        self.decide(at, open_share);

        let (count, half_us) = self.length();
        self.dt_s = f64::from(count) * f64::from(half_us) / 1e6;
        let speed = self.turn(at, source, open_share);
        self.plant.step(at, self.dt_s, speed, &self.site);
        self.plant.draw_energy(self.electrical.power_w * self.dt_s);

        let end = Instant::new(
            self.now_us + i64::from(count) * i64::from(half_us),
            self.site.utc_offset_h,
        );
        self.protect(end, speed);
        let signal_from = self.sense(end);
        let share = self.electrical.voltage_v / self.site.supply.nominal_v;
        self.observer.voltage(
            at.unix_ms(),
            share,
            open_share,
            self.supply.disturbance(),
            &mut self.truth,
        );
        self.light(at, open_share, sink);
        self.power_logger(at, open_share, sink);
        if self.logger_on {
            let step = Step {
                count,
                half_us,
                voltage_v: self.electrical.voltage_v,
                current_a: self.electrical.current_a,
                power_w: self.electrical.power_w,
                signal_from,
                signal_to: self.signal,
            };
            emit(&step, &self.sensing, &mut self.noise, |wave| sink.half_wave(wave));
        }
        self.now_us = end.unix_us;
    }

    /// Switch, contactor and drive act on what they saw at the end of the last step.
    fn decide(&mut self, at: Instant, open_share: f64) {
        let present =
            self.presence.step(open_share, at.unix_us, self.dt_s, &self.site.motor_circuit);
        let held = self.protection.held();
        let allowed = present && held.is_none();
        let reason = |normal| {
            if present { held.unwrap_or(normal) } else { StopReason::SupplyLost }
        };
        match (&mut self.control, &self.site.control) {
            (
                Control::Switch { switch, contactor, motor, moving },
                ControlParameters::PressureSwitch(set),
            ) => {
                let wanted = switch.step(self.plant.tank_bar(), self.dt_s, set);
                if wanted && allowed && !contactor.closed() {
                    contactor.close(at.unix_us, &self.site.motor_circuit);
                } else if !(wanted && allowed) && contactor.closed() {
                    contactor.open();
                    self.truth.stopped(at.unix_ms(), reason(StopReason::CutOut));
                    self.observer.started(at.unix_ms(), &mut self.truth);
                    *moving = false;
                }
                let feeds = contactor.feeds(at.unix_us);
                self.observer.contactor(at.unix_ms(), contactor.closed(), feeds, &mut self.truth);
                if feeds && self.truth.running_since_ms.is_none() {
                    motor.energise(&self.site.motor);
                    *moving = true;
                    self.settle_until_us = self.settle_until_us.max(at.unix_us + START_US);
                    self.truth.started(at.unix_ms());
                }
            }
            (Control::Drive(drive), ControlParameters::ConstantPressure(set)) => {
                if drive.awake() && !allowed {
                    drive.halt();
                    self.truth.stopped(at.unix_ms(), reason(StopReason::NoDemand));
                }
                let inputs = DriveInputs {
                    measured_bar: self.measured_bar,
                    flow_lpm: self.plant.flow_lps() * 60.0,
                    supply_share: open_share,
                    allowed,
                };
                drive.step(inputs, self.dt_s, set);
                if drive.awake() {
                    self.truth.started(at.unix_ms());
                } else {
                    self.truth.stopped(at.unix_ms(), StopReason::NoDemand);
                }
                let awake_s =
                    self.truth.running_since_ms.map(|since| (at.unix_ms() - since) as f64 / 1e3);
                self.observer.drive(at.unix_ms(), awake_s, drive.speed(), &mut self.truth);
                let missing = 1.0 - self.plant.manifold_bar() / set.setpoint_bar;
                let awake = if drive.awake() { missing } else { 0.0 };
                let starved = open_share < set.full_speed_above_share;
                self.observer.shortfall(at.unix_ms(), awake, starved, &mut self.truth);
            }
            // `new` pairs them.
            _ => {}
        }
    }

    /// Half waves of this step and the length of each, µs.
    fn length(&mut self) -> (u32, u32) {
        let exact = 5e5 / self.supply.frequency_hz();
        let half_us = (exact + self.half_carry).floor();
        let fifth_s = (self.site.supply.frequency_hz * 0.4).round() as u32;
        let wanted = match &self.control {
            _ if self.now_us < self.settle_until_us || self.presence.falling() => 1,
            Control::Switch { moving: true, .. } => 1,
            Control::Switch { contactor, .. } if contactor.closed() => fifth_s / 2,
            Control::Drive(drive) if drive.awake() || drive.speed() > 0.01 => fifth_s / 4,
            _ => fifth_s,
        };
        // An event of the supply begins with a half wave of its own.
        let room = (self.supply.next_edge_us().saturating_sub(self.now_us)) / half_us as i64;
        let count = wanted.min(u32::try_from(room.max(1)).unwrap_or(u32::MAX));
        self.half_carry = (self.half_carry + (exact - half_us) * f64::from(count)).clamp(0.0, 1.0);
        (count, half_us as u32)
    }

    /// Motor or drive over the step; the pump's speed over rated.
    fn turn(&mut self, at: Instant, source: Source, open_share: f64) -> f64 {
        let load = Load {
            pump: &self.site.pump,
            flow_lps: self.plant.flow_lps(),
            water_share: self.plant.water_share(),
        };
        let plate = &self.site.motor;
        match (&mut self.control, &self.site.control) {
            (Control::Switch { contactor, motor, moving, .. }, _) => {
                if !contactor.feeds(at.unix_us) {
                    motor.coast(self.dt_s);
                    self.electrical =
                        Electrical { voltage_v: source.emf_v, ..Electrical::default() };
                    return motor.speed();
                }
                let steady = if *moving || at.unix_us < self.settle_until_us {
                    None
                } else {
                    motor.run(source, load, self.dt_s, plate)
                };
                self.electrical = if let Some(steady) = steady {
                    steady
                } else {
                    // Where a steady step meets a load too great for the torque, the half cycles
                    // begin with its first: more than one is too long for the rotor's equation.
                    let dt_s = self.dt_s.min(0.01);
                    let (now, settled) = motor.accelerate(source, load, dt_s, plate);
                    if *moving {
                        let share = now.voltage_v / self.site.supply.nominal_v;
                        self.observer.starting(at.unix_ms(), share, open_share);
                    }
                    *moving = !settled;
                    if settled {
                        self.observer.started(at.unix_ms(), &mut self.truth);
                    }
                    now
                };
                motor.speed()
            }
            (Control::Drive(drive), ControlParameters::ConstantPressure(set)) => {
                let speed = drive.speed();
                let live = open_share > 0.5;
                let power_w = match (live, drive.awake()) {
                    (false, _) => 0.0,
                    (true, false) => set.standby_w,
                    (true, true) => drive_input_w(load, speed, plate.drag_share, plate, set),
                };
                self.electrical = behind_drive(source, power_w, set.power_factor);
                speed
            }
            (Control::Drive(_), _) => 0.0,
        }
    }

    fn protect(&mut self, end: Instant, speed: f64) {
        let running_s =
            self.truth.running_since_ms.map(|since| (end.unix_ms() - since) as f64 / 1e3);
        let dry_scale = match &self.site.control {
            ControlParameters::PressureSwitch(_) => 1.0,
            // At its pressure and slow, a drive draws little and yet pumps.
            ControlParameters::ConstantPressure(set) => {
                if self.measured_bar < set.setpoint_bar - 0.3 { speed.powi(3) } else { 0.0 }
            }
        };
        let drive = matches!(self.control, Control::Drive(_));
        let readings = Readings {
            at: end,
            dt_s: self.dt_s,
            running_s,
            current_a: self.electrical.current_a,
            rated_current_a: self.rated_line_current_a(),
            cooling_share: self.site.motor.cooling_share,
            power_w: self.electrical.power_w,
            dry_scale,
            speed,
            supply_share: self.electrical.voltage_v / self.site.supply.nominal_v,
            sensor_good: !drive || self.transducer.lost().is_none(),
        };
        if let Some(reason) = self.protection.step(readings, &self.site.protection)
            && let Some(running_s) = running_s
        {
            let jammed = matches!(&self.control, Control::Switch { motor, .. } if motor.jammed());
            let since_s = match (reason, self.site.protection.dry_run) {
                (StopReason::DryRun, Some(dry)) => dry.delay_s,
                _ => running_s,
            };
            Observer::tripped(end.unix_ms(), since_s, reason, jammed, &mut self.truth);
        }
    }

    fn rated_line_current_a(&self) -> f64 {
        match &self.site.control {
            ControlParameters::PressureSwitch(_) => self.site.motor.rated_current_a,
            ControlParameters::ConstantPressure(set) => rated_drive_current_a(&self.site, set),
        }
    }

    /// Signal at the end of the step; returns the one at its beginning.
    fn sense(&mut self, end: Instant) -> f64 {
        let was_lost = self.transducer.lost().is_some();
        let (signal, ended) = self.transducer.step(
            end,
            self.dt_s,
            self.plant.manifold_bar(),
            self.truth.running_since_ms.is_some(),
            &self.site.transducer,
        );
        if let Some(loss) = ended {
            let kind = if loss.short { "transducer-short" } else { "transducer-open" };
            self.truth.event(kind, loss.start_us.div_euclid(1000), end.unix_ms());
        }
        let lost = self.transducer.lost().is_some();
        let from = if was_lost == lost { self.signal } else { signal };
        self.signal = signal;
        if !lost {
            self.measured_bar = self.site.transducer.pressure_bar(signal);
        }
        from
    }

    fn light(&mut self, at: Instant, open_share: f64, sink: &mut impl Sink) {
        let running = self.truth.running_since_ms.is_some();
        let held = self.protection.held();
        let bits = lit(&self.site.lamps, at, held, running, open_share > 0.5);
        if bits != self.lamps_lit {
            self.lamps_lit = bits;
            sink.lamps(bits, at.unix_us);
        }
    }

    fn power_logger(&mut self, at: Instant, open_share: f64, sink: &mut impl Sink) {
        if !self.site.logger_on_supply {
            return;
        }
        self.logger_low_s = if open_share < 0.5 { self.logger_low_s + self.dt_s } else { 0.0 };
        let on = self.logger_low_s < LOGGER_HOLD_S;
        if on != self.logger_on {
            self.logger_on = on;
            sink.logger_power(on, at.unix_us);
        }
    }
}

/// Current that a drive takes from the supply at the motor's rated load, A.
pub fn rated_drive_current_a(site: &SiteParameters, drive: &DriveParameters) -> f64 {
    let plate = &site.motor;
    let rated_w = plate.rated_voltage_v * plate.rated_current_a * plate.rated_power_factor;
    (rated_w / drive.efficiency + drive.standby_w) / (site.supply.nominal_v * drive.power_factor)
}
