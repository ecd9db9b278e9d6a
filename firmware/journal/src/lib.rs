//! The journal: a ring of sectors in NOR flash that keeps records through power cuts.
//!
//! [`ring`] (records → pages → sectors, oldest overwritten first; below it mounting and the places
//! of the sectors) beside [`slots`] (settings that outlive a power cut); `ram`, with the feature of
//! that name, is a flash in memory with the physics of a real one.
//!
//! What holds, and is tested by cutting the power at every operation and inside it:
//! - a record handed to [`ring::Journal::commit`] survives, until the ring overwrites its sector;
//! - nothing is ever handed out that was not appended, and order is kept;
//! - flash is never programmed twice between erasures, and every sector is erased equally often;
//! - a sector that fails costs none of the records it was to take, and a rotten byte none outside
//!   its sector.
//!
//! A power cut costs the rest of the sector being written, a supply lost in good order (`rest`) the
//! rest of its page: four times as many such starts as there are sectors, with hardly a record each,
//! overwrite a ring that keeps the newest.
#![no_std]
#![forbid(unsafe_code)]

#[cfg(any(test, feature = "ram"))]
extern crate std;

mod error;
#[cfg(any(test, feature = "ram"))]
pub mod ram;
pub mod ring;
pub mod slots;

pub use error::Error;
pub use ring::Journal;

#[cfg(test)]
mod tests;
