//! The same conversions through the core on the host, and every record of the emulated logger
//! compared with those that come out there.
//!
//! What the host run cannot know is taken from the logger's own marks: the clock at the start, and
//! between which half waves a snapshot was asked for, the supply's warning came or the
//! clock was compared with its chip. Marks that tell of the board alone (boot,
//! clock, slow readings, seals) are left out of the comparison.

use crate::records::{Kept, archive, of_sectors};
use crate::{Outcome, stage};
use pumpwitness_core::logger::{FrameSink, LineClosed, Logger, Start};
use pumpwitness_core::meter::Meter;
use pumpwitness_core::sampling::{CONVERSIONS, frame, meter_config};
use pumpwitness_journal::ram::{RamFlash, now};
use pumpwitness_protocol::calibration::Calibration;
use pumpwitness_protocol::frame::{FRAME_BYTES_MAX, encode};
use pumpwitness_protocol::message::{Request, RequestBody};
use pumpwitness_protocol::record::{BootReason, Channel, Mark, Record};
use serde_json::{Value, json};
use std::collections::VecDeque;
use std::fs;
use std::path::Path;

/// Where answers go that nobody reads.
struct Nobody;

impl FrameSink for Nobody {
    async fn send(&mut self, _: &[u8]) -> Result<(), LineClosed> {
        Ok(())
    }
}

/// True for records that follow from the conversions alone.
fn compared(record: &Record) -> bool {
    match record {
        Record::Interval(_) | Record::Capture(_) => true,
        Record::Mark(mark) => matches!(
            mark.mark,
            Mark::Lamp { .. }
                | Mark::Voltage { .. }
                | Mark::Sensor { channel: Channel::Transducer, .. }
                | Mark::FramesLost { .. }
                | Mark::CapturesDropped { .. }
                | Mark::RecordsLost { .. }
        ),
    }
}

fn end_ms(record: &Record) -> i64 {
    match record {
        Record::Interval(interval) => interval.end_ms,
        Record::Capture(block) => block.start_ms,
        Record::Mark(mark) => mark.time_ms,
    }
}

/// What came to the logger from outside, between two half waves.
#[derive(Clone, Copy)]
pub enum Happening {
    /// A host asked for a snapshot.
    Snapshot,
    /// The supply's warning.
    Failing,
    /// The clock was compared, and so far ahead of the chip, ms.
    Compared(Option<i64>),
}

/// The happening that a mark tells of, and when it was by the logger's clock.
fn happening(record: &Record) -> Option<(i64, Happening)> {
    let Record::Mark(mark) = record else { return None };
    match mark.mark {
        Mark::Snapshot => Some((mark.time_ms, Happening::Snapshot)),
        Mark::PowerFailing { .. } => Some((mark.time_ms, Happening::Failing)),
        Mark::ClockCompared { ahead_ms, .. } => {
            Some((mark.time_ms, Happening::Compared(ahead_ms.map(i64::from))))
        }
        _ => None,
    }
}

/// A host run over the conversions of `waves`, from a flash as it was before the boot.
pub struct Run {
    /// What it recorded in that boot.
    pub records: Vec<Record>,
    /// Half waves.
    pub half_waves: usize,
}

