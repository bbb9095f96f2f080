//! What the resistor of a pre-charge takes, attempt after attempt, and what is judged of it.
//!
//! Sources: Ohm's law, a first-order thermal body and its geometric sums by hand; scipy 1.17.1 where it is named.

use sensewright_core::judge::Verdict;
use serde_json::{Value, json};

use super::precharge::{heater, right, verdict};
use super::{answer, at, holds};

/// By hand: 831.6²/60 · 0.5 s = 5763 J every 30 s = 192.1 W of 50 W. With 50 J/K and 2 K/W (100 s) the body gains up to
/// 115.26 K an attempt and keeps e^(−0.3) of it: a steady power for 0.5 s, Rth P (1 − e^(−0.005))/(1 − e^(−0.3)) = 443.6 K
/// with 11526.24 W: 2 · 11526.24 · 0.0049875/0.2591818 = 443.60 K above 85 °C. The heat in it then is 22180 J of 900 J.
#[test]
fn a_shorted_series_and_a_stall_are_held_against_the_ratings() {
    let rated = [
        ("/resistor/power_w", json!(50.0)),
        ("/resistor/k_per_w", json!(2.0)),
        ("/resistor/limit_degc", json!(150.0)),
        ("/resistor/heat_j_per_k", json!(50.0)),
    ];
    let shorted = right(&rated);
    assert_eq!(verdict(&shorted, "precharge.resistor-power"), Verdict::Holds);
    assert_eq!(verdict(&shorted, "precharge.short-power"), Verdict::Fails);
    assert_eq!(verdict(&shorted, "precharge.short-temperature"), Verdict::Fails);
    holds(at(&shorted, "/repeated/short_w"), 192.1, 0.05);
    holds(at(&shorted, "/repeated/short_degc"), 85.0 + 443.60, 0.05);
    holds(at(&shorted, "/repeated/short_warm_percent"), 443.60 * 50.0 / 9.0, 0.5);
    assert!(shorted.requirements.iter().all(|check| check.id != "precharge.stall-power"));
    // The heater: (831.6 − 703.7)²/60 = 272.7 W.
    let stalled = heater(&rated);
    let stall = stalled.requirements.iter().find(|check| check.id == "precharge.stall-power");
    assert!(stall.is_some_and(|check| check.verdict == Verdict::Fails));
    holds(stall.and_then(|check| check.achieved).unwrap_or(0.0), 272.7, 0.5);
    // A temperature limit without the K/W or the J/K is not passed over.
    let reason = |changes: &[(&str, Value)]| {
        let answer = right(changes);
        let check = answer.requirements.into_iter().find(|check| check.id == "precharge.temperature").expect("a row");
        (check.verdict, check.reason.unwrap_or_default())
    };
    for (given, missing) in [(&rated[2..], "Thermal resistance"), (&rated[1..3], "Heat capacity")] {
        let (verdict, reason) = reason(given);
        assert_eq!(verdict, Verdict::NotJudged);
        assert!(reason.contains(missing), "{reason}");
    }
}

/// Nothing that needs a rating holds without it: one row for each missing fact.
#[test]
fn a_rating_that_is_not_given_is_not_judged() {
    let bare = answer("precharge", &[("/link_error_v", json!(2.0)), ("/pack_error_v", json!(2.0))]);
    let missing: Vec<&str> = bare
        .requirements
        .iter()
        .filter(|check| check.verdict == Verdict::NotJudged)
        .map(|check| check.id.as_str())
        .collect();
    assert_eq!(missing.len(), 4, "{missing:?}");
    for id in ["precharge.resistor-pulse", "precharge.resistor-power", "precharge.inrush", "precharge.making-current"] {
        assert!(missing.contains(&id), "{id}");
    }
}

/// By hand: attempts of 50 ms that may follow one another each 60 s, or at once where the one before succeeds: the resistor
/// never takes more than (831.6 V)²/R of its least resistance, whatever the rhythm, and is not warmer than by that for ever.
#[test]
fn no_rhythm_takes_more_than_the_largest_power() {
    let rated = [
        ("/resistor/power_w", json!(50.0)),
        ("/resistor/k_per_w", json!(0.01)),
        ("/resistor/limit_degc", json!(150.0)),
        ("/resistor/heat_j_per_k", json!(50.0)),
        ("/resistor/cool_down_s", json!(1e-3)),
        ("/resistor/retries", json!(2)),
        ("/resistor/tolerance_percent", json!(0.0)),
    ];
    let hasty = right(&rated);
    let most_w = 831.6_f64.powi(2) / 60.0;
    let said = at(&hasty, "/repeated/series_w");
    assert!(said <= most_w * (1.0 + 1e-9), "{said} {most_w}");
    assert!(at(&hasty, "/repeated/body_degc") <= 85.0 + 0.01 * most_w + 1e-9);
    assert_eq!(verdict(&hasty, "precharge.resistor-power"), Verdict::Fails);
    // The same pause after each attempt: 6.0 s from start to start, not 60 s.
    let paused =
        right(&[&rated[..4], &[("/resistor/cool_down_s", json!(6.0)), ("/resistor/retries", json!(2))]].concat());
    let alone =
        right(&[&rated[..4], &[("/resistor/cool_down_s", json!(6.0)), ("/resistor/retries", json!(0))]].concat());
    holds(at(&paused, "/repeated/series_w"), at(&alone, "/repeated/series_w"), 1e-9);
}

