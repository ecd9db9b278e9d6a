extern crate std;
use super::*;
use embassy_futures::block_on;
use proptest::prelude::*;
use pumpwitness_journal::ram::RamFlash;
use pumpwitness_protocol::message::{PROTOCOL_VERSION, RequestBody};
use pumpwitness_protocol::page::{PageState, SECTOR_BYTES, read_page};
use pumpwitness_protocol::record::{BootReason, CaptureBlock, Interval, TimedMark, Trigger};
use pumpwitness_protocol::settings::WhenFull;
use std::vec::Vec as List;

const START_MS: i64 = 1_780_000_000_000;
const DEVICE: [u8; 8] = *b"device01";

type Ram = RamFlash<1>;

/// A flash whose ring has so many sectors.
fn ram(ring: usize) -> Ram {
    RamFlash::erased(pumpwitness_journal::slots::FIXED as usize + ring)
}

/// Frames as a host would decode them.
#[derive(Default)]
struct Host {
    decoder: Decoder,
    replies: List<Reply>,
}

impl FrameSink for Host {
    async fn send(&mut self, frame: &[u8]) -> Result<(), LineClosed> {
        let (found, rest) = self.decoder.feed::<Reply>(frame);
        assert!(rest.is_empty());
        match found {
            Some(Found::Message(reply)) => self.replies.push(reply),
            other => panic!("{other:?}"),
        }
        Ok(())
    }
}

fn start(flash: Ram, clock_ms: i64) -> Logger<Ram> {
    let start = Start {
        firmware: [0, 1, 0],
        reason: BootReason::PowerOn,
        clock_ms,
        clock_good: false,
        seed: Some(Seed([7; 32])),
    };
    block_on(Logger::start(flash, DEVICE, start)).unwrap()
}

fn ask(logger: &mut Logger<Ram>, id: u16, body: RequestBody) -> List<ReplyBody> {
    let mut buffer = [0; FRAME_BYTES_MAX];
    let frame = frame::encode(&Request { id, body }, &mut buffer).unwrap();
    let mut host = Host::default();
    block_on(logger.serve(frame, &mut host)).unwrap();
    assert!(host.replies.iter().all(|reply| reply.id == id));
    host.replies.into_iter().map(|reply| reply.body).collect()
}

fn half(running: bool) -> HalfWave {
    HalfWave {
        duration_us: 10_000,
        voltage_sq_mv2: 230_000 * 230_000,
        current_sq_ma2: if running { 36_000_000 } else { 100 },
        power_mw: if running { 1_100_000 } else { 0 },
        signal: 5000,
        flags: 0,
    }
}

fn feed(logger: &mut Logger<Ram>, seconds: u32, running: bool) {
    for _ in 0..seconds * 100 {
        if logger.half_wave(&half(running)) {
            block_on(logger.store()).unwrap();
        }
    }
}

/// All records that a download gives; no page may be damaged.
fn download(logger: &mut Logger<Ram>) -> List<Record> {
    let (records, damaged) = download_all(logger);
    assert_eq!(damaged, 0);
    records
}

/// All records that a download gives, and the number of pages whose head did not pass.
fn download_all(logger: &mut Logger<Ram>) -> (List<Record>, usize) {
    let mut damaged = 0;
    let [ReplyBody::Snapshot(range)] = ask(logger, 1, RequestBody::Snapshot)[..] else { panic!() };
    let mut next = PageAddress { sector: range.first_sector, page: 0 };
    let mut records = List::new();
    while next.sector <= range.last_sector {
        let read = RequestBody::ReadPages { first: next, count: 100 };
        for body in ask(logger, 2, read) {
            match body {
                ReplyBody::Page { address, bytes } => {
                    let bytes: &[u8; PAGE_BYTES] = bytes.as_slice().try_into().unwrap();
                    let state = read_page(bytes, address, 1, |record| records.push(record));
                    damaged += usize::from(matches!(state, PageState::Damaged));
                }
                ReplyBody::PageGone { address } => assert!(address.sector > range.last_sector),
                ReplyBody::PagesEnd { next: end } => next = end,
                other => panic!("{other:?}"),
            }
        }
    }
    (records, damaged)
}

