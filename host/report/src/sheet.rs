//! The fitting sheet: one page that goes to the site with the sensors.

use crate::content::{Block, Cell, Column, Document, Section, Table, Text};
use crate::format::{fixed, significant};
use crate::pdf::PdfError;
use crate::units::{Quantity, Reader, Style};
use jiff::Timestamp;
use pumpwitness_site_file::{Control, Site, Start, Transducer, TransducerKind};

/// What the sheet is made of.
#[derive(Clone, Copy, Debug)]
pub struct SheetInput<'a> {
    /// The site as planned.
    pub site: &'a Site,
    /// Changes smaller than these do not count as movement: voltage, V; current, A; pressure, bar.
    pub deadbands: (f64, f64, f64),
    /// Days the memory lasts when the pump runs a quarter of the time.
    pub days_at_a_quarter: f64,
    /// Days it lasts when the pump never stops.
    pub days_always_running: f64,
    /// When the sheet is made.
    pub generated: Timestamp,
    /// Version of the program that makes it.
    pub program_version: &'a str,
}

/// The sheet as one HTML file.
pub fn html(input: &SheetInput<'_>) -> String {
    crate::html::page_of(&document(input))
}

/// The sheet as PDF.
///
/// # Errors
///
/// As [`crate::pdf()`].
pub fn pdf(input: &SheetInput<'_>) -> Result<Vec<u8>, PdfError> {
    crate::pdf::file(&document(input))
}

fn document(input: &SheetInput<'_>) -> Document {
    let site = input.site;
    let style = Style::of(site);
    Document {
        kind: "Fitting sheet".into(),
        title: site.name.clone().unwrap_or_else(|| "Site without a name".into()),
        subtitle: [&site.customer, &site.address, &site.fit.reason]
            .into_iter()
            .flatten()
            .map(String::as_str)
            .collect::<Vec<_>>()
            .join(" · "),
        foot: format!("pumpwitness {}", input.program_version),
        // One section, so that it is one page.
        sections: vec![Section {
            blocks: [sensors(input, Reader(style)), leaving(input), safety(), signatures()]
                .map(Block::Section)
                .into(),
            id: "sheet".into(),
            title: "The fitting".into(),
            tone: None,
        }],
        hashes: Vec::new(),
        made: input.generated,
        program: format!("pumpwitness {}", input.program_version),
        paper: style.paper(),
    }
}

fn sensors(input: &SheetInput<'_>, reader: Reader) -> Section {
    let site = input.site;
    let value = |quantity, value| reader.value(quantity, value);
    let (dead_v, dead_a, dead_bar) = input.deadbands;
    let mut rows: Vec<Vec<Cell>> = vec![
        row([
            "Line voltage",
            "isolated voltage sense, on the supply side of what switches the pump",
            &format!("{} ± 10 % at all times", value(Quantity::Volt, site.supply.nominal_v)),
            &value(Quantity::Volt, dead_v),
        ]),
        row([
            "Motor current",
            match site.motor.start {
                Start::Drive => {
                    "clamp round one insulated conductor of the drive's input, arrow towards it"
                }
                Start::Direct | Start::Soft => {
                    "clamp round one insulated conductor, arrow towards the motor"
                }
            },
            &current_expected(site, reader),
            &value(Quantity::Ampere, dead_a),
        ]),
        row([
            "Power",
            "voltage and current of the same pair of conductors",
            "positive; 0.6 to 0.95 of volts times amperes while the pump runs",
            "",
        ]),
    ];
    if let Some(transducer) = site.transducer {
        rows.push(row([
            "Pressure",
            &format!(
                "transducer on the tank's side of the check valve, {} to {}",
                value(Quantity::Bar, transducer.low_bar),
                value(Quantity::Bar, transducer.high_bar)
            ),
            &pressure_expected(site, transducer, reader),
            &value(Quantity::Bar, dead_bar),
        ]));
    }
    for (number, label) in &site.lamps {
        rows.push(row([
            &format!("Lamp {number}"),
            "light sensor before the lamp, shaded; no wire into the panel",
            &format!("“{label}”: dark, and lit at the panel's lamp test"),
            "",
        ]));
    }
    Section {
        id: "sensors".into(),
        title: "Sensors and what they should read".into(),
        tone: None,
        blocks: vec![Block::Table(Table {
            caption: String::from("By nameplate, site file and common practice"),
            columns: vec![
                Column::words("Channel"),
                Column::words("Sensor and place"),
                Column::words("Should read"),
                Column::numbers("Deadband"),
            ],
            rows,
        })],
    }
}

fn row(cells: [&str; 4]) -> Vec<Cell> {
    cells.into_iter().map(Cell::from).collect()
}

