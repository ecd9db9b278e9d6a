//! Every fixed word of the report, apart from the code, for translation. Sentences that carry
//! figures are functions; words of the analysis come from the analysis.

pub mod causes;
pub mod compared;
pub mod custody;
pub mod kinds;
pub mod measures;
pub mod page;
pub mod pictures;
pub mod sentences;
pub mod stops;
pub mod uncertainty;

use pumpwitness_analysis::outcome::{PointsTo, Severity};

/// Whose matter it is.
pub fn points_to(to: PointsTo) -> &'static str {
    match to {
        PointsTo::Supply => "the electrical supply",
        PointsTo::Source => "the water source",
        PointsTo::Tank => "the pressure tank",
        PointsTo::Pipework => "the pipework and valves",
        PointsTo::Control => "the control",
        PointsTo::Sensor => "a sensor",
        PointsTo::Motor => "the pump and motor",
        PointsTo::Wiring => "the wiring",
        PointsTo::None => "nothing",
    }
}

/// Severity as a word.
pub fn severity(severity: Severity) -> &'static str {
    match severity {
        Severity::Fault => "fault",
        Severity::Watch => "worth watching",
        Severity::Info => "for information",
    }
}

/// Confidence in words. The borders are this report's own; the figure stands beside the word.
pub fn confidence(value: f64) -> &'static str {
    match value {
        v if v >= 0.9 => "high confidence",
        v if v >= 0.7 => "fair confidence",
        v if v >= 0.4 => "moderate confidence",
        _ => "low confidence",
    }
}

/// A name such as `lowest_voltage` or `low-tank-air` as words.
pub fn words_of(name: &str) -> String {
    name.replace(['_', '-'], " ")
}

/// A limit's name in the analysis as words; its unit stands beside it.
pub fn limit_name(name: &str) -> String {
    let name = name.to_lowercase();
    let units = ["_bar_per_min", "_ma", "_s", "_v", "_a", "_bar"];
    let bare = units.iter().find_map(|unit| name.strip_suffix(unit)).unwrap_or(&name);
    crate::format::capital(&bare.replace('_', " ").replace(" iec", ", IEC"))
}