fn intervals(records: &[Record]) -> List<Interval> {
    let interval = |record: &Record| match record {
        Record::Interval(interval) => Some(*interval),
        _ => None,
    };
    records.iter().filter_map(interval).collect()
}

fn assert_gapless(intervals: &[Interval], from_ms: i64) {
    let mut end_ms = from_ms;
    for interval in intervals {
        assert_eq!(interval.end_ms - i64::from(interval.span_ms), end_ms);
        end_ms = interval.end_ms;
    }
}

fn marks(records: &[Record]) -> List<Mark> {
    let mark = |record: &Record| match record {
        Record::Mark(TimedMark { mark, .. }) => Some(mark.clone()),
        _ => None,
    };
    records.iter().filter_map(mark).collect()
}

#[test]
fn a_visit_to_a_site() {
    let mut logger = start(ram(62), START_MS);
    let [ReplyBody::Hello(identity)] = &ask(&mut logger, 1, RequestBody::Hello { protocol: 1 })[..]
    else {
        panic!()
    };
    assert!(!identity.clock_good);
    let settings = Settings { nominal_dv: 2400, ..Settings::default() };
    let text = Vec::from_slice(b"[supply]\nnominal_v = 240\n").unwrap();
    let now_ms = START_MS + 5_000_000;
    for body in [
        RequestBody::SetClock { unix_ms: now_ms },
        RequestBody::PutSettings(settings.clone()),
        RequestBody::PutSite { offset: 0, total: text.len() as u16, bytes: text.clone() },
        RequestBody::Arm,
    ] {
        assert_eq!(ask(&mut logger, 7, body), [ReplyBody::Done]);
    }
    feed(&mut logger, 60, false);
    feed(&mut logger, 30, true);
    feed(&mut logger, 60, false);

    let records = download(&mut logger);
    assert_gapless(&intervals(&records), now_ms);
    assert_eq!(intervals(&records).last().unwrap().end_ms, now_ms + 150_000);
    let digest = digest(&settings);
    let marks = marks(&records);
    assert!(matches!(marks[0], Mark::Boot { reason: BootReason::PowerOn, .. }));
    assert!(matches!(marks[1], Mark::Settings { .. }));
    assert_eq!(
        marks[2..],
        [
            Mark::ClockSet { before_ms: START_MS },
            Mark::Settings { digest },
            Mark::Armed,
            Mark::Snapshot
        ]
    );
    let [ReplyBody::Status(status)] = ask(&mut logger, 3, RequestBody::Status)[..] else {
        panic!()
    };
    assert!(status.armed && !status.full && status.records > 150);
    let [ReplyBody::Live(live)] = ask(&mut logger, 3, RequestBody::Live)[..] else { panic!() };
    assert_eq!((live.voltage_dv, live.running), (2300, false));

    // After a restart settings, site text and arming are still there.
    let mut logger = start(logger.into_flash(), now_ms + 200_000);
    assert_eq!(ask(&mut logger, 1, RequestBody::GetSettings), [ReplyBody::Settings(settings)]);
    let total = text.len() as u16;
    assert_eq!(
        ask(&mut logger, 1, RequestBody::GetSite { offset: 0 }),
        [ReplyBody::Site { offset: 0, total, bytes: text }]
    );
    let [ReplyBody::Status(status)] = ask(&mut logger, 3, RequestBody::Status)[..] else {
        panic!()
    };
    assert!(status.armed);
}

