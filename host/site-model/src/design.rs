//! A sound installation from a few choices: everything else is sized from them as a careful
//! installer would, so that a fault is the only thing wrong.

use crate::clock::Hours;
use crate::demand::{DemandParameters, Draws};
use crate::drive::DriveParameters;
use crate::drivetrain::{Load, drive_input_w};
use crate::motor::{Circuit, MotorParameters};
use crate::overload::OverloadParameters;
use crate::parameters::{
    ControlParameters, MotorCircuitParameters, PipeworkParameters, SiteParameters,
};
use crate::phasor::Phasor;
use crate::protection::{
    DryRunParameters, FailedStartParameters, ProtectionParameters, SupplyBandParameters,
    WindingParameters,
};
use crate::pump::{METRES_PER_BAR, PumpParameters};
use crate::site::rated_drive_current_a;
use crate::supply::SupplyParameters;
use crate::switch::SwitchParameters;
use crate::tank::{ATMOSPHERE_BAR, TankParameters};
use crate::transducer::TransducerParameters;
use crate::well::WellParameters;
use pumpwitness_site_file as site_file;
use pumpwitness_site_file::{Limits, Site, Start, TransducerKind, Units};

/// How the pressure is held.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Hold {
    /// Pressure switch.
    Switch {
        /// Starts at, bar.
        cut_in_bar: f64,
        /// Stops at, bar.
        cut_out_bar: f64,
    },
    /// Drive.
    Drive {
        /// Held, bar.
        setpoint_bar: f64,
    },
}

/// The choices.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Design {
    /// Name of the site.
    pub name: &'static str,
    /// IANA time zone.
    pub time_zone: &'static str,
    /// That zone ahead of UTC in the season of the record, h.
    pub utc_offset_h: f64,
    /// Nominal voltage, V.
    pub nominal_v: f64,
    /// Nominal frequency, Hz.
    pub frequency_hz: f64,
    /// 1 or 3.
    pub phases: u8,
    /// Rated flow, L/min.
    pub rated_flow_lpm: f64,
    /// From the water at rest up to the transducer, m.
    pub lift_m: f64,
    /// Control.
    pub hold: Hold,
    /// Tank, L.
    pub tank_l: f64,
    /// Transducer.
    pub transducer: TransducerKind,
    /// Its high end, bar.
    pub transducer_high_bar: f64,
    /// Power factor of the motor at rated load.
    pub power_factor: f64,
    /// Efficiency of the motor at rated load.
    pub motor_efficiency: f64,
    /// Efficiency of the pump at rated flow.
    pub pump_efficiency: f64,
    /// Standstill current over rated current.
    pub start_current_ratio: f64,
    /// Service factor on the nameplate.
    pub service_factor: f64,
    /// Share of the voltage that the motor's own start takes, 0.01 to 0.06 on a sound supply.
    pub start_dip_share: f64,
    /// Water drawn in a day, L.
    pub daily_l: f64,
}

impl Design {
    /// A small house on a bore: 230 V, 50 Hz, 45 L/min, 2.0/3.5 bar, 60 L.
    pub const HOUSE: Self = Self {
        name: "House on the hill",
        time_zone: "Europe/Lisbon",
        utc_offset_h: 1.0,
        nominal_v: 230.0,
        frequency_hz: 50.0,
        phases: 1,
        rated_flow_lpm: 45.0,
        lift_m: 18.0,
        hold: Hold::Switch { cut_in_bar: 2.0, cut_out_bar: 3.5 },
        tank_l: 200.0,
        transducer: TransducerKind::Loop,
        transducer_high_bar: 10.0,
        power_factor: 0.78,
        motor_efficiency: 0.68,
        pump_efficiency: 0.48,
        start_current_ratio: 5.2,
        service_factor: 1.15,
        start_dip_share: 0.03,
        daily_l: 900.0,
    };

