//! # Quantities
//!
//! A number in this project always travels with its unit: a [`Unit`] says how the quantity is written in the trade,
//! which words name it, how a field that holds it ends its name, and whether engineering prefixes apply.
//! [`Unit::read`] takes what an engineer types, [`Quantity`] prints what an engineer reads.
//!
//! ```text
//! Accepted     50 µΩ, 50u, 0.05m, 4k7, 0R05, R050, 6L8, L50 (L: milliohm), 1M5, 1e-6, ±0.5 %, 5000 ppm for a percentage
//! Refused      a decimal comma (with the point form), another unit (by name, with the value in the wanted one where both
//!              measure the same), anything else (with what is read)
//! Accuracy     the power of ten is placed in the text and parsed once, so every value is the correctly rounded double
//! Source       IEC 60062:2016 clause 3 (letter codes); SI Brochure, 9th edition (2019), table 7 (prefixes)
//! ```

mod print;
mod read;

use serde::{Serialize, Serializer};

pub use print::{Printed, digits_among, in_sentence, on_side, say, say_among, say_change, say_difference};
pub use read::Misread;

/// A unit of the trade. The base unit of a field is the one its name ends with.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[allow(missing_docs, reason = "each name is the unit; `row` says everything else")]
pub enum Unit {
    One,
    Volt,
    Ampere,
    Ohm,
    Watt,
    Joule,
    Second,
    Hertz,
    Henry,
    Farad,
    Celsius,
    Kelvin,
    KelvinPerWatt,
    JoulePerKelvin,
    VoltPerKelvin,
    VoltPerRootHertz,
    VoltPerSecond,
    AmperePerSecond,
    AmpereSquaredSecond,
    Coulomb,
    AmpereHour,
    AmpereHourPerDay,
    WattHour,
    WattHourPerKilometre,
    Percent,
    PercentPerDay,
    PercentPerMonth,
    Ppm,
    PpmPerKelvin,
    PpmPerSquareKelvin,
    PpmPerVolt,
    OhmPerVolt,
    OhmPerSecond,
    MillimetrePerVolt,
    WattPerKelvin,
    KelvinPerSecond,
    Decibel,
    Bit,
    BitPerSecond,
    Year,
    Hour,
    Day,
    Metre,
    Kilometre,
    VoltPerPercent,
    Millimetre,
    SquareMillimetre,
    Fit,
}

/// What is known of one unit: the symbol, the words, the ending of a field name, the spellings that are read.
struct Row {
    symbol: &'static str,
    words: &'static str,
    suffix: &'static str,
    prefixed: bool,
    spellings: &'static [&'static str],
}

impl Unit {
    /// Every unit, for look-ups and tests.
    pub const ALL: &[Self] = &[
        Self::One,
        Self::Volt,
        Self::Ampere,
        Self::Ohm,
        Self::Watt,
        Self::Joule,
        Self::Second,
        Self::Hertz,
        Self::Henry,
        Self::Farad,
        Self::Celsius,
        Self::Kelvin,
        Self::KelvinPerWatt,
        Self::JoulePerKelvin,
        Self::VoltPerKelvin,
        Self::VoltPerRootHertz,
        Self::VoltPerSecond,
        Self::AmperePerSecond,
        Self::AmpereSquaredSecond,
        Self::Coulomb,
        Self::AmpereHour,
        Self::AmpereHourPerDay,
        Self::WattHour,
        Self::WattHourPerKilometre,
        Self::Percent,
        Self::PercentPerDay,
        Self::PercentPerMonth,
        Self::Ppm,
        Self::PpmPerKelvin,
        Self::PpmPerSquareKelvin,
        Self::PpmPerVolt,
        Self::OhmPerVolt,
        Self::OhmPerSecond,
        Self::WattPerKelvin,
        Self::KelvinPerSecond,
        Self::MillimetrePerVolt,
        Self::Decibel,
        Self::Bit,
        Self::BitPerSecond,
        Self::Year,
        Self::Hour,
        Self::Day,
        Self::Metre,
        Self::Kilometre,
        Self::VoltPerPercent,
        Self::Millimetre,
        Self::SquareMillimetre,
        Self::Fit,
    ];