/// Whenever the supply is cut, what is older than ten seconds is in the flash.
#[test]
fn a_cut_costs_ten_seconds_at_most() {
    let settings = Settings { merge_max_s: 60, ..Settings::default() };
    let mut logger = start(ram(62), START_MS);
    ask(&mut logger, 1, RequestBody::PutSettings(settings));
    let mut worst_ms = 0;
    for n in 0..20_000_u32 {
        let running = (3000..6000).contains(&n) || (9000..9100).contains(&n);
        if logger.half_wave(&half(running)) {
            block_on(logger.store()).unwrap();
        }
        if n % 97 == 0 || n % 950 > 940 {
            let mut after = start(logger.journal.flash().clone(), logger.clock_ms());
            let records = download(&mut after);
            let intervals = intervals(&records);
            let kept_ms = intervals.last().map_or(START_MS, |interval| interval.end_ms);
            assert_gapless(&intervals, START_MS);
            worst_ms = worst_ms.max(logger.clock_ms() - kept_ms);
        }
    }
    std::eprintln!("worst loss {worst_ms} ms");
    assert!(worst_ms <= 10_000, "{worst_ms} ms");
}

/// The same with the cut inside a programming or an erasure, at steps spread over a run that goes
/// round the ring several times.
#[test]
fn a_torn_write_costs_ten_seconds_at_most() {
    let run = |fuse: Option<usize>| {
        let mut flash = ram(6);
        flash.set_fuse(fuse);
        let start_with = Start {
            firmware: [0, 1, 0],
            reason: BootReason::PowerOn,
            clock_ms: START_MS,
            clock_good: true,
            seed: Some(Seed([7; 32])),
        };
        let Ok(mut logger) = block_on(Logger::start(flash, DEVICE, start_with)) else {
            return None;
        };
        for n in 0..60_000_u32 {
            // Much noise, to fill sectors quickly; a rest now and then.
            let noise = n.wrapping_mul(2_654_435_761) >> 16;
            let half = HalfWave {
                signal: 5000 + (noise >> 4) as i32,
                power_mw: noise as i32 * 30,
                voltage_sq_mv2: (230_000 + u64::from(noise)).pow(2),
                ..half(n % 6000 > 600)
            };
            if logger.half_wave(&half) && block_on(logger.store()).is_err() {
                break;
            }
        }
        Some((logger.clock_ms(), logger.into_flash()))
    };
    let (_, whole) = run(None).unwrap();
    assert!(
        whole.counts().erased[pumpwitness_journal::slots::FIXED as usize..]
            .iter()
            .all(|erased| *erased >= 2),
        "goes round the ring"
    );
    let steps = whole.steps();
    let mut worst_ms = 0;
    for cut in (300..steps).step_by(steps / 200) {
        let Some((cut_ms, mut flash)) = run(Some(cut)) else { continue };
        flash.set_fuse(None);
        let mut after = start(flash, cut_ms);
        let (records, damaged) = download_all(&mut after);
        assert!(damaged <= 1, "cut {cut}: only the page being written may be torn");
        let kept = intervals(&records);
        let Some(last) = kept.last() else {
            assert!(cut_ms - START_MS <= 10_000, "cut {cut}");
            continue;
        };
        worst_ms = worst_ms.max(cut_ms - last.end_ms);
        assert!(cut_ms - last.end_ms <= 10_000, "cut {cut}: {} ms", cut_ms - last.end_ms);
        assert_gapless(&kept, kept[0].end_ms - i64::from(kept[0].span_ms));
    }
    std::eprintln!("{steps} steps, worst loss {worst_ms} ms");
}

#[test]
fn a_failing_supply_flushes_everything() {
    let mut logger = start(ram(62), START_MS);
    feed(&mut logger, 3, false);
    feed(&mut logger, 4, true);
    for _ in 0..7 {
        logger.half_wave(&half(true));
    }
    block_on(logger.power_failing(3900)).unwrap();
    let mut after = start(logger.into_flash(), START_MS + 100_000);
    let records = download(&mut after);
    assert_eq!(intervals(&records).last().unwrap().end_ms, START_MS + 7070);
    assert!(marks(&records).contains(&Mark::PowerFailing { supply_mv: 3900 }));
}

