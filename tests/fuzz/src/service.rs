//! The whole logger behind its line: requests, garbage, half waves, lost supply, in any order.
//! Every answer is a frame that decodes, and an exchange answers no more than was asked for.

use arbitrary::Arbitrary;
use pumpwitness_core::logger::{FrameSink, LineClosed, Logger, Start};
use pumpwitness_core::recorder::Slow;
use pumpwitness_core::wave::HalfWave;
use pumpwitness_journal::ram::{RamFlash, now};
use pumpwitness_protocol::check::crc32;
use pumpwitness_protocol::frame::{Decoder, FRAME_BYTES_MAX, Found};
use pumpwitness_protocol::message::{Reply, WINDOW_PAGES_MAX};
use pumpwitness_protocol::record::BootReason;

#[derive(Arbitrary, Debug)]
enum Step<'a> {
    /// Bytes as they are.
    Line(&'a [u8]),
    /// Bytes as the message of a frame that passes its CRC: request number `tag`.
    Request {
        id: u8,
        tag: u8,
        body: &'a [u8],
    },
    Waves {
        count: u8,
        voltage_v: u16,
        current_ca: u16,
        power_w: i16,
        signal: u16,
        flags: u8,
    },
    Lamps(u8),
    Slow {
        board_dc: i16,
        supply_mv: u16,
        transducer_supply_mv: u16,
    },
    Lost(u16),
    Restart {
        failing: bool,
        later_ms: u32,
    },
}

/// Counts and checks frames.
#[derive(Default)]
struct Checked(usize);

impl FrameSink for Checked {
    async fn send(&mut self, frame: &[u8]) -> Result<(), LineClosed> {
        assert!(frame.len() <= FRAME_BYTES_MAX);
        let (found, rest) = Decoder::new().feed::<Reply>(frame);
        assert!(matches!(found, Some(Found::Message(_))), "an answer nobody can read");
        assert!(rest.is_empty());
        self.0 += 1;
        Ok(())
    }
}

fn start(flash: RamFlash, clock_ms: i64) -> Logger<RamFlash> {
    let start = Start {
        firmware: [0, 1, 0],
        reason: BootReason::PowerOn,
        clock_ms,
        clock_good: true,
        seed: Some(pumpwitness_core::logger::Seed([7; 32])),
    };
    now(Logger::start(flash, *b"logger 7", start)).expect("a flash in memory is always there")
}

fn say(logger: &mut Logger<RamFlash>, bytes: &[u8]) {
    let mut sink = Checked::default();
    // A line in memory does not close.
    let _ = now(logger.serve(bytes, &mut sink));
    // A frame has at least a byte and its end; each may ask for a window.
    let frames = bytes.iter().filter(|byte| **byte == 0).count();
    assert!(sink.0 <= frames * (usize::from(WINDOW_PAGES_MAX) + 1));
}

/// Runs the target on one input.
pub fn run(bytes: &[u8]) {
    let Some(steps) = crate::input::<Vec<Step<'_>>>(bytes) else { return };
    let mut logger = start(RamFlash::erased(10), 1_780_000_000_000);
    for step in steps.into_iter().take(64) {
        match step {
            Step::Line(bytes) => say(&mut logger, bytes),
            Step::Request { id, tag, body } => {
                let mut plain = vec![id % 128, tag % 13];
                plain.extend(body.iter().take(700));
                plain.extend(crc32(&plain).to_le_bytes());
                let mut line = vec![0; cobs::max_encoding_length(plain.len()) + 1];
                let used = cobs::encode(&plain, &mut line);
                line.truncate(used + 1);
                line[used] = 0;
                say(&mut logger, &line);
            }
            Step::Waves { count, voltage_v, current_ca, power_w, signal, flags } => {
                let (mv, ma) = (u64::from(voltage_v) * 1000, u64::from(current_ca) * 10);
                for n in 0..u64::from(count) * 4 {
                    let wave = HalfWave {
                        duration_us: 10_000,
                        voltage_sq_mv2: (mv + n % 7) * (mv + n % 7),
                        current_sq_ma2: (ma + n % 3) * (ma + n % 3),
                        power_mw: i32::from(power_w) * 1000,
                        signal: signal.into(),
                        flags,
                    };
                    if logger.half_wave(&wave) {
                        // A full memory is told by the status.
                        let _ = now(logger.store());
                    }
                }
            }
            Step::Lamps(lit) => logger.lamps(lit),
            Step::Slow { board_dc, supply_mv, transducer_supply_mv } => {
                logger.slow(Slow { board_dc, supply_mv, transducer_supply_mv });
            }
            Step::Lost(frames) => logger.frames_lost(frames.into()),
            Step::Restart { failing, later_ms } => {
                if failing {
                    let _ = now(logger.power_failing(4_200));
                }
                let clock_ms = logger.clock_ms().saturating_add(later_ms.into());
                logger = start(logger.into_flash(), clock_ms);
            }
        }
    }
}
