//! What a column is, by its heading: a quantity, which of its statistics, and the unit.
//!
//! A heading is cut into lower-case words at everything that is no letter or digit, so
//! `pressure_min_psi`, `Pressure min [psi]` and `pressure (PSI) MIN` are the same. It is recognised
//! when it has the quantity, the unit and nothing but known words besides: `battery_voltage_v` is
//! no line voltage.

/// What is measured.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Quantity {
    /// End of the row's span, or moment of the sample.
    Time(TimeUnit),
    /// Length of the row's span, ms.
    Span,
    /// Line voltage of a phase (0 to 2), V.
    Voltage(u8),
    /// Motor current of a phase (0 to 2), A.
    Current(u8),
    /// Pressure, bar.
    Pressure,
    /// Transducer loop, mA.
    Loop,
    /// Transducer signal as a part of its supply.
    Ratio,
    /// Active power, W.
    Power,
    /// Frequency of the supply, Hz.
    Frequency,
    /// Transducer supply, V.
    TransducerSupply,
}

/// How a time column counts, as far as its heading says.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum TimeUnit {
    /// Not said: text, or numbers whose size tells.
    Open,
    /// Numbers; this many make a second.
    PerSecond(u32),
}

/// Which figure of the span a column gives.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Statistic {
    /// Mean (r.m.s. for voltage and current), or a sample.
    Mean,
    /// Smallest.
    Min,
    /// Largest.
    Max,
}

/// What a column is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Heading {
    /// Quantity.
    pub quantity: Quantity,
    /// Statistic.
    pub statistic: Statistic,
    /// Unit as recognised.
    pub unit: &'static str,
    /// Factor to the unit of [`Quantity`].
    pub factor: f64,
    /// The heading says that times are UTC.
    pub utc: bool,
}

/// What a heading turned out to be.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Reading {
    /// A column of a recording.
    Known(Heading),
    /// A quantity of a recording whose unit is not in the name.
    NoUnit(&'static str),
    /// Something else.
    Other,
}

struct Entry {
    words: &'static [&'static str],
    quantity: Quantity,
    units: &'static [(&'static str, f64)],
    /// Further words that may stand in the heading.
    also: &'static [&'static str],
}

/// Units of pressure; psi as in the site file (exact).
const PRESSURE: &[(&str, f64)] =
    &[("bar", 1.0), ("mbar", 0.001), ("kpa", 0.01), ("mpa", 10.0), ("psi", 0.068_947_572_931_68)];

/// Tried in this order: `loop_current_ma` is no motor current.
const ENTRIES: &[Entry] = &[
    Entry {
        words: &["transducer", "supply"],
        quantity: Quantity::TransducerSupply,
        units: &[("v", 1.0), ("mv", 0.001)],
        also: &["voltage"],
    },
    Entry {
        words: &["loop"],
        quantity: Quantity::Loop,
        units: &[("ma", 1.0)],
        also: &["current", "transducer"],
    },
    Entry {
        words: &["signal"],
        quantity: Quantity::Ratio,
        units: &[("ratio", 1.0)],
        also: &["transducer"],
    },
    Entry {
        words: &["voltage"],
        quantity: Quantity::Voltage(0),
        units: &[("v", 1.0), ("kv", 1000.0)],
        also: &["line"],
    },
    Entry {
        words: &["current"],
        quantity: Quantity::Current(0),
        units: &[("a", 1.0), ("ma", 0.001)],
        also: &["motor"],
    },
    Entry { words: &["pressure"], quantity: Quantity::Pressure, units: PRESSURE, also: &[] },
    Entry {
        words: &["power"],
        quantity: Quantity::Power,
        units: &[("w", 1.0), ("kw", 1000.0)],
        also: &["active"],
    },
    Entry {
        words: &["frequency"],
        quantity: Quantity::Frequency,
        units: &[("hz", 1.0)],
        also: &["line", "supply"],
    },
    Entry {
        words: &["span"],
        quantity: Quantity::Span,
        units: &[("ms", 1.0), ("s", 1000.0)],
        also: &[],
    },
];

const TIME_WORDS: &[&str] =
    &["time", "timestamp", "datetime", "date", "t", "unix", "epoch", "utc", "local", "elapsed"];
const TIME_UNITS: &[(&str, u32)] =
    &[("s", 1), ("ms", 1000), ("us", 1_000_000), ("ns", 1_000_000_000)];

/// Reads a heading.
pub fn read(heading: &str) -> Reading {
    let lower = heading.to_lowercase().replace('µ', "u");
    let words: Vec<&str> =
        lower.split(|c: char| !c.is_alphanumeric()).filter(|word| !word.is_empty()).collect();
    if let Some(time) = read_time(&words) {
        return Reading::Known(time);
    }
    ENTRIES
        .iter()
        .find(|entry| entry.words.iter().all(|word| words.contains(word)))
        .map_or(Reading::Other, |entry| read_entry(entry, &words))
}

fn read_time(words: &[&str]) -> Option<Heading> {
    let mut unit = TimeUnit::Open;
    // At least one word that means a time, and it comes first: `t_s`, `time_ms`, `unix_time`.
    if !TIME_WORDS.contains(words.first()?) {
        return None;
    }
    for word in words {
        if let Some((_, per_second)) = TIME_UNITS.iter().find(|(name, _)| name == word) {
            unit = TimeUnit::PerSecond(*per_second);
        } else if !TIME_WORDS.contains(word) {
            return None;
        }
    }
    Some(Heading {
        quantity: Quantity::Time(unit),
        statistic: Statistic::Mean,
        unit: "",
        factor: 1.0,
        utc: words.contains(&"utc"),
    })
}

