//! # Unit slips
//!
//! A factor of a thousand is the commonest mistake of a typed value, and it lies inside every range of a field. It shows in
//! what the value makes: a sense voltage of 49 V, a divider that puts 80 V on a converter. Where a consequence is far from
//! what the trade builds, the factor is looked for that brings every consequence of the part back.
//!
//! ```text
//! Rule       a consequence y outside its usual range; x → x · 10^n, n in {−6, −3, 3, 6}; suggested when every consequence
//!            of the part then lies inside
//! Valid      the usual ranges are wide (decades): the hint asks, it does not refuse
//! Source     ranges: common practice, no source
//! ```

use super::prepared::Prepared;
use super::{Design, Part};
use crate::field::{Typed, declared};
use crate::quantity::{Quantity, Unit, say};
use crate::report::{Finding, Severity};
use crate::work::Work;

/// Finds a number of the input by its pointer.
type Lookup<'a> = dyn Fn(&str) -> Option<f64> + 'a;

/// Something that follows from the values of a part, and where it usually lies.
struct Consequence {
    slug: &'static str,
    words: &'static str,
    unit: Unit,
    usual: [f64; 2],
    value: fn(&Lookup) -> Option<f64>,
    /// The inputs that may have slipped, the likeliest first.
    from: &'static [&'static str],
}

const CONSEQUENCES: &[Consequence] = &[
    Consequence {
        slug: "current-channel",
        words: "the signal at full scale",
        unit: Unit::Volt,
        usual: [2e-3, 1.0],
        value: |get| Some(get("/load/full_scale_a")? * get("/shunt/resistance_ohm")?),
        from: &["/shunt/resistance_ohm", "/load/full_scale_a"],
    },
    Consequence {
        slug: "current-channel",
        words: "the loss in the shunt",
        unit: Unit::Watt,
        usual: [1e-3, 150.0],
        value: |get| Some(get("/load/continuous_a")?.powi(2) * get("/shunt/resistance_ohm")?),
        from: &["/shunt/resistance_ohm"],
    },
    Consequence {
        slug: "current-channel",
        words: "the share of the converter's range that full scale uses",
        unit: Unit::One,
        usual: [0.03, 3.0],
        value: |get| {
            let gain = get("/amplifier/gain").unwrap_or(1.0);
            Some(get("/load/full_scale_a")? * get("/shunt/resistance_ohm")? * gain / get("/converter/full_scale_v")?)
        },
        from: &["/converter/full_scale_v", "/shunt/resistance_ohm"],
    },
    Consequence {
        slug: "current-channel",
        words: "the time constant L/R of the shunt",
        unit: Unit::Second,
        usual: [1e-7, 2e-2],
        value: |get| Some(get("/shunt/inductance_henry").filter(|l| *l > 0.0)? / get("/shunt/resistance_ohm")?),
        from: &["/shunt/inductance_henry", "/shunt/resistance_ohm"],
    },
    Consequence {
        slug: "current-channel",
        words: "the converter's offset as a share of full scale",
        unit: Unit::One,
        usual: [0.0, 0.03],
        value: |get| Some(get("/converter/offset_v")? / get("/converter/full_scale_v")?),
        from: &["/converter/offset_v", "/converter/full_scale_v"],
    },
    Consequence {
        slug: "voltage-channel",
        words: "the share of the converter's range that the highest input uses",
        unit: Unit::One,
        usual: [0.1, 3.0],
        value: |get| {
            let lower = get("/lower/resistance_ohm")? * get("/lower/count").unwrap_or(1.0);
            let upper = get("/upper/resistance_ohm")? * get("/upper/count").unwrap_or(1.0);
            let gain = get("/amplifier/gain").unwrap_or(1.0);
            Some(get("/input_max_v")? * lower / (upper + lower) * gain / get("/converter/full_scale_v")?)
        },
        from: &["/lower/resistance_ohm", "/upper/resistance_ohm", "/converter/full_scale_v"],
    },
    Consequence {
        slug: "voltage-channel",
        words: "the current through the divider",
        unit: Unit::Ampere,
        usual: [1e-6, 5e-3],
        value: |get| Some(get("/input_max_v")? / (get("/upper/resistance_ohm")? * get("/upper/count").unwrap_or(1.0))),
        from: &["/upper/resistance_ohm"],
    },
    Consequence {
        slug: "voltage-channel",
        words: "the error of the bias current in the upper string as a share of the input",
        unit: Unit::One,
        usual: [0.0, 0.05],
        value: |get| {
            let upper = get("/upper/resistance_ohm")? * get("/upper/count").unwrap_or(1.0);
            Some(get("/following/bias_current_a")? * upper / get("/input_max_v")?)
        },
        from: &["/following/bias_current_a", "/upper/resistance_ohm"],
    },
    Consequence {
        slug: "thermistor",
        words: "the ratio of thermistor to fixed resistor at 25 °C",
        unit: Unit::One,
        usual: [0.05, 20.0],
        value: |get| Some(get("/beta/r25_ohm")? / get("/divider/fixed_ohm")?),
        from: &["/divider/fixed_ohm", "/beta/r25_ohm"],
    },
    Consequence {
        slug: "thermistor",
        words: "the self-heating at full supply",
        unit: Unit::Kelvin,
        usual: [0.0, 5.0],
        value: |get| {
            Some(
                get("/divider/supply_v")?.powi(2)
                    / (4.0 * get("/divider/fixed_ohm")?)
                    / get("/body/dissipation_w_per_k")?,
            )
        },
        from: &["/body/dissipation_w_per_k", "/divider/fixed_ohm"],
    },
    Consequence {
        slug: "precharge",
        words: "the time constant of the pre-charge",
        unit: Unit::Second,
        usual: [2e-3, 20.0],
        value: |get| Some(get("/resistance_ohm")? * get("/capacitance_farad")?),
        from: &["/capacitance_farad", "/resistance_ohm"],
    },
    Consequence {
        slug: "race",
        words: "the time constant L/R of the fault",
        unit: Unit::Second,
        usual: [1e-7, 2e-2],
        value: |get| {
            let l = get("/source/inductance_henry").filter(|l| *l > 0.0)?;
            Some(l / (get("/source/pack_resistance_ohm")? + get("/source/external_resistance_ohm")?))
        },
        from: &["/source/inductance_henry", "/source/pack_resistance_ohm", "/source/external_resistance_ohm"],
    },
];

