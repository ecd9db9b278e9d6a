//! Faults: each cause as a change of the physical values of a sound site, by a severity from 0
//! (just there) to 1 (gross).

use crate::clock::Hours;
use crate::demand::{Draws, Watering};
use crate::parameters::{ControlParameters, SiteParameters};
use crate::supply::{DailyLevel, Disturbances};
use crate::transducer::WiringFault;
use crate::truth::Cause;

/// Days over which a growing fault is laid out.
const RECORD_DAYS: f64 = 7.0;

/// A cause that this kind of site cannot have.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[error("a site of this kind cannot have {}: it wants {wants}", cause.word())]
pub struct FaultError {
    /// The cause.
    pub cause: Cause,
    /// What the site would have to have.
    pub wants: &'static str,
}

fn between(severity: f64, mild: f64, gross: f64) -> f64 {
    mild + (gross - mild) * severity
}

fn between_log(severity: f64, mild: f64, gross: f64) -> f64 {
    mild * (gross / mild).powf(severity)
}

/// Makes `site` suffer from `cause`. What the owner declared stays as it is.
pub fn inflict(site: &mut SiteParameters, cause: Cause, severity: f64) -> Result<(), FaultError> {
    let severity = severity.clamp(0.0, 1.0);
    match cause {
        Cause::Healthy => return Ok(()),
        Cause::WaterloggedTank
        | Cause::PrechargeTooHigh
        | Cause::DifferentialTooNarrow
        | Cause::CheckValveLeak
        | Cause::IdleDraw
        | Cause::SourceOverdrawn
        | Cause::RestrictedIntake
        | Cause::ClosedDischarge => water(site, cause, severity)?,
        Cause::MechanicalDrag
        | Cause::LockedRotor
        | Cause::Overheating
        | Cause::OpenMotorCircuit
        | Cause::DeratedByLowSupply
        | Cause::ControlHunting => machine(site, cause, severity)?,
        Cause::SupplyDips
        | Cause::SupplyInterruptions
        | Cause::SupplyUndervoltage
        | Cause::SupplyOvervoltage
        | Cause::WeakConnection => supply(site, cause, severity),
        Cause::TransducerWiring | Cause::TransducerSupply | Cause::TransducerDrift => {
            transducer(site, cause, severity);
        }
    }
    site.causes.push(cause);
    Ok(())
}

fn water(site: &mut SiteParameters, cause: Cause, severity: f64) -> Result<(), FaultError> {
    match cause {
        Cause::WaterloggedTank => site.tank.gas_share = between_log(severity, 0.25, 0.03),
        Cause::PrechargeTooHigh | Cause::DifferentialTooNarrow => {
            let ControlParameters::PressureSwitch(set) = &mut site.control else {
                return Err(FaultError { cause, wants: "a pressure switch" });
            };
            let span_bar = set.cut_out_bar - set.cut_in_bar;
            if cause == Cause::PrechargeTooHigh {
                site.tank.precharge_bar = set.cut_in_bar + span_bar * between(severity, 0.15, 0.75);
            } else {
                set.cut_out_bar = set.cut_in_bar + span_bar * between(severity, 0.45, 0.18);
            }
        }
        Cause::CheckValveLeak => {
            site.pipework.check_valve_leak_lpm = between_log(severity, 0.3, 3.0);
        }
        Cause::IdleDraw => site.demand.idle_draw_lpm = between_log(severity, 0.4, 4.0),
        Cause::SourceOverdrawn => {
            let well = &mut site.well;
            well.intake_m = 7.0;
            let sustained_lpm = site.pump.rated_flow_lpm * between(severity, 0.45, 0.15);
            well.yield_lpm_per_m = sustained_lpm / well.intake_m;
            // A bore of 150 mm.
            well.storage_l_per_m = 18.0;
            well.low_hours = Hours { from: 18.0, to: 1.0 };
            well.low_by_m = between(severity, 2.5, 4.5);
            well.low_spread = 0.1;
            site.demand.draws.push(Draws {
                per_day: 4.0,
                hours: Hours { from: 18.0, to: 23.5 },
                flow_lpm: 0.45 * site.pump.rated_flow_lpm,
                length_s: 1500.0,
            });
        }
        Cause::RestrictedIntake => {
            let left = between(severity, 0.65, 0.3);
            site.well.intake_loss = site.pump.slope() * (1.0 / (left * left) - 1.0);
            site.well.intake_swing = 0.12;
        }
        _ => site.pipework.valve_loss = site.pump.slope() * between_log(severity, 20.0, 300.0),
    }
    Ok(())
}

/// What builds up with heat shows only where the pump runs long: the garden watered each morning.
fn long_runs(site: &mut SiteParameters) {
    site.demand.watering = Some(Watering {
        hours: Hours { from: 6.5, to: 8.0 },
        every_days: 1,
        flow_lpm: 0.85 * site.pump.rated_flow_lpm,
    });
}

