//! Everything a site is, as explicit physical values with units. What the owner declares stands
//! beside what is really there: a fault is where they part.

use crate::demand::DemandParameters;
use crate::drive::DriveParameters;
use crate::lamps::Lamps;
use crate::motor::MotorParameters;
use crate::protection::ProtectionParameters;
use crate::pump::PumpParameters;
use crate::supply::SupplyParameters;
use crate::switch::SwitchParameters;
use crate::tank::TankParameters;
use crate::transducer::TransducerParameters;
use crate::truth::Cause;
use crate::well::WellParameters;
use pumpwitness_site_file::Site;

/// How the pump is controlled.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum ControlParameters {
    /// A pressure switch closes a contactor.
    PressureSwitch(SwitchParameters),
    /// A drive holds the pressure.
    ConstantPressure(DriveParameters),
}

/// Pipes between pump and outlets.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PipeworkParameters {
    /// Loss of head from pump to transducer, m per (L/s)².
    pub rising_loss: f64,
    /// Loss of head from transducer to tank, m per (L/s)²: an isolating valve, open or not.
    pub valve_loss: f64,
    /// Flow back through the check valve with the pump at rest, at 3 bar, L/min.
    pub check_valve_leak_lpm: f64,
}

/// Wiring from the contactor to the motor.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MotorCircuitParameters {
    /// Probability that a closing contactor finds the circuit open.
    pub open_probability: f64,
    /// How long it then stays open, s: shortest and longest, on a logarithmic scale.
    pub open_s: (f64, f64),
    /// Contactor drops out below this voltage over nominal.
    pub drop_out_share: f64,
    /// Wait after the supply has come back, s.
    pub return_s: f64,
}

/// A whole site.
#[derive(Clone, Debug, PartialEq)]
pub struct SiteParameters {
    /// What the owner declares: the site file.
    pub declared: Site,
    /// The site's clocks ahead of UTC, h.
    pub utc_offset_h: f64,
    /// Supply.
    pub supply: SupplyParameters,
    /// Motor.
    pub motor: MotorParameters,
    /// Wiring to the motor.
    pub motor_circuit: MotorCircuitParameters,
    /// Pump.
    pub pump: PumpParameters,
    /// Pipes.
    pub pipework: PipeworkParameters,
    /// Well.
    pub well: WellParameters,
    /// Tank.
    pub tank: TankParameters,
    /// Demand.
    pub demand: DemandParameters,
    /// Control.
    pub control: ControlParameters,
    /// Protection.
    pub protection: ProtectionParameters,
    /// Transducer.
    pub transducer: TransducerParameters,
    /// Watched lamps.
    pub lamps: Lamps,
    /// True when the logger is fed from the same supply and goes dark with it.
    pub logger_on_supply: bool,
    /// What has been inflicted; empty when healthy.
    pub causes: Vec<Cause>,
}

impl SiteParameters {
    /// Text of the site file the owner would hand over.
    pub fn site_toml(&self) -> String {
        self.declared.to_toml()
    }

    /// Causes as the truth tells them: exactly `[Healthy]` when nothing is wrong.
    pub fn true_causes(&self) -> Vec<Cause> {
        if self.causes.is_empty() { vec![Cause::Healthy] } else { self.causes.clone() }
    }
}