    /// The whole site.
    pub fn build(&self) -> SiteParameters {
        let (low_bar, high_bar) = match self.hold {
            Hold::Switch { cut_in_bar, cut_out_bar } => (cut_in_bar, cut_out_bar),
            Hold::Drive { setpoint_bar } => (setpoint_bar, setpoint_bar),
        };
        let pump = self.pump(low_bar, high_bar);
        let motor = self.motor(&pump);
        let control = self.control();
        let precharge_bar = match self.hold {
            // 0.14 bar (2 psi) below cut-in (well-water trade).
            Hold::Switch { cut_in_bar, .. } => round(cut_in_bar - 0.14, 0.05),
            Hold::Drive { setpoint_bar } => round(0.7 * setpoint_bar, 0.05),
        };
        let start_ohm = self.nominal_v / (motor.rated_current_a * self.start_current_ratio);
        let mut site = SiteParameters {
            declared: self.declared(precharge_bar),
            utc_offset_h: self.utc_offset_h,
            supply: SupplyParameters {
                nominal_v: self.nominal_v,
                frequency_hz: self.frequency_hz,
                level_share: 1.0,
                daily_swing_share: 0.012,
                wander_share: 0.003,
                noise_share: 0.0006,
                source_ohm: 0.9 * self.start_dip_share * start_ohm,
                source_reactance_ohm: 0.4 * self.start_dip_share * start_ohm,
                growing_ohm_per_day: 0.0,
                contact_swing: 0.0,
                disturbances: Vec::new(),
                planned: Vec::new(),
                daily_level: None,
            },
            motor,
            motor_circuit: MotorCircuitParameters {
                open_probability: 0.0,
                open_s: (1.0, 1.0),
                drop_out_share: 0.5,
                return_s: 1.0,
            },
            pump,
            pipework: PipeworkParameters {
                rising_loss: 0.04 * pump.slope(),
                valve_loss: 0.0,
                check_valve_leak_lpm: 0.0,
            },
            well: WellParameters {
                rest_level_m: self.lift_m,
                intake_m: 20.0,
                storage_l_per_m: 12.0,
                // Three metres of drawdown at rated flow.
                yield_lpm_per_m: self.rated_flow_lpm / 3.0,
                low_hours: Hours::ALL,
                low_by_m: 0.0,
                low_spread: 0.0,
                intake_loss: 0.0,
                intake_swing: 0.0,
            },
            tank: TankParameters {
                volume_l: self.tank_l,
                precharge_bar,
                gas_share: 1.0,
                atmosphere_bar: ATMOSPHERE_BAR,
                pipes_l_per_bar: 0.15,
            },
            demand: self.demand(),
            control,
            protection: ProtectionParameters {
                dry_run: None,
                overload: Some(OverloadParameters {
                    set_current_a: 1.0,
                    hold_factor: 1.12,
                    heating_s: 270.0,
                    cooling_s: 540.0,
                    reset_share: 0.6,
                    least_wait_s: 300.0,
                }),
                failed_start: Some(FailedStartParameters {
                    after_s: 4.0,
                    wait_s: 300.0,
                    tries: 5,
                    long_wait_s: 3600.0,
                }),
                supply_band: Some(SupplyBandParameters {
                    low_share: 0.75,
                    high_share: 1.2,
                    delay_s: 5.0,
                    wait_s: 60.0,
                }),
                winding: Some(WindingParameters {
                    around_c: 18.0,
                    rated_rise_k: 50.0,
                    heating_s: 300.0,
                    trip_c: 125.0,
                    reset_c: 85.0,
                }),
            },
            transducer: TransducerParameters {
                kind: self.transducer,
                low_bar: 0.0,
                high_bar: self.transducer_high_bar,
                noise_steps: 2.5,
                offset_bar: 0.0,
                drift_bar_per_day: 0.0,
                ceiling_steps: None,
                wiring: None,
                planned: None,
            },
            lamps: [None; 8],
            logger_on_supply: false,
            causes: Vec::new(),
        };
        self.finish(&mut site, high_bar);
        site
    }

