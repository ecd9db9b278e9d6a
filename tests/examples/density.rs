//! How many bytes a day of a site takes in the logger's flash, how many days fit into 16 MiB, and
//! what two general compressors make of the same numbers; prints a table for the notes.
//!
//! `cargo run --release -p pumpwitness-tests --example density [DAYS]`

use pco::ChunkConfig;
use pco::standalone::simple_compress;
use pumpwitness_link::arming;
use pumpwitness_protocol::frame::{self, FRAME_BYTES_MAX};
use pumpwitness_protocol::message::{PageAddress, Request, RequestBody};
use pumpwitness_protocol::page::{
    PAGE_BYTES, PAGES_PER_SECTOR, PageState, PageWriter, SECTOR_BYTES, read_page,
};
use pumpwitness_protocol::record::{Interval, Record, Spread};
use pumpwitness_protocol::sector::SectorHeader;
use pumpwitness_site_model::clock::Hours;
use pumpwitness_site_model::demand::Watering;
use pumpwitness_site_model::design::Design;
use pumpwitness_site_model::{Run, SiteModel, SiteParameters, scenario};
use pumpwitness_virtual_logger::{FLASH_BYTES, VirtualLogger};
use std::time::Instant;

/// 2026-05-04T06:00:00Z, an ordinary Monday.
const START_MS: i64 = 1_777_874_400_000;
const DAY_MS: f64 = 86_400_000.0;
/// Room for any of the sites, so that nothing is overwritten before it is counted.
const ROOM: usize = 4 * FLASH_BYTES;
const ZSTD_LEVEL: i32 = 19;
/// The highest level of the numeric compressor.
const PCO_LEVEL: usize = 12;
/// Goal: a month in the flash at a quarter of the time running, within 1.3 of the best other.
const GOAL_DAYS: f64 = 30.0;
const GOAL_RATIO: f64 = 1.3;

/// A house system that waters until its pump has run a quarter of the day.
fn quarter_duty() -> SiteParameters {
    let mut site = Design { name: "Quarter duty", daily_l: 3000.0, ..Design::HOUSE }.build();
    site.demand.watering =
        Some(Watering { hours: Hours { from: 5.0, to: 12.0 }, every_days: 1, flow_lpm: 34.0 });
    site
}

fn sites() -> Vec<(&'static str, SiteParameters)> {
    let mut sites: Vec<_> = ["healthy", "healthy-drive", "waterlogged-tank", "overdrawn-well"]
        .into_iter()
        .map(|name| (name, scenario(name).expect("a scenario").parameters()))
        .collect();
    sites.push(("quarter duty", quarter_duty()));
    sites
}

fn ask(logger: &mut VirtualLogger, id: u16, body: RequestBody) {
    let mut out = [0; FRAME_BYTES_MAX];
    let frame = frame::encode(&Request { id, body }, &mut out).expect("fits a frame");
    logger.answer(frame, &mut Vec::new());
}

/// The flash of a logger after `days` at a site, and the share of time the pump ran.
fn flash(site: &SiteParameters, days: f64) -> (Vec<u8>, f64) {
    let settings = arming::settings(&site.declared, &site.site_toml()).expect("settings");
    let mut logger = VirtualLogger::new(*b"density1", ROOM, START_MS).expect("a logger");
    ask(&mut logger, 1, RequestBody::PutSettings(settings));
    ask(&mut logger, 2, RequestBody::Arm);
    let mut model = SiteModel::new(site, START_MS, 25);
    model.run(START_MS + (days * DAY_MS) as i64, &mut logger);
    ask(&mut logger, 3, RequestBody::Snapshot);
    assert_eq!(logger.failure(), None);
    let length_ms = |run: &Run| run.stop_ms - run.start_ms;
    let running_ms: i64 = model.truth().runs.iter().map(length_ms).sum();
    (logger.flash_bytes().to_vec(), running_ms as f64 / (days * DAY_MS))
}

/// Everything stored in a flash, in order, and the sectors it takes.
fn records(flash: &[u8]) -> (Vec<Record>, usize) {
    let mut sectors: Vec<_> = flash
        .chunks_exact(SECTOR_BYTES)
        .filter_map(|sector| Some((SectorHeader::decode(sector)?, sector)))
        .collect();
    sectors.sort_by_key(|(header, _)| header.sequence);
    let mut records = Vec::new();
    for (header, sector) in &sectors {
        for page in 0..PAGES_PER_SECTOR {
            let address = PageAddress { sector: header.sequence, page: page as u8 };
            let bytes = sector[page * PAGE_BYTES..][..PAGE_BYTES].try_into().expect("a page");
            let state =
                read_page(bytes, address, header.align.into(), |record| records.push(record));
            assert!(matches!(state, PageState::Good { .. } | PageState::Blank), "{state:?}");
        }
    }
    (records, sectors.len())
}