/// A memory that is full and keeps the oldest still starts, answers and is read; released, it
/// records again and says what was lost.
#[test]
fn a_full_memory_goes_on_answering() {
    let mut logger = start(ram(6), START_MS);
    let settings = Settings { when_full: WhenFull::KeepOldest, ..Settings::default() };
    ask(&mut logger, 1, RequestBody::PutSettings(settings));
    assert_eq!(ask(&mut logger, 1, RequestBody::Arm), [ReplyBody::Done]);
    let status = |logger: &mut Logger<Ram>| match ask(logger, 3, RequestBody::Status)[..] {
        [ReplyBody::Status(status)] => status,
        ref other => panic!("{other:?}"),
    };
    let mut full_ms = None;
    for n in 0..1_000_000_u32 {
        // Noise, so that records do not shrink to nothing.
        let noise = n.wrapping_mul(2_654_435_761) >> 20;
        let half = HalfWave { signal: 5000 + noise as i32, ..half(true) };
        if logger.half_wave(&half) && block_on(logger.store()).is_err() {
            full_ms = Some(logger.clock_ms());
            break;
        }
    }
    let full_ms = full_ms.unwrap();
    assert!(status(&mut logger).full);
    let mut logger = start(logger.into_flash(), full_ms + 1000);
    let kept = intervals(&download(&mut logger));
    assert_eq!(kept[0].end_ms - i64::from(kept[0].span_ms), START_MS);
    assert!(full_ms - kept.last().unwrap().end_ms < 10_000);

    let status_before = status(&mut logger);
    let release = RequestBody::Release { up_to_sector: status_before.newest_sector };
    assert_eq!(ask(&mut logger, 4, release), [ReplyBody::Done]);
    feed(&mut logger, 5, true);
    let after = marks(&download(&mut logger));
    assert!(after.iter().any(|mark| matches!(mark, Mark::RecordsLost { records: 1.. })));
}

#[test]
fn pages_that_are_not_held_are_gone() {
    let mut logger = start(ram(14), START_MS);
    feed(&mut logger, 60, true);
    let first = PageAddress { sector: u32::MAX, page: 2 };
    let read = RequestBody::ReadPages { first, count: 9 };
    let last = PageAddress { sector: u32::MAX, page: 3 };
    assert_eq!(
        ask(&mut logger, 5, read)[..2],
        [ReplyBody::PageGone { address: first }, ReplyBody::PageGone { address: last }]
    );
}

/// Requests, one after another, before any page has gone out; what comes then.
fn stream(
    logger: &mut Logger<Ram>,
    requests: &[(u16, PageAddress, u16)],
) -> List<(u16, ReplyBody)> {
    let mut host = Host::default();
    for (id, first, count) in requests {
        let body = RequestBody::ReadPages { first: *first, count: *count };
        let mut buffer = [0; FRAME_BYTES_MAX];
        let frame = frame::encode(&Request { id: *id, body }, &mut buffer).unwrap();
        block_on(logger.receive(frame, &mut host)).unwrap();
    }
    while block_on(logger.send_next_page(&mut host)).unwrap() {}
    host.replies.into_iter().map(|reply| (reply.id, reply.body)).collect()
}

#[test]
fn a_window_that_follows_waits_for_the_one_under_way() {
    let mut logger = start(ram(6), START_MS);
    feed(&mut logger, 120, true);
    let [ReplyBody::Snapshot(range)] = &ask(&mut logger, 1, RequestBody::Snapshot)[..] else {
        panic!()
    };
    let page = |page| PageAddress { sector: range.first_sector, page };
    let ids = |replies: List<(u16, ReplyBody)>| -> List<u16> {
        replies.into_iter().map(|(id, _)| id).collect()
    };
    // Two pages, then the two behind them and the end of each.
    let replies = stream(&mut logger, &[(7, page(0), 2), (8, page(2), 2)]);
    let addresses: List<_> = replies
        .iter()
        .filter_map(|(_, body)| match body {
            ReplyBody::Page { address, .. } | ReplyBody::PageGone { address } => Some(*address),
            _ => None,
        })
        .collect();
    assert_eq!(addresses, [page(0), page(1), page(2), page(3)]);
    assert_eq!(ids(replies), [7, 7, 7, 8, 8, 8]);
    // Asked again for what is under way, or for anything else: the host has changed its mind, and
    // what waited is dropped with it.
    let next = PageAddress { sector: range.first_sector + 1, page: 0 };
    let replies = stream(&mut logger, &[(1, page(1), 3), (2, next, 1), (3, page(1), 1)]);
    assert_eq!(ids(replies), [3, 3]);
    let replies = stream(&mut logger, &[(1, page(0), 2), (2, page(3), 1)]);
    assert_eq!(ids(replies), [2, 2]);
}