fn current_expected(site: &Site, reader: Reader) -> String {
    let rated = site.motor.rated_current_a;
    let at = |share: f64| reader.value(Quantity::Ampere, share * rated);
    match site.motor.start {
        Start::Drive => format!("0 A asleep; up to {} at full speed", at(1.0)),
        // NEMA MG 1 clause 10.37, from memory: locked-rotor current by code letter, about six times.
        Start::Direct => format!(
            "0 A at rest; {} to {} running; about {} for an instant at a start",
            at(0.5),
            at(site.motor.service_factor),
            at(6.0)
        ),
        Start::Soft => format!(
            "0 A at rest; {} to {} running; two to four times that at a start",
            at(0.5),
            at(site.motor.service_factor)
        ),
    }
}

fn pressure_expected(site: &Site, transducer: Transducer, reader: Reader) -> String {
    let bar = |value| reader.value(Quantity::Bar, value);
    let wire = |value: f64| {
        let share = (value - transducer.low_bar) / (transducer.high_bar - transducer.low_bar);
        match transducer.kind {
            TransducerKind::Loop => format!("{} mA", fixed(4.0 + 16.0 * share, 2)),
            TransducerKind::Ratiometric => {
                format!("{} % of its supply", fixed(10.0 + 80.0 * share, 1))
            }
        }
    };
    match site.control {
        Some(Control::PressureSwitch { cut_in_bar, cut_out_bar }) => format!(
            "as the gauge beside it; {} ({}) at the cut-in, {} ({}) at the cut-out",
            bar(cut_in_bar),
            wire(cut_in_bar),
            bar(cut_out_bar),
            wire(cut_out_bar)
        ),
        Some(Control::ConstantPressure { setpoint_bar }) => {
            format!("as the gauge beside it; about {} ({})", bar(setpoint_bar), wire(setpoint_bar))
        }
        None => format!("as the gauge beside it; without pressure {}", wire(0.0)),
    }
}

fn leaving(input: &SheetInput<'_>) -> Section {
    let days = |days: f64| significant(days, 2);
    Section {
        id: "leaving".into(),
        title: "Before you leave".into(),
        tone: None,
        blocks: vec![Block::List(vec![
            Text::default()
                .plain("Let the pump start, run for half a minute and stop, with ")
                .exact("pumpwitness watch")
                .plain(" beside it: every check good, or written down below why not."),
            "Compare current with a clamp meter and pressure with the gauge, and note both below."
                .into(),
            Text::default()
                .plain("Arm (")
                .exact("pumpwitness arm")
                .plain("), photograph the fit, note the logger's number."),
            format!(
                "The memory of 16 MiB lasts about {} days if the pump runs a quarter of the time, \
                 {} if it never stops; then the oldest is overwritten.",
                days(input.days_at_a_quarter),
                days(input.days_always_running)
            )
            .into(),
        ])],
    }
}

fn safety() -> Section {
    Section {
        id: "cautions".into(),
        title: "Cautions".into(),
        tone: None,
        blocks: vec![Block::List(vec![
            "Mains voltage and stored pressure kill. Fitting and removing is work for a qualified \
             person: isolate, lock, prove dead with a tester proved before and after; relieve the \
             pressure and see the gauge at zero."
                .into(),
            "Sensors are isolated and rated for the circuit (voltage and measurement category). A \
             pump at rest may start at any moment. No reading proves a circuit dead."
                .into(),
            "Local codes, the owner's rules and licensed practice come first.".into(),
        ])],
    }
}

fn signatures() -> Section {
    Section {
        id: "signed".into(),
        title: "Fitted".into(),
        tone: None,
        blocks: vec![Block::Blanks(
            [
                "By, licence",
                "Date, time",
                "Logger no., transducer, clamp, sense",
                "Meter reads A · gauge reads",
                "Checks not good, and why",
                "Signature",
            ]
            .map(str::to_owned)
            .to_vec(),
        )],
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sheet(text: &str) -> String {
        let site = pumpwitness_site_file::parse(text).unwrap();
        html(&SheetInput {
            site: &site,
            deadbands: (2.3, 0.07, 0.03),
            days_at_a_quarter: 30.4,
            days_always_running: 7.2,
            generated: Timestamp::UNIX_EPOCH,
            program_version: "0",
        })
        .replace(['\u{A0}', '\u{202F}'], " ")
    }

    #[test]
    fn the_sheet_says_what_the_wire_should_carry() {
        let html = sheet(pumpwitness_site_file::EXAMPLE);
        // 2 bar of 0 to 10 bar on 4–20 mA: 4 + 16 × 0.2 (IEC 60381-1).
        assert!(html.contains("7.20 mA"), "{html}");
        assert!(html.contains("dry running") && html.contains("prove dead"));
        assert!(html.contains("about 30 days"));
    }

    #[test]
    fn a_site_without_pressure_has_no_transducer_on_its_sheet() {
        let html =
            sheet("[supply]\nnominal_v = 230\nfrequency_hz = 50\n[motor]\nrated_current_a = 7\n");
        assert!(!html.contains("transducer on the tank"));
    }
}
