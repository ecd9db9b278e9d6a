//! The transducer: its wire, its supply, its range, and that it feels the water.

use super::seen::Seen;
use super::{Check, Stated, Verdict, pressure_text};
use crate::reading::Signal;
use pumpwitness_site_file::{BAR_PER_PSI, Control, Site, TransducerKind};

/// NAMUR NE 43 (from memory): at or below 3.6 mA and at or above 21 mA is a failure.
const LOOP_MA: (f64, f64) = (3.6, 21.0);
/// Part of the supply, %: below and above is a failure (common practice).
const RATIO_PERCENT: (f64, f64) = (5.0, 95.0);
/// Supply of the transducer, V (common practice; the transducer's own data sheet decides).
const LOOP_SUPPLY_V: (f64, f64) = (10.0, 32.0);
const RATIO_SUPPLY_V: (f64, f64) = (4.5, 5.5);
/// Agreement with a gauge: 2.5 % of the span is the class of an ordinary gauge (EN 837-1 class
/// 2.5), and a reading by eye adds as much.
const GAUGE_SHARE: f64 = 0.05;
/// 1 atm in bar: what an absolute transducer shows with no pressure.
const ATMOSPHERE_BAR: f64 = 1.013;
/// A run this long moves the pressure, s, by at least this share of the span.
const RUN_S: f64 = 20.0;
const MOVES_SHARE: f64 = 0.01;

pub(super) fn wire(seen: &Seen) -> Check {
    let signal = seen.median(|reading| {
        Some(match reading.signal? {
            Signal::LoopMa(value) | Signal::SupplyPercent(value) => value,
        })
    });
    let kind = seen.latest().and_then(|reading| reading.signal);
    let verdict = match (signal, kind) {
        (Some(ma), Some(Signal::LoopMa(_))) => {
            let says = format!("The loop carries {ma:.2} mA.");
            if ma <= LOOP_MA.0 {
                Verdict::Bad(
                    says,
                    "The loop is open or its polarity reversed: check plug, wiring, polarity and \
                     the loop's supply.",
                )
            } else if ma >= LOOP_MA.1 {
                Verdict::Bad(
                    says,
                    "The loop is shorted, or wired past the transducer: check the wiring.",
                )
            } else {
                Verdict::Good(says)
            }
        }
        (Some(percent), Some(Signal::SupplyPercent(_))) => {
            let says = format!("The signal is {percent:.1} % of the transducer's supply.");
            if (RATIO_PERCENT.0..=RATIO_PERCENT.1).contains(&percent) {
                Verdict::Good(says)
            } else {
                Verdict::Bad(
                    says,
                    "The signal wire is open or shorted to a supply wire, or two wires are \
                     swapped: check the wiring.",
                )
            }
        }
        (_, None) if seen.latest().is_some() => Verdict::Bad(
            "The logger is set to no transducer.".to_owned(),
            "Give it the site file of this site.",
        ),
        _ => Verdict::Waiting("No readings yet.".to_owned()),
    };
    Check::new("transducer", "Transducer's wire", verdict)
}

pub(super) fn supply(seen: &Seen) -> Check {
    let ratiometric =
        matches!(seen.latest().and_then(|reading| reading.signal), Some(Signal::SupplyPercent(_)));
    let (low, high) = if ratiometric { RATIO_SUPPLY_V } else { LOOP_SUPPLY_V };
    let verdict = match seen.median(|reading| reading.transducer_supply_v) {
        None => Verdict::Waiting("No readings yet.".to_owned()),
        Some(volts) if (low..=high).contains(&volts) => {
            Verdict::Good(format!("The transducer's supply is {volts:.1} V."))
        }
        Some(volts) => Verdict::Bad(
            format!("The transducer's supply is {volts:.1} V, not {low} to {high} V."),
            "Check the supply and its terminals: a sagging one bends the top of the scale first.",
        ),
    };
    Check::new("transducer-supply", "Transducer's supply", verdict)
}