#[test]
fn the_host_sets_the_clock_of_the_present() {
    let mut logger = start(ram(6), START_MS);
    feed(&mut logger, 1, false);
    logger.set_behind(37);
    ask(&mut logger, 1, RequestBody::SetClock { unix_ms: START_MS + 100_000 });
    assert_eq!(logger.present_ms(), START_MS + 100_000);
    // The half wave ended 37 ms before, and so do its records say.
    assert_eq!(logger.clock_ms(), START_MS + 100_000 - 37);
    let hello = RequestBody::Hello { protocol: PROTOCOL_VERSION };
    let [ReplyBody::Hello(identity)] = &ask(&mut logger, 2, hello)[..] else { panic!() };
    assert_eq!(identity.clock_ms, START_MS + 100_000);
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    /// Noise on the line is borne, and the next request is answered.
    #[test]
    fn a_confused_peer_does_no_harm(
        noise in proptest::collection::vec(any::<u8>(), 0..3000),
        cut in 1_usize..64,
    ) {
        let mut logger = start(ram(14), START_MS);
        let mut host = Host::default();
        for part in noise.chunks(cut) {
            block_on(logger.serve(part, &mut host)).unwrap();
        }
        block_on(logger.serve(&[0], &mut host)).unwrap();
        let replies = ask(&mut logger, 9, RequestBody::Hello { protocol: 1 });
        prop_assert!(matches!(replies[..], [ReplyBody::Hello(_)]));
    }

    /// Every request there can be is answered, and the logger goes on recording.
    #[test]
    fn hostile_requests_do_no_harm(
        streams in proptest::collection::vec(
            (0_u8..13, proptest::collection::vec(any::<u8>(), 0..300)), 1..30),
    ) {
        let mut logger = start(ram(14), START_MS);
        for (tag, tail) in streams {
            let bytes: List<u8> = [1, tag].into_iter().chain(tail).collect();
            let Ok((request, _)) = postcard::take_from_bytes::<Request>(&bytes) else { continue };
            prop_assert!(!ask(&mut logger, 1, request.body).is_empty());
            feed(&mut logger, 1, true);
        }
    }
}

/// The newest closed sector by a download of its own, with its hash.
fn newest_closed(logger: &mut Logger<Ram>) -> (u32, [u8; 32]) {
    let [ReplyBody::Snapshot(range)] = ask(logger, 1, RequestBody::Snapshot)[..] else { panic!() };
    let first = PageAddress { sector: range.last_sector, page: 0 };
    let mut hash = Sha256::new();
    for body in ask(logger, 2, RequestBody::ReadPages { first, count: 4 }) {
        if let ReplyBody::Page { bytes, .. } = body {
            hash.update(&bytes);
        }
    }
    (range.last_sector, hash.finalize().into())
}

fn assert_sealed(public_key: &[u8; 32], seal: &Seal) {
    let key = ed25519_dalek::VerifyingKey::from_bytes(public_key).unwrap();
    let signature = ed25519_dalek::Signature::from_bytes(&seal.signature.bytes());
    key.verify_strict(&seal.statement.signed_bytes(), &signature).unwrap();
}

fn sealed(logger: &mut Logger<Ram>) -> ([u8; 32], Seal) {
    match ask(logger, 3, RequestBody::GetSeal)[..] {
        [ReplyBody::Seal { public_key, seal }] => (public_key, seal),
        ref other => panic!("{other:?}"),
    }
}

