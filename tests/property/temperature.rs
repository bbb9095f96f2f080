//! Laws over random inputs of the three temperature calculations.

use sensewright_core::calc::temperature::thermistor::fit::ThermistorFit;
use sensewright_core::calc::temperature::thermistor::table::ThermistorTable;
use sensewright_core::calc::temperature::thermistor::{Thermistor, ThermistorInput};
use sensewright_core::calculation::Entry;
use sensewright_core::field::{self, Notation};
use sensewright_core::judge::Outcome;
use sensewright_core::work::{Halt, Work};
use sensewright_tests::{Dice, is_clean, query};
use serde_json::{Value, json};

/// The start with some of its fields moved, its points often others that fall as a thermistor does.
fn varied(dice: &mut Dice, entry: &Entry) -> Value {
    let mut input = dice.vary(&Value::Object(entry.start().clone()), entry.fields);
    for place in ["/points", "/table/rows"] {
        if let Some(rows) = input.pointer_mut(place).filter(|rows| rows.is_array() && dice.up_to(1) == 0) {
            let count = 3 + dice.up_to(7);
            let (mut degc, mut ohm) = (-60.0, 1e6);
            let row = |_| {
                degc += 40.0 * dice.share();
                ohm *= if dice.up_to(29) == 0 { 1.1 } else { dice.share() };
                json!({"degc": degc, "resistance_ohm": ohm.clamp(1.0, 1e9)})
            };
            *rows = (0..count).map(row).collect();
        }
    }
    input
}

/// Random inputs, few and many fields moved: answered with numbers only, or refused with pointers.
fn holds_over_random_inputs(entry: &Entry, count: u64) -> usize {
    let mut answered = 0;
    for seed in 0..count {
        let mut input = varied(&mut Dice(seed), entry);
        if let Some(trials) = input.pointer_mut("/experiment/trials") {
            *trials = json!(1000);
        }
        match entry.answer(Some(&input), Notation::Json) {
            Ok(answer) => {
                answered += 1;
                assert!(is_clean(&sensewright_core::json::tree(&answer)), "{input}");
                assert!(answer.working.iter().all(|step| !step.numbers.is_empty()), "{input}");
                // A schema that calls a number required must find it.
                for row in answer.result.tree()["points"].as_array().into_iter().flatten() {
                    let at = row.get("at").unwrap_or(row);
                    assert!(at["degc"].is_number() && at["resistance_ohm"].is_number(), "{input}");
                    if row.get("at").is_some() {
                        assert!(at["code"].is_number() && at["step_k"].is_number(), "{input}");
                    }
                }
            }
            Err(faults) => {
                assert!(
                    faults.iter().all(|fault| fault.code == "contradiction" && fault.field.starts_with('/')),
                    "{faults:?}"
                );
            }
        }
    }
    answered
}

#[test]
fn the_channel_answers_or_refuses_any_input() {
    let answered = holds_over_random_inputs(&Entry::of::<Thermistor>(), 700);
    assert!(answered > 200, "{answered}");
}

#[test]
fn the_fit_answers_or_refuses_any_input() {
    let answered = holds_over_random_inputs(&Entry::of::<ThermistorFit>(), 1000);
    assert!(answered > 300, "{answered}");
}

#[test]
fn the_table_answers_or_refuses_any_input() {
    let answered = holds_over_random_inputs(&Entry::of::<ThermistorTable>(), 150);
    assert!(answered > 30, "{answered}");
}

/// The address that carries a fit to the channel is read there, with every digit.
#[test]
fn the_carried_curve_is_read_with_every_digit() {
    for equation in ["steinhart-hart", "beta"] {
        let entry = Entry::of::<ThermistorFit>();
        let mut input = entry.start().clone();
        input.insert("equation".into(), json!(equation));
        let answer = entry.answer(Some(&Value::Object(input)), Notation::Json).expect("valid");
        let link = answer.result.tree()["carry_link"].as_str().expect("an address").to_owned();
        let tree = field::form_tree(&query(&link)).expect("own keys");
        let carried: ThermistorInput = field::read(Some(&tree), Notation::Form).expect("in range");
        if equation == "beta" {
            assert_eq!(Some(carried.beta.beta_k), answer.result.tree()["beta"]["beta_k"]["value"].as_f64());
        } else {
            assert_eq!(Some(carried.steinhart_hart.c), answer.result.tree()["steinhart_hart"]["c"]["value"].as_f64());
        }
        assert_eq!((carried.min_degc, carried.max_degc), (-40.0, 125.0));
        assert!(Entry::of::<Thermistor>().answer(Some(&tree), Notation::Form).is_ok());
    }
}

