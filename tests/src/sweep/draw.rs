//! Which sites a sweep visits: by a number, everything else follows from it.

use pumpwitness_site_model::noise::Noise;
use pumpwitness_site_model::{Cause, SiteParameters, inflict, random_site};

/// 2026-05-04T00:00:00Z, a Monday.
const MONDAY_MS: i64 = 1_777_852_800_000;

/// A site to be visited.
#[derive(Clone, Debug)]
pub struct Visit {
    /// Its number; also the seed of all its chance.
    pub seed: u64,
    /// What is wrong; empty when healthy.
    pub causes: Vec<Cause>,
    /// How badly, 0 (just there) to 1 (gross), one each.
    pub severities: Vec<f64>,
    /// Length of the record, days.
    pub days: f64,
    /// Beginning, ms since 1970.
    pub start_ms: i64,
    /// The site.
    pub site: SiteParameters,
}

/// Causes that grow over a week by themselves, so that a shorter record holds little of them.
fn grows(cause: Cause) -> bool {
    matches!(cause, Cause::TransducerDrift | Cause::WeakConnection)
}

/// Pairs that hide each other or are one matter: which of the two is named first, or at all, is
/// no question of right or wrong.
fn apart(first: Cause, second: Cause) -> bool {
    let group = |cause| match cause {
        // Both speak through the tank's slopes and the switch points.
        Cause::WaterloggedTank
        | Cause::PrechargeTooHigh
        | Cause::DifferentialTooNarrow
        | Cause::ClosedDischarge
        | Cause::TransducerSupply
        | Cause::TransducerDrift
        | Cause::TransducerWiring => 1,
        Cause::CheckValveLeak | Cause::IdleDraw => 2,
        // No run is left in which the other could show, or it never gets loaded.
        Cause::SourceOverdrawn
        | Cause::RestrictedIntake
        | Cause::MechanicalDrag
        | Cause::Overheating
        | Cause::LockedRotor
        | Cause::OpenMotorCircuit => 3,
        Cause::SupplyUndervoltage | Cause::SupplyOvervoltage | Cause::DeratedByLowSupply => 4,
        _ => 5 + cause as u8,
    };
    group(first) != group(second)
}

/// A site with this one cause at this severity. `days` is lengthened to a week for causes that
/// grow.
///
/// # Panics
/// When the model's own choice of site cannot have the cause.
pub fn one(seed: u64, cause: Cause, severity: f64, days: f64) -> Visit {
    let mut site = random_site(seed, cause, severity).expect("the model chose the site");
    // On one site in five the logger hangs on the pump's own supply.
    site.logger_on_supply = Noise::new(seed, 201).chance(0.2);
    let (causes, severities) = match cause {
        Cause::Healthy => (Vec::new(), Vec::new()),
        cause => (vec![cause], vec![severity]),
    };
    let days = if grows(cause) { days.max(7.0) } else { days };
    Visit { seed, causes, severities, days, start_ms: MONDAY_MS, site }
}

/// A site with two causes that can be told apart.
pub fn two(seed: u64, days: f64) -> Visit {
    let mut noise = Noise::new(seed, 202);
    loop {
        let mut pick = || noise.choose(&Cause::WORDS[1..]).0;
        let (first, second) = (pick(), pick());
        if !apart(first, second) {
            continue;
        }
        let (one_severity, other) = (noise.between(0.4, 1.0), noise.between(0.4, 1.0));
        let mut visit = one(seed, first, one_severity, days);
        if inflict(&mut visit.site, second, other).is_err() {
            continue;
        }
        visit.causes.push(second);
        visit.severities.push(other);
        if grows(second) {
            visit.days = visit.days.max(7.0);
        }
        return visit;
    }
}

/// How many sites of each kind.
#[derive(Clone, Copy, Debug)]
pub struct Sizes {
    /// Of each cause.
    pub per_cause: u64,
    /// Sound ones.
    pub healthy: u64,
    /// With two causes at once.
    pub two: u64,
}

/// Sites of a sweep. Severities run over the whole range from `mildest` to 1.
pub fn sweep(first_seed: u64, sizes: Sizes, mildest: f64, days: &[f64]) -> Vec<Visit> {
    let mut visits = Vec::new();
    let mut seed = first_seed;
    for (cause, _) in Cause::WORDS {
        let count = if cause == Cause::Healthy { sizes.healthy } else { sizes.per_cause };
        for n in 0..count {
            // Evenly spread, so that few sites reach both ends.
            let place = if count == 1 { 0.7 } else { n as f64 / (count - 1) as f64 };
            let length = days[(seed % days.len() as u64) as usize];
            visits.push(one(seed, cause, mildest + (1.0 - mildest) * place, length));
            seed += 1;
        }
    }
    for _ in 0..sizes.two {
        visits.push(two(seed, days[(seed % days.len() as u64) as usize]));
        seed += 1;
    }
    visits
}

/// One site with one cause, at `steps` severities rising from 0 (just there) to 1 (gross): all else
/// the same.
pub fn ramp(seed: u64, cause: Cause, steps: u64, days: f64) -> Vec<Visit> {
    (0..steps).map(|n| one(seed, cause, n as f64 / (steps - 1).max(1) as f64, days)).collect()
}
