//! Quantities of the site file: what each measures, how its unit may be spelled, and its bounds.
//!
//! The bounds keep out slips of the pen (a comma lost, kPa written as bar), they do not judge an
//! installation. They are chosen by us so that anything built for a water well or a booster set
//! lies inside, and where the logger has a limit of its own (`shared-protocol`, settings) it is
//! the same one.

/// A number of the site file.
#[derive(Debug)]
pub struct Quantity {
    /// Name of the key without the unit.
    pub stem: &'static str,
    /// What it is called in a sentence.
    pub noun: &'static str,
    /// Spellings of the unit; the first is the one the program works in.
    pub spellings: &'static [Spelling],
    /// Least value, in the first unit.
    pub min: f64,
    /// Greatest value, in the first unit.
    pub max: f64,
}

/// One way to give a quantity.
#[derive(Debug)]
pub struct Spelling {
    /// End of the key.
    pub suffix: &'static str,
    /// Unit as printed.
    pub unit: &'static str,
    /// How many of the first unit make one of this.
    pub factor: f64,
}

impl Quantity {
    /// Key in this spelling.
    pub fn key(&self, spelling: &Spelling) -> String {
        format!("{}{}", self.stem, spelling.suffix)
    }

    /// All keys that give this quantity, the preferred one first.
    pub fn keys(&self) -> impl Iterator<Item = String> {
        self.spellings.iter().map(|spelling| self.key(spelling))
    }
}

const fn only(suffix: &'static str, unit: &'static str) -> [Spelling; 1] {
    [Spelling { suffix, unit, factor: 1.0 }]
}

static VOLTS: [Spelling; 1] = only("_v", "V");
static AMPERES: [Spelling; 1] = only("_a", "A");
static SECONDS: [Spelling; 1] = only("_s", "s");
static PER_HOUR: [Spelling; 1] = only("", "per hour");
static PLAIN: [Spelling; 1] = only("", "");

/// bar in a pound-force per square inch.
pub const BAR_PER_PSI: f64 = 0.068_947_572_931_68;

/// One pound-force per square inch is 6894.757 293 168 Pa (from the international pound, the inch
/// and the standard acceleration of free fall, all exact).
static PRESSURE: [Spelling; 3] = [
    Spelling { suffix: "_bar", unit: "bar", factor: 1.0 },
    Spelling { suffix: "_kpa", unit: "kPa", factor: 0.01 },
    Spelling { suffix: "_psi", unit: "psi", factor: BAR_PER_PSI },
];

/// One US gallon is 231 cubic inches, 3.785 411 784 L exactly.
static VOLUME: [Spelling; 2] = [
    Spelling { suffix: "_l", unit: "L", factor: 1.0 },
    Spelling { suffix: "_gal", unit: "gal", factor: 3.785_411_784 },
];
static FLOW: [Spelling; 2] = [
    Spelling { suffix: "_lpm", unit: "L/min", factor: 1.0 },
    Spelling { suffix: "_gpm", unit: "gal/min", factor: 3.785_411_784 },
];

macro_rules! quantities {
    ($($name:ident: $stem:literal, $noun:literal, $spellings:ident, $min:literal, $max:literal;)*) => {
        $(
            #[doc = $noun]
            pub static $name: Quantity = Quantity {
                stem: $stem,
                noun: $noun,
                spellings: &$spellings,
                min: $min,
                max: $max,
            };
        )*
    };
}