    const fn row(self) -> Row {
        let (symbol, words, suffix, prefixed, spellings): (_, _, _, _, &[&str]) = match self {
            Self::One => ("", "a plain number", "", false, &[]),
            Self::Volt => ("V", "volt", "_v", true, &["V", "volt", "volts"]),
            Self::Ampere => ("A", "ampere", "_a", true, &["A", "amp", "ampere"]),
            Self::Ohm => ("Ω", "ohm", "_ohm", true, &["Ω", "\u{2126}", "ohm", "Ohm", "R"]),
            Self::Watt => ("W", "watt", "_w", true, &["W", "watt"]),
            Self::Joule => ("J", "joule", "_j", true, &["J", "joule"]),
            Self::Second => ("s", "second", "_s", true, &["s", "sec", "second"]),
            Self::Hertz => ("Hz", "hertz", "_hz", true, &["Hz", "hz", "hertz"]),
            Self::Henry => ("H", "henry", "_henry", true, &["H", "henry"]),
            Self::Farad => ("F", "farad", "_farad", true, &["F", "farad"]),
            Self::Celsius => ("°C", "degrees Celsius", "_degc", false, &["°C", "degC", "C", "\u{2103}"]),
            Self::Kelvin => ("K", "kelvin", "_k", true, &["K", "kelvin"]),
            Self::KelvinPerWatt => ("K/W", "kelvin per watt", "_k_per_w", true, &["K/W", "°C/W"]),
            Self::JoulePerKelvin => ("J/K", "joule per kelvin", "_j_per_k", true, &["J/K", "Ws/K"]),
            Self::VoltPerKelvin => ("V/K", "volt per kelvin", "_v_per_k", true, &["V/K", "V/°C"]),
            Self::VoltPerRootHertz => {
                ("V/√Hz", "volt per root hertz", "_v_per_rthz", true, &["V/√Hz", "V/rtHz", "V/sqrt(Hz)"])
            }
            Self::VoltPerSecond => ("V/s", "volt per second", "_v_per_s", true, &["V/s"]),
            Self::AmperePerSecond => ("A/s", "ampere per second", "_a_per_s", true, &["A/s"]),
            Self::AmpereSquaredSecond => ("A²s", "ampere squared second", "_a2s", true, &["A²s", "A2s"]),
            Self::Coulomb => ("C", "coulomb", "_coulomb", true, &["C", "coulomb"]),
            Self::AmpereHour => ("Ah", "ampere-hour", "_ah", true, &["Ah"]),
            Self::AmpereHourPerDay => ("Ah/day", "ampere-hour per day", "_ah_per_day", true, &["Ah/day", "Ah/d"]),
            Self::WattHour => ("Wh", "watt-hour", "_wh", true, &["Wh"]),
            Self::WattHourPerKilometre => ("Wh/km", "watt-hour per kilometre", "_wh_per_km", false, &["Wh/km"]),
            Self::Percent => ("%", "percent", "_percent", false, &["%", "percent"]),
            Self::PercentPerDay => ("%/day", "percent per day", "_percent_per_day", false, &["%/day", "%/d"]),
            Self::PercentPerMonth => ("%/month", "percent per month", "_percent_per_month", false, &["%/month"]),
            Self::Ppm => ("ppm", "ppm", "_ppm", false, &["ppm"]),
            Self::PpmPerKelvin => ("ppm/K", "ppm per kelvin", "_ppm_per_k", false, &["ppm/K", "ppm/°C"]),
            Self::PpmPerSquareKelvin => {
                ("ppm/K²", "ppm per square kelvin", "_ppm_per_k2", false, &["ppm/K²", "ppm/K2"])
            }
            Self::PpmPerVolt => ("ppm/V", "ppm per volt", "_ppm_per_v", false, &["ppm/V"]),
            Self::WattPerKelvin => ("W/K", "watt per kelvin", "_w_per_k", true, &["W/K", "W/°C"]),
            Self::KelvinPerSecond => ("K/s", "kelvin per second", "_k_per_s", true, &["K/s", "°C/s"]),
            Self::OhmPerVolt => ("Ω/V", "ohm per volt", "_ohm_per_v", true, &["Ω/V", "ohm/V"]),
            Self::OhmPerSecond => ("Ω/s", "ohm per second", "_ohm_per_s", true, &["Ω/s", "ohm/s"]),
            Self::MillimetrePerVolt => ("mm/V", "millimetre per volt", "_mm_per_v", false, &["mm/V"]),
            Self::Decibel => ("dB", "decibel", "_db", false, &["dB"]),
            Self::Bit => ("bit", "bits", "_bits", false, &["bit", "bits", "b"]),
            Self::BitPerSecond => ("bit/s", "bit per second", "_bit_per_s", true, &["bit/s", "bps"]),
            Self::Year => ("a", "years", "_years", false, &["a", "y", "year", "years"]),
            Self::Hour => ("h", "hours", "_h", false, &["h", "hour", "hours"]),
            Self::VoltPerPercent => ("V/%", "volt per percent", "_v_per_percent", true, &["V/%"]),
            Self::Day => ("days", "days", "_days", false, &["d", "day", "days"]),
            Self::Metre => ("m", "metre", "_m", false, &["m", "metre"]),
            Self::Kilometre => ("km", "kilometres", "_km", false, &["km", "kilometre"]),
            Self::Millimetre => ("mm", "millimetre", "_mm", false, &["mm"]),
            Self::SquareMillimetre => ("mm²", "square millimetre", "_mm2", false, &["mm²", "mm2"]),
            Self::Fit => ("FIT", "failures in a billion hours", "_fit", false, &["FIT", "fit"]),
        };
        Row { symbol, words, suffix, prefixed, spellings }
    }