/// Runs the core over the conversions in `waves` on `flash`, from `clock_ms` on until `until_ms`,
/// with what happens at the given moments of its clock.
pub fn run(
    waves: &Path,
    flash: Vec<u8>,
    calibration: &Calibration,
    clock_ms: i64,
    until_ms: i64,
    happenings: Vec<(i64, Happening)>,
) -> Outcome<Run> {
    let settings = stage::settings(&fs::read_to_string(waves.join("site.toml"))?)?;
    let bytes = fs::read(waves.join("conversions.bin"))?;
    let stage: Value = serde_json::from_slice(&fs::read(waves.join("stage.json"))?)?;
    let mut lamps: VecDeque<(u64, u8)> = serde_json::from_value(stage["lamps"].clone())?;
    let mut meter = Meter::new(meter_config(&settings, calibration))?;
    let start = Start {
        firmware: [0, 1, 0],
        reason: BootReason::PowerOn,
        clock_ms,
        clock_good: true,
        // The key was made at an earlier start.
        seed: None,
    };
    let mut logger =
        now(Logger::start(RamFlash::<1>::from_bytes(flash), *b"PW\x01\x02\x03\x04\x05\x06", start))
            .map_err(|error| format!("{error:?}"))?;
    if *logger.settings() != settings {
        return Err("the logger was not armed with the settings of this stage".into());
    }
    let mut happenings = VecDeque::from(happenings);
    let (mut at, mut lit, mut half_waves) = (0, 0, 0);
    while at + 2 * CONVERSIONS <= bytes.len() && logger.clock_ms() < until_ms {
        let (frame, _) = frame(stage::CODES, || {
            at += 2;
            u16::from_le_bytes([bytes[at - 2], bytes[at - 1]])
        });
        let Some(half) = meter.push(&frame) else { continue };
        half_waves += 1;
        while let Some((_, bits)) = lamps.pop_front_if(|(edge, _)| *edge <= at as u64 / 2) {
            lit = bits;
        }
        logger.lamps(lit);
        let to_store = logger.half_wave(&half);
        let clock_ms = logger.clock_ms();
        // The board compares before it stores.
        if let Some((at_ms, Happening::Compared(ahead_ms))) = happenings.front().copied()
            && at_ms == clock_ms
        {
            happenings.pop_front();
            logger.clock_compared(ahead_ms);
        }
        if to_store {
            now(logger.store()).map_err(|error| format!("{error:?}"))?;
        }
        while let Some((_, what)) = happenings.pop_front_if(|(at_ms, _)| *at_ms == clock_ms) {
            match what {
                // Two comparisons in one half wave: there is no such thing.
                Happening::Compared(_) => {}
                Happening::Failing => {
                    now(logger.power_failing(0)).map_err(|error| format!("{error:?}"))?;
                }
                Happening::Snapshot => {
                    let mut buffer = [0; FRAME_BYTES_MAX];
                    let request = Request { id: 1, body: RequestBody::Snapshot };
                    let bytes =
                        encode(&request, &mut buffer).map_err(|error| format!("{error:?}"))?;
                    now(logger.serve(bytes, &mut Nobody))?;
                }
            }
        }
    }
    if !happenings.is_empty() {
        return Err("the host's clock never stood where the logger's did".into());
    }
    // What is not yet stored.
    now(logger.power_failing(0)).map_err(|error| format!("{error:?}"))?;
    let flash = logger.into_flash();
    let Kept { records, .. } = of_sectors(flash.bytes());
    let boot = records.iter().map(|(boot, _)| *boot).max().unwrap_or(0);
    Ok(Run {
        records: records
            .into_iter()
            .filter(|(of, _)| *of == boot)
            .map(|(_, record)| record)
            .collect(),
        half_waves,
    })
}

/// Marks of a boot lie so close to when it was, ms.
const CLOSE_MS: i64 = 2500;

/// Compares the records of the boot at about `boot_ms` in an archive with a host run from the flash
/// before that boot. Those of a boot that ended without warning may stop early, by what the power
/// cut cost; none may differ.
pub fn compare(waves: &Path, before: &Path, path: &Path, boot_ms: i64) -> Outcome<Value> {
    let (header, sectors) = archive(path)?;
    let kept = of_sectors(&sectors);
    let boot = kept.records.iter().find_map(|(boot, record)| match record {
        Record::Mark(mark)
            if matches!(mark.mark, Mark::Boot { .. })
                && (mark.time_ms - boot_ms).abs() < CLOSE_MS =>
        {
            Some((*boot, mark.time_ms))
        }
        _ => None,
    });
    // Cut off before anything was made durable.
    let Some((boot, clock_ms)) = boot else { return Ok(json!({"records": 0, "same": 0})) };
    let image: Vec<&Record> =
        kept.records.iter().filter(|(of, _)| *of == boot).map(|(_, record)| record).collect();
    let happenings = image.iter().filter_map(|record| happening(record)).collect();
    let last_ms = image.iter().map(|record| end_ms(record)).max().unwrap_or(clock_ms);
    let host =
        run(waves, fs::read(before)?, &header.calibration, clock_ms, last_ms + 20_000, happenings)?;
    let image: Vec<&Record> = image.into_iter().filter(|record| compared(record)).collect();
    let expected: Vec<&Record> = host.records.iter().filter(|record| compared(record)).collect();
    let same = image.iter().zip(&expected).take_while(|(image, host)| image == host).count();
    let of = |what: fn(&Record) -> bool| image[..same].iter().filter(|record| what(record)).count();
    let first_difference = (same < image.len()).then(|| {
        json!({"image": format!("{:?}", image[same]), "host": format!("{:?}", expected.get(same))})
    });
    Ok(json!({
        "records": image.len(),
        "same": same,
        "intervals": of(|record| matches!(record, Record::Interval(_))),
        "captures": of(|record| matches!(record, Record::Capture(_))),
        "marks": of(|record| matches!(record, Record::Mark(_))),
        "half_waves": host.half_waves,
        "clock_ms": clock_ms,
        "last_ms": image.last().map(|record| end_ms(record)),
        // The first record that the host has and the image has not.
        "missing_ms": expected.get(image.len()).map(|record| end_ms(record)),
        "first_difference": first_difference,
    }))
}
