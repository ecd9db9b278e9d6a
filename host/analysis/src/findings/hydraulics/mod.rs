//! Findings about pressure, tank and pipework.

pub mod cut_out_not_reached;
pub mod dead_head;
pub mod high_tank_air;
pub mod idle_pressure_loss;
pub mod leak_back_at_stop;
pub mod low_tank_air;
pub mod narrow_differential;
pub mod pressure_hunting;
pub mod pressure_spike;
pub mod short_cycling;
pub mod stopped_short;
