//! Frames in, records and replies out: metering, recorder, service; no clock, no HAL.
#![no_std]
#![forbid(unsafe_code)]

pub mod wave;
