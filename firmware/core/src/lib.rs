//! Frames in, records and replies out: metering, recorder, service; no clock, no HAL.
//!
//! [`meter`] (frames → half waves) → [`recorder`] (half waves → records) → the journal, tied
//! together with [`service`] (requests → replies) by [`logger`].
#![no_std]
#![forbid(unsafe_code)]

pub mod calibration;
mod capture;
mod clock;
mod deadband;
mod events;
mod fundamental;
pub mod half_cycle;
mod health;
mod integral;
mod interval;
mod lamps;
mod log;
pub mod logger;
pub mod meter;
mod output;
pub mod recorder;
pub mod sampling;
mod sealing;
mod sensor;
pub mod service;
mod slew;
mod timing;
pub mod wave;