fn machine(site: &mut SiteParameters, cause: Cause, severity: f64) -> Result<(), FaultError> {
    let direct = matches!(site.control, ControlParameters::PressureSwitch(_));
    match cause {
        Cause::MechanicalDrag => {
            site.motor.drag_share = between(severity, 0.35, 0.9);
            site.motor.drag_swing = 0.15;
            long_runs(site);
        }
        Cause::LockedRotor | Cause::OpenMotorCircuit if !direct => {
            return Err(FaultError { cause, wants: "a motor straight on the line" });
        }
        Cause::LockedRotor => site.motor.jam_probability = between(severity, 0.2, 0.75),
        Cause::Overheating => {
            site.motor.cooling_share = between(severity, 0.36, 0.2);
            long_runs(site);
        }
        Cause::OpenMotorCircuit => {
            site.motor_circuit.open_probability = between(severity, 0.15, 0.5);
            site.motor_circuit.open_s = (400.0, 4000.0);
            // A protection against dry running would open the contactor on the missing power.
            site.protection.dry_run = None;
        }
        _ => {
            let ControlParameters::ConstantPressure(set) = &mut site.control else {
                return Err(FaultError { cause, wants: "a drive" });
            };
            if cause == Cause::ControlHunting {
                set.gain_per_bar *= between(severity, 6.0, 12.0);
                set.integral_per_bar_s *= between(severity, 12.0, 30.0);
                set.filter_s = between(severity, 0.8, 1.5);
            } else {
                set.full_speed_above_share = 0.92;
                set.speed_per_percent = 0.015;
                // Speed is missed only where it is wanted.
                site.demand.watering = Some(Watering {
                    hours: Hours { from: 18.0, to: 20.0 },
                    every_days: 1,
                    flow_lpm: 0.8 * site.pump.rated_flow_lpm,
                });
                site.supply.daily_level = Some(DailyLevel {
                    hours: Hours { from: 16.0, to: 23.0 },
                    level_share: between(severity, 0.86, 0.8) / site.supply.level_share,
                    day_probability: between(severity, 0.6, 1.0),
                });
            }
        }
    }
    Ok(())
}

fn supply(site: &mut SiteParameters, cause: Cause, severity: f64) {
    let supply = &mut site.supply;
    match cause {
        Cause::SupplyDips => supply.disturbances.push(Disturbances {
            per_day: between(severity, 2.0, 20.0),
            hours: Hours { from: 7.0, to: 19.0 },
            left: (between(severity, 0.72, 0.45), 0.84),
            length_s: (0.06, 2.0),
        }),
        Cause::SupplyInterruptions => supply.disturbances.push(Disturbances {
            per_day: between(severity, 0.6, 4.0),
            hours: Hours::ALL,
            left: (0.0, 0.01),
            length_s: (0.5, 240.0),
        }),
        Cause::SupplyUndervoltage => {
            supply.daily_level = Some(DailyLevel {
                hours: Hours { from: 17.0, to: 22.0 },
                level_share: between(severity, 0.88, 0.82) / supply.level_share,
                day_probability: between(severity, 0.6, 1.0),
            });
        }
        Cause::SupplyOvervoltage => {
            supply.daily_level = Some(DailyLevel {
                hours: Hours { from: 11.0, to: 16.0 },
                level_share: between(severity, 1.125, 1.17) / supply.level_share,
                day_probability: between(severity, 0.6, 1.0),
            });
        }
        _ => {
            let start_ohm =
                supply.nominal_v / (site.motor.rated_current_a * site.motor.start_current_ratio);
            supply.growing_ohm_per_day = start_ohm * between(severity, 0.08, 0.25) / RECORD_DAYS;
            supply.contact_swing = 0.25;
        }
    }
}

fn transducer(site: &mut SiteParameters, cause: Cause, severity: f64) {
    let (low_bar, high_bar) = match site.control {
        ControlParameters::PressureSwitch(set) => (set.cut_in_bar, set.cut_out_bar),
        ControlParameters::ConstantPressure(set) => (set.setpoint_bar - 0.5, set.setpoint_bar),
    };
    let transducer = &mut site.transducer;
    match cause {
        Cause::TransducerWiring => {
            transducer.wiring = Some(WiringFault {
                per_day: between_log(severity, 5.0, 60.0),
                running_factor: 6.0,
                length_s: (0.3, 20.0),
                short_share: 0.0,
            });
        }
        Cause::TransducerSupply => {
            let top_bar = high_bar - (high_bar - low_bar) * between(severity, 0.15, 0.8);
            let share = (top_bar - transducer.low_bar) / (transducer.high_bar - transducer.low_bar);
            transducer.ceiling_steps = Some(transducer.zero_steps() + 8000.0 * share);
        }
        _ => transducer.drift_bar_per_day = between(severity, 0.03, 0.12),
    }
}
