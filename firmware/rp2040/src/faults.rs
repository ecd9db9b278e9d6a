//! Where the program went wrong, kept over the restart in two of the watchdog's scratch registers
//! and told as a mark at the next boot.
//!
//! One of the files that may hold unsafe code: the handler of hard faults is unsafe by its type.
#![allow(unsafe_code)]

use core::panic::PanicInfo;
use cortex_m_rt::{ExceptionFrame, exception};
use embassy_rp::pac::psm::regs::Wdsel;
use embassy_rp::pac::{PSM, WATCHDOG};
use pumpwitness_board::fault;

/// The place of the fault that caused this start, if one did; it is forgotten.
pub fn take() -> Option<u32> {
    let words = [WATCHDOG.scratch0().read(), WATCHDOG.scratch1().read()];
    WATCHDOG.scratch0().write_value(0);
    fault::place(words)
}

/// Lets the watchdog reset everything but the two oscillators: a DMA channel of this life must not
/// write into the next. The driver's own choice, made whenever it starts the watchdog, names other
/// parts on the RP2350, whose bits are ordered otherwise.
pub fn reset_everything() {
    let mut all = Wdsel(0x01FF_FFFF);
    all.set_rosc(false);
    all.set_xosc(false);
    PSM.wdsel().write_value(all);
}

/// Restarts by the watchdog, whose scratch registers outlive that.
fn keep_and_restart(place: u32) -> ! {
    cortex_m::interrupt::disable();
    let [seal, place] = fault::words(place);
    WATCHDOG.scratch0().write_value(seal);
    WATCHDOG.scratch1().write_value(place);
    reset_everything();
    WATCHDOG.ctrl().write(|w| w.set_trigger(true));
    loop {
        cortex_m::asm::nop();
    }
}

#[panic_handler]
fn panic(info: &PanicInfo) -> ! {
    keep_and_restart(info.location().map_or(0, |at| fault::panic_place(at.file(), at.line())))
}

/// A hard fault's place is the program counter.
// SAFETY: the handler runs instead of the faulty code and never returns to it.
#[exception]
unsafe fn HardFault(frame: &ExceptionFrame) -> ! {
    keep_and_restart(frame.pc())
}
