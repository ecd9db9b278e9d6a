//! Causes: a headline for page one and a short name for lists.

/// Words for a cause.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Cause {
    /// Cause, as in the analysis.
    pub cause: &'static str,
    /// Short name.
    pub name: &'static str,
    /// Headline; says what it would be, the report says how sure it is.
    pub headline: &'static str,
}

/// Short name of `cause`, known or not.
pub fn name(cause: &str) -> String {
    match CAUSES.iter().find(|known| known.cause == cause) {
        Some(known) => known.name.to_owned(),
        None => super::words_of(cause),
    }
}

/// Headline of `cause`, known or not.
pub fn headline(cause: &str) -> String {
    match CAUSES.iter().find(|known| known.cause == cause) {
        Some(known) => known.headline.to_owned(),
        None => crate::format::capital(&super::words_of(cause)),
    }
}

macro_rules! causes {
    ($($cause:literal, $name:literal, $headline:literal;)*) => {
        &[$(Cause { cause: $cause, name: $name, headline: $headline }),*]
    };
}

/// The catalogue.
pub const CAUSES: &[Cause] = causes! {
    "healthy", "nothing wrong", "This record shows nothing wrong";
    "waterlogged-tank", "tank short of air", "The pressure tank behaves as if short of air";
    "precharge-too-high", "tank precharge too high", "The tank behaves as if charged above the cut-in pressure";
    "differential-too-narrow", "pressure band too narrow", "The pressure switch works in a narrower band than declared";
    "check-valve-leak", "leaking check valve", "Water leaves at rest, perhaps back through the check valve";
    "idle-draw", "water drawn or leaking at rest", "Water leaves the system all the time at rest";
    "source-overdrawn", "source overdrawn", "The pump loses its load, as when the source runs short";
    "restricted-intake", "restricted intake", "The pump moves less water, as with a restricted intake";
    "closed-discharge", "closed outlet", "The pump runs as against a closed outlet";
    "mechanical-drag", "mechanical drag", "The motor draws more than its nameplate allows";
    "locked-rotor", "locked rotor", "The motor does not come up to speed";
    "overheating", "motor too hot", "The motor stops as its heat protection would stop it";
    "supply-dips", "voltage dips of the supply", "The supply voltage dips";
    "supply-interruptions", "interruptions of the supply", "The supply was gone at the place of measurement";
    "supply-undervoltage", "undervoltage of the supply", "The supply voltage stays below its limit";
    "supply-overvoltage", "overvoltage of the supply", "The supply voltage rises above its limit";
    "weak-connection", "weak connection in the supply", "The voltage gives way under the pump's own current";
    "transducer-wiring", "wiring of the transducer", "The pressure signal fails, as with poor contact";
    "transducer-supply", "supply of the transducer", "The pressure signal is limited, as by its own supply";
    "transducer-drift", "drifting transducer", "The pressure signal seems to drift";
    "derated-by-low-supply", "slowed by low supply", "The drive lacks pressure while the supply is low";
    "open-motor-circuit", "open motor circuit", "The pump was called for and drew no current";
    "control-hunting", "hunting control", "The pressure swings evenly under the control";
};
