//! Stop reasons: letter, name, meaning.

use pumpwitness_analysis::outcome::StopReason;

/// The letter of a reason's sign.
pub fn letter(reason: StopReason) -> &'static str {
    match reason {
        StopReason::CutOut => "C",
        StopReason::NoDemand => "N",
        StopReason::DryRun => "D",
        StopReason::Overload => "O",
        StopReason::OverTemperature => "T",
        StopReason::SupplyLost => "P",
        StopReason::SupplyOutOfRange => "V",
        StopReason::SensorFault => "S",
        StopReason::FailedStart => "F",
        StopReason::Unexplained => "?",
    }
}

/// The reason in a few words.
pub fn name(reason: StopReason) -> &'static str {
    match reason {
        StopReason::CutOut => "cut-out pressure reached",
        StopReason::NoDemand => "no demand, drive asleep",
        StopReason::DryRun => "protection against running dry",
        StopReason::Overload => "overload protection",
        StopReason::OverTemperature => "over-temperature protection",
        StopReason::SupplyLost => "power supply lost",
        StopReason::SupplyOutOfRange => "voltage of the supply out of range",
        StopReason::SensorFault => "sensor fault",
        StopReason::FailedStart => "failed start",
        StopReason::Unexplained => "the record does not say",
    }
}

/// Whether that is ordinary.
pub fn nature(nature: crate::picture::sign::Nature) -> &'static str {
    use crate::picture::sign::Nature;
    match nature {
        Nature::Normal => "ordinary control",
        Nature::Protective => "protection",
        Nature::Supply => "supply",
        Nature::Unexplained => "unexplained",
    }
}
