//! Text → [`Site`].

use crate::error::SiteFileError;
use crate::model::{
    Control, Fit, LampMeaning, Limits, Motor, Site, Start, Supply, Tank, Transducer,
    TransducerKind, Units,
};
use crate::quantities as q;
use crate::section::{Section, line_at, readable, suggestion};
use toml::de::{DeTable, DeValue};

/// Most bytes of a site file that are read.
pub const TEXT_BYTES_MAX: usize = 64 * 1024;
/// Most bytes in the name of a site: what the logger's settings hold.
pub const NAME_BYTES_MAX: usize = 64;
/// Most bytes in the label of a lamp: what the logger's settings hold.
pub const LABEL_BYTES_MAX: usize = 24;
/// Most bytes in the name of a time zone.
const ZONE_BYTES_MAX: usize = 64;
/// Most bytes in the name of a customer, and in an address.
const CUSTOMER_BYTES_MAX: usize = 100;
const ADDRESS_BYTES_MAX: usize = 200;

#[derive(Clone, Copy)]
enum ControlKind {
    PressureSwitch,
    ConstantPressure,
}

const CONTROL_KINDS: &[(&str, ControlKind)] = &[
    ("pressure-switch", ControlKind::PressureSwitch),
    ("constant-pressure", ControlKind::ConstantPressure),
];

/// Reads the text of a site file and checks every value.
pub fn parse(text: &str) -> Result<Site, SiteFileError> {
    if text.len() > TEXT_BYTES_MAX {
        return Err(SiteFileError::TooLong { bytes: text.len() });
    }
    let text = text.strip_prefix('\u{FEFF}').unwrap_or(text);
    let document = DeTable::parse(text).map_err(|error| SiteFileError::Syntax {
        line: line_at(text, error.span().map_or(0, |span| span.start)),
        cause: error.message().replace('\n', "; "),
    })?;
    let document = document.get_ref();
    check_sections(text, document)?;

    let open = |name: &'static str| open_section(name, text, document);
    let need = |name: &'static str, first: &q::Quantity| {
        open(name)?.ok_or_else(|| SiteFileError::MissingSection {
            section: name,
            key: first.keys().next().unwrap_or_default(),
        })
    };

    let supply = need("supply", &q::NOMINAL)?;
    let supply = Supply {
        nominal_v: supply.required(&q::NOMINAL, "")?,
        frequency_hz: supply
            .choice("frequency_hz", [50, 60])?
            .ok_or_else(|| supply.missing("frequency_hz", ": 50 or 60"))?
            .into(),
        phases: supply.choice("phases", [1, 3])?.unwrap_or(1),
    };
    let motor = need("motor", &q::RATED_CURRENT)?;
    let motor = Motor {
        rated_current_a: motor.required(&q::RATED_CURRENT, " from the nameplate")?,
        service_factor: motor.number(&q::SERVICE_FACTOR)?.unwrap_or(1.0),
        start: motor.word("start", Start::WORDS)?.unwrap_or_default(),
    };
    let mut site = Site {
        name: None,
        customer: None,
        address: None,
        time_zone: None,
        units: Units::default(),
        supply,
        motor,
        control: open("control")?.map(|section| control(&section)).transpose()?,
        tank: open("tank")?.map(|section| tank(&section)).transpose()?,
        transducer: open("transducer")?.map(|section| transducer(&section)).transpose()?,
        rated_flow_lpm: None,
        limits: Limits::default(),
        lamps: Vec::new(),
        lamp_means: Vec::new(),
        fit: open("fit")?.map(|section| fit(&section)).transpose()?.unwrap_or_default(),
    };
    if let Some(section) = open("site")? {
        site.name = section.text("name", NAME_BYTES_MAX)?;
        site.customer = section.text("customer", CUSTOMER_BYTES_MAX)?;
        site.address = section.text("address", ADDRESS_BYTES_MAX)?;
        site.time_zone = section.text("time_zone", ZONE_BYTES_MAX)?;
        site.units = section.word("units", Units::WORDS)?.unwrap_or_default();
    }
    if let Some(section) = open("pump")? {
        site.rated_flow_lpm = section.number(&q::RATED_FLOW)?;
    }
    if let Some(section) = open("limits")? {
        site.limits.min_run_s = section.number(&q::MIN_RUN)?;
        site.limits.max_starts_per_hour = section.number(&q::MAX_STARTS)?;
    }
    if let Some(section) = open("lamps")? {
        for lamp in 1..=8 {
            if let Some(label) = section.text(&lamp.to_string(), LABEL_BYTES_MAX)? {
                site.lamps.push((lamp, label));
            }
        }
    }
    if let Some(section) = open("lamp_means")? {
        for lamp in 1..=8 {
            if let Some(meaning) = section.word(&lamp.to_string(), LampMeaning::WORDS)? {
                site.lamp_means.push((lamp, meaning));
            }
        }
    }
    Ok(site)
}

