//! The board's arithmetic: what the chips round the processor say and want, without the chips, so
//! that it can be tested where there are none.
//!
//! [`nor`] (identification and commands of the flash) · [`calendar`] (registers of the clock chip) ·
//! [`noise`] (raw bits → seed of the device's key) · [`turn`] (one converter input for two supplies)
//! · [`fault`] (a place kept over a restart) · [`light`] (the status light). `firmware/rp2040` holds
//! the pins and engines.
#![no_std]
#![forbid(unsafe_code)]

#[cfg(test)]
extern crate std;

pub mod calendar;
pub mod fault;
pub mod light;
pub mod noise;
pub mod nor;
pub mod turn;
