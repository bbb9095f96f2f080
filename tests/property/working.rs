//! Every step of the working is an expression that comes to its value: in the demos, and at random inputs.

use rayon::prelude::*;
use sensewright_core::catalogue::CATALOGUE;
use sensewright_core::demo::DEMOS;
use sensewright_core::design::assess;
use sensewright_core::field::Notation;
use sensewright_core::report::Step;
use sensewright_tests::Dice;
use sensewright_tests::expression::{Expression, Outcome, in_products};
use serde_json::{Value, json};

/// Digits of a value on a page.
const SHOWN: i32 = 5;
/// What half of all last digits may move a value by, as a share of it.
const SHARE: f64 = 1e-3;
/// The error that is planted, as a share.
const PLANTED: f64 = 3e-3;
/// Random inputs, over all calculations.
const INPUTS: usize = 1000;

/// Half the last digit of a number that is shown with so many digits.
fn half(value: f64, digits: i32) -> f64 {
    if value == 0.0 {
        return 0.0;
    }
    #[allow(clippy::cast_possible_truncation, reason = "a decade")]
    let decade = value.abs().log10().floor() as i32;
    0.5 * 10f64.powi(decade + 1 - digits)
}

/// Whether a step comes to its value; what is wrong with it otherwise.
fn comes_out(step: &Step) -> Result<(), String> {
    match Expression::read(&step.numbers) {
        Ok(expression) => holds(step, &expression, &expression.outcomes()),
        Err(fault) => Err(format!("{fault}: {}", step.numbers)),
    }
}

/// The same for an expression that is worked out.
fn holds(step: &Step, expression: &Expression, outcomes: &[Outcome]) -> Result<(), String> {
    let wrong = |what: String| Err(format!("{what}: {} = {} {}", step.numbers, step.value, step.unit.symbol()));
    let shown = in_products(half(step.value, SHOWN), step.unit);
    let value = in_products(step.value, step.unit);
    match outcomes {
        [only] => {
            let within = only.within + shown;
            if !((only.value - value).abs() <= within * (1.0 + 1e-6) + 1e-12 * value.abs()) {
                return wrong(format!("comes to {:e} within {within:e}, not {value:e}", only.value));
            }
            if within > SHARE * value.abs() && value != 0.0 {
                return wrong(format!("within {within:e} only of {value:e}"));
            }
        }
        [left, right] => {
            let within = left.within + right.within;
            if !((left.value - right.value).abs() <= within * (1.0 + 1e-6)) {
                return wrong(format!("{:e} is not {:e} within {within:e}", left.value, right.value));
            }
            if within > SHARE * left.value.abs() {
                return wrong(format!("within {within:e} only of {:e}", left.value));
            }
            // A minus sign stands before its number.
            let stands = |number: f64, half: f64| (number - value.abs()).abs() <= half + shown;
            if !expression.numbers().iter().any(|number| number.half > 0.0 && stands(number.value, number.half)) {
                return wrong("does not stand in its equation".into());
            }
        }
        sides => return wrong(format!("{} sides", sides.len())),
    }
    Ok(())
}

/// Every step of the demos.
fn of_demos() -> Vec<(String, Step)> {
    let mut steps = Vec::new();
    for demo in &*DEMOS {
        let done = assess::assess(&demo.design).expect("a demo");
        for part in done.parts {
            let slug = part.part.entry().meta.slug;
            steps.extend(part.answer.working.into_iter().map(|step| (slug.to_owned(), step)));
        }
    }
    steps
}

/// Every step of random inputs of all calculations.
fn of_random_inputs() -> Vec<(String, Step)> {
    let steps = |turn: usize| {
        let entry = &CATALOGUE[turn % CATALOGUE.len()];
        // By the name: another calculation in the list moves nobody's inputs.
        let own = u64::from(crc32fast::hash(entry.meta.slug.as_bytes()));
        let mut dice = Dice(own ^ ((turn / CATALOGUE.len()) as u64 * 7919 + 3));
        let mut input = dice.vary(&Value::Object(entry.start().clone()), entry.fields);
        // The steps show nothing of the trials.
        for pointer in ["/experiment/trials", "/trials", "/two_measurement/trials"] {
            if let Some(trials) = input.pointer_mut(pointer) {
                *trials = json!(1000);
            }
        }
        // Courses of noise are dear to draw: in some are enough.
        if input.get("noise_is").is_some() && dice.up_to(9) > 0 {
            input["noise_is"] = json!("white");
            input.as_object_mut().expect("a group").remove("noise_bandwidth_hz");
        }
        let answer = entry.answer(Some(&input), Notation::Json).ok();
        let steps = answer.into_iter().flat_map(|answer| answer.working);
        steps.map(|step| (entry.meta.slug.to_owned(), step)).collect::<Vec<_>>()
    };
    (0..INPUTS).into_par_iter().flat_map_iter(steps).collect()
}