#[test]
fn a_download_is_sealed() {
    let mut logger = start(ram(10), START_MS);
    feed(&mut logger, 30, true);
    let (sector, chain) = newest_closed(&mut logger);
    let (public_key, seal) = sealed(&mut logger);
    assert_sealed(&public_key, &seal);
    let expected = Statement {
        device: DEVICE,
        boot: 1,
        occasion: Occasion::Download,
        sector,
        chain,
        time_ms: logger.clock_ms(),
        papers: papers(&Settings::default(), b"", &Calibration::default()),
    };
    assert_eq!(seal.statement, expected);
    // Later, with the next sector being written, the seal still is over the same.
    feed(&mut logger, 1, true);
    let (_, later) = sealed(&mut logger);
    assert_sealed(&public_key, &later);
    assert_eq!((later.statement.sector, later.statement.chain), (sector, chain));
}

#[test]
fn the_key_is_made_once_and_kept() {
    let with = |flash, seed| {
        let start = Start {
            firmware: [0, 1, 0],
            reason: BootReason::PowerOn,
            clock_ms: START_MS,
            clock_good: true,
            seed,
        };
        let mut logger = block_on(Logger::start(flash, DEVICE, start)).unwrap();
        let _ = newest_closed(&mut logger);
        let reply = ask(&mut logger, 3, RequestBody::GetSeal).remove(0);
        let key = match reply {
            ReplyBody::Seal { public_key, .. } => Some(public_key),
            ReplyBody::Refused(Refusal::NoSeal) => None,
            other => panic!("{other:?}"),
        };
        (key, logger.into_flash())
    };
    let (none, flash) = with(ram(10), None);
    assert_eq!(none, None);
    let (first, flash) = with(flash, Some(Seed([1; 32])));
    assert!(first.is_some());
    let (second, flash) = with(flash, Some(Seed([2; 32])));
    assert_eq!(second, first);
    let (third, _) = with(flash, None);
    assert_eq!(third, first);
}

/// Where the device slot cannot be written there is no key: none that the next start would not have.
#[test]
fn a_key_that_cannot_be_kept_is_not_used() {
    let mut flash = ram(10);
    flash.spoil(2);
    flash.spoil(3);
    let mut logger = start(flash, START_MS);
    feed(&mut logger, 30, true);
    let _ = newest_closed(&mut logger);
    let reply = ask(&mut logger, 3, RequestBody::GetSeal);
    assert_eq!(reply, [ReplyBody::Refused(Refusal::NoSeal)]);
    let put = RequestBody::PutCalibration(Calibration { made_ms: 1, ..Calibration::default() });
    assert_eq!(ask(&mut logger, 4, put), [ReplyBody::Refused(Refusal::Memory)]);
    assert_eq!(logger.calibration(), &Calibration::default());
}

#[test]
fn each_hour_is_sealed_once() {
    let mut logger = start(ram(58), START_MS);
    let mut seals = 0;
    for _ in 0..3 * 3600 {
        feed(&mut logger, 1, true);
        if logger.seal_due() {
            block_on(logger.seal()).unwrap();
            assert!(!logger.seal_due());
            seals += 1;
        }
    }
    assert_eq!(seals, 3);
    let (public_key, _) = sealed(&mut logger);
    let found: List<Seal> = download(&mut logger)
        .into_iter()
        .filter_map(|record| match record {
            Record::Mark(TimedMark { mark: Mark::Seal(seal), .. }) => Some(seal),
            _ => None,
        })
        .collect();
    assert_eq!(found.len(), 3);
    for seal in &found {
        assert_sealed(&public_key, seal);
        assert_eq!(seal.statement.occasion, Occasion::Hour);
    }
    assert!(found.is_sorted_by(|a, b| a.statement.sector < b.statement.sector));
}

