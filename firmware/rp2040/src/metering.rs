//! Metering, on an executor of its own that interrupts everything else: conversions in, half waves
//! out, by way of a queue that is never waited for.

use crate::converter::Converter;
use crate::lamps::Lamps;
use embassy_sync::blocking_mutex::raw::CriticalSectionRawMutex;
use embassy_sync::channel::Channel;
use embassy_sync::signal::Signal;
use embassy_time::{Duration, Instant, Ticker};
use pumpwitness_core::meter::{Meter, MeterConfig};
use pumpwitness_core::recorder::Slow;
use pumpwitness_core::sampling::FRAMES_PER_S;
use pumpwitness_core::wave::HalfWave;
use pumpwitness_protocol::record::flags;

/// A tenth of the ring at most arrives between two visits.
const VISIT: Duration = Duration::from_millis(2);
/// When the half waves told fall behind the frames taken by more than this, time went by that none
/// of them told of.
const GAP_US: u64 = 5_000;
/// Longest half wave that stands in for such a gap; the recorder takes no longer ones.
const STAND_IN_MAX_US: u32 = 60_000;

/// A half wave and what came with it.
#[derive(Clone, Copy)]
pub struct Heard {
    /// The half wave.
    pub half: HalfWave,
    /// When it ended.
    pub ended: Instant,
    /// Frames lost since the one before.
    pub frames_lost: u32,
    /// Slow readings.
    pub slow: Slow,
    /// Lamps lit when it was told; bit 0 is lamp 1.
    pub lamps: u8,
}

/// Half waves on their way to the logger: 0.8 s of them at 50 Hz, twice the longest erasure.
pub static HALF_WAVES: Channel<CriticalSectionRawMutex, Heard, 80> = Channel::new();
/// What the meter is to work by from now on.
pub static CONFIG: Signal<CriticalSectionRawMutex, MeterConfig> = Signal::new();

/// Keeps what is told in step with the frames taken.
struct Teller {
    started: Instant,
    /// Frames taken or lost since the start.
    frames: u64,
    /// Sum of the half waves told, µs.
    told_us: u64,
    frames_lost: u32,
}

impl Teller {
    fn tell(&mut self, half: HalfWave, meter: &Meter, slow: Slow, lamps: u8) {
        let taken_us = self.frames * 1_000_000 / u64::from(FRAMES_PER_S);
        let end_us = taken_us.saturating_sub(meter.delay_us().into());
        let heard = Heard {
            half,
            ended: self.started + Duration::from_micros(end_us),
            frames_lost: 0,
            slow: Slow { transducer_supply_mv: meter.transducer_supply_mv(), ..slow },
            lamps,
        };
        // A new meter has filled its filters, or the queue was full: time goes on all the same.
        let mut behind_us = end_us.saturating_sub(self.told_us + u64::from(half.duration_us));
        while behind_us > GAP_US {
            let duration_us = behind_us.min(STAND_IN_MAX_US.into()) as u32;
            let flags = half.flags | flags::FRAMES_LOST;
            let stand_in = HalfWave { duration_us, flags, ..half };
            if !self.send(Heard { half: stand_in, ..heard }) {
                break;
            }
            behind_us -= u64::from(duration_us);
        }
        if !self.send(heard) {
            self.frames_lost += half.duration_us * (FRAMES_PER_S / 1000) / 1000;
        }
    }

    fn send(&mut self, heard: Heard) -> bool {
        let sent = HALF_WAVES.try_send(Heard { frames_lost: self.frames_lost, ..heard }).is_ok();
        if sent {
            self.told_us += u64::from(heard.half.duration_us);
            self.frames_lost = 0;
        }
        sent
    }
}

/// Meters for ever.
#[embassy_executor::task]
pub async fn meter(mut converter: Converter, mut lamps: Lamps, first: MeterConfig) {
    let mut config = first;
    // Only settings that passed their check come here, and calibrations of our own.
    let Ok(mut meter) = Meter::new(config) else { return };
    let mut teller = Teller { started: Instant::now(), frames: 0, told_us: 0, frames_lost: 0 };
    // The first half wave has nothing before it that could be missing.
    teller.told_us = u64::MAX / 2;
    let mut ticker = Ticker::every(VISIT);
    loop {
        ticker.next().await;
        if let Some(wanted) = CONFIG.try_take()
            && wanted != config
            && let Ok(new) = Meter::new(wanted)
        {
            (config, meter) = (wanted, new);
        }
        let slow = Slow {
            board_dc: converter.board_dc(),
            supply_mv: converter.supply_mv(),
            ..Slow::default()
        };
        let lost = converter.visit(|frame| {
            teller.frames += 1;
            if let Some(half) = meter.push(frame) {
                if teller.told_us >= u64::MAX / 2 {
                    let taken_us = teller.frames * 1_000_000 / u64::from(FRAMES_PER_S);
                    let before_us = u64::from(meter.delay_us() + half.duration_us);
                    teller.told_us = taken_us.saturating_sub(before_us);
                }
                teller.tell(half, &meter, slow, lamps.read());
            }
        });
        if let Some(frames) = lost {
            teller.frames += u64::from(frames);
            teller.frames_lost += frames;
            let mut repeated = [None; 8];
            let mut count = 0;
            meter.lose(frames, |half| {
                if let Some(place) = repeated.get_mut(count) {
                    *place = Some(half);
                    count += 1;
                }
            });
            for half in repeated.into_iter().flatten() {
                teller.tell(half, &meter, slow, lamps.read());
            }
        }
    }
}