    /// The symbol as printed, such as `Ω`.
    pub const fn symbol(self) -> &'static str {
        self.row().symbol
    }

    /// The unit in words, for labels that are read aloud and for messages.
    pub const fn words(self) -> &'static str {
        self.row().words
    }

    /// The ending of every field name that holds this unit, such as `_ohm`.
    pub const fn suffix(self) -> &'static str {
        self.row().suffix
    }

    /// The unit that a name ends with: the longest ending counts, `_v_per_k` before `_k`.
    pub fn of_name(name: &str) -> Option<Self> {
        let ends = |unit: &&Self| !unit.suffix().is_empty() && name.ends_with(unit.suffix());
        Self::ALL.iter().filter(ends).max_by_key(|unit| unit.suffix().len()).copied()
    }

    /// Whether engineering prefixes (µ, m, k, M ...) apply.
    pub const fn prefixed(self) -> bool {
        self.row().prefixed
    }

    /// What one of this unit is where quantities are multiplied and divided: SI units are 1, a percent is a hundredth, an
    /// hour 3600. Degrees Celsius count as they stand, and so does the square millimetre: constants of wires hold it.
    pub const fn plain(self) -> f64 {
        match self {
            Self::Percent => 0.01,
            Self::Ppm | Self::PpmPerKelvin | Self::PpmPerSquareKelvin | Self::PpmPerVolt => 1e-6,
            Self::VoltPerPercent => 100.0,
            Self::Hour | Self::AmpereHour | Self::WattHour => 3600.0,
            Self::WattHourPerKilometre => 3.6,
            Self::Kilometre => 1e3,
            Self::PercentPerDay => 0.01 / 86_400.0,
            // A month is a twelfth of a year of 365.25 days.
            Self::PercentPerMonth => 0.01 / (30.4375 * 86_400.0),
            Self::Day => 86_400.0,
            Self::AmpereHourPerDay => 3600.0 / 86_400.0,
            Self::Year => 31_557_600.0,
            Self::Fit => 1e-9 / 3600.0,
            Self::Millimetre | Self::MillimetrePerVolt => 1e-3,
            _ => 1.0,
        }
    }

    /// The prefix step for a power of ten: the trade writes millikelvin, but no kilokelvin.
    const fn step_of(self, exponent: i32) -> i32 {
        let highest = match self {
            Self::Kelvin => 0,
            _ => 12,
        };
        let step = exponent.div_euclid(3) * 3;
        match (self.prefixed(), step < -15, step > highest) {
            (false, _, _) => 0,
            (_, true, _) => -15,
            (_, _, true) => highest,
            _ => step,
        }
    }
}

