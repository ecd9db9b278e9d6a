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

/// Sites of a sweep: `per_cause` of each cause and three times as many healthy ones, then
/// `twice` with two causes. Severities run over the whole range from `mildest` to 1.
pub fn sweep(
    first_seed: u64,
    per_cause: u64,
    twice: u64,
    mildest: f64,
    days: &[f64],
) -> Vec<Visit> {
    let mut visits = Vec::new();
    let mut seed = first_seed;
    for (cause, _) in Cause::WORDS {
        let count = if cause == Cause::Healthy { 3 * per_cause } else { per_cause };
        for n in 0..count {
            // Evenly spread, so that few sites reach both ends.
            let place = if count == 1 { 0.7 } else { n as f64 / (count - 1) as f64 };
            let length = days[(seed % days.len() as u64) as usize];
            visits.push(one(seed, cause, mildest + (1.0 - mildest) * place, length));
            seed += 1;
        }
    }
    for _ in 0..twice {
        visits.push(two(seed, days[(seed % days.len() as u64) as usize]));
        seed += 1;
    }
    visits
}
