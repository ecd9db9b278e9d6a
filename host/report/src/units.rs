//! Units of the reader, and quantities told from the unit at the end of a name.

use crate::content::Paper;
use crate::format::{NBSP, duration, fixed, percent, significant};
use pumpwitness_site_file::{Site, Units};

/// Unit of pressures.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum PressureUnit {
    /// bar.
    Bar,
    /// Kilopascal: 1 bar = 100 kPa by definition.
    Kilopascal,
    /// Pound-force per square inch: 1 bar = 14.5038 psi.
    Psi,
}

/// Unit of volumes and flows.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum VolumeUnit {
    /// Litre.
    Litre,
    /// US gallon: 3.785 411 784 L.
    Gallon,
}

/// Unit of temperatures.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum TemperatureUnit {
    /// Degree Celsius.
    Celsius,
    /// Degree Fahrenheit.
    Fahrenheit,
}

/// How the time of day is written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Clock {
    /// 14:02.
    Hours24,
    /// 2:02 pm.
    Hours12,
}

/// How the reader measures.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Style {
    /// Pressures.
    pub pressure: PressureUnit,
    /// Volumes and flows.
    pub volume: VolumeUnit,
    /// Temperatures.
    pub temperature: TemperatureUnit,
    /// Time of day.
    pub clock: Clock,
}

impl Style {
    /// What the site file asks for.
    pub fn of(site: &Site) -> Self {
        match site.units {
            Units::Metric => Self {
                pressure: PressureUnit::Bar,
                volume: VolumeUnit::Litre,
                temperature: TemperatureUnit::Celsius,
                clock: Clock::Hours24,
            },
            Units::Us => Self {
                pressure: PressureUnit::Psi,
                volume: VolumeUnit::Gallon,
                temperature: TemperatureUnit::Fahrenheit,
                clock: Clock::Hours12,
            },
        }
    }
}

impl Style {
    /// The paper that readers with these units print on.
    pub fn paper(self) -> Paper {
        match self.volume {
            VolumeUnit::Litre => Paper::A4,
            VolumeUnit::Gallon => Paper::Letter,
        }
    }
}

/// 1 bar in psi: 100 000 Pa ÷ (0.453 592 37 kg × 9.806 65 m/s² ÷ (0.0254 m)²), NIST SP 811
/// appendix B.
pub const PSI_PER_BAR: f64 = 14.503_773_773_020_923;

/// 1 US gallon in L (231 cubic inches), NIST SP 811 appendix B.
pub const L_PER_GALLON: f64 = 3.785_411_784;

/// What a value is, so that it can be turned into the reader's unit and rounded sensibly.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[allow(missing_docs)] // each is the quantity and the unit it comes in
pub enum Quantity {
    Volt,
    Ampere,
    Milliampere,
    Watt,
    KilowattHour,
    Hertz,
    Ohm,
    Bar,
    BarPerMinute,
    Litre,
    LitrePerMinute,
    LitrePerHour,
    /// Pressure times volume, which a tank's gas keeps (Boyle).
    BarLitre,
    Celsius,
    Seconds,
    Minutes,
    Hours,
    Milliseconds,
    PerHour,
    PerDay,
    /// A share, shown in per cent.
    Share,
    /// Already per cent.
    Percent,
    /// A bare number.
    Number,
}

/// Endings of names and the quantity they stand for, the longest first.
const ENDINGS: &[(&str, Quantity)] = &[
    ("_bar_per_min", Quantity::BarPerMinute),
    ("_l_per_min", Quantity::LitrePerMinute),
    ("_l_per_h", Quantity::LitrePerHour),
    ("_per_hour", Quantity::PerHour),
    ("_per_day", Quantity::PerDay),
    ("_percent", Quantity::Percent),
    ("_share", Quantity::Share),
    ("_lpm", Quantity::LitrePerMinute),
    ("_kwh", Quantity::KilowattHour),
    ("_ohm", Quantity::Ohm),
    ("_bar_l", Quantity::BarLitre),
    ("_bar", Quantity::Bar),
    ("_min", Quantity::Minutes),
    ("_ma", Quantity::Milliampere),
    ("_ms", Quantity::Milliseconds),
    ("_hz", Quantity::Hertz),
    ("_v", Quantity::Volt),
    ("_a", Quantity::Ampere),
    ("_w", Quantity::Watt),
    ("_l", Quantity::Litre),
    ("_c", Quantity::Celsius),
    ("_s", Quantity::Seconds),
    ("_h", Quantity::Hours),
];

