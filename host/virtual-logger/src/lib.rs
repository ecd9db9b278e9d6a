//! The logger's own code inside the host, behind a virtual serial port: the same recorder, journal
//! and service that run on the microcontroller, over a flash in memory.
//!
//! [`VirtualLogger`] takes half waves from a site model and answers a line; [`port`] puts it behind
//! a pseudo-terminal that a program opens as it opens a real port.
#![forbid(unsafe_code)]

#[cfg(unix)]
pub mod port;
#[cfg(unix)]
pub mod pty;

use embassy_futures::block_on;
use pumpwitness_core::logger::{FrameSink, LineClosed, Logger, Seed, Start};
use pumpwitness_core::recorder::Slow;
use pumpwitness_core::wave::HalfWave;
use pumpwitness_journal::Error;
use pumpwitness_journal::ram::{RamError, RamFlash};
use pumpwitness_protocol::page::SECTOR_BYTES;
use pumpwitness_protocol::record::BootReason;
use pumpwitness_protocol::settings::TransducerKind;
use pumpwitness_site_model::Sink;
use sha2::{Digest, Sha256};

/// Firmware version of this build, major · minor · patch.
pub const FIRMWARE: [u8; 3] = [0, 1, 0];

/// Flash of the board as designed, bytes.
pub const FLASH_BYTES: usize = 16 << 20;

/// Supplies of a healthy logger, mV, and an ordinary board temperature, 0.1 °C.
const SUPPLY_MV: u16 = 5_000;
const LOOP_SUPPLY_MV: u16 = 24_000;
const RATIOMETRIC_SUPPLY_MV: u16 = 5_000;
const BOARD_DC: i16 = 240;
/// Supply at which the logger notices that it is losing it, mV.
const FAILING_MV: u16 = 4_200;
/// Half waves between two slow readings: about a second.
const SLOW_EVERY: u32 = 100;

/// Why a virtual logger stopped.
pub type Failure = Error<RamError>;

/// A logger in memory.
pub struct VirtualLogger {
    device: [u8; 8],
    state: State,
    since_slow: u32,
    failure: Option<Failure>,
}

enum State {
    On(Box<Logger<RamFlash>>),
    /// Without supply; the flash keeps what it holds.
    Off(Box<RamFlash>),
    /// Starting failed; [`VirtualLogger::failure`] says why.
    Broken,
}

impl VirtualLogger {
    /// A logger with an erased flash of `flash_bytes`, switched on at `clock_ms` (ms since 1970).
    pub fn new(device: [u8; 8], flash_bytes: usize, clock_ms: i64) -> Result<Self, Failure> {
        let flash = RamFlash::erased(flash_bytes / SECTOR_BYTES);
        let logger = switch_on(device, flash, clock_ms)?;
        Ok(Self { device, state: State::On(Box::new(logger)), since_slow: 0, failure: None })
    }

    /// The first thing that went wrong since the start, if anything did.
    pub fn failure(&self) -> Option<Failure> {
        self.failure
    }

    /// Bytes of the flash as they stand.
    pub fn flash_bytes(&self) -> &[u8] {
        match &self.state {
            State::On(logger) => logger.flash().bytes(),
            State::Off(flash) => flash.bytes(),
            State::Broken => &[],
        }
    }

    /// Answers bytes from a line; what has no supply says nothing.
    pub fn answer(&mut self, bytes: &[u8], answer: &mut Vec<u8>) {
        if let State::On(logger) = &mut self.state {
            // A line in memory does not close.
            let _ = block_on(logger.serve(bytes, &mut Gathering(answer)));
        }
    }

    fn note(&mut self, outcome: Result<(), Failure>) {
        if let Err(failure) = outcome {
            self.failure.get_or_insert(failure);
        }
    }
}

fn switch_on(device: [u8; 8], flash: RamFlash, clock_ms: i64) -> Result<Logger<RamFlash>, Failure> {
    let reason = BootReason::PowerOn;
    let seed = Some(seed(device));
    block_on(Logger::start(
        flash,
        device,
        Start { firmware: FIRMWARE, reason, clock_ms, clock_good: true, seed },
    ))
}

/// The key of a simulated logger: made from its number, so that the same story gives the same
/// bytes each time. Anyone can make it, so its seals prove nothing; a real device takes noise.
fn seed(device: [u8; 8]) -> Seed {
    let hash = Sha256::new_with_prefix(b"pumpwitness simulated logger ").chain_update(device);
    Seed(hash.finalize().into())
}

impl Sink for VirtualLogger {
    fn half_wave(&mut self, wave: &HalfWave) {
        let State::On(logger) = &mut self.state else { return };
        self.since_slow += 1;
        if self.since_slow == SLOW_EVERY {
            self.since_slow = 0;
            logger.slow(Slow {
                board_dc: BOARD_DC,
                supply_mv: SUPPLY_MV,
                transducer_supply_mv: match logger.settings().transducer {
                    TransducerKind::Absent => 0,
                    TransducerKind::Loop => LOOP_SUPPLY_MV,
                    TransducerKind::Ratiometric => RATIOMETRIC_SUPPLY_MV,
                },
            });
        }
        if logger.half_wave(wave) {
            let mut outcome = block_on(logger.store());
            if logger.seal_due() {
                outcome = outcome.and(block_on(logger.seal()));
            }
            self.note(outcome);
        }
    }

    fn lamps(&mut self, lit: u8, _at_us: i64) {
        if let State::On(logger) = &mut self.state {
            logger.lamps(lit);
        }
    }

    fn logger_power(&mut self, on: bool, at_us: i64) {
        self.state = match (core::mem::replace(&mut self.state, State::Broken), on) {
            (State::On(mut logger), false) => {
                let outcome = block_on(logger.power_failing(FAILING_MV));
                self.note(outcome);
                State::Off(Box::new(logger.into_flash()))
            }
            // The clock's battery has kept the time.
            (State::Off(flash), true) => match switch_on(self.device, *flash, at_us / 1000) {
                Ok(logger) => State::On(Box::new(logger)),
                Err(failure) => {
                    self.note(Err(failure));
                    State::Broken
                }
            },
            (state, _) => state,
        };
    }
}

#[cfg(unix)]
impl port::Device for VirtualLogger {
    fn receive(&mut self, bytes: &[u8], answer: &mut Vec<u8>) {
        self.answer(bytes, answer);
    }
}

struct Gathering<'a>(&'a mut Vec<u8>);

impl FrameSink for Gathering<'_> {
    async fn send(&mut self, frame: &[u8]) -> Result<(), LineClosed> {
        self.0.extend_from_slice(frame);
        Ok(())
    }
}
