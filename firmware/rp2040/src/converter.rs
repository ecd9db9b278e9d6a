//! The converter: five channels in turn, paced by the converter's own divider, carried by DMA into
//! a ring without end. Nothing here waits: the meter comes by every other millisecond and takes
//! what has arrived.
//!
//! A data channel of the DMA fills the ring, wrapping its address in hardware; when its count runs
//! out, a second channel writes the count anew and so starts it again, without the processor and
//! faster than the converter's own queue fills.

use core::sync::atomic::{AtomicU16, AtomicU32, Ordering};
use embassy_rp::Peri;
use embassy_rp::adc::{self, Adc, Blocking, Channel};
use embassy_rp::gpio::{Level, Output, Pull};
use embassy_rp::pac;
use embassy_rp::pac::dma::vals::{DataSize, TreqSel};
use embassy_rp::peripherals::{
    ADC, ADC_TEMP_SENSOR, DMA_CH2, DMA_CH3, PIN_26, PIN_27, PIN_28, PIN_29,
};
use embassy_time::Instant;
use pumpwitness_board::noise::Gatherer;
use pumpwitness_board::turn::{Shown, Turn};
use pumpwitness_core::sampling::{
    CHANNELS, CONVERSIONS, CONVERSIONS_PER_S, Codes, FRAMES_PER_S, frame,
};
use pumpwitness_core::wave::Frame;

/// The converter's clock, Hz, and its cycles from one conversion to the next.
const CLOCK: u32 = 48_000_000;
const DIVIDE: u16 = (CLOCK / CONVERSIONS_PER_S) as u16;
const _: () = assert!(DIVIDE as u32 * CONVERSIONS_PER_S == CLOCK && DIVIDE >= 96);

/// The second of the two chips has no such erratum (its data sheet, from memory).
const CODES: Codes = if cfg!(feature = "rp2040") { Codes::FourWide } else { Codes::Even };

/// 20 ms of conversions; a power of two, as the DMA wraps it.
const RING_LOG2_BYTES: u8 = 12;
const RING: usize = (1 << RING_LOG2_BYTES) / 2;
/// Conversions after which the second channel starts the first again: a multiple of the ring.
const STRETCH: u32 = 1 << 20;
/// Longest pause between two visits after which the ring may have been overrun.
const VISIT_MAX_US: u64 = (RING as u64 * 1_000_000 / CONVERSIONS_PER_S as u64) * 9 / 10;

#[repr(align(4096))]
struct Ring([AtomicU16; RING]);

/// The DMA writes here; atomics let the processor read what it did not write.
static SAMPLES: Ring = Ring([const { AtomicU16::new(0) }; RING]);
static COUNT: AtomicU32 = AtomicU32::new(STRETCH);

const DATA: usize = 2;
const AGAIN: usize = 3;

/// Pins and engines the converter takes.
pub struct Parts {
    /// The converter.
    pub adc: Peri<'static, ADC>,
    /// Line voltage.
    pub voltage: Peri<'static, PIN_26>,
    /// Motor current.
    pub current: Peri<'static, PIN_27>,
    /// Transducer signal.
    pub signal: Peri<'static, PIN_28>,
    /// Transducer supply, or the logger's own: as the switch shows it.
    pub supplies: Peri<'static, PIN_29>,
    /// The analogue switch: high while it shows the logger's supply.
    pub switch: Output<'static>,
    /// Sensor on the chip.
    pub temperature: Peri<'static, ADC_TEMP_SENSOR>,
    /// Fills the ring.
    pub data: Peri<'static, DMA_CH2>,
    /// Starts it again.
    pub again: Peri<'static, DMA_CH3>,
}

/// The converter at work.
pub struct Converter {
    _adc: Adc<'static, Blocking>,
    _pins: [Channel<'static>; CHANNELS],
    _dma: (Peri<'static, DMA_CH2>, Peri<'static, DMA_CH3>),
    /// Next conversion to take.
    at: usize,
    visited: Instant,
    /// Sum of the temperature channel over the last frame.
    temperature: u16,
    switch: Output<'static>,
    turn: Turn,
}

impl Converter {
    /// Sets everything up and starts.
    pub fn start(parts: Parts) -> Self {
        let pins = [
            Channel::new_pin(parts.voltage, Pull::None),
            Channel::new_pin(parts.current, Pull::None),
            Channel::new_pin(parts.signal, Pull::None),
            Channel::new_pin(parts.supplies, Pull::None),
            Channel::new_temp_sensor(parts.temperature),
        ];
        let mut converter = Self {
            _adc: Adc::new_blocking(parts.adc, adc::Config::default()),
            _pins: pins,
            _dma: (parts.data, parts.again),
            at: 0,
            visited: Instant::now(),
            temperature: 0,
            switch: parts.switch,
            turn: Turn::default(),
        };
        converter.restart();
        converter
    }

