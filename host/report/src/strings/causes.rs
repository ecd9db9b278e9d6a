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
    "waterlogged-tank", "tank short of air", "The pressure tank has lost its air cushion";
    "precharge-too-high", "tank precharge too high", "The tank's precharge is too high for the switch";
    "differential-too-narrow", "pressure band too narrow", "The pressure switch works in too narrow a band";
    "check-valve-leak", "leaking check valve", "The check valve lets water back";
    "idle-draw", "water drawn or leaking at rest", "Water leaves the system while nobody asks for it";
    "source-overdrawn", "source overdrawn", "The source gives less water than the pump takes";
    "restricted-intake", "restricted intake", "The intake of the pump is restricted";
    "closed-discharge", "closed outlet", "The pump works against a closed outlet";
    "mechanical-drag", "mechanical drag", "Something drags in the pump or motor";
    "locked-rotor", "locked rotor", "The motor does not turn";
    "overheating", "motor too hot", "The motor stops because it gets too hot";
    "supply-dips", "voltage dips of the supply", "The supply voltage dips";
    "supply-interruptions", "interruptions of the supply", "The supply is interrupted";
    "supply-undervoltage", "undervoltage of the supply", "The supply voltage is too low";
    "supply-overvoltage", "overvoltage of the supply", "The supply voltage is too high";
    "weak-connection", "weak connection in the supply", "A connection in the supply is weak";
    "transducer-wiring", "wiring of the transducer", "The wiring of the pressure transducer fails";
    "transducer-supply", "supply of the transducer", "The supply of the pressure transducer fails";
    "transducer-drift", "drifting transducer", "The pressure transducer drifts";
    "derated-by-low-supply", "slowed by low supply", "The drive slows down because the supply is low";
    "open-motor-circuit", "open motor circuit", "The circuit to the motor is open";
    "control-hunting", "hunting control", "The control makes the pressure swing";
};
