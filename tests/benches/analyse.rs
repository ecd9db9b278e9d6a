//! Time and memory of reading and analysing an archive, against hashing the same bytes.
//!
//! `cargo bench -p pumpwitness-tests --bench analyse [-- [--keep DIR] [SCENARIO…]]`
//!
//! One site lives 90 days in front of the logger's own code; after 1, 7, 30 and 90 days its memory
//! is downloaded as `collect` does it. Hashing (SHA-256, the algorithm of the archive's own end
//! mark) and analysing take turns in one process; the least of several turns counts, because all
//! that can disturb a turn makes it longer. Many processors have instructions for just this hash,
//! with which it takes a quarter to a fifth of the time; `plain` is the same hash without them, so that
//! figures of different processors can be compared. Times are by the clock; `on cores` is the time
//! that all threads together spent on cores, where the system tells it, against `hash`. Hashing uses
//! one core, the analysis as many as there are: on a machine that is busy elsewhere only the latter ratio
//! means much. Memory is the high-water mark of a process of its own (`VmHWM`, where the system tells
//! it). Nothing here passes or fails.

use pumpwitness_analysis::analyse;
use pumpwitness_link::{Client, Download, Limits, Transport, arming};
use pumpwitness_recording::{Recording, archive::read_archive};
use pumpwitness_site_file::Site;
use pumpwitness_site_model::scenario;
use pumpwitness_virtual_logger::VirtualLogger;
use sha2::{Digest, Sha256};
use std::cell::RefCell;
use std::hint::black_box;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::rc::Rc;
use std::time::{Duration, Instant};
use std::{env, fs, io};

/// Lengths of the records, days.
const DAYS: [i64; 4] = [1, 7, 30, 90];
/// Room for the longest of them.
const FLASH_BYTES: usize = 128 << 20;
/// Turns of each measurement.
const TURNS: usize = 7;
const DAY_MS: i64 = 86_400_000;
/// First argument of the process whose memory is measured.
const ALONE: &str = "--memory-of";

fn main() {
    let mut arguments: Vec<String> = env::args().skip(1).filter(|a| a != "--bench").collect();
    if let [word, archive, site] = arguments.as_slice()
        && word == ALONE
    {
        return alone(Path::new(archive), Path::new(site));
    }
    let kept = arguments.iter().position(|a| a == "--keep").map(|at| {
        arguments.remove(at);
        PathBuf::from(arguments.remove(at))
    });
    if arguments.is_empty() {
        arguments = vec!["healthy".to_owned(), "overdrawn-well".to_owned()];
    }
    let scratch = tempfile::tempdir().expect("a scratch folder");
    let folder = kept.unwrap_or_else(|| scratch.path().to_owned());
    fs::create_dir_all(&folder).expect("the folder can be made");
    for name in &arguments {
        println!("{name}");
        println!(
            "{:>5} {:>9} {:>6} {:>8} {:>8} {:>8} {:>8} {:>8} {:>7} {:>8} {:>8} {:>6} {:>7} {:>12}",
            "days",
            "rows",
            "MiB",
            "hash ms",
            "plain ms",
            "read ms",
            "anal. ms",
            "both ms",
            "/ hash",
            "/ plain",
            "on cores",
            "runs",
            "ns/row",
            "peak − file"
        );
        for (days, archive, site) in archives(name, &folder) {
            println!("{}", measure(days, &archive, &site));
        }
    }
}

/// A logger at the other end of a line that takes no time.
struct Line {
    logger: Rc<RefCell<VirtualLogger>>,
    answer: Vec<u8>,
}

impl Transport for Line {
    fn name(&self) -> &'static str {
        "a line in memory"
    }

    fn read(&mut self, buffer: &mut [u8], _wait: Duration) -> io::Result<usize> {
        let count = buffer.len().min(self.answer.len());
        buffer[..count].copy_from_slice(&self.answer[..count]);
        self.answer.drain(..count);
        Ok(count)
    }

    fn write_all(&mut self, bytes: &[u8]) -> io::Result<()> {
        self.logger.borrow_mut().answer(bytes, &mut self.answer);
        Ok(())
    }
}

/// Lets the days pass and downloads after each of [`DAYS`]: days, archive, site file.
fn archives(name: &str, folder: &Path) -> Vec<(i64, PathBuf, PathBuf)> {
    let story = scenario(name).expect("a scenario of that name");
    let text = story.site_toml();
    let site_file = folder.join(format!("{name}.toml"));
    fs::write(&site_file, &text).expect("the site file can be written");
    let site = pumpwitness_site_file::parse(&text).expect("its site file is sound");
    let settings = arming::settings(&site, &text).expect("its settings are sound");
    let logger = VirtualLogger::new(*b"BENCH001", FLASH_BYTES, story.start_ms).expect("it starts");
    let logger = Rc::new(RefCell::new(logger));
    let line = Line { logger: Rc::clone(&logger), answer: Vec::new() };
    let mut client = Client::new(line, Limits::default());
    client.put_settings(&settings).expect("it takes the settings");
    client.put_site_text(text.as_bytes()).expect("it takes the site file");
    client.arm().expect("it is armed");

    let mut model = story.model();
    let download = |days: &i64| {
        let until_ms = story.start_ms + days * DAY_MS;
        model.run(until_ms, &mut *logger.borrow_mut());
        assert_eq!(logger.borrow().failure(), None);
        let file = folder.join(format!("{name}-{days}.pwa"));
        Download {
            file: &file,
            replace: true,
            release: false,
            host_clock_ms: until_ms,
            collected_by: "",
        }
        .run(&mut client, |_| ())
        .expect("the download ends well");
        (*days, file, site_file.clone())
    };
    DAYS.iter().map(download).collect()
}