quantities! {
    // name             stem                   noun                             unit       min    max
    NOMINAL:            "nominal",             "nominal voltage",               VOLTS,     50.0,  700.0;
    RATED_CURRENT:      "rated_current",       "rated motor current",           AMPERES,   0.1,   200.0;
    SERVICE_FACTOR:     "service_factor",      "service factor",                PLAIN,     1.0,   2.0;
    CUT_IN:             "cut_in",              "cut-in pressure",               PRESSURE,  0.05,  100.0;
    CUT_OUT:            "cut_out",             "cut-out pressure",              PRESSURE,  0.05,  100.0;
    SETPOINT:           "setpoint",            "held pressure",                 PRESSURE,  0.05,  100.0;
    VOLUME_OF_TANK:     "volume",              "tank volume",                   VOLUME,    0.1,   100_000.0;
    PRECHARGE:          "precharge",           "precharge",                     PRESSURE,  0.0,   100.0;
    LOW:                "low",                 "low end of the transducer",     PRESSURE,  -1.1,  1000.0;
    HIGH:               "high",                "high end of the transducer",    PRESSURE,  -1.0,  1000.0;
    RATED_FLOW:         "rated_flow",          "rated flow",                    FLOW,      0.1,   100_000.0;
    MIN_RUN:            "min_run",             "shortest good run",             SECONDS,   1.0,   86_400.0;
    MAX_STARTS:         "max_starts_per_hour", "most starts in an hour",        PER_HOUR,  0.1,   3600.0;
}

/// What a key of the site file holds.
#[derive(Debug)]
pub enum Key {
    /// A number with a unit.
    Number(&'static Quantity),
    /// A word, a text or a count under this name.
    Named(&'static str),
}

/// Numbers of the inputs that watch lamps.
const INPUTS: &[Key] = &[
    Key::Named("1"),
    Key::Named("2"),
    Key::Named("3"),
    Key::Named("4"),
    Key::Named("5"),
    Key::Named("6"),
    Key::Named("7"),
    Key::Named("8"),
];

/// Every section and its keys.
pub static SECTIONS: [(&str, &[Key]); 11] = [
    (
        "site",
        &[
            Key::Named("name"),
            Key::Named("customer"),
            Key::Named("address"),
            Key::Named("time_zone"),
            Key::Named("units"),
        ],
    ),
    ("supply", &[Key::Number(&NOMINAL), Key::Named("frequency_hz"), Key::Named("phases")]),
    ("motor", &[Key::Number(&RATED_CURRENT), Key::Number(&SERVICE_FACTOR), Key::Named("start")]),
    (
        "control",
        &[Key::Named("kind"), Key::Number(&CUT_IN), Key::Number(&CUT_OUT), Key::Number(&SETPOINT)],
    ),
    ("tank", &[Key::Number(&VOLUME_OF_TANK), Key::Number(&PRECHARGE)]),
    ("transducer", &[Key::Named("kind"), Key::Number(&LOW), Key::Number(&HIGH)]),
    ("pump", &[Key::Number(&RATED_FLOW)]),
    ("limits", &[Key::Number(&MIN_RUN), Key::Number(&MAX_STARTS)]),
    ("lamps", INPUTS),
    ("lamp_means", INPUTS),
    (
        "fit",
        &[
            Key::Named("by"),
            Key::Named("on"),
            Key::Named("reason"),
            Key::Named("transducer_serial"),
            Key::Named("clamp_serial"),
            Key::Named("sense_serial"),
            Key::Named("checks"),
        ],
    ),
];

/// All keys of a section, every spelling.
pub fn keys_of(keys: &[Key]) -> Vec<String> {
    keys.iter()
        .flat_map(|key| match key {
            Key::Number(quantity) => quantity.keys().collect(),
            Key::Named(name) => vec![(*name).to_owned()],
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// NIST SP 811 appendix B.8 (from memory): 1 psi = 6.894 757 E+03 Pa; 1 gal (US) =
    /// 3.785 412 E-03 m³.
    #[test]
    fn factors_agree_with_a_conversion_table() {
        let factor = |q: &Quantity, suffix: &str| {
            q.spellings.iter().find(|s| s.suffix == suffix).map(|s| s.factor).unwrap()
        };
        assert!((factor(&CUT_IN, "_psi") - 6.894_757e3 / 1e5).abs() < 1e-8);
        assert!((factor(&CUT_IN, "_kpa") - 0.01).abs() < 1e-15);
        assert!((factor(&VOLUME_OF_TANK, "_gal") - 3.785_412).abs() < 1e-6);
        assert!((factor(&RATED_FLOW, "_gpm") - 3.785_412).abs() < 1e-6);
    }
}