    /// Starts, or starts again from the first channel with an empty ring.
    fn restart(&mut self) {
        pac::ADC.cs().modify(|w| w.set_start_many(false));
        while !pac::ADC.cs().read().ready() {}
        pac::DMA.chan_abort().modify(|w| w.set_chan_abort(1 << DATA | 1 << AGAIN));
        while pac::DMA.ch(DATA).ctrl_trig().read().busy() {}
        while !pac::ADC.fcs().read().empty() {
            pac::ADC.fifo().read();
        }
        pac::ADC.fcs().write(|w| {
            w.set_en(true);
            w.set_dreq_en(true);
            w.set_thresh(1);
            w.set_over(true); // written ones clear
            w.set_under(true);
        });
        let again = pac::DMA.ch(AGAIN);
        again.read_addr().write_value(COUNT.as_ptr() as u32);
        again.write_addr().write_value(pac::DMA.ch(DATA).al1_trans_count_trig().as_ptr() as u32);
        again.al2_trans_count().write_value(1);
        let mut control = pac::dma::regs::CtrlTrig(0);
        control.set_data_size(DataSize::SIZE_WORD);
        control.set_treq_sel(TreqSel::PERMANENT);
        control.set_chain_to(AGAIN as u8); // to itself: no chain
        control.set_irq_quiet(true);
        control.set_en(true);
        again.al1_ctrl().write_value(control.0); // set up, not started

        let data = pac::DMA.ch(DATA);
        data.read_addr().write_value(pac::ADC.fifo().as_ptr() as u32);
        data.write_addr().write_value(SAMPLES.0.as_ptr() as u32);
        data.al2_trans_count().write_value(STRETCH);
        let mut control = pac::dma::regs::CtrlTrig(0);
        control.set_data_size(DataSize::SIZE_HALFWORD);
        control.set_incr_write(true);
        control.set_ring_sel(true);
        control.set_ring_size(RING_LOG2_BYTES);
        control.set_treq_sel(TreqSel::ADC);
        control.set_chain_to(AGAIN as u8);
        control.set_irq_quiet(true);
        control.set_en(true);
        data.ctrl_trig().write_value(control);

        pac::ADC.div().write(|w| w.set_int(DIVIDE - 1));
        pac::ADC.cs().modify(|w| {
            w.set_ts_en(true);
            w.set_ainsel(0);
            w.set_rrobin((1 << CHANNELS) - 1);
            w.set_start_many(true);
        });
        self.at = 0;
        self.visited = Instant::now();
    }

    /// Hands over every whole frame that has arrived. Gives the number of frames lost instead when
    /// the ring was overrun or the converter's queue ran over; conversions then start afresh.
    pub fn visit(&mut self, mut take: impl FnMut(&Frame)) -> Option<u32> {
        let pause_us = self.visited.elapsed().as_micros();
        if pause_us > VISIT_MAX_US || pac::ADC.fcs().read().over() {
            self.restart();
            return Some((pause_us * u64::from(FRAMES_PER_S) / 1_000_000) as u32);
        }
        let level = Level::from(self.turn.visit() == Shown::Logger);
        let written = pac::DMA.ch(DATA).write_addr().read() as usize;
        let newest = (written - SAMPLES.0.as_ptr() as usize) / 2;
        self.visited = Instant::now();
        while newest.wrapping_sub(self.at) % RING >= CONVERSIONS {
            let (mut frame, temperature) = frame(CODES, || {
                let conversion = SAMPLES.0[self.at].load(Ordering::Relaxed);
                self.at = (self.at + 1) % RING;
                conversion
            });
            self.temperature = temperature;
            frame.transducer_supply = self.turn.sort(frame.transducer_supply);
            take(&frame);
        }
        // What has arrived was converted before the switch turns.
        self.switch.set_level(level);
        None
    }

    /// The logger's supply, mV: full scale is 10 V.
    pub fn supply_mv(&self) -> u16 {
        (u32::from(self.turn.logger()) * 10_000 / 65_536) as u16
    }

    /// Temperature of the chip, 0.1 °C: 27 °C at 0.706 V, −1.721 mV a degree, 3.3 V reference
    /// (the chip's data sheet, from memory).
    pub fn board_dc(&self) -> i16 {
        let microvolts = i32::from(self.temperature) * 3_300 / 65_536 * 1000
            + i32::from(self.temperature) * 3_300 % 65_536 * 1000 / 65_536;
        (270 - (microvolts - 706_000) * 10 / 1721) as i16
    }
}

/// Stirs the conversions in the ring into `gatherer`: their lowest bits are noise.
pub fn stir(gatherer: &mut Gatherer) {
    for conversion in &SAMPLES.0 {
        gatherer.stir(&conversion.load(Ordering::Relaxed).to_le_bytes());
    }
}
