//! The stages on which the emulated logger plays: an invented site whose events are planted, as
//! conversions of the board's converter from the first one on, with lamps and truth.

use crate::Outcome;
use pumpwitness_core::meter::Meter;
use pumpwitness_core::sampling::{CONVERSIONS, Codes, FRAMES_PER_S, frame, meter_config};
use pumpwitness_core::wave::HalfWave;
use pumpwitness_link::arming;
use pumpwitness_protocol::calibration::Calibration;
use pumpwitness_protocol::settings::Settings;
use pumpwitness_site_model::design::{Design, Hold};
use pumpwitness_site_model::supply::Disturbance;
use pumpwitness_site_model::transducer::Loss;
use pumpwitness_site_model::waveform::{Conversions, FrontEnd, Staircase};
use pumpwitness_site_model::{Sink, SiteModel, SiteParameters};
use serde_json::{Value, json};
use std::fs;
use std::io::{BufWriter, Write};
use std::path::Path;

/// 2026-03-02T08:00:00Z; the emulated clock says when it really was.
const START_MS: i64 = 1_772_438_400_000;
/// Noise of a conversion, steps of the 16-bit frame: about a step of the 12-bit converter (its data
/// sheet promises 8.7 effective bits at least, from memory).
const NOISE_COUNTS: f64 = 14.0;
/// Those of the chip whose image is run.
pub const CODES: Codes = Codes::FourWide;
/// Lamps change so long after a half wave was told, frames: far from the meter's visits before and
/// behind, so that it is plain which half wave is the first to see it.
const LAMP_AFTER_TOLD: u32 = 30;

/// A lamp that flashes: input, rate in Hz, first and last second.
type Flashing = (u8, f64, f64, f64);

/// A stage.
struct Stage {
    site: SiteParameters,
    seconds: f64,
    lamps: Vec<Flashing>,
    runs: usize,
}

fn at_us(second: f64) -> i64 {
    START_MS * 1000 + (second * 1e6) as i64
}

fn dip(from: f64, to: f64, left: f64) -> Disturbance {
    Disturbance { start_us: at_us(from), end_us: at_us(to), left }
}

/// A house that draws a little all the time, so that the pump starts when the tank is empty.
fn house(design: Design, draw_lpm: f64) -> SiteParameters {
    let mut site = design.build();
    site.demand.draws.clear();
    site.demand.watering = None;
    site.demand.idle_draw_lpm = draw_lpm;
    site.declared.lamps.push((1, "fault lamp".to_owned()));
    site
}

fn stage(name: &str) -> Outcome<Stage> {
    Ok(match name {
        // Ten minutes: two starts, a dip, an interruption, a wire off, a lamp flashing.
        "day" => {
            let mut site = house(Design { tank_l: 120.0, ..Design::HOUSE }, 9.0);
            site.supply.planned = vec![dip(60.0, 60.4, 0.7), dip(300.0, 301.2, 0.0)];
            site.transducer.planned =
                Some(Loss { start_us: at_us(360.0), end_us: at_us(366.0), short: false });
            Stage { site, seconds: 630.0, lamps: vec![(1, 1.0, 560.0, 585.0)], runs: 2 }
        }
        // A minute and a half of dips and starts, one after another, so that the flash is busy.
        "storm" => {
            let mut site = house(Design { tank_l: 20.0, ..Design::HOUSE }, 25.0);
            site.supply.planned =
                (0..24).map(|n| f64::from(n) * 3.7 + 2.0).map(|s| dip(s, s + 0.3, 0.8)).collect();
            Stage { site, seconds: 90.0, lamps: vec![(1, 2.0, 5.0, 60.0)], runs: 0 }
        }
        // Nothing happens.
        "quiet" => Stage { site: house(Design::HOUSE, 0.0), seconds: 60.0, lamps: vec![], runs: 0 },
        // 240 V and 60 Hz.
        "sixty" => {
            let design = Design {
                nominal_v: 240.0,
                frequency_hz: 60.0,
                hold: Hold::Switch { cut_in_bar: 2.8, cut_out_bar: 4.1 },
                tank_l: 60.0,
                ..Design::HOUSE
            };
            let mut site = house(design, 12.0);
            site.supply.planned = vec![dip(20.0, 20.4, 0.7)];
            Stage { site, seconds: 90.0, lamps: vec![], runs: 0 }
        }
        _ => return Err(format!("no stage is called {name}").into()),
    })
}

/// Settings that `arm` gives the logger at this site.
pub fn settings(text: &str) -> Outcome<Settings> {
    Ok(arming::settings(&pumpwitness_site_file::parse(text)?, text)?)
}

/// Half waves to conversions, and on through a meter, to know when it tells its half waves.
struct Writer {
    out: BufWriter<fs::File>,
    conversions: Conversions,
    waiting: Vec<u16>,
    meter: Meter,
    frames: u32,
    /// Frames after which the meter told a half wave.
    told: Vec<u32>,
    now_us: i64,
    /// When the signal was outside its live band, ms since the start.
    lost_ms: Vec<(i64, i64)>,
    failure: Option<std::io::Error>,
}

