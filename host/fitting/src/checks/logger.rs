//! The logger itself: clock, memory, supply.

use super::seen::Seen;
use super::{Check, Verdict};
use crate::endurance;
use pumpwitness_protocol::message::Status;

/// A clock this far off is right, s: the time a question takes.
const CLOCK_RIGHT_S: f64 = 2.0;
/// Days that a record should last at least (common practice: a fault that comes each week).
const LASTS_DAYS: f64 = 7.0;
/// Share of the time that an ordinary pump runs.
const ORDINARY_DUTY: f64 = 0.25;
/// Supply of the logger, V: USB 2.0 clause 7.2.1 gives 4.75 to 5.25 V at the source; hardware-notes
/// allow as much at the terminal.
const SUPPLY_V: (f64, f64) = (4.4, 5.6);

pub(super) fn clock(off_ms: Option<i64>, good: bool) -> Check {
    let verdict = match off_ms {
        None => Verdict::Waiting("The logger has not told its clock yet.".to_owned()),
        Some(_) if !good => Verdict::Bad(
            "The logger has lost the time.".to_owned(),
            "Arming sets the clock. If it was right before a power cut and is wrong after, the \
             clock's battery is empty or missing: replace it first.",
        ),
        Some(ms) => {
            let off_s = ms.unsigned_abs() as f64 / 1000.0;
            if off_s <= CLOCK_RIGHT_S {
                Verdict::Good("The logger's clock agrees with this computer's.".to_owned())
            } else {
                let way = if ms < 0 { "behind" } else { "ahead of" };
                Verdict::Waiting(format!(
                    "The logger's clock is {} {way} this computer's. Arming sets it.",
                    length(off_s)
                ))
            }
        }
    };
    Check::new("clock", "Clock", verdict)
}

fn length(seconds: f64) -> String {
    if seconds < 120.0 {
        format!("{seconds:.0} s")
    } else if seconds < 7200.0 {
        format!("{:.0} min", seconds / 60.0)
    } else if seconds < 172_800.0 {
        format!("{:.0} h", seconds / 3600.0)
    } else {
        format!("{:.0} days", seconds / 86_400.0)
    }
}

pub(super) fn memory(status: Option<&Status>) -> Check {
    let verdict = match status {
        None => Verdict::Waiting("The logger has not told its memory yet.".to_owned()),
        Some(status) if status.full => Verdict::Bad(
            "The memory is full and recording has stopped.".to_owned(),
            "Collect what it holds and release it (collect with --release).",
        ),
        Some(status) => {
            let (whole, _) = endurance::bytes(status);
            let ordinary = endurance::days(whole, ORDINARY_DUTY);
            let says = format!(
                "The memory ({} MB) lasts about {ordinary:.0} days if the pump runs a quarter of \
                 the time, {:.0} if it never stops; then the oldest is overwritten.",
                whole / 1_000_000,
                endurance::days(whole, 1.0)
            );
            if ordinary < LASTS_DAYS {
                Verdict::Bad(says, "Come back in time, or fit a logger with more memory.")
            } else {
                Verdict::Good(says)
            }
        }
    };
    Check::new("memory", "Memory", verdict)
}

pub(super) fn supply(seen: &Seen) -> Check {
    let verdict = if seen.latest().is_none() {
        Verdict::Waiting("No readings yet.".to_owned())
    } else if let Some(volts) = seen.median(|reading| reading.supply_v) {
        if (SUPPLY_V.0..=SUPPLY_V.1).contains(&volts) {
            Verdict::Good(format!("The logger's own supply is {volts:.2} V."))
        } else {
            Verdict::Bad(
                format!("The logger's own supply is {volts:.2} V, not about 5 V."),
                "Check its power unit and cable: what dips here loses records.",
            )
        }
    } else {
        Verdict::Good("The logger is supplied. It does not measure the voltage itself.".to_owned())
    };
    Check::new("logger-supply", "Logger's supply", verdict)
}
