//! Records, pages, framing and messages of pumpwitness: the one owner of every byte on the wire,
//! in flash and in an archive. `FORMAT.md` specifies them so that a reader can be written from it
//! alone; this crate follows it.
//!
//! Layers, outermost last: [`record`] (what is stored) → [`codec`] (records as bits) → [`page`]
//! (chunks in a page) → [`sector`] (pages in an erase unit, hash chain) → [`archive`] (sectors in
//! a file), which [`seal`]s vouch for; beside them [`message`] (requests and replies) → [`frame`]
//! (COBS and CRC on a line), and [`slot`], [`device_slot`] and [`rest`] (what outlives a
//! power cut).
#![no_std]
#![forbid(unsafe_code)]

pub mod archive;
pub mod bits;
pub mod calibration;
pub mod check;
pub mod codec;
pub mod device_slot;
pub mod frame;
pub mod hex;
pub mod message;
pub mod page;
pub mod record;
pub mod rest;
mod rice;
pub mod seal;
pub mod sector;
pub mod settings;
pub mod slot;