impl Sink for Writer {
    fn half_wave(&mut self, wave: &HalfWave) {
        // NAMUR NE 43: at or below 3.6 mA the loop is open.
        if wave.signal < 1800 {
            let now_ms = self.now_us / 1000;
            let end_ms = now_ms + i64::from(wave.duration_us / 1000);
            match self.lost_ms.last_mut() {
                Some((_, end)) if now_ms - *end < 100 => *end = end_ms,
                _ => self.lost_ms.push((now_ms, end_ms)),
            }
        }
        self.now_us += i64::from(wave.duration_us);
        let (waiting, out) = (&mut self.waiting, &mut self.out);
        let mut outcome = Ok(());
        self.conversions.half_wave(wave, |conversion| {
            waiting.push(conversion);
            if outcome.is_ok() {
                outcome = out.write_all(&conversion.to_le_bytes());
            }
        });
        if let Err(error) = outcome {
            self.failure.get_or_insert(error);
        }
        let mut taken = 0;
        while self.waiting.len() - taken >= CONVERSIONS {
            let (frame, _) = frame(CODES, || {
                taken += 1;
                self.waiting[taken - 1]
            });
            self.frames += 1;
            if self.meter.push(&frame).is_some() {
                self.told.push(self.frames);
            }
        }
        self.waiting.drain(..taken);
    }
}

/// Conversions at which the lamps change, and to what.
fn lamp_edges(lamps: &[Flashing], told: &[u32]) -> Vec<(u64, u8)> {
    let mut edges = Vec::new();
    for &(input, hz, from, to) in lamps {
        let flashes = ((to - from) * hz * 2.0) as u32;
        for n in 0..flashes {
            let wanted = (from + f64::from(n) / (2.0 * hz)) * f64::from(FRAMES_PER_S);
            let place = told.partition_point(|frames| f64::from(*frames) < wanted);
            if let Some(frames) = told.get(place) {
                let lit = if n % 2 == 0 { 1 << (input - 1) } else { 0 };
                edges.push((u64::from(frames + LAMP_AFTER_TOLD) * CONVERSIONS as u64, lit));
            }
        }
    }
    edges
}

/// Writes `conversions.bin` (16 bits each, little end first), `site.toml`, and `stage.json` with
/// lamps and truth, all times in ms since the first conversion, into the folder `out`.
pub fn write(name: &str, out: &Path) -> Outcome<Value> {
    let Stage { site, seconds, lamps, runs } = stage(name)?;
    fs::create_dir_all(out)?;
    let text = site.site_toml();
    fs::write(out.join("site.toml"), &text)?;
    let settings = settings(&text)?;
    let mut front_end = FrontEnd::uncalibrated(f64::from(FRAMES_PER_S));
    front_end.noise_counts = NOISE_COUNTS;
    let mut writer = Writer {
        out: BufWriter::with_capacity(1 << 20, fs::File::create(out.join("conversions.bin"))?),
        conversions: Conversions::new(front_end, Staircase::new(CODES), 7),
        waiting: Vec::new(),
        meter: Meter::new(meter_config(&settings, &Calibration::default()))?,
        frames: 0,
        told: Vec::new(),
        now_us: 0,
        lost_ms: Vec::new(),
        failure: None,
    };
    let mut model = SiteModel::new(&site, START_MS, 7);
    model.run(START_MS + (seconds * 1e3) as i64, &mut writer);
    if let Some(error) = writer.failure {
        return Err(error.into());
    }
    writer.out.flush()?;
    let truth = model.truth();
    if runs > 0 && truth.runs.len() != runs {
        return Err(format!("the stage has {} runs, not {runs}", truth.runs.len()).into());
    }
    let since = |ms: i64| ms - START_MS;
    let edges = lamp_edges(&lamps, &writer.told);
    let per_ms = (CONVERSIONS as u64 * u64::from(FRAMES_PER_S)) / 1000;
    let mut events: Vec<Value> = truth
        .events
        .iter()
        .filter(|event| event.kind != "transducer-open")
        .map(|event| {
            json!({"kind": event.kind, "start": since(event.start_ms), "end": since(event.end_ms)})
        })
        .collect();
    events.extend(
        writer
            .lost_ms
            .iter()
            .map(|(start, end)| json!({"kind": "transducer-open", "start": start, "end": end})),
    );
    if let (Some(first), Some(last)) = (edges.first(), edges.last()) {
        events.push(json!({
            "kind": "lamp-flashing", "start": first.0 / per_ms, "end": last.0 / per_ms,
        }));
    }
    let stage = json!({
        "seconds": seconds,
        "conversions": u64::from(writer.frames) * CONVERSIONS as u64,
        "runs": truth.runs.iter().map(|run| json!({
            "start": since(run.start_ms), "stop": since(run.stop_ms),
            "reason": run.stop_reason.word(),
        })).collect::<Vec<_>>(),
        "events": events,
        "lamps": edges,
    });
    fs::write(out.join("stage.json"), stage.to_string())?;
    Ok(stage)
}