/// Splits a name such as `lowest_voltage_v` into the words before the unit and the quantity.
pub fn split_name(name: &str) -> (&str, Quantity) {
    // A share of something names what it is a share of.
    if name.contains("_share_of_") || name.starts_with("share_of_") || name == "relative_scatter" {
        return (name, Quantity::Share);
    }
    ENDINGS
        .iter()
        .find_map(|&(ending, quantity)| Some((name.strip_suffix(ending)?, quantity)))
        .filter(|(words, _)| !words.is_empty())
        .unwrap_or((name, Quantity::Number))
}

/// A value in the unit of its quantity, ready to be shown.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Reader(pub Style);

impl Reader {
    /// The unit's symbol; empty for bare numbers and for durations, which carry theirs inside.
    pub fn symbol(self, quantity: Quantity) -> &'static str {
        match quantity {
            Quantity::Volt => "V",
            Quantity::Ampere => "A",
            Quantity::Milliampere => "mA",
            Quantity::Watt => "W",
            Quantity::KilowattHour => "kWh",
            Quantity::Hertz => "Hz",
            Quantity::Ohm => "Ω",
            Quantity::Bar => match self.0.pressure {
                PressureUnit::Bar => "bar",
                PressureUnit::Kilopascal => "kPa",
                PressureUnit::Psi => "psi",
            },
            Quantity::BarPerMinute => match self.0.pressure {
                PressureUnit::Bar => "bar/min",
                PressureUnit::Kilopascal => "kPa/min",
                PressureUnit::Psi => "psi/min",
            },
            Quantity::Litre => match self.0.volume {
                VolumeUnit::Litre => "L",
                VolumeUnit::Gallon => "gal",
            },
            Quantity::LitrePerMinute => match self.0.volume {
                VolumeUnit::Litre => "L/min",
                VolumeUnit::Gallon => "gal/min",
            },
            Quantity::LitrePerHour => match self.0.volume {
                VolumeUnit::Litre => "L/h",
                VolumeUnit::Gallon => "gal/h",
            },
            Quantity::BarLitre => match (self.0.pressure, self.0.volume) {
                (PressureUnit::Bar, VolumeUnit::Litre) => "bar·L",
                (PressureUnit::Kilopascal, VolumeUnit::Litre) => "kPa·L",
                (PressureUnit::Psi, VolumeUnit::Litre) => "psi·L",
                (PressureUnit::Bar, VolumeUnit::Gallon) => "bar·gal",
                (PressureUnit::Kilopascal, VolumeUnit::Gallon) => "kPa·gal",
                (PressureUnit::Psi, VolumeUnit::Gallon) => "psi·gal",
            },
            Quantity::Celsius => match self.0.temperature {
                TemperatureUnit::Celsius => "°C",
                TemperatureUnit::Fahrenheit => "°F",
            },
            Quantity::PerHour => "per hour",
            Quantity::PerDay => "per day",
            Quantity::Share | Quantity::Percent => "%",
            Quantity::Seconds
            | Quantity::Minutes
            | Quantity::Hours
            | Quantity::Milliseconds
            | Quantity::Number => "",
        }
    }

    /// `value` in the reader's unit.
    pub fn convert(self, quantity: Quantity, value: f64) -> f64 {
        match quantity {
            Quantity::Bar | Quantity::BarPerMinute => match self.0.pressure {
                PressureUnit::Bar => value,
                PressureUnit::Kilopascal => value * 100.0,
                PressureUnit::Psi => value * PSI_PER_BAR,
            },
            Quantity::BarLitre => self.convert(Quantity::Litre, self.convert(Quantity::Bar, value)),
            Quantity::Litre | Quantity::LitrePerMinute | Quantity::LitrePerHour => {
                match self.0.volume {
                    VolumeUnit::Litre => value,
                    VolumeUnit::Gallon => value / L_PER_GALLON,
                }
            }
            Quantity::Celsius => match self.0.temperature {
                TemperatureUnit::Celsius => value,
                TemperatureUnit::Fahrenheit => value * 1.8 + 32.0,
            },
            Quantity::Share => value * 100.0,
            _ => value,
        }
    }

    /// The number alone, in the reader's unit.
    pub fn number(self, quantity: Quantity, value: f64) -> String {
        let shown = self.convert(quantity, value);
        match quantity {
            Quantity::Ampere | Quantity::Milliampere if shown.abs() < 9.995 => fixed(shown, 2),
            Quantity::Ampere
            | Quantity::Milliampere
            | Quantity::Volt
            | Quantity::LitrePerMinute
            | Quantity::Celsius => fixed(shown, 1),
            Quantity::Watt => fixed(shown, 0),
            Quantity::Hertz => fixed(shown, 2),
            Quantity::Bar => match self.0.pressure {
                PressureUnit::Bar => fixed(shown, 2),
                PressureUnit::Kilopascal => fixed(shown, 0),
                PressureUnit::Psi => fixed(shown, 1),
            },
            Quantity::Litre => fixed(shown, usize::from(shown.abs() < 99.95)),
            Quantity::Seconds => duration(shown),
            Quantity::Minutes => duration(shown * 60.0),
            Quantity::Hours => duration(shown * 3600.0),
            Quantity::Milliseconds => duration(shown / 1000.0),
            Quantity::Share => percent(value).trim_end_matches(['%', NBSP]).to_owned(),
            Quantity::PerHour
            | Quantity::PerDay
            | Quantity::Percent
            | Quantity::Ohm
            | Quantity::KilowattHour
            | Quantity::BarPerMinute
            | Quantity::BarLitre
            | Quantity::LitrePerHour => significant(shown, 3),
            Quantity::Number => {
                if shown.fract() == 0.0 {
                    fixed(shown, 0)
                } else {
                    significant(shown, 4)
                }
            }
        }
    }

    /// The number with its unit.
    pub fn value(self, quantity: Quantity, value: f64) -> String {
        let number = self.number(quantity, value);
        match self.symbol(quantity) {
            "" => number,
            symbol => format!("{number}{NBSP}{symbol}"),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const US: Reader = Reader(Style {
        pressure: PressureUnit::Psi,
        volume: VolumeUnit::Gallon,
        temperature: TemperatureUnit::Fahrenheit,
        clock: Clock::Hours12,
    });
    const KPA: Reader = Reader(Style { pressure: PressureUnit::Kilopascal, ..METRIC.0 });
    const METRIC: Reader = Reader(Style {
        pressure: PressureUnit::Bar,
        volume: VolumeUnit::Litre,
        temperature: TemperatureUnit::Celsius,
        clock: Clock::Hours24,
    });

    fn plain(text: &str) -> String {
        text.replace(NBSP, " ")
    }

    #[test]
    fn factors_agree_with_the_handbook() {
        // NIST SP 811 (2008), appendix B.9: psi → kPa 6.894 757, gallon (US) → L 3.785 412,
        // degree Fahrenheit → Celsius (t − 32)/1.8.
        assert!((1.0 / US.convert(Quantity::Bar, 1.0) * 100.0 - 6.894_757).abs() < 5e-7);
        assert!((US.convert(Quantity::Bar, 1.0) - 14.5038).abs() < 5e-5);
        assert!((US.convert(Quantity::Litre, 3.785_412) - 1.0).abs() < 1e-6);
        assert!((US.convert(Quantity::Celsius, 100.0) - 212.0).abs() < 1e-9);
        assert!((US.convert(Quantity::Celsius, -40.0) + 40.0).abs() < 1e-9);
        assert_eq!(KPA.convert(Quantity::Bar, 1.0), 100.0);
    }

    #[test]
    fn values_read_well() {
        assert_eq!(plain(&METRIC.value(Quantity::Bar, 3.5)), "3.50 bar");
        assert_eq!(plain(&US.value(Quantity::Bar, 3.5)), "50.8 psi");
        assert_eq!(plain(&KPA.value(Quantity::Bar, 3.5)), "350 kPa");
        assert_eq!(plain(&METRIC.value(Quantity::Ampere, 7.234)), "7.23 A");
        assert_eq!(plain(&METRIC.value(Quantity::Ampere, 41.26)), "41.3 A");
        assert_eq!(plain(&METRIC.value(Quantity::Seconds, 252.0)), "4 min 12 s");
        assert_eq!(plain(&METRIC.value(Quantity::Share, 0.25)), "25 %");
        assert_eq!(plain(&METRIC.value(Quantity::Number, 3.0)), "3");
    }

    #[test]
    fn names_give_up_their_unit() {
        assert_eq!(split_name("lowest_voltage_v"), ("lowest_voltage", Quantity::Volt));
        assert_eq!(split_name("loss_bar_per_min"), ("loss", Quantity::BarPerMinute));
        assert_eq!(split_name("impedance_ohm"), ("impedance", Quantity::Ohm));
        assert_eq!(split_name("gas_found_bar_l"), ("gas_found", Quantity::BarLitre));
        assert_eq!(split_name("gas_share_of_declared").1, Quantity::Share);
        assert_eq!(split_name("dips"), ("dips", Quantity::Number));
        assert_eq!(split_name("_v"), ("_v", Quantity::Number), "a unit alone is no name");
    }
}