/// Prefixes in steps of a thousand. The first spelling is the printed one.
const PREFIXES: [(i32, &[&str]); 9] = [
    (-15, &["f"]),
    (-12, &["p"]),
    (-9, &["n"]),
    (-6, &["µ", "u"]),
    (-3, &["m"]),
    (3, &["k", "K"]),
    (6, &["M"]),
    (9, &["G"]),
    (12, &["T"]),
];

/// A value with its unit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Quantity {
    /// The number in the unit's base form.
    pub value: f64,
    /// The unit.
    pub unit: Unit,
}

/// Quantities by the name of their unit: `volt(3.3)` prints as `3.3 V`.
macro_rules! by_name {
    ($($name:ident $unit:ident),+ $(,)?) => { $(
        #[doc = concat!("A quantity in ", stringify!($name), ".")]
        pub const fn $name(value: f64) -> Quantity { Quantity::new(value, Unit::$unit) }
    )+ };
}
by_name!(
    one One, volt Volt, ampere Ampere, ohm Ohm, watt Watt, joule Joule, second Second, hertz Hertz, henry Henry, farad Farad,
    celsius Celsius, kelvin Kelvin, percent Percent, ppm Ppm, ppm_per_kelvin PpmPerKelvin, ampere_hour AmpereHour, watt_hour WattHour, percent_per_day PercentPerDay, day Day, kilometre Kilometre, coulomb Coulomb, metre Metre, bit_per_second BitPerSecond,
    ppm_per_square_kelvin PpmPerSquareKelvin, ampere_squared_second AmpereSquaredSecond, kelvin_per_watt KelvinPerWatt, hour Hour, year Year, decibel Decibel, bit Bit, millimetre Millimetre, ppm_per_volt PpmPerVolt, ohm_per_volt OhmPerVolt, volt_per_second VoltPerSecond, fit Fit,
);

impl Serialize for Unit {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_str(self.symbol())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// IEC 60062:2016, the resistance examples of its table of letter codes (as transcribed publicly), and the capacitance
    /// pattern of the same standard.
    #[test]
    fn letter_codes_of_iec_60062_are_read() {
        for (code, ohm) in [
            ("R47", 0.47),
            ("4R7", 4.7),
            ("470R", 470.0),
            ("4K7", 4700.0),
            ("47K", 47e3),
            ("47K3", 47.3e3),
            ("470K", 470e3),
            ("4M7", 4.7e6),
            ("0R05", 0.05),
            ("R050", 0.05),
            ("1M5", 1.5e6),
            ("4k7", 4700.0),
            ("2m5", 0.0025),
            ("6L8", 6.8e-3),
            ("L50", 0.5e-3),
            ("0L50", 0.5e-3),
            ("5L", 5e-3),
        ] {
            assert_eq!(Unit::Ohm.read(code), Ok(ohm), "{code}");
        }
        assert_eq!(Unit::Farad.read("4n7"), Ok(4.7e-9));
        assert_eq!(Unit::Farad.read("µ1"), Ok(0.1e-6));
    }