/// Looks at every step; what is wrong is told with its calculation and label.
fn every(steps: &[(String, Step)], least: usize) {
    assert!(steps.len() >= least, "only {} steps", steps.len());
    let told = |(slug, step): &(String, Step)| Some(format!("{slug}, {}: {}", step.label, comes_out(step).err()?));
    let wrong: Vec<String> = steps.iter().filter_map(told).collect();
    assert!(wrong.is_empty(), "{} of {}: {wrong:#?}", wrong.len(), steps.len());
}

/// An error of 0.3 % in a value, up and down: every one is found.
fn planted(steps: &[(String, Step)]) {
    for (slug, step) in steps.iter().filter(|(_, step)| step.value != 0.0) {
        let expression = Expression::read(&step.numbers).expect("it was read before");
        let outcomes = expression.outcomes();
        for share in [1.0 + PLANTED, 1.0 - PLANTED] {
            let wrong = Step { value: step.value * share, ..step.clone() };
            let found = holds(&wrong, &expression, &outcomes).is_err();
            assert!(found, "{slug}, {}: {} = {}", step.label, wrong.numbers, wrong.value);
        }
    }
}

#[test]
fn every_step_of_the_demos_comes_to_its_value() {
    let steps = of_demos();
    every(&steps, 600);
    planted(&steps);
}

#[test]
fn every_step_of_random_inputs_comes_to_its_value() {
    let steps = of_random_inputs();
    every(&steps, 7000);
    planted(&steps);
}

/// The evaluator itself, by hand.
#[test]
fn printed_expressions_are_worked_out() {
    for (text, value) in [
        ("2\u{202f}·\u{202f}3 + 4", 10.0),
        ("−2² + √(9) · |1 − 3|", 2.0),
        ("24\u{202f}h · 320.8\u{202f}mA", 27_717.12),
        ("1.5\u{202f}%", 0.015),
        ("2.5\u{202f}mV/7\u{202f}mV/%", 0.0025 / 0.7),
        ("(60\u{202f}Ω ∥ 30\u{202f}Ω)", 20.0),
        ("10\u{202f}kΩ/(2 · π · ½)", 1e4 / std::f64::consts::PI),
        ("1.5·10⁻¹² · 2^3", 12e-12),
        ("e^(−1) · ln(2)", (-1f64).exp() * 2f64.ln()),
        ("Φ(−3) + Φ⁻¹(0.975)", 1.349_898_031_630_094_6e-3 + 1.959_963_984_540_054),
        ("G(−8)", 7.550_262_41e-17),
        ("clamp(1.7, 0, 1) + max(1, 2, 3) − min(4, 5) + round(2.6) − floor(2.6)", 1.0),
    ] {
        let found = Expression::read(text).expect(text).outcomes()[0];
        assert!((found.value / value - 1.0).abs() < 1e-6, "{text}: {} is not {value}", found.value);
    }
    // Half of the last digit: 4 digits at least, whole numbers without a unit are exact.
    for (text, within) in
        [("2 · 3", 0.0), ("25\u{202f}A", 0.005), ("1.2346\u{202f}A", 5e-5), ("2 · 0.5", 1e-4), ("0\u{202f}V", 0.0)]
    {
        let found = Expression::read(text).expect(text).outcomes()[0].within;
        assert!((found - within).abs() <= 1e-9 * within, "{text}: {found} is not {within}");
    }
    for text in ["1 2", "a", "2 ·", "(1", "max()", "1 = 1 = 1", "5 V, with load", "…"] {
        assert!(Expression::read(text).is_err(), "{text}");
    }
}
