//! A site's days through the logger's own recorder into columns.

use pumpwitness_core::recorder::{Recorder, Slow};
use pumpwitness_core::wave::HalfWave;
use pumpwitness_link::arming;
use pumpwitness_protocol::record::{BootReason, Mark, Record};
use pumpwitness_protocol::settings::{Settings, TransducerKind};
use pumpwitness_recording::{Recording, from_records};
use pumpwitness_site_model::{Sink, SiteModel, SiteParameters, Truth};

/// Half waves between two slow readings: about a second.
const SLOW_EVERY: u32 = 100;
/// Supply at which the logger notices that it is losing it, mV.
const FAILING_MV: u16 = 4_200;

struct Take<'a> {
    settings: &'a Settings,
    recorder: Recorder,
    records: Vec<Record>,
    since_slow: u32,
    boot: u16,
}

impl Take<'_> {
    fn drain(&mut self) {
        while let Some(record) = self.recorder.pop() {
            self.records.push(record);
        }
    }
}

impl Sink for Take<'_> {
    fn half_wave(&mut self, wave: &HalfWave) {
        self.since_slow += 1;
        if self.since_slow == SLOW_EVERY {
            self.since_slow = 0;
            self.recorder.slow(Slow {
                board_dc: 240,
                supply_mv: 5_000,
                transducer_supply_mv: match self.settings.transducer {
                    TransducerKind::Absent => 0,
                    TransducerKind::Loop => 24_000,
                    TransducerKind::Ratiometric => 5_000,
                },
            });
        }
        self.recorder.half_wave(wave);
        if self.recorder.pending() {
            self.drain();
        }
    }

    fn lamps(&mut self, lit: u8, _: i64) {
        self.recorder.lamps(lit);
    }

    fn logger_power(&mut self, on: bool, at_us: i64) {
        if on {
            self.boot += 1;
            self.recorder = Recorder::new(self.settings, at_us / 1000);
            let reason = BootReason::PowerOn;
            self.recorder.mark(Mark::Boot { boot: self.boot, reason, firmware: [0, 1, 0] });
        } else {
            self.recorder.mark(Mark::PowerFailing { supply_mv: FAILING_MV });
            self.recorder.close();
        }
        self.drain();
    }
}

/// What the logger at `site` records in `days` from `start_ms` (ms since 1970) on, and what really
/// happened.
///
/// # Panics
/// When the site's own file cannot arm a logger.
pub fn record(site: &SiteParameters, start_ms: i64, days: f64, seed: u64) -> (Recording, Truth) {
    let settings = arming::settings(&site.declared, &site.site_toml()).expect("settings");
    let mut model = SiteModel::new(site, start_ms, seed);
    let mut take = Take {
        settings: &settings,
        recorder: Recorder::new(&settings, start_ms),
        records: Vec::new(),
        since_slow: 0,
        boot: 0,
    };
    model.run(start_ms + (days * 86_400_000.0) as i64, &mut take);
    take.recorder.close();
    take.drain();
    (from_records(take.records, &settings), model.truth().clone())
}