/// Every top-level name must be a section that exists.
fn check_sections(text: &str, document: &DeTable<'_>) -> Result<(), SiteFileError> {
    for (name, value) in document {
        let line = line_at(text, name.span().start);
        let known = q::SECTIONS.iter().find(|(section, _)| *section == name.get_ref().as_ref());
        match (known, value.get_ref()) {
            (Some(_), DeValue::Table(_)) => {}
            (Some((section, _)), _) => return Err(SiteFileError::NotASection { line, section }),
            (None, _) => {
                let sections: Vec<String> =
                    q::SECTIONS.iter().map(|(section, _)| (*section).to_owned()).collect();
                return Err(SiteFileError::UnknownSection {
                    line,
                    section: name.get_ref().to_string(),
                    remedy: suggestion(name.get_ref(), &sections),
                });
            }
        }
    }
    Ok(())
}

fn open_section<'a>(
    name: &'static str,
    text: &str,
    document: &'a DeTable<'a>,
) -> Result<Option<Section<'a>>, SiteFileError> {
    let Some((_, known)) = q::SECTIONS.iter().find(|(section, _)| *section == name) else {
        return Ok(None);
    };
    document
        .iter()
        .find(|(key, _)| key.get_ref() == name)
        .and_then(|(key, value)| Some((key.span(), value.get_ref().as_table()?)))
        .map(|(span, table)| Section::open(name, known, text, span, table))
        .transpose()
}

fn control(section: &Section<'_>) -> Result<Control, SiteFileError> {
    let kind = section
        .word("kind", CONTROL_KINDS)?
        .ok_or_else(|| section.missing("kind", ": \"pressure-switch\" or \"constant-pressure\""))?;
    match kind {
        ControlKind::PressureSwitch => {
            section.refuse(&[&q::SETPOINT], "pressure-switch")?;
            let cut_in_bar = section.required(&q::CUT_IN, "")?;
            let cut_out_bar = section.required(&q::CUT_OUT, "")?;
            if cut_out_bar <= cut_in_bar {
                let cause = format!(
                    "is {} bar, not above the cut-in pressure of {} bar: the pump could never \
                     stop; correct one of them",
                    readable(cut_out_bar),
                    readable(cut_in_bar)
                );
                return Err(section.conflict(&q::CUT_OUT, &cause));
            }
            Ok(Control::PressureSwitch { cut_in_bar, cut_out_bar })
        }
        ControlKind::ConstantPressure => {
            section.refuse(&[&q::CUT_IN, &q::CUT_OUT], "constant-pressure")?;
            Ok(Control::ConstantPressure { setpoint_bar: section.required(&q::SETPOINT, "")? })
        }
    }
}

fn fit(section: &Section<'_>) -> Result<Fit, SiteFileError> {
    let mut values: [Option<String>; Fit::KEYS.len()] = Default::default();
    for (value, (key, max)) in values.iter_mut().zip(Fit::KEYS) {
        *value = section.text(key, max)?;
    }
    Ok(Fit::of(values))
}

fn tank(section: &Section<'_>) -> Result<Tank, SiteFileError> {
    Ok(Tank {
        volume_l: section
            .required(&q::VOLUME_OF_TANK, ", or leave the section out if it is unknown")?,
        precharge_bar: section.number(&q::PRECHARGE)?,
    })
}

fn transducer(section: &Section<'_>) -> Result<Transducer, SiteFileError> {
    let low_bar = section.number(&q::LOW)?.unwrap_or(0.0);
    let high_bar = section
        .required(&q::HIGH, " from its label, or leave the section out if none is fitted")?;
    if high_bar <= low_bar {
        let cause = format!(
            "is {} bar, not above the low end of {} bar; correct one of them",
            readable(high_bar),
            readable(low_bar)
        );
        return Err(section.conflict(&q::HIGH, &cause));
    }
    Ok(Transducer {
        kind: section.word("kind", TransducerKind::WORDS)?.unwrap_or_default(),
        low_bar,
        high_bar,
    })
}
