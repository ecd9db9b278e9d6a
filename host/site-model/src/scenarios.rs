//! Stories: invented sites, each with one thing wrong or nothing, a week long.

use crate::clock::Hours;
use crate::demand::{Draws, Watering};
use crate::design::{Design, Hold};
use crate::faults::inflict;
use crate::lamps::LampRole;
use crate::parameters::SiteParameters;
use crate::site::SiteModel;
use crate::supply::Disturbances;
use crate::truth::Cause;
use pumpwitness_site_file::TransducerKind;

/// An invented site and its week.
#[derive(Clone, Copy, Debug)]
pub struct Scenario {
    /// How it is called on the command line.
    pub name: &'static str,
    /// A title.
    pub title: &'static str,
    /// One plain sentence.
    pub story: &'static str,
    /// Length, days.
    pub days: f64,
    /// Beginning, ms since 1970.
    pub start_ms: i64,
    /// Seed of all chance.
    pub seed: u64,
    build: fn() -> SiteParameters,
}

impl Scenario {
    /// The site.
    pub fn parameters(&self) -> SiteParameters {
        (self.build)()
    }

    /// Text of the site file its owner hands over.
    pub fn site_toml(&self) -> String {
        self.parameters().site_toml()
    }

    /// End, ms since 1970.
    pub fn end_ms(&self) -> i64 {
        self.start_ms + (self.days * 86_400_000.0) as i64
    }

    /// The site in time, at its beginning.
    pub fn model(&self) -> SiteModel {
        SiteModel::new(&self.parameters(), self.start_ms, self.seed)
    }
}

/// The scenario shown when none is asked for.
pub const DEFAULT_SCENARIO: &str = "overdrawn-well";

/// 2026-05-04T06:00:00Z, a Monday.
const SPRING_MS: i64 = 1_777_874_400_000;
/// 2026-07-13T05:00:00Z, a Monday.
const SUMMER_MS: i64 = 1_783_918_800_000;

const fn week(
    name: &'static str,
    title: &'static str,
    story: &'static str,
    start_ms: i64,
    seed: u64,
    build: fn() -> SiteParameters,
) -> Scenario {
    Scenario { name, title, story, days: 7.0, start_ms, seed, build }
}

static SCENARIOS: [Scenario; 18] = [
    week(
        DEFAULT_SCENARIO,
        "Runs dry in the evening, fine by morning",
        "A farmhouse waters its garden after sunset while the neighbours do the same; the well \
         falls to the intake, the pump trips dry, resets itself every five minutes, and by morning \
         nobody can see anything wrong.",
        SUMMER_MS,
        11,
        overdrawn_well,
    ),
    week(
        "healthy",
        "A sound house system",
        "A house on a bore with nothing wrong.",
        SPRING_MS,
        12,
        || Design::HOUSE.build(),
    ),
    week(
        "healthy-drive",
        "A sound constant-pressure system",
        "A guest house whose drive holds three bar all week with nothing wrong.",
        SPRING_MS,
        13,
        || DRIVE.build(),
    ),
    week(
        "waterlogged-tank",
        "The tank has lost its air",
        "The bladder tank of a bakery has lost nearly all its air, and the pump starts at every \
         tap.",
        SPRING_MS,
        14,
        || with(Design { name: "Bakery yard", ..Design::HOUSE }, Cause::WaterloggedTank, 0.7),
    ),
    week(
        "overload",
        "Sand in the bearings",
        "Sand drags on the pump of a stable; the overload relay trips in long runs and resets by \
         itself.",
        SPRING_MS,
        15,
        overload,
    ),
    week(
        "supply-dips",
        "The neighbour's saw",
        "A saw bench on the same line pulls the voltage down all working day, and now and then the \
         line drops out.",
        SPRING_MS,
        16,
        supply_dips,
    ),
    week(
        "power-cuts",
        "A line that fails",
        "The rural line fails several times in the week, and the logger, fed from it, goes dark \
         with it.",
        SPRING_MS,
        17,
        || {
            let mut site = with(
                Design { name: "Valley pump house", daily_l: 3500.0, ..Design::HOUSE },
                Cause::SupplyInterruptions,
                0.4,
            );
            site.logger_on_supply = true;
            site
        },
    ),
    week(
        "undervoltage",
        "Low voltage every evening",
        "The village line sags below nine tenths of its voltage from five till ten in the evening.",
        SPRING_MS,
        18,
        || {
            with(
                Design { name: "End of the line", ..Design::HOUSE },
                Cause::SupplyUndervoltage,
                0.5,
            )
        },
    ),
    week(
        "overvoltage",
        "High voltage at noon",
        "Roofs full of solar panels push the line voltage up around noon.",
        SUMMER_MS,
        19,
        || with(Design { name: "Solar lane", ..Design::HOUSE }, Cause::SupplyOvervoltage, 0.4),
    ),
    week(
        "idle-draw",
        "A cistern that never stops",
        "A cistern runs day and night, and the pump starts all night long.",
        SPRING_MS,
        20,
        || with(Design { name: "Holiday cabins", ..Design::HOUSE }, Cause::IdleDraw, 0.6),
    ),
    week(
        "check-valve-leak",
        "Water runs back",
        "The check valve no longer seats, and the tank empties into the well whenever the pump \
         rests.",
        SPRING_MS,
        21,
        || with(Design { name: "Schoolhouse", ..Design::HOUSE }, Cause::CheckValveLeak, 0.7),
    ),
    week(
        "locked-rotor",
        "Does not turn at every start",
        "The rotor sticks at many starts; the panel gives up after four seconds and tries again \
         later.",
        SPRING_MS,
        22,
        || {
            let mut site =
                with(Design { name: "Nursery garden", ..Design::HOUSE }, Cause::LockedRotor, 0.3);
            lamp(&mut site, 1, "overload", LampRole::Overload);
            site
        },
    ),
    week(
        "transducer-wiring",
        "A loose wire at the transducer",
        "A corroded terminal opens the current loop for seconds at a time, mostly while the pump \
         shakes the pipe.",
        SPRING_MS,
        23,
        || with(Design { name: "Dairy shed", ..Design::HOUSE }, Cause::TransducerWiring, 0.6),
    ),
    week(
        "open-motor-circuit",
        "Called, but no current",
        "A burnt joint between panel and pump stays open at some starts: the switch calls, nothing \
         is drawn, and the pressure falls.",
        SPRING_MS,
        24,
        || with(Design { name: "Chapel field", ..Design::HOUSE }, Cause::OpenMotorCircuit, 0.6),
    ),
    week(
        "weak-connection",
        "A terminal going bad",
        "A supply terminal heats and oxidises: each day the voltage dips further when the pump \
         starts.",
        SPRING_MS,
        25,
        || with(Design { name: "Old mill", ..Design::HOUSE }, Cause::WeakConnection, 0.6),
    ),
    week(
        "restricted-intake",
        "A clogged screen",
        "Iron slime has closed most of the intake screen; the pump works long for little water.",
        SPRING_MS,
        26,
        || with(Design { name: "Iron spring", ..Design::HOUSE }, Cause::RestrictedIntake, 0.5),
    ),
    week(
        "hunting",
        "A drive that cannot settle",
        "Somebody turned the gains of the drive far up, and speed and pressure swing whenever \
         water is drawn.",
        SPRING_MS,
        27,
        || with(Design { name: "Terrace hotel", ..DRIVE }, Cause::ControlHunting, 0.6),
    ),
    week(
        "stiff-pump",
        "A stiff pump on 240 V, 60 Hz",
        "A rural house pump drags, trips its overload relay in the evening and cools down by \
         itself.",
        SUMMER_MS,
        28,
        || {
            let mut site = with(RANCH, Cause::MechanicalDrag, 0.7);
            site.demand.watering = Some(Watering {
                hours: Hours { from: 19.0, to: 20.5 },
                every_days: 1,
                flow_lpm: 26.0,
            });
            site
        },
    ),
];