    /// What depends on the whole: rated line current, relay setting, dry-run threshold.
    fn finish(&self, site: &mut SiteParameters, high_bar: f64) {
        let pump = site.pump;
        let speed = 1.0;
        let duty_head_m = high_bar * METRES_PER_BAR + self.lift_m + 3.0;
        let duty_lps = pump.flow_lps(duty_head_m, site.pipework.rising_loss, speed);
        let full = Load { pump: &pump, flow_lps: duty_lps, water_share: 1.0 };
        let dry = Load { flow_lps: 0.0, water_share: 0.0, ..full };
        let (line_a, dry_w, duty_w) = match &site.control {
            ControlParameters::PressureSwitch(_) => {
                let circuit = Circuit::fit(&site.motor);
                let none = Phasor::new(0.0, 0.0);
                let input = |load: Load| {
                    let shaft_w = load.pump.shaft_w(load.flow_lps, speed, load.water_share);
                    circuit
                        .balance(self.nominal_v, none, circuit.rated_slip(), shaft_w)
                        .map_or(0.0, |slip| circuit.operate(self.nominal_v, none, slip).power_w)
                };
                (site.motor.rated_current_a, input(dry), input(full))
            }
            ControlParameters::ConstantPressure(set) => {
                let input = |load| drive_input_w(load, speed, 0.0, &site.motor, set);
                (rated_drive_current_a(site, set), input(dry), input(full))
            }
        };
        site.declared.motor.rated_current_a = round(line_a, 0.1);
        site.protection.dry_run = Some(DryRunParameters {
            // Between power without water and least duty (common practice); well below the middle,
            // so that a pump against a closed valve is not taken for a dry one.
            below_w: dry_w + 0.25 * (duty_w - dry_w),
            delay_s: 5.0,
            blank_s: 4.0,
            wait_s: 300.0,
        });
        if matches!(self.hold, Hold::Drive { .. }) {
            // A drive turns slowly for good reasons.
            site.protection.failed_start = None;
        }
        if let Some(relay) = &mut site.protection.overload {
            relay.set_current_a = line_a;
        }
        site.declared.limits = match self.hold {
            // Drives with a small tank wake for every draw and are made for it: at the shortest
            // they wait to sleep, then feed a draw just below the sleeping flow from the tank.
            Hold::Drive { setpoint_bar } => {
                let ControlParameters::ConstantPressure(set) = &site.control else {
                    unreachable!("`control` follows `hold`")
                };
                let store_l = site.tank.drawdown_l(setpoint_bar - set.wake_drop_bar, setpoint_bar);
                let cycle_s = set.sleep_after_s + 60.0 * store_l / set.sleep_flow_lpm;
                Limits {
                    min_run_s: Some(set.sleep_after_s),
                    max_starts_per_hour: Some((3600.0 / cycle_s).ceil()),
                }
            }
            Hold::Switch { cut_in_bar, cut_out_bar } => {
                // Handbook arithmetic: a run without demand takes drawdown over flow, the worst
                // cycle four times that. Where the tank is smaller than the minute's run of common
                // practice asks for, the owner says what it was sized for.
                let run_s =
                    60.0 * site.tank.drawdown_l(cut_in_bar, cut_out_bar) / self.rated_flow_lpm;
                if run_s < 75.0 {
                    Limits {
                        min_run_s: Some((0.6 * run_s).floor().max(1.0)),
                        max_starts_per_hour: Some((1.3 * 3600.0 / (4.0 * run_s)).ceil()),
                    }
                } else {
                    Limits::default()
                }
            }
        };
    }

    fn pump(&self, low_bar: f64, high_bar: f64) -> PumpParameters {
        let middle_m = f64::midpoint(low_bar, high_bar) * METRES_PER_BAR;
        // Losses and drawdown at rated flow: some 6 m.
        let rated_head_m = self.lift_m + middle_m + 6.0;
        let highest_m = self.lift_m + high_bar * METRES_PER_BAR + 3.0;
        PumpParameters {
            shut_off_head_m: (1.4 * rated_head_m).max(1.25 * highest_m),
            rated_flow_lpm: self.rated_flow_lpm,
            rated_head_m,
            efficiency: self.pump_efficiency,
            shut_off_power_share: 0.58,
            dry_power_share: 0.40,
        }
    }

    fn motor(&self, pump: &PumpParameters) -> MotorParameters {
        // Most pump motors run at some 90 % of their rating.
        let input_w = pump.rated_shaft_w() / 0.9 / self.motor_efficiency;
        MotorParameters {
            rated_voltage_v: self.nominal_v,
            rated_current_a: round(input_w / (self.nominal_v * self.power_factor), 0.1),
            rated_power_factor: self.power_factor,
            rated_efficiency: self.motor_efficiency,
            start_current_ratio: self.start_current_ratio,
            inertia_s: 0.7,
            drag_share: 0.0,
            drag_swing: 0.0,
            jam_probability: 0.0,
            cooling_share: 1.0,
        }
    }