    #[test]
    fn values_are_the_correctly_rounded_double() {
        for (text, value) in [
            ("50 µΩ", 50e-6),
            ("50u", 50e-6),
            ("0.05m", 0.05e-3),
            ("50μ", 50e-6),
            ("1e-6", 1e-6),
            ("-1.5 k", -1500.0),
            ("−2", -2.0),
            ("35 uohm", 35e-6),
            (".5", 0.5),
            ("5.", 5.0),
            ("1e3 k", 1e6),
            ("0.1 MΩ", 0.1e6),
        ] {
            assert_eq!(Unit::Ohm.read(text), Ok(value), "{text}");
        }
        assert_eq!(Unit::Percent.read("±0.5 %"), Ok(0.5));
        assert_eq!(Unit::Percent.read("5000 ppm"), Ok(0.5));
        assert_eq!(Unit::Kelvin.read("5 K"), Ok(5.0));
        assert_eq!(Unit::Second.read("10 ms"), Ok(0.01));
        assert_eq!(Unit::Bit.read("16 bit"), Ok(16.0));
        assert_eq!(Unit::VoltPerKelvin.read("0.8 µV/K"), Ok(0.8e-6));
    }

    #[test]
    fn slips_are_named() {
        let wrong = |typed: &str, words, instead| Err(Misread::WrongUnit { typed: typed.into(), words, instead });
        assert_eq!(Unit::Ohm.read("50 mV"), wrong("50 mV", "volt", None));
        assert_eq!(Unit::Second.read("10 min"), wrong("10 min", "minutes", Some(second(600.0))));
        assert_eq!(Unit::Second.read("1.5 h"), wrong("1.5 h", "hours", Some(second(5400.0))));
        assert_eq!(Unit::Hour.read("90 min"), wrong("90 min", "minutes", Some(hour(1.5))));
        assert_eq!(Unit::Hour.read("36 Ms"), wrong("36 Ms", "second", Some(hour(10_000.0))));
        assert_eq!(Unit::Year.read("18 months"), wrong("18 months", "months", Some(year(1.5))));
        assert_eq!(Unit::Millimetre.read("1.2 cm"), wrong("1.2 cm", "centimetres", Some(millimetre(12.0))));
        assert_eq!(Unit::Farad.read("10 min"), wrong("10 min", "minutes", None));
        // 185 °F = 85 °C, 300 K = 26.85 °C; a difference in kelvin is no temperature.
        for (typed, degc) in [("185 °F", 85.0), ("185 F", 85.0), ("300 K", 26.85), ("-40 °F", -40.0)] {
            let Err(Misread::WrongUnit { instead: Some(instead), .. }) = Unit::Celsius.read(typed) else {
                panic!("{typed} names another unit")
            };
            assert!((instead.value - degc).abs() < 1e-9, "{typed}: {instead}");
        }
        assert_eq!(Unit::Kelvin.read("9 °F"), wrong("9 °F", "degrees Fahrenheit", None));
        assert!(matches!(Unit::Ohm.read("4X7"), Err(Misread::NotANumber { hint, .. }) if hint.contains("6L8")));
        // A unit that is none is told which are; letter codes have nothing to do with it.
        for (unit, text, told) in [
            (Unit::Ohm, "5 kg", " Its unit is Ω, also with a prefix as in mΩ or kΩ; “kg” is none."),
            (Unit::Farad, "5 kg", " Its unit is F, also with a prefix as in µF or nF; “kg” is none."),
            (Unit::Percent, "5 kg", " Its unit is %; “kg” is none."),
            (Unit::One, "5 kg", " It has no unit; “kg” is none."),
        ] {
            assert!(matches!(unit.read(text), Err(Misread::NotANumber { hint, .. }) if hint == told), "{unit:?}");
        }
        assert!(matches!(
            Unit::Ohm.read("4k7kg"),
            Err(Misread::NotANumber { hint, .. }) if hint.starts_with(" Its unit is Ω") && hint.contains("6L8")
        ));
        for (typed, point) in [
            ("1,5", "1.5"),
            ("1.250,5", "1250.5"),
            ("1,250.5 kΩ", "1250.5 kΩ"),
            ("1,250", "1.250, or 1250 where the comma parts thousands"),
        ] {
            assert_eq!(Unit::Ohm.read(typed), Err(Misread::Comma { typed: typed.into(), point: point.into() }));
        }
        for text in ["80O", "8O A", "O.5 m", "8OO"] {
            assert!(
                matches!(Unit::Ampere.read(text), Err(Misread::NotANumber { hint, .. }) if hint.contains("letter O")),
                "{text}"
            );
        }
        // An o inside of a word is none.
        assert!(
            matches!(Unit::Ampere.read("20 nano"), Err(Misread::NotANumber { hint, .. }) if !hint.contains("letter O"))
        );
        assert_eq!(Unit::Ohm.read("  "), Err(Misread::Empty));
        for text in ["abc", "NaN", "inf", "1e999", "--1", "4k7k", "1e", "µ", "5 K5 K", "∞", "1.2.3", "\u{0}"] {
            assert!(
                matches!(Unit::Ohm.read(text), Err(Misread::NotANumber { .. } | Misread::WrongUnit { .. })),
                "{text}"
            );
        }
    }