/// What a work took: by the clock, and of all cores together where the system tells.
#[derive(Clone, Copy)]
struct Cost {
    clock: Duration,
    cores: Option<Duration>,
}

/// Least cost of each of the works, which take turns.
fn least<const N: usize>(mut works: [&mut dyn FnMut(); N]) -> [Cost; N] {
    let mut least = [Cost { clock: Duration::MAX, cores: None }; N];
    for _ in 0..TURNS {
        for (work, least) in works.iter_mut().zip(&mut least) {
            let (begun, before) = (Instant::now(), time_on_cores());
            work();
            let clock = begun.elapsed();
            let cores =
                time_on_cores().zip(before).map(|(after, before)| after.saturating_sub(before));
            least.clock = least.clock.min(clock);
            least.cores = least.cores.into_iter().chain(cores).min();
        }
    }
    least
}

/// Time that all threads of this process have spent on cores so far.
#[cfg(unix)]
fn time_on_cores() -> Option<Duration> {
    let spent = rustix::time::clock_gettime(rustix::time::ClockId::ProcessCPUTime);
    Some(Duration::new(spent.tv_sec.try_into().ok()?, spent.tv_nsec.try_into().ok()?))
}

#[cfg(not(unix))]
fn time_on_cores() -> Option<Duration> {
    None
}

fn load(archive: &Path, site: &Path) -> (Vec<u8>, Site) {
    let text = fs::read_to_string(site).expect("the site file is there");
    let site = pumpwitness_site_file::parse(&text).expect("its site file is sound");
    (fs::read(archive).expect("the archive is there"), site)
}

fn read(bytes: &[u8]) -> Recording {
    read_archive("bench", bytes).expect("the archive is sound")
}

fn measure(days: i64, archive: &Path, site_file: &Path) -> String {
    let (bytes, site) = load(archive, site_file);
    assert_eq!(Sha256::digest(&bytes).as_slice(), hmac_sha256::Hash::hash(&bytes));
    let recording = read(&bytes);
    assert!(recording.source.losses.is_empty(), "{:?}", recording.source.losses);
    let [hash, plain, reading, analysing, both] = least([
        &mut || _ = black_box(Sha256::digest(black_box(&bytes))),
        &mut || _ = black_box(hmac_sha256::Hash::hash(black_box(&bytes))),
        &mut || drop(black_box(read(black_box(&bytes)))),
        &mut || drop(black_box(analyse(black_box(&recording), &site))),
        &mut || drop(black_box(analyse(&read(black_box(&bytes)), &site))),
    ]);
    let rows = recording.columns.len();
    let above = peak_of(archive, site_file).map_or_else(
        || "unknown".to_owned(),
        |kib| format!("{:.1} MiB", kib as f64 / 1024.0 - bytes.len() as f64 / 1_048_576.0),
    );
    let ms = |cost: Cost| cost.clock.as_secs_f64() * 1e3;
    let on_cores = match (both.cores, hash.cores) {
        (Some(both), Some(hash)) => format!("{:.1}", both.div_duration_f64(hash)),
        _ => "unknown".to_owned(),
    };
    format!(
        "{days:>5} {rows:>9} {:>6.2} {:>8.2} {:>8.2} {:>8.2} {:>8.2} {:>8.2} {:>7.1} {:>8.1} \
         {on_cores:>8} {:>6} {:>7.1} {above:>12}",
        bytes.len() as f64 / 1_048_576.0,
        ms(hash),
        ms(plain),
        ms(reading),
        ms(analysing),
        ms(both),
        ms(both) / ms(hash),
        ms(both) / ms(plain),
        analyse(&recording, &site).runs.len(),
        ms(both) * 1e6 / rows as f64,
    )
}

/// What the process for the memory does: what `analyse` does.
fn alone(archive: &Path, site: &Path) {
    let (bytes, site) = load(archive, site);
    let analysis = analyse(&read(&bytes), &site);
    black_box(&analysis);
    if let Some(kib) = high_water_kib() {
        println!("{kib}");
    }
}

/// High-water mark of another process that reads and analyses this archive, KiB.
fn peak_of(archive: &Path, site: &Path) -> Option<u64> {
    let own = env::current_exe().ok()?;
    let done = Command::new(own).arg(ALONE).args([archive, site]).output().ok()?;
    String::from_utf8(done.stdout).ok()?.trim().parse().ok()
}

/// This process's, KiB.
fn high_water_kib() -> Option<u64> {
    let status = fs::read_to_string("/proc/self/status").ok()?;
    let line = status.lines().find(|line| line.starts_with("VmHWM:"))?;
    line.split_whitespace().nth(1)?.parse().ok()
}