/// Bytes of these records in pages that are filled to the brim: the codec alone.
fn packed(records: &[Record]) -> usize {
    let mut pages = 0;
    let address = PageAddress { sector: 0, page: 1 };
    let mut writer: Option<PageWriter> = None;
    for record in records {
        if writer.as_mut().is_some_and(|writer| writer.push(record).is_ok()) {
            continue;
        }
        let base_ms = match record {
            Record::Interval(interval) => interval.end_ms - i64::from(interval.span_ms),
            Record::Capture(block) => block.start_ms,
            Record::Mark(mark) => mark.time_ms,
        };
        let mut fresh = PageWriter::new(address, 1, 1, base_ms);
        fresh.push(record).expect("fits an empty page");
        pages += 1;
        writer = Some(fresh);
    }
    pages * PAGE_BYTES
}

/// The numbers of the interval records, column by column; extremes as they are, or as their
/// distances from the mean.
fn columns(intervals: &[Interval], distances: bool) -> (Vec<i64>, Vec<Vec<i32>>) {
    let of = |value: &dyn Fn(&Interval) -> i32| intervals.iter().map(value).collect::<Vec<i32>>();
    let mut columns = vec![
        of(&|i| i.span_ms as i32),
        of(&|i| i.count.into()),
        of(&|i| i.power_w),
        of(&|i| i.frequency_chz.into()),
        of(&|i| i.flags.into()),
    ];
    let spreads: [fn(&Interval) -> Spread; 3] = [|i| i.voltage_dv, |i| i.current_ca, |i| i.signal];
    for spread in spreads {
        columns.push(of(&|i| spread(i).mean));
        for extreme in [|s: Spread| s.min, |s: Spread| s.max] {
            columns.push(of(&|i| {
                let spread = spread(i);
                extreme(spread) - if distances { spread.mean } else { 0 }
            }));
        }
    }
    (intervals.iter().map(|i| i.end_ms).collect(), columns)
}

fn zstd_bytes((times, columns): &(Vec<i64>, Vec<Vec<i32>>)) -> usize {
    let size = |bytes: &[u8]| zstd::bulk::compress(bytes, ZSTD_LEVEL).expect("compresses").len();
    let times: Vec<u8> = times.iter().flat_map(|value| value.to_le_bytes()).collect();
    let column = |column: &Vec<i32>| {
        size(&column.iter().flat_map(|value| value.to_le_bytes()).collect::<Vec<u8>>())
    };
    size(&times) + columns.iter().map(column).sum::<usize>()
}

fn pco_bytes((times, columns): &(Vec<i64>, Vec<Vec<i32>>)) -> usize {
    let config = ChunkConfig::default().with_compression_level(PCO_LEVEL);
    simple_compress(times, &config).expect("compresses").len()
        + columns
            .iter()
            .map(|column| simple_compress(column, &config).expect("compresses").len())
            .sum::<usize>()
}

fn main() {
    let days: f64 = std::env::args().nth(1).and_then(|a| a.parse().ok()).unwrap_or(7.0);
    println!(
        "| site, {days} days | pump runs | intervals a day | captures, marks a day \
         | stored, kB a day | days in 16 MiB | intervals alone: ours, bytes each | zstd -19 | pco \
         | pco, distances | ours / best | read, MB/s |\n|---|---|---|---|---|---|---|---|---|---|---|---|"
    );
    let mut missed = Vec::new();
    for (name, site) in sites() {
        let (flash, duty) = flash(&site, days);
        let begun = Instant::now();
        let (records, sectors) = records(&flash);
        let read_s = begun.elapsed().as_secs_f64();
        let stored = (sectors * SECTOR_BYTES) as f64;
        let intervals: Vec<Interval> = records
            .iter()
            .filter_map(|record| match record {
                Record::Interval(interval) => Some(*interval),
                _ => None,
            })
            .collect();
        let others = records.len() - intervals.len();
        let count = intervals.len() as f64;
        let only: Vec<Record> = intervals.iter().copied().map(Record::Interval).collect();
        let each = packed(&only) as f64 / count;
        let plain = columns(&intervals, false);
        let by_zstd = zstd_bytes(&plain) as f64 / count;
        let by_pco = pco_bytes(&plain) as f64 / count;
        let by_pco_distances = pco_bytes(&columns(&intervals, true)) as f64 / count;
        let ratio = each / by_zstd.min(by_pco).min(by_pco_distances);
        let fit = FLASH_BYTES as f64 / (stored / days);
        println!(
            "| {name} | {:.1} % | {:.0} | {:.0} | {:.0} | {fit:.0} | {each:.2} | {by_zstd:.2} \
             | {by_pco:.2} | {by_pco_distances:.2} | {ratio:.2} | {:.0} |",
            duty * 100.0,
            count / days,
            others as f64 / days,
            stored / days / 1e3,
            stored / read_s / 1e6,
        );
        if ratio > GOAL_RATIO {
            missed.push(format!("{name}: {ratio:.2} of the best, goal {GOAL_RATIO}"));
        }
        if name == "quarter duty" && fit < GOAL_DAYS {
            missed.push(format!("{name}: {fit:.0} days, goal {GOAL_DAYS}"));
        }
    }
    for line in missed {
        println!("\nmissed: {line}");
    }
}
