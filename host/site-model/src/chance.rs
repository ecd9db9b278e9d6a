//! Sites by chance, for sweeps over hundreds: nameplates, supplies, tanks, habits.

use crate::clock::Hours;
use crate::demand::Watering;
use crate::design::{Design, Hold, round};
use crate::faults::{FaultError, inflict};
use crate::noise::Noise;
use crate::parameters::SiteParameters;
use crate::truth::Cause;
use pumpwitness_site_file::TransducerKind;

/// A site drawn from `seed` that suffers from `cause` by `severity` (0 just there, 1 gross). Its
/// control is one that can have the cause.
pub fn random_site(seed: u64, cause: Cause, severity: f64) -> Result<SiteParameters, FaultError> {
    let mut noise = Noise::new(seed, 100);
    let drive = match cause {
        Cause::ControlHunting | Cause::DeratedByLowSupply => true,
        Cause::PrechargeTooHigh
        | Cause::DifferentialTooNarrow
        | Cause::LockedRotor
        | Cause::OpenMotorCircuit
        | Cause::WaterloggedTank
        | Cause::ClosedDischarge => false,
        _ => noise.chance(0.25),
    };
    let mut site = random_design(&mut noise, drive).build();
    site.supply.level_share = noise.between(0.975, 1.025);
    site.supply.daily_swing_share = noise.between(0.004, 0.02);
    site.supply.wander_share = noise.between(0.001, 0.004);
    site.supply.noise_share = noise.between_log(0.0002, 0.0015);
    site.transducer.noise_steps = noise.between_log(1.0, 8.0);
    site.transducer.offset_bar = noise.between(-0.03, 0.03);
    site.motor.inertia_s = noise.between(0.4, 1.1);
    // What the owner measured is not quite what is there.
    site.tank.precharge_bar *= noise.between(0.97, 1.03);
    site.tank.pipes_l_per_bar = noise.between_log(0.08, 0.4);
    if noise.chance(0.3) {
        site.demand.watering = Some(Watering {
            hours: noise.choose(&[
                Hours { from: 5.0, to: 6.5 },
                Hours { from: 20.0, to: 21.5 },
                Hours { from: 23.0, to: 0.5 },
            ]),
            every_days: noise.choose(&[1, 2]),
            flow_lpm: site.pump.rated_flow_lpm * noise.between(0.3, 0.85),
        });
    }
    inflict(&mut site, cause, severity)?;
    Ok(site)
}

fn random_design(noise: &mut Noise, drive: bool) -> Design {
    let (nominal_v, frequency_hz, phases) = noise.choose(&[
        (230.0, 50.0, 1),
        (230.0, 50.0, 1),
        (240.0, 60.0, 1),
        (240.0, 50.0, 1),
        (120.0, 60.0, 1),
        (400.0, 50.0, 3),
    ]);
    let cut_in_bar = noise.choose(&[1.4, 2.0, 2.5, 2.8]);
    let differential_bar = noise.choose(&[1.2, 1.4, 1.5, 1.8]);
    let hold = if drive {
        Hold::Drive { setpoint_bar: round(noise.between(2.5, 4.0), 0.1) }
    } else {
        Hold::Switch { cut_in_bar, cut_out_bar: round(cut_in_bar + differential_bar, 0.1) }
    };
    let rated_flow_lpm = round(noise.between_log(22.0, 80.0), 0.5);
    // Up to three hundred litres, not less than gives a run of about half a minute.
    let tank_l = if drive {
        noise.choose(&[8.0, 12.0, 20.0])
    } else {
        round(noise.between_log(20.0f64.max(2.0 * rated_flow_lpm), 300.0), 0.1)
    };
    Design {
        name: "Site by chance",
        time_zone: "UTC",
        utc_offset_h: 0.0,
        nominal_v,
        frequency_hz,
        phases,
        rated_flow_lpm,
        lift_m: noise.between(5.0, if nominal_v < 200.0 { 15.0 } else { 60.0 }).round(),
        hold,
        tank_l: tank_l.round(),
        transducer: if noise.chance(0.8) {
            TransducerKind::Loop
        } else {
            TransducerKind::Ratiometric
        },
        transducer_high_bar: noise.choose(&[6.0, 10.0, 16.0]),
        power_factor: round(noise.between(0.66, 0.86), 0.01),
        motor_efficiency: round(noise.between(0.64, 0.8), 0.01),
        pump_efficiency: round(noise.between(0.4, 0.58), 0.01),
        start_current_ratio: noise.between(4.5, 6.5),
        service_factor: noise.choose(&[1.0, 1.15, 1.25]),
        start_dip_share: noise.between(0.01, 0.05),
        daily_l: noise.between_log(8.0, 40.0) * rated_flow_lpm,
    }
}
