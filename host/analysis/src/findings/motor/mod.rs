//! Findings about the motor.

pub mod changed_running_current;
pub mod failed_start;
pub mod locked_rotor;
pub mod no_draw;
pub mod over_temperature_pattern;
pub mod overload;
pub mod speed_reduction;