pub(super) fn gauge(seen: &Seen, site: &Site, stated: &Stated) -> Check {
    let verdict = match (seen.median(|r| r.pressure_bar), site.transducer) {
        (Some(bar), Some(transducer)) => {
            let span = transducer.high_bar - transducer.low_bar;
            let shown = format!("The pressure reads {}", pressure_text(bar, site.units));
            match stated.gauge_bar.zip(seen.at_gauge()) {
                None => impossible(bar, &shown, site).unwrap_or_else(|| {
                    Verdict::Waiting(format!("{shown}. Enter what the gauge beside it reads."))
                }),
                Some((gauge, then)) => {
                    let says = format!(
                        "The pressure read {} when the gauge read {}.",
                        pressure_text(then, site.units),
                        pressure_text(gauge, site.units)
                    );
                    match against(then, gauge, span, says, transducer.kind) {
                        Verdict::Bad(says, remedy) => Verdict::Bad(
                            format!("{says} Once it is put right, enter the gauge again."),
                            remedy,
                        ),
                        good => good,
                    }
                }
            }
        }
        _ => Verdict::Waiting("No readings yet.".to_owned()),
    };
    Check::new("pressure", "Pressure against the gauge", verdict)
}

/// A pressure that no control of this site leaves standing.
fn impossible(bar: f64, shown: &str, site: &Site) -> Option<Verdict> {
    let top = match site.control? {
        Control::PressureSwitch { cut_out_bar, .. } => cut_out_bar,
        Control::ConstantPressure { setpoint_bar } => setpoint_bar,
    };
    (bar > 2.0 * top).then(|| {
        Verdict::Bad(
            format!("{shown}, more than twice what the control allows."),
            "The range in the site file is not the one on the transducer's label, or psi was \
             taken for bar: correct the site file.",
        )
    })
}

fn against(bar: f64, gauge: f64, span: f64, says: String, kind: TransducerKind) -> Verdict {
    let near = |a: f64, b: f64| (a - b).abs() <= GAUGE_SHARE * b.abs().max(0.2 * span);
    if (bar - gauge).abs() <= GAUGE_SHARE * span.max(1.0) * 0.5 || near(bar, gauge) {
        return Verdict::Good(says);
    }
    if near(bar, gauge / BAR_PER_PSI) || near(bar / BAR_PER_PSI, gauge) {
        return Verdict::Bad(
            says,
            "They differ by the factor of psi and bar: correct the unit of the range in the site \
             file.",
        );
    }
    if ((bar - gauge).abs() - ATMOSPHERE_BAR).abs() < 0.15 {
        return Verdict::Bad(
            says,
            "They differ by about 1 bar: an absolute transducer was taken for a gauge one; correct \
             both ends in the site file by 1.013 bar.",
        );
    }
    Verdict::Bad(
        says,
        match kind {
            TransducerKind::Loop => {
                "The range in the site file is not the one on the transducer's label, or the \
                 gauge is wrong, or a valve between them is shut."
            }
            TransducerKind::Ratiometric => {
                "The range in the site file is not the one on the transducer's label, or signal \
                 and supply are swapped, or a valve between them is shut."
            }
        },
    )
}

pub(super) fn moves(seen: &Seen, site: &Site) -> Check {
    let span = site.transducer.map_or(10.0, |t| t.high_bar - t.low_bar);
    let (moved, run_s) = seen.movement();
    let verdict = if moved >= MOVES_SHARE * span {
        Verdict::Good(format!(
            "The pressure moved by {} while the pump ran.",
            pressure_text(moved, site.units)
        ))
    } else if run_s < RUN_S || matches!(site.control, Some(Control::ConstantPressure { .. })) {
        Verdict::Waiting("Let the pump run for half a minute: the pressure must move.".to_owned())
    } else {
        Verdict::Bad(
            format!("The pump ran for {run_s:.0} s and the pressure did not move."),
            "The transducer's valve is shut, or its port or snubber is blocked; or the pump moves \
             no water. Relieve the pressure before opening anything.",
        )
    };
    Check::new("pressure-moves", "Pressure follows the pump", verdict)
}