fn read_entry(entry: &Entry, words: &[&str]) -> Reading {
    let mut statistic = Statistic::Mean;
    let mut unit = None;
    let mut phase = 0;
    for word in words {
        match *word {
            "min" | "minimum" => statistic = Statistic::Min,
            "max" | "maximum" => statistic = Statistic::Max,
            "mean" | "avg" | "average" | "rms" => {}
            "l1" => phase = 0,
            "l2" => phase = 1,
            "l3" => phase = 2,
            other => match entry.units.iter().find(|(name, _)| *name == other) {
                Some(known) if unit.is_none() => unit = Some(*known),
                _ if entry.words.contains(&other) || entry.also.contains(&other) => {}
                _ => return Reading::Other,
            },
        }
    }
    let quantity = match entry.quantity {
        Quantity::Voltage(_) => Quantity::Voltage(phase),
        Quantity::Current(_) => Quantity::Current(phase),
        // Only voltage and current are recorded by phase.
        other if phase == 0 => other,
        _ => return Reading::Other,
    };
    match unit {
        Some((unit, factor)) => {
            Reading::Known(Heading { quantity, statistic, unit, factor, utc: false })
        }
        None => Reading::NoUnit(entry.units[0].0),
    }
}

/// The heading under which a channel is written; [`read`] recognises it.
pub fn heading(quantity: Quantity, statistic: Statistic, phases: usize) -> String {
    let (name, unit) = match quantity {
        Quantity::Time(_) => return "time".to_owned(),
        Quantity::Span => ("span", "ms"),
        Quantity::Voltage(_) => ("voltage", "v"),
        Quantity::Current(_) => ("current", "a"),
        Quantity::Pressure => ("pressure", "bar"),
        Quantity::Loop => ("loop", "ma"),
        Quantity::Ratio => ("signal", "ratio"),
        Quantity::Power => ("power", "w"),
        Quantity::Frequency => ("frequency", "hz"),
        Quantity::TransducerSupply => ("transducer_supply", "v"),
    };
    let phase = match quantity {
        Quantity::Voltage(phase) | Quantity::Current(phase) if phases > 1 => {
            format!("_l{}", phase + 1)
        }
        _ => String::new(),
    };
    let statistic = match statistic {
        Statistic::Mean => "",
        Statistic::Min => "_min",
        Statistic::Max => "_max",
    };
    format!("{name}{phase}{statistic}_{unit}")
}

#[cfg(test)]
mod tests {
    use super::*;

    fn known(heading: &str) -> Heading {
        match read(heading) {
            Reading::Known(known) => known,
            other => panic!("{heading}: {other:?}"),
        }
    }

    #[test]
    fn spellings_of_one_heading_are_the_same() {
        for name in
            ["pressure_min_psi", "Pressure min [psi]", "PRESSURE (psi) MIN", "pressure-psi-min"]
        {
            let heading = known(name);
            assert_eq!(heading.quantity, Quantity::Pressure);
            assert_eq!(heading.statistic, Statistic::Min);
            assert_eq!(heading.unit, "psi");
        }
    }

    #[test]
    fn what_is_written_is_recognised() {
        for phases in [1, 3] {
            for quantity in [
                Quantity::Span,
                Quantity::Voltage(phases - 1),
                Quantity::Current(phases - 1),
                Quantity::Pressure,
                Quantity::Loop,
                Quantity::Ratio,
                Quantity::Power,
                Quantity::Frequency,
                Quantity::TransducerSupply,
            ] {
                for statistic in [Statistic::Mean, Statistic::Min, Statistic::Max] {
                    let name = heading(quantity, statistic, phases.into());
                    let back = known(&name);
                    assert_eq!((back.quantity, back.statistic), (quantity, statistic), "{name}");
                    assert_eq!(back.factor, 1.0, "{name}");
                }
            }
        }
        assert_eq!(known("time").quantity, Quantity::Time(TimeUnit::Open));
    }

    #[test]
    fn headings_that_only_look_alike_are_left_alone() {
        for name in
            ["battery_voltage_v", "reactive_power_w", "discharge_pressure_m", "on", "", "°C"]
        {
            assert_eq!(read(name), Reading::Other, "{name}");
        }
        assert_eq!(read("pressure"), Reading::NoUnit("bar"));
        assert_eq!(read("power_l2_w"), Reading::Other);
    }

    #[test]
    fn time_headings() {
        assert_eq!(known("Timestamp (UTC)").quantity, Quantity::Time(TimeUnit::Open));
        assert!(known("Timestamp (UTC)").utc);
        assert_eq!(known("unix_ms").quantity, Quantity::Time(TimeUnit::PerSecond(1000)));
        assert_eq!(known("t_s").quantity, Quantity::Time(TimeUnit::PerSecond(1)));
        assert_eq!(known("time [µs]").quantity, Quantity::Time(TimeUnit::PerSecond(1_000_000)));
        assert_eq!(read("time_of_day"), Reading::Other);
    }
}
