//! A flash that already holds a journal, written by the same journal code on the host.

use crate::Outcome;
use pumpwitness_journal::Journal;
use pumpwitness_journal::ram::{RamFlash, now};
use pumpwitness_protocol::page::SECTOR_BYTES;
use pumpwitness_protocol::record::{Interval, Record, Spread};
use serde_json::{Value, json};
use std::fs;
use std::path::Path;

/// 2026-02-01T00:00:00Z.
const START_MS: i64 = 1_769_904_000_000;

/// Fills the flash file `path` of `capacity` bytes with ordinary intervals until about `bytes` of
/// it are used; 0 means until the ring has gone round once and a bit.
pub fn fill(path: &Path, bytes: usize, capacity: usize) -> Outcome<Value> {
    let flash = RamFlash::<1>::erased(capacity / SECTOR_BYTES);
    let device = *b"PW\x01\x02\x03\x04\x05\x06";
    let mut journal = now(Journal::mount(flash, device)).map_err(|error| format!("{error:?}"))?;
    let begun = |journal: &Journal<RamFlash>| journal.status().newest_sector as usize;
    let wanted = match bytes {
        0 => capacity / SECTOR_BYTES * 9 / 8,
        bytes => bytes.div_ceil(SECTOR_BYTES),
    };
    let first = begun(&journal);
    let (mut end_ms, mut chance, mut records) = (START_MS, 1_u32, 0_u32);
    while begun(&journal) - first < wanted {
        let mut noise = |spread: u32| {
            chance = chance.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            (chance >> 16) as i32 % spread as i32
        };
        end_ms += 200;
        let spread = |mean: i32, noise: i32| Spread { mean, min: mean - noise, max: mean + noise };
        let record = Record::Interval(Interval {
            end_ms,
            span_ms: 200,
            count: 1,
            voltage_dv: spread(2300 + noise(60), noise(40)),
            current_ca: spread(500 + noise(40), noise(30)),
            power_w: 900 + noise(90),
            signal: spread(5000 + noise(900), noise(200)),
            frequency_chz: 5000 + noise(6) as u16,
            flags: 0,
        });
        now(journal.append(&record, end_ms)).map_err(|error| format!("{error:?}"))?;
        records += 1;
        // As often as the logger makes its records durable.
        if records.is_multiple_of(48) {
            now(journal.commit(end_ms)).map_err(|error| format!("{error:?}"))?;
        }
    }
    now(journal.commit(end_ms)).map_err(|error| format!("{error:?}"))?;
    let status = journal.status();
    fs::write(path, journal.into_flash().bytes())?;
    Ok(json!({
        "records": records, "sectors_used": status.sectors_used, "end_ms": end_ms,
        "newest_sector": status.newest_sector,
    }))
}
