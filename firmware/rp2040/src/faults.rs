//! Where the program went wrong, kept over the restart in RAM that nothing clears, and told as a
//! mark at the next boot.
//!
//! One of the files that may hold unsafe code: the RAM cell is placed by a link section, and the
//! handler of hard faults is unsafe by its type. The cell is made of atomics, for which every bit
//! pattern is a value; a seal tells a kept place from what RAM holds at power-on.
#![allow(unsafe_code)]

use core::panic::PanicInfo;
use core::sync::atomic::{AtomicU32, Ordering};
use cortex_m::peripheral::SCB;
use cortex_m_rt::{ExceptionFrame, exception};

const SEAL: u32 = 0x7057_F417;

// SAFETY: `.uninit` is RAM that start-up leaves alone; only this cell is put there by this crate.
#[unsafe(link_section = ".uninit.fault")]
static KEPT: [AtomicU32; 2] = [AtomicU32::new(0), AtomicU32::new(0)];

/// The place of the fault that caused this start, if one did; it is forgotten.
pub fn take() -> Option<u32> {
    let place = KEPT[1].load(Ordering::Relaxed);
    let kept = KEPT[0].load(Ordering::Relaxed) == SEAL ^ place;
    KEPT[0].store(0, Ordering::Relaxed);
    kept.then_some(place)
}

fn keep_and_restart(place: u32) -> ! {
    KEPT[1].store(place, Ordering::Relaxed);
    KEPT[0].store(SEAL ^ place, Ordering::Relaxed);
    cortex_m::asm::dsb();
    SCB::sys_reset()
}

/// A panic's place is its line, with a sum over the file's name in the upper 16 bits; a hard fault's
/// is the program counter.
#[panic_handler]
fn panic(info: &PanicInfo) -> ! {
    let place = info.location().map_or(0, |location| {
        let sum = location
            .file()
            .bytes()
            .fold(0_u32, |sum, byte| sum.wrapping_mul(31).wrapping_add(u32::from(byte)));
        sum << 16 | (location.line() & 0xFFFF)
    });
    keep_and_restart(place)
}

// SAFETY: the handler runs instead of the faulty code and never returns to it.
#[exception]
unsafe fn HardFault(frame: &ExceptionFrame) -> ! {
    keep_and_restart(frame.pc())
}