/// The pause counts from the end of the last attempt: one attempt of 171 ms at most and a pause of 6.75 s make up to 6.92 s from
/// start to start. 0.1347 J of it in 11.2 mJ/K with 2770 K/W (τ 31.02 s): 73 °C + 12.03 K/(1 − e^(−6.80/31.02)) = 134 °C,
/// beyond 127 °C. A pause of 1 s makes 1.05 s, though attempts of one series would wait for their repetition: with 48.2 Ω,
/// without the load and with readings on their good sides the link needs R C ln(18.6 V/2.30 V) or R C ln(14.7 V/2.19 V) =
/// 46 ms from 40.2 V on, and the pause begins there.
#[test]
fn the_pause_counts_from_the_end_of_the_last_attempt() {
    let board = |changes: &[(&str, Value)]| {
        let mut all = vec![
            ("/pack_v", json!(58.8)),
            ("/pack_min_v", json!(54.9)),
            ("/capacitance_farad", json!(506e-6)),
            ("/resistance_ohm", json!(51.1)),
            ("/target_percent", json!(96.89)),
            ("/max_time_s", json!(0.171)),
            ("/load/kind", json!("resistive")),
            ("/load/resistance_ohm", json!(960.0)),
            ("/link_error_v", json!(0.17)),
            ("/pack_error_v", json!(0.31)),
            ("/link_error_percent", json!(0.13)),
            ("/pack_error_percent", json!(0.15)),
            ("/start_v", json!(40.2)),
            ("/resistor/tolerance_percent", json!(5.7)),
            ("/resistor/heat_j_per_k", json!(11.2e-3)),
            ("/resistor/k_per_w", json!(2770.0)),
            ("/resistor/limit_degc", json!(127.0)),
            ("/resistor/ambient_degc", json!(73.0)),
            ("/resistor/retries", json!(0)),
            ("/resistor/repeat_s", json!(6.75)),
            ("/resistor/cool_down_s", json!(6.75)),
        ];
        all.extend_from_slice(changes);
        answer("precharge", &all)
    };
    let paused = board(&[]);
    holds(at(&paused, "/repeated/body_degc"), 134.0, 0.5);
    // As if nothing but the repetition were given, of so long.
    let apart = at(
        &board(&[("/resistor/cool_down_s", json!(0.0)), ("/resistor/repeat_s", json!(6.796))]),
        "/repeated/body_degc",
    );
    holds(at(&paused, "/repeated/body_degc"), apart, 0.05);
    let short = at(&board(&[("/resistor/cool_down_s", json!(1.0))]), "/repeated/body_degc");
    let apart = [("/resistor/cool_down_s", json!(0.0)), ("/resistor/repeat_s", json!(1.046))];
    holds(at(&board(&apart), "/repeated/body_degc"), short, 1.0);
}

/// 648 W wake at 361 V behind 252 Ω ± 10 %: the load wins where (V − 361 V)/R < 648 W/361 V = 1.795 A, at 800 V from R = 244.57 Ω
/// on, inside the tolerance. There the resistor loses (439 V)²/244.57 Ω = 788.0 W, at its upper end and the lowest voltage of
/// 774.2 V only (413.2 V)²/277.2 Ω = 615.9 W. An attempt of 1.589 s puts 1.349 kJ in it at 245.7 Ω (scipy 1.17.1, solve_ivp).
#[test]
fn a_load_that_just_begins_to_hold_the_link_is_found_inside_the_tolerance() {
    let answer = answer(
        "precharge",
        &[
            ("/pack_v", json!(800.0)),
            ("/pack_min_v", json!(774.2)),
            ("/capacitance_farad", json!(0.000_953_808_631_618_515_5)),
            ("/resistance_ohm", json!(252.0)),
            ("/target_percent", json!(90.0)),
            ("/max_time_s", json!(1.589)),
            ("/load", json!({"kind": "constant-power", "power_w": 648.0, "enable_v": 361.0})),
            ("/link_error_v", json!(1.6)),
            ("/pack_error_v", json!(4.0)),
            ("/resistor/tolerance_percent", json!(10.0)),
            ("/resistor/pulse_j", json!(1250.0)),
            ("/resistor/power_w", json!(650.0)),
        ],
    );
    holds(at(&answer, "/stall/charge/settle_power_w"), 788.0, 0.05);
    assert_eq!(verdict(&answer, "precharge.stall-power"), Verdict::Fails);
    assert!(at(&answer, "/attempt/energy_j") >= 1349.0, "{}", at(&answer, "/attempt/energy_j"));
    assert_eq!(verdict(&answer, "precharge.resistor-pulse"), Verdict::Fails);
}

/// What a failure offers is a way out: by hand 831.6²/60 Ω = 11.53 kW put 900 J into the resistor in 78.1 ms, and 95 % take
/// ln 20 of 54 ms, 162 ms (a little more beside the bleeder): so short a time-out leaves no time to charge.
#[test]
fn a_time_out_that_keeps_the_rating_is_offered_where_the_link_gets_there_in_it() {
    let reason = |changes: &[(&str, Value)]| {
        let row = right(changes).requirements.into_iter().find(|check| check.id == "precharge.short-energy");
        row.and_then(|row| row.reason).unwrap_or_default()
    };
    let little = reason(&[("/resistor/pulse_j", json!(900.0))]);
    assert!(little.contains("a time-out of 78.08\u{202f}ms would keep the rating, but the link needs 16"), "{little}");
    let more = reason(&[("/resistor/pulse_j", json!(3000.0))]);
    assert!(more.contains("a time-out of 260.3\u{202f}ms keeps the rating"), "{more}");
    let checked = reason(&[("/resistor/pulse_j", json!(900.0)), ("/check_s", json!(0.05))]);
    assert!(checked.contains("where that stops the attempt"), "{checked}");
}