/// The hints of a design: one a part at most, at the value that slipped.
pub fn hints(design: &Design) -> Vec<Finding> {
    let Ok(ready) = Prepared::new(design, Work::FREE) else { return Vec::new() };
    let parts = design.parts.iter().enumerate();
    parts.filter_map(|(at, part)| hint(part, &mut *ready.input(at).copy())).collect()
}

fn hint(part: &Part, input: &mut dyn Typed) -> Option<Finding> {
    let mine = || CONSEQUENCES.iter().filter(|one| one.slug == part.kind.entry.meta.slug);
    let strange: Vec<(&Consequence, f64)> = mine()
        .filter_map(|one| {
            let value = value_of(one, input)?;
            (!inside(one, value)).then_some((one, value))
        })
        .collect();
    let (first, value) = strange.first()?;
    let seen = format!("{} is {}", first.words, say(*value, first.unit));
    let cure = strange
        .iter()
        .flat_map(|(one, _)| one.from)
        .flat_map(|pointer| [-3i32, 3, -6, 6].map(|power| (*pointer, power)))
        .find_map(|(pointer, power)| {
            let now = input.number(pointer)?;
            let then = scaled(now, power);
            let field = declared(part.entry().fields, pointer)?;
            // Put back after it is judged: the next one starts from the same values.
            let mends = input.put(pointer, then)
                && mine().all(|one| value_of(one, input).is_none_or(|value| inside(one, value)));
            input.put(pointer, now);
            mends.then_some((pointer, field, now, then))
        });
    let message = match cure {
        Some((_, field, now, then)) => {
            let unit = field.unit().unwrap_or(Unit::One);
            format!(
                "{}: {seen}, far from what is usual. Was {} meant to be {} instead of {}?",
                part.title(),
                field.label,
                Quantity::new(then, unit).brief(6),
                Quantity::new(now, unit).brief(6)
            )
        }
        None => format!("{}: {seen}, far from what is usual. Check the values it follows from.", part.title()),
    };
    let pointer = cure.map_or_else(|| first.from[0], |(pointer, ..)| pointer);
    Some(Finding::new(Severity::Warn, "design.unit-slip", message).at(&part.origin(pointer)))
}

/// A power of ten as somebody types it: without the last digits of a multiplication.
fn scaled(value: f64, power: i32) -> f64 {
    format!("{value:e}")
        .split_once('e')
        .and_then(|(digits, exponent)| Some(format!("{digits}e{}", exponent.parse::<i32>().ok()? + power)))
        .and_then(|text| text.parse().ok())
        .unwrap_or(value)
}

fn value_of(one: &Consequence, input: &dyn Typed) -> Option<f64> {
    (one.value)(&|pointer| input.number(pointer)).filter(|value| value.is_finite())
}

fn inside(one: &Consequence, value: f64) -> bool {
    one.usual[0] <= value && value <= one.usual[1]
}