#[test]
fn a_calibration_is_checked_kept_and_told() {
    let mut logger = start(ram(10), START_MS);
    let mut wanted = Calibration { made_ms: START_MS, ..Calibration::default() };
    wanted.by.push_str("J. Fitter").unwrap();
    wanted.current.late_ns = -12_000;
    let mut bad = wanted.clone();
    bad.voltage.gain_nano = 0;
    let refused = ask(&mut logger, 1, RequestBody::PutCalibration(bad));
    assert_eq!(refused, [ReplyBody::Refused(Refusal::Calibration)]);
    let put = RequestBody::PutCalibration(wanted.clone());
    assert_eq!(ask(&mut logger, 2, put), [ReplyBody::Done]);
    let told = download(&mut logger).into_iter().any(|record| {
        matches!(record, Record::Mark(TimedMark { mark: Mark::Calibration { digest: d }, .. })
            if d == digest(&wanted))
    });
    assert!(told);
    let (_, seal) = sealed(&mut logger);
    assert_eq!(seal.statement.papers, papers(&Settings::default(), b"", &wanted));
    let mut again = start(logger.into_flash(), START_MS);
    let got = ask(&mut again, 3, RequestBody::GetCalibration);
    assert_eq!(got, [ReplyBody::Calibration(wanted)]);
}

/// Thirty days of half waves from near the ends of all counters: boots past 65 535, sequences and
/// erasures near 2³², the clock past 2³² seconds. A start every three days, by turns after a supply
/// lost in good order and after a cut.
#[test]
fn thirty_days_near_the_ends_of_the_counters() {
    const DAY_MS: i64 = 86_400_000;
    const SEQUENCE: u32 = u32::MAX - 9_000;
    let begin_ms = (1_i64 << 32) * 1000 - 15 * DAY_MS;
    let mut bytes = ram(4_000).bytes().to_vec();
    let header = pumpwitness_protocol::sector::SectorHeader {
        device: DEVICE,
        align: 1,
        sequence: SEQUENCE,
        previous: [7; 32],
        erased: u32::MAX - 1,
        boot: 65_530,
        opened_ms: begin_ms,
    };
    let at = pumpwitness_journal::slots::FIXED as usize * SECTOR_BYTES;
    bytes[at..at + 96].copy_from_slice(&header.encode());
    let mut flash = Ram::from_bytes(bytes);
    let mut clock_ms = begin_ms;
    let mut seals = 0;
    for turn in 0..10_u16 {
        let mut logger = start(flash, clock_ms);
        assert_eq!(logger.identity.boot, 65_531_u16.wrapping_add(turn));
        for n in 0..3 * 8_640_000_u32 {
            // Runs of 40 s every twenty minutes.
            let running = n % 120_000 < 4_000;
            if logger.half_wave(&half(running)) {
                block_on(logger.store()).unwrap();
                if logger.seal_due() {
                    block_on(logger.seal()).unwrap();
                    seals += 1;
                }
            }
        }
        if turn % 2 == 0 {
            block_on(logger.power_failing(4_200)).unwrap();
        }
        clock_ms = logger.clock_ms() + 60_000;
        flash = logger.into_flash();
    }
    let mut logger = start(flash, clock_ms);
    assert!(clock_ms > (1_i64 << 32) * 1000 + 14 * DAY_MS);
    let records = download(&mut logger);
    let boots: List<u16> = records
        .iter()
        .filter_map(|record| match record {
            Record::Mark(TimedMark { mark: Mark::Boot { boot, .. }, .. }) => Some(*boot),
            _ => None,
        })
        .collect();
    let expected: List<u16> = (0..11).map(|turn| 65_531_u16.wrapping_add(turn)).collect();
    assert_eq!(boots, expected);
    // No interval is missing but around the starts: at most ten seconds before a cut.
    let kept = intervals(&records);
    let mut gaps = 0;
    let mut end_ms = begin_ms;
    for interval in &kept {
        let from_ms = interval.end_ms - i64::from(interval.span_ms);
        if from_ms != end_ms {
            assert!((60_000..=70_000).contains(&(from_ms - end_ms)), "{}", from_ms - end_ms);
            gaps += 1;
        }
        end_ms = interval.end_ms;
    }
    assert_eq!(gaps, 9);
    let starts = records.iter().filter(|record| {
        matches!(
            record,
            Record::Capture(CaptureBlock { first_index: 0, trigger: Trigger::Start, .. })
        )
    });
    // 72 runs a day.
    assert_eq!(starts.count(), 30 * 72);
    assert!(seals > 200, "{seals}");
    assert!(logger.status().newest_sector > SEQUENCE + 500);
    assert_eq!(logger.flash().counts().reprogrammed, 0);
}