/// Every scenario; the default one first.
pub fn scenarios() -> &'static [Scenario] {
    &SCENARIOS
}

/// The scenario called `name`.
pub fn scenario(name: &str) -> Option<&'static Scenario> {
    SCENARIOS.iter().find(|scenario| scenario.name == name)
}

const DRIVE: Design = Design {
    name: "Guest house",
    hold: Hold::Drive { setpoint_bar: 3.0 },
    tank_l: 12.0,
    daily_l: 1400.0,
    rated_flow_lpm: 50.0,
    ..Design::HOUSE
};

const RANCH: Design = Design {
    name: "North pasture",
    time_zone: "America/Boise",
    utc_offset_h: -6.0,
    nominal_v: 240.0,
    frequency_hz: 60.0,
    rated_flow_lpm: 38.0,
    lift_m: 35.0,
    hold: Hold::Switch { cut_in_bar: 2.8, cut_out_bar: 4.1 },
    tank_l: 160.0,
    ..Design::HOUSE
};

/// Faults of a story are inflicted on sites that can have them; the tests run every one.
fn with(design: Design, cause: Cause, severity: f64) -> SiteParameters {
    let mut site = design.build();
    if let Err(error) = inflict(&mut site, cause, severity) {
        unreachable!("{}: {error}", design.name);
    }
    site
}

fn lamp(site: &mut SiteParameters, input: u8, label: &str, role: LampRole) {
    site.lamps[usize::from(input - 1)] = Some(role);
    site.declared.lamps.push((input, label.to_owned()));
}

fn overdrawn_well() -> SiteParameters {
    let design = Design { name: "Fig tree farm", rated_flow_lpm: 48.0, ..Design::HOUSE };
    let mut site = with(design, Cause::SourceOverdrawn, 0.7);
    // Enough for the day, not for an evening of everybody's watering: a bore of 200 mm.
    site.well.storage_l_per_m = 31.0;
    site.well.yield_lpm_per_m = 4.5;
    site.well.low_by_m = 5.3;
    // The garden, by hand and when somebody is there, instead of a cause's plain long draws.
    site.demand.draws.pop();
    site.demand.draws.push(Draws {
        per_day: 3.0,
        hours: Hours { from: 19.5, to: 22.5 },
        flow_lpm: 20.0,
        length_s: 1800.0,
    });
    lamp(&mut site, 1, "dry running", LampRole::DryRun);
    lamp(&mut site, 2, "running", LampRole::Running);
    site
}

fn overload() -> SiteParameters {
    let mut site =
        with(Design { name: "Long stable", ..Design::HOUSE }, Cause::MechanicalDrag, 0.6);
    site.demand.watering =
        Some(Watering { hours: Hours { from: 6.5, to: 7.75 }, every_days: 1, flow_lpm: 30.0 });
    lamp(&mut site, 1, "overload", LampRole::Overload);
    site
}

fn supply_dips() -> SiteParameters {
    let mut site = with(
        Design {
            name: "Joinery lane",
            transducer: TransducerKind::Ratiometric,
            daily_l: 3500.0,
            ..Design::HOUSE
        },
        Cause::SupplyDips,
        0.6,
    );
    site.supply.disturbances.push(Disturbances {
        per_day: 2.0,
        hours: Hours::ALL,
        left: (0.0, 0.01),
        length_s: (1.0, 90.0),
    });
    site.causes.push(Cause::SupplyInterruptions);
    lamp(&mut site, 1, "supply", LampRole::Supply);
    site
}
