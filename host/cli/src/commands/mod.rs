//! One file a command: resolved arguments in, one call to the crates below.

pub mod analyse;
pub mod arm;
pub mod bundle;
pub mod calibrate;
pub mod collect;
pub mod compare;
pub mod demo;
pub mod export;
pub mod import;
pub mod open;
pub mod plan;
pub mod ports;
pub mod records;
pub mod report;
pub mod verify;
pub mod watch;
