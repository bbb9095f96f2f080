//! # Scaling words
//!
//! What firmware multiplies a code with: the value of one code, and the same as an integer and a shift, so that a word in
//! milliamperes or millivolts comes out without a division or a floating-point number.
//!
//! ```text
//! Formula    word = (code · m + 2^(s−1)) >> s,  m = round(q / u · 2^s)
//! Symbols    q value of one code [A, V], u value of one step of the word (1 mA, 1 mV), s shift, m multiplier
//! Valid      signed 64-bit product, arithmetic shift; s is the largest with m < 2^31, so m is off by less than 1 in 2^31
//!            where s is not at its own limit of 47; ideal transfer: what calibration corrects comes on top
//! Source     fixed-point arithmetic, closed form; common practice, no source
//! ```

use serde_json::Value;

use super::assess::Assessed;
use crate::quantity::{Quantity, Unit, say};
use crate::report::{Cell, Column, Listing, Row, Table, c_comment};

/// Largest shift: a 16-bit code times 2^47 still fits a signed 64-bit product.
const MOST_SHIFT: i32 = 47;
/// One step of a word, in the base unit.
const STEP: f64 = 1e-3;

/// The scaling of one channel.
#[derive(Clone, Debug, PartialEq)]
pub struct Scaling {
    /// The index of the part.
    pub part: usize,
    /// The value of one code.
    pub code_value: f64,
    /// Its unit.
    pub unit: Unit,
    /// The multiplier.
    pub multiplier: i64,
    /// The shift.
    pub shift: i32,
}

impl Scaling {
    /// Multiplier and shift for the value of one code.
    pub fn of(part: usize, code_value: f64, unit: Unit) -> Option<Self> {
        let ratio = code_value / STEP;
        if !(ratio > 0.0 && ratio < 2f64.powi(31)) {
            return None;
        }
        let shift = (0..=MOST_SHIFT).rev().find(|shift| (ratio * 2f64.powi(*shift)).round() < 2f64.powi(31))?;
        #[allow(clippy::cast_possible_truncation, reason = "below 2^31")]
        let multiplier = (ratio * 2f64.powi(shift)).round() as i64;
        Some(Self { part, code_value, unit, multiplier, shift })
    }

    /// What the integers make of a code, in steps of the word: as firmware does it.
    pub const fn word(&self, code: i64) -> i64 {
        let half = if self.shift > 0 { 1i64 << (self.shift - 1) } else { 0 };
        (code * self.multiplier + half) >> self.shift
    }
}

/// The scaling of every current and voltage channel.
pub fn scalings(assessed: &Assessed) -> Vec<Scaling> {
    let channels = assessed.parts.iter().enumerate();
    channels
        .filter_map(|(index, part)| {
            let told = part.part.kind.told.as_ref()?;
            let code = part.answer.result.tree().pointer(told.code?).and_then(Value::as_f64)?;
            Scaling::of(index, code, told.unit)
        })
        .collect()
}

/// The words as a table.
pub fn table(assessed: &Assessed) -> Option<Table> {
    let all = scalings(assessed);
    (!all.is_empty()).then(|| Table {
        id: "scaling-words".into(),
        heads: None,
        caption: "Scaling words for firmware".into(),
        note: "Word in mA or mV = (code · multiplier + half) >> shift, in signed 64 bits. Ideal transfer: calibration comes on top.".into(),
        head: "Channel".into(),
        columns: ["Value of one LSB", "Multiplier", "Shift", "Step of the word"].map(Column::words).into(),
        rows: all
            .iter()
            .map(|one| Row {
                head: assessed.parts[one.part].part.title(),
                note: String::new(),
                cells: vec![
                    Cell::Of(Quantity::new(one.code_value, one.unit)),
                    Cell::Words(one.multiplier.to_string()),
                    Cell::Words(one.shift.to_string()),
                    Cell::Words(say(STEP, one.unit)),
                ],
            })
            .collect(),
    })
}

/// The words as a header for a compiler.
pub fn header(assessed: &Assessed) -> Option<Listing> {
    let all = scalings(assessed);
    if all.is_empty() {
        return None;
    }
    let mut text = format!(
        "/* Scaling words of \"{}\", fingerprint {}.\n   word = (code * MULTIPLIER + (1LL << (SHIFT - 1))) >> SHIFT, int64_t; ideal transfer. */\n#ifndef SCALING_WORDS_H\n#define SCALING_WORDS_H\n\n",
        c_comment(&assessed.design.head.title),
        super::summary::fingerprint(&assessed.design)
    );
    for one in &all {
        let part = &assessed.parts[one.part].part;
        let name = part.key().to_uppercase().replace('.', "_");
        let step = if one.unit == Unit::Ampere { "MA" } else { "MV" };
        let about = c_comment(&format!("{}: one code is {}", part.title(), say(one.code_value, one.unit)));
        text.push_str(
            &[
                format!("/* {about} */"),
                format!("#define {name}_{step}_MULTIPLIER {}LL", one.multiplier),
                format!("#define {name}_{step}_SHIFT {}", one.shift),
                String::new(),
                String::new(),
            ]
            .join("\n"),
        );
    }
    text.push_str("#endif\n");
    Some(Listing {
        id: "scaling-words".into(),
        caption: "Scaling words as a C header".into(),
        note: String::new(),
        ending: "h",
        text,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// By hand: 100 mV over 65536 codes through 35 µΩ is 43.5965 mA a code; every code of 16 bits is within half a step of
    /// the exact product, checked in whole numbers: 43.596540178… mA = 100/65536/35e-6 · 1e-3.
    #[test]
    fn every_code_is_within_half_a_step() {
        let value = 0.1 / 65536.0 / 35e-6;
        let scaling = Scaling::of(0, value, Unit::Ampere).expect("it can be scaled");
        assert!((1i64 << 30..1i64 << 31).contains(&scaling.multiplier));
        for code in -32768i64..=32767 {
            // 0.1/65536/35e-6/1e-3 = 100000000/(65536·35) exactly.
            let exact = code as f64 * 100_000_000.0 / (65_536.0 * 35.0);
            let off = (scaling.word(code) as f64 - exact).abs();
            assert!(off <= 0.5 + 1e-4, "{code}: {off}");
        }
        assert_eq!(Scaling::of(0, 0.0, Unit::Volt), None);
        assert_eq!(Scaling::of(0, f64::NAN, Unit::Volt), None);
        assert_eq!(Scaling::of(0, 1e-3, Unit::Volt).map(|one| one.word(7)), Some(7));
    }
}