    fn control(&self) -> ControlParameters {
        match self.hold {
            Hold::Switch { cut_in_bar, cut_out_bar } => {
                ControlParameters::PressureSwitch(SwitchParameters {
                    cut_in_bar,
                    cut_out_bar,
                    scatter_bar: 0.015,
                    lag_s: 0.2,
                })
            }
            Hold::Drive { setpoint_bar } => ControlParameters::ConstantPressure(DriveParameters {
                setpoint_bar,
                gain_per_bar: 0.15,
                integral_per_bar_s: 0.08,
                ramp_s: 1.2,
                filter_s: 0.15,
                least_speed: 0.65,
                sleep_flow_lpm: 0.06 * self.rated_flow_lpm,
                sleep_after_s: 8.0,
                wake_drop_bar: 0.3,
                efficiency: 0.95,
                power_factor: 0.93,
                standby_w: 9.0,
                full_speed_above_share: 0.88,
                speed_per_percent: 0.005,
            }),
        }
    }

    fn demand(&self) -> DemandParameters {
        let tap_lpm = 0.16 * self.rated_flow_lpm;
        // Half of a day's water in short draws, half in long ones, most of it morning and evening.
        let short_l = tap_lpm * 40.0 / 60.0;
        let long_l = 1.6 * tap_lpm * 360.0 / 60.0;
        let kind = |share: f64, hours: Hours, long: bool| Draws {
            per_day: share * self.daily_l / if long { long_l } else { short_l },
            hours,
            flow_lpm: if long { 1.6 * tap_lpm } else { tap_lpm },
            length_s: if long { 360.0 } else { 40.0 },
        };
        let morning = Hours { from: 6.0, to: 9.0 };
        let day = Hours { from: 9.0, to: 18.0 };
        let evening = Hours { from: 18.0, to: 23.0 };
        let night = Hours { from: 23.0, to: 6.0 };
        DemandParameters {
            draws: vec![
                kind(0.17, morning, false),
                kind(0.15, day, false),
                kind(0.16, evening, false),
                kind(0.02, night, false),
                kind(0.20, morning, true),
                kind(0.10, day, true),
                kind(0.20, evening, true),
            ],
            watering: None,
            idle_draw_lpm: 0.0,
        }
    }

    fn declared(&self, precharge_bar: f64) -> Site {
        let (start, control) = match self.hold {
            Hold::Switch { cut_in_bar, cut_out_bar } => {
                (Start::Direct, site_file::Control::PressureSwitch { cut_in_bar, cut_out_bar })
            }
            Hold::Drive { setpoint_bar } => {
                (Start::Drive, site_file::Control::ConstantPressure { setpoint_bar })
            }
        };
        Site {
            name: Some(self.name.to_owned()),
            customer: None,
            address: None,
            time_zone: Some(self.time_zone.to_owned()),
            units: Units::Metric,
            supply: site_file::Supply {
                nominal_v: self.nominal_v,
                frequency_hz: self.frequency_hz,
                phases: self.phases,
            },
            motor: site_file::Motor {
                // Filled in once the whole is known.
                rated_current_a: 1.0,
                service_factor: self.service_factor,
                start,
            },
            control: Some(control),
            tank: Some(site_file::Tank {
                volume_l: self.tank_l,
                precharge_bar: Some(precharge_bar),
            }),
            transducer: Some(site_file::Transducer {
                kind: self.transducer,
                low_bar: 0.0,
                high_bar: self.transducer_high_bar,
            }),
            rated_flow_lpm: Some(self.rated_flow_lpm),
            limits: Limits::default(),
            lamps: Vec::new(),
            lamp_means: Vec::new(),
            fit: site_file::Fit::default(),
        }
    }
}

/// `value` to the next multiple of `step`, without the digits that doubles leave behind.
pub(crate) fn round(value: f64, step: f64) -> f64 {
    let per_unit = (1.0 / step).round();
    (value * per_unit).round() / per_unit
}