    #[test]
    fn numbers_print_as_the_trade_writes_them() {
        let ohm = |value| Quantity::new(value, Unit::Ohm);
        assert_eq!(ohm(35e-6).significant(4).to_string(), "35.00\u{202f}µΩ");
        assert_eq!(ohm(35e-6).to_string(), "35\u{202f}µΩ");
        assert_eq!(ohm(999.96).significant(4).to_string(), "1.000\u{202f}kΩ");
        assert_eq!(ohm(-4700.0).to_string(), "−4.7\u{202f}kΩ");
        assert_eq!(Quantity::new(113.0133, Unit::Celsius).to_string(), "113\u{202f}°C");
        assert_eq!(Quantity::new(0.00123, Unit::Percent).to_string(), "0.00123\u{202f}%");
        assert_eq!(Quantity::new(-0.0001, Unit::Ampere).fixed(0, 2).number, "0.00");
        assert_eq!(Quantity::new(-1.5e-12, Unit::One).to_string(), "−1.5·10⁻¹²");
        assert_eq!(Quantity::new(1e15, Unit::One).to_string(), "1·10¹⁵");
    }

    #[test]
    fn what_is_echoed_reads_back_to_the_same_double() {
        for value in
            [35e-6, 1.0 / 3.0, 4700.0, 0.1 + 0.2, 1e-30, 123_456_789.123, 5e-324, f64::MAX, 257.142_857_142_857_14e-6]
        {
            for unit in [Unit::Ohm, Unit::Percent] {
                for ascii in [true, false] {
                    let text = Quantity::new(value, unit).echo(ascii);
                    assert_eq!(unit.read(&text), Ok(value), "{text}");
                }
            }
        }
        assert_eq!(Quantity::new(35e-6, Unit::Ohm).echo(true), "35u");
        assert_eq!(Quantity::new(35e-6, Unit::Ohm).echo(false), "35 µ");
    }

    #[test]
    fn a_rounded_end_stays_on_its_side() {
        for (value, digits, not_below, rounded) in [
            (123.41, 3, true, 124.0_f64),
            (123.41, 3, false, 123.0),
            (-123.41, 3, true, -123.0),
            (-123.41, 3, false, -124.0),
            (999.96, 4, true, 1000.0),
            (1000.4, 4, true, 1001.0),
            (1e-3, 4, true, 1e-3),
            (0.1 + 0.2, 4, false, 0.3),
            (0.0, 4, true, 0.0),
        ] {
            let have = on_side(value, digits, not_below);
            assert!(have.to_bits() == rounded.to_bits(), "{have} is not {rounded}");
        }
        assert!(on_side(f64::INFINITY, 4, true).is_infinite() && on_side(f64::NAN, 4, false).is_nan());
    }
}