/// The first-order form of the tolerance band against the engine, away from the model: with small limits both agree.
#[test]
fn the_worst_case_of_small_limits_is_their_sum() {
    let entry = Entry::of::<Thermistor>();
    let mut input: ThermistorInput = field::start();
    input.beta.r25_tolerance_percent = 1e-3;
    input.beta.beta_tolerance_percent = 1e-3;
    input.divider.fixed_tolerance_percent = 1e-3;
    input.divider.fixed_tcr_ppm_per_k = 0.0;
    input.converter.inl_lsb = 0.0;
    input.converter.bits = 24;
    input.body.duty_percent = 0.0;
    input.experiment.trials = 1000;
    let written = Value::Object(field::Group::write(&input));
    let answer = entry.answer(Some(&written), Notation::Json).expect("valid");
    for row in answer.result.tree()["rows"].as_array().expect("rows") {
        let t = row["degc"].as_f64().expect("a number") + 273.15;
        let hand = t * t / 3435.0 * 1e-5 * (2.0 + 3435.0 * (1.0 / t - 1.0 / 298.15).abs());
        let worst = row["error"]["worst_case_k"].as_f64().expect("a number");
        let step = row["step_k"].as_f64().expect("a number");
        assert!((worst - hand).abs() < 0.6 * step + 1e-3 * hand, "{t}: {worst} {hand}");
    }
}

/// What the channel hands on is what its own requirement reaches at these temperatures, judged by worst case and against
/// the sensor's place, whatever the input itself asks for; nothing where a part is full.
#[test]
fn the_channel_hands_on_the_error_of_its_requirement() {
    let entry = Entry::of::<Thermistor>();
    let points = [-30.0, 25.0, 90.0];
    let (mut told, mut full) = (0, 0);
    for seed in 0..120 {
        let mut input = varied(&mut Dice(seed), &entry);
        input["points_degc"] = json!([20.0]);
        let asked = input.clone();
        let Ok(typed) = entry.read(Some(&asked), Notation::Json) else { continue };
        if entry.contradicts(&*typed) {
            continue;
        }
        let channel = entry.channel(&*typed).expect("a channel");
        // What it hands on as its range lies inside the stated one.
        if let (Some(cold), Some(hot)) = (channel.reads_from(), channel.full_at()) {
            let stated = ["min_degc", "max_degc"].map(|name| input[name].as_f64().expect("a number"));
            assert!(stated[0] <= cold && cold < hot && hot <= stated[1], "{cold} {hot} {stated:?}");
        }
        let errors = channel.errors(&points, Work::FREE).expect("nobody stops it");
        input["requirement"]["judged_by"] = json!("worst-case");
        input["requirement"]["with_lag_and_gradient"] = json!(false);
        input["requirement"]["allowed_k"] = json!(1.0);
        for (degc, error) in points.iter().zip(errors) {
            input["requirement"]["from_degc"] = json!(degc);
            input["requirement"]["to_degc"] = json!(degc);
            let same = entry.read(Some(&input), Notation::Json).expect("in range");
            let Ok(rows) = entry.verdicts(&*same, Work::FREE) else { continue };
            let row = rows.iter().find(|row| row.id == "thermistor.error").expect("a row");
            if row.outcome == Outcome::Blocked {
                full += usize::from(error.is_none());
            } else {
                assert_eq!(row.achieved, error, "{degc}: {asked}");
                told += 1;
            }
        }
    }
    assert!(told > 60 && full > 5, "{told} {full}");
}

/// Where the curve says nothing, no error is handed on; nobody's question is not answered.
#[test]
fn the_channel_gives_no_error_off_its_curve() {
    let entry = Entry::of::<Thermistor>();
    let mut input = entry.start().clone();
    input.insert("curve".into(), json!("platinum"));
    let typed = entry.read(Some(&Value::Object(input)), Notation::Json).expect("in range");
    let channel = entry.channel(&*typed).expect("a channel");
    let errors = channel.errors(&[-210.0, 25.0, 900.0], Work::FREE).expect("nobody stops it");
    assert!(errors[0].is_none() && errors[1].is_some_and(|error| error > 0.0) && errors[2].is_none());
    assert_eq!(channel.errors(&[25.0], Work::until(&|| true)), Err(Halt));
}
