//! Recorded profiles against sums and simulations of other programs.

use std::fmt::Write;

use serde_json::{Value, json};

use sensewright_core::calc::charge::charge_counting::profile::{answer as told, built};
use sensewright_core::calculation::{Answer, Depth};
use sensewright_core::demo::DEMOS;
use sensewright_core::field::{Notation, form_tree, read};
use sensewright_core::profile::{Built, Profile, ProfileInput, ProfileOutput};
use sensewright_core::report::{Block, Finding};
use sensewright_core::work::Work;

fn answer(text: &str, options: &Value) -> ProfileOutput {
    let input: ProfileInput = read(Some(options), Notation::Json).expect("options");
    let mut profile = Profile::new(input);
    for piece in text.as_bytes().chunks(1_000) {
        profile.push(piece);
    }
    profile.finish().expect("an answer")
}

fn near(got: f64, expected: f64, relative: f64) {
    assert!((got - expected).abs() <= relative * expected.abs(), "{got} instead of {expected}");
}

/// By hand: held 10 A · 0.5 h + 5 A · 0.5 h; straight 10 A falls to −20 A within half an hour, a third of it above zero.
#[test]
fn a_table_with_commas_is_summed_by_hand() {
    let text =
        "\u{feff}# log\r\nt;I;U\r\nh;A;V\r\n0;10,0;400\r\n0,5;-20,0;410\r\n0,5;0;405\r\n1,0;5;404\r\n1,5;5;403\r\n";
    let held = answer(text, &json!({}));
    near(held.discharge_ah, 7.5, 1e-15);
    assert_eq!(held.charge_ah, 0.0);
    near(held.rms_a.expect("time"), (62.5_f64 / 1.5).sqrt(), 1e-15);
    near(held.energy_net_j.expect("voltage"), 3_010.0 * 3_600.0, 1e-15);
    let straight = answer(text, &json!({"handling": {"integration": "trapezoid"}}));
    near(straight.discharge_ah, 55.0 / 12.0, 1e-14);
    near(straight.charge_ah, 10.0 / 3.0, 1e-14);
    near(straight.rms_a.expect("time"), 20.0 / 3.0, 1e-14);
}

/// 20,000 rows by formula: irregular time, some without duration.
fn table() -> String {
    let mut hundredths = 0;
    let mut text = String::from("time,current,voltage\n");
    for k in 0..20_000_i64 {
        let (current, voltage) = (k * 7_919 % 20_001 - 10_000, k * 613 % 1_001);
        let _ = writeln!(
            text,
            "{},{},{}",
            hundredths as f64 / 100.0,
            current as f64 / 100.0,
            350.0 + voltage as f64 / 10.0
        );
        hundredths += k * 31 % 7;
    }
    text
}

/// numpy 2.4.6 with math.fsum of Python 3.11 over the same formulas; straight pieces by numpy's polynomials, each integrated
/// between its roots.
#[test]
fn sums_are_those_of_numpy() {
    let text = table();
    let held = answer(&text, &json!({"limits": [{"limit_a": 50}, {"limit_a": -80}]}));
    near(held.discharge_ah, 4.167_349_777_777_789_5, 1e-12);
    near(held.charge_ah, 4.165_810_055_555_548, 1e-12);
    near(held.rms_a.expect("time"), 57.736_283_246_269_76, 1e-12);
    near(held.duration_s, 599.97, 1e-12);
    near(held.energy_out_j.expect("voltage"), 5_998_872.251_060_019, 1e-12);
    near(held.energy_in_j.expect("voltage"), 5_999_773.859_679_989, 1e-12);
    near(held.net_trapezoid_ah, 0.003_102_138_888_894_107, 1e-9);
    near(held.beyond[0].time_s, 150.0, 1e-12);
    near(held.beyond[1].time_s, 59.9, 1e-12);
    near(held.spread.seconds_s.iter().sum(), 599.97, 1e-12);
    assert_eq!(held.lines.same_time, 2_857);
    let straight = answer(&text, &json!({"handling": {"integration": "trapezoid"}}));
    near(straight.discharge_ah, 2.878_809_058_539_095_7, 1e-12);
    near(straight.charge_ah, 2.875_706_919_650_201, 1e-12);
    near(straight.rms_a.expect("time"), 41.699_995_963_646_92, 1e-12);
    near(straight.energy_out_j.expect("voltage"), 4_144_479.482_603_145_8, 1e-12);
    near(straight.energy_in_j.expect("voltage"), 4_141_684.009_864_805, 1e-12);
}

/// 100 A 1800 s, 0 600 s, −50 A 3600 s; 20 mA, 0.4 % out, 0.1 % in, 120 Ah. Known parts written out by hand:
/// 0.02 · 6000/3600 + 0.004 · 50 − 0.001 · 50 Ah.
#[test]
fn gains_that_differ_do_not_cancel_over_a_cycle() {
    let text = "t;i\n0;100\n1800;0\n2400;-50\n6000;0\n";
    let chain = json!({"offset_a": 0.02, "gain_percent": 0.25, "asymmetry_percent": 0.3});
    let reading = answer(text, &json!({"chain": chain})).reading.expect("a chain");
    near(reading.highest_ah, 0.02 * 6_000.0 / 3_600.0 + 0.15, 1e-12);
    near(reading.lowest_ah, -(0.02 * 6_000.0 / 3_600.0 + 0.15), 1e-12);
    // Two rectangular limits a and b of 0.0333 and 0.15: P(|S| > x) = (a + b − x)²/(4 a b) within b − a … a + b.
    let (a, b) = (0.02 / 0.6, 0.15_f64);
    near(reading.within_95_ah, a + b - f64::sqrt(0.2 * a * b), 0.01);
    assert_eq!(reading.sources.iter().map(|source| source.error_ah).filter(|error| error.abs() > 1e-12).count(), 2);
}

/// White noise of single samples walks with the root of time: s √(T_s t) = 50 mA · √(0.1 s · 3600 s) = 0.949 A s.
#[test]
fn noise_walks_with_the_root_of_time() {
    let chain = json!({"noise_a": 0.05, "sample_s": 0.1, "averaging": 5});
    let one = |seed: u32| {
        let mut chain = chain.clone();
        chain["seed"] = json!(seed);
        answer("t;i\n0;10\n1800;-3\n3600;0\n", &json!({"chain": chain})).reading.expect("a chain")
    };
    near(one(1).noise_ah * 3_600.0, 0.05 * (0.1_f64 * 3_600.0).sqrt(), 1e-12);
    // 400 draws: the root mean square of as many is within 12 % (3.3 standard deviations of 1/√800).
    let square: f64 = (0..400).map(|seed| (one(seed).drawn_ah / one(seed).noise_ah).powi(2)).sum();
    assert!((square / 400.0).sqrt() > 0.88 && (square / 400.0).sqrt() < 1.12, "{square}");
}

/// A profile of 400 rows of 50 ms. Independent simulation in Python: Runge-Kutta of the heat balance and the joints in steps
/// of 1 ms, readings sample by sample.
fn pulses() -> (String, Value) {
    let mut text = String::from("t,i\n");
    for k in 0..400 {
        let sign = if (k / 40) % 3 == 2 { -1 } else { 1 };
        let _ = writeln!(text, "{},{}", f64::from(k * 5) / 100.0, sign * (k * 37 % 101) * 3);
    }
    let element = json!({"resistance_ohm": 35e-6, "tcr_ppm_per_k": 60, "tcr_quadratic_ppm_per_k2": -0.4, "reference_degc": 20,
        "thermal_resistance_k_per_w": 5, "thermal_tau_s": 8, "ambient_degc": 60});
    (text, element)
}

#[test]
fn element_and_joints_follow_an_independent_integration() {
    let (text, element) = pulses();
    let chain = json!({"emf_a": 0.3, "emf_at_a": 250, "emf_tau_s": 3});
    let answer = answer(&text, &json!({"element": element, "chain": chain}));
    near(answer.element.and_then(|element| element.highest_degc).expect("stable"), 64.882_287_98, 1e-6);
    let sources = answer.reading.expect("a chain").sources;
    near(sources[5].error_ah, 0.000_624_710_948_7, 1e-4);
    near(sources[4].error_ah, 0.3 * 8.163_353_257 / 3_600.0, 1e-6);
}

#[test]
fn readings_follow_an_independent_simulation() {
    let (text, element) = pulses();
    let errors = |changes: &Value| {
        let mut chain = json!({"offset_a": 0.12, "gain_percent": 0.4, "asymmetry_percent": 0.2, "bend_a": 0.05,
            "emf_a": 0.3, "emf_at_a": 250, "emf_tau_s": 3});
        for (key, value) in changes.as_object().expect("an object") {
            chain[key] = value.clone();
        }
        let reading = answer(&text, &json!({"element": element, "chain": chain})).reading.expect("a chain");
        [reading.known_ah, reading.highest_ah, reading.lowest_ah]
    };
    for (changes, expected) in [
        // Rows of five readings, readings of eight rows with an aperture, and spot samples between the rows.
        (
            json!({"sample_s": 0.01, "step_a": 0.5, "dead_band_a": 2}),
            [0.000_604_166_67, 0.004_416_666_67, -0.003_048_611_11],
        ),
        (
            json!({"sample_s": 0.4, "aperture_s": 0.3, "step_a": 0.25, "dead_band_a": 1}),
            [0.013_322_916_67, 0.017_305_555_56, 0.009_531_25],
        ),
        (json!({"sample_s": 0.13, "aperture_s": 0, "step_a": 0.1}), [-0.045_364_722_22, -0.041_755, -0.048_969_166_67]),
    ] {
        for (got, expected) in errors(&changes).into_iter().zip(expected) {
            // A reading within the integration error of a rounding edge may fall on its other side.
            assert!((got - expected).abs() < 1e-5, "{changes}: {got} instead of {expected}");
        }
    }
    let clipped = errors(&json!({"sample_s": 0.01, "clip_low_a": -200, "clip_high_a": 250}))[0];
    assert!((clipped - 0.008_875_001_238).abs() < 1e-7, "{clipped}");
}

/// Each demo has a profile, made from its own pack.
#[test]
fn built_in_profiles_are_those_of_the_demos() {
    let words: Vec<&str> = Built::OPTIONS.iter().map(|(word, _)| *word).filter(|word| *word != "file").collect();
    assert_eq!(words, DEMOS.iter().map(|demo| demo.slug).collect::<Vec<_>>());
    for demo in &*DEMOS {
        let input: ProfileInput = read(Some(&json!({"profile": demo.slug})), Notation::Json).expect("a demo");
        let built = built::pack(input.profile).expect("built in");
        let pack = &demo.design.head.pack;
        let charging = pack.charge_peak_a.unwrap_or(pack.peak_a);
        assert_eq!(
            [built.continuous_a, built.peak_a, built.peak_duration_s, built.charge_peak_a],
            [pack.continuous_a, pack.peak_a, pack.peak_duration_s, charging],
            "{}",
            demo.slug
        );
        near(built.nominal_v, pack.nominal_v(), 1e-9);
        near(built.resistance_ohm, pack.resistance_ohm().unwrap_or_default(), 1e-9);
        let answer = answer(&built::text(built), &json!({}));
        assert_eq!(answer.highest.current_a, pack.peak_a, "{}", demo.slug);
        assert!(answer.voltage_rises != Some(true), "{}", demo.slug);
    }
}

/// The answer to a file of two rows that is sent with a form's values.
fn sent(peak: &str, typed: &[(&str, &str)], depth: Depth) -> Answer {
    let mut pairs = vec![("profile".to_owned(), "file".to_owned())];
    pairs.extend(typed.iter().map(|(key, value)| ((*key).to_owned(), (*value).to_owned())));
    let tree = form_tree(&pairs).expect("keys");
    let input: ProfileInput = read(Some(&tree), Notation::Form).expect("options");
    let mut profile = Profile::new(input.clone());
    profile.push(format!("0,{peak}\n1,0\n").as_bytes());
    told(&input, profile.finish().expect("an answer"), depth, Work::FREE).expect("told")
}

/// The finding of a kind in such an answer.
fn found(peak: &str, typed: &[(&str, &str)], code: &str) -> Option<Finding> {
    sent(peak, typed, Depth::Requirements).findings.into_iter().find(|finding| finding.code == code)
}

/// A file goes through the chain that the page starts with only where that is said.
#[test]
fn a_chain_that_nobody_typed_is_named() {
    let code = "charge.chain-as-it-starts";
    let all = found("100", &[], code).expect("told").message;
    for words in ["offset 120\u{202f}mA", "gain error 0.5\u{202f}%", "highest reading 700\u{202f}A"] {
        assert!(all.contains(words), "{words}: {all}");
    }
    let offset = found("100", &[("chain.offset_a", "50m")], code).expect("others are left").message;
    assert!(!offset.contains("offset") && offset.contains("gain error"), "{offset}");
    let keys = ["offset_a", "gain_percent", "clip_low_a", "clip_high_a", "step_a", "sample_s", "noise_a"];
    let names: Vec<String> = keys.iter().map(|key| format!("chain.{key}")).collect();
    let empty: Vec<(&str, &str)> = names.iter().map(|name| (name.as_str(), "")).collect();
    assert!(found("100", &empty, code).is_none(), "nothing of a chain is given");
    // Beside each figure and row that rests on them, too.
    let on_start = |typed: &[(&str, &str)]| {
        let answer = sent("100", typed, Depth::Page);
        let rows: Vec<String> = answer.requirements.iter().map(|row| row.note.clone()).collect();
        let blocks = answer.view.blocks;
        let figures =
            blocks.into_iter().find_map(|block| if let Block::Figures(list) = block { Some(list) } else { None });
        let of_reading = figures
            .expect("figures")
            .into_iter()
            .filter(|one| one.label.contains("error") || one.label.contains("read"));
        let all: Vec<String> = of_reading.map(|one| one.note).chain(rows).collect();
        assert_eq!(all.len(), 6, "{all:?}");
        all.iter().filter(|note| note.ends_with("on start values")).count()
    };
    // Three figures, both directions of the range; the element is not of the chain.
    assert_eq!(on_start(&[]), 5);
    let others: Vec<(&str, &str)> = keys.iter().zip(&names).map(|(_, name)| (name.as_str(), "1")).collect();
    let typed = [("chain.clip_low_a", "-500"), ("chain.clip_high_a", "500")];
    let others: Vec<(&str, &str)> =
        others.into_iter().filter(|(name, _)| !name.contains("clip")).chain(typed).collect();
    assert_eq!(on_start(&others), 0);
}

/// Milliamperes without a header, and kiloamperes: the range of 700 A tells.
#[test]
fn currents_that_are_off_by_a_thousand_are_asked_about() {
    let asked = |peak: &str, typed: &[(&str, &str)]| found(peak, typed, "charge.unit").map(|finding| finding.message);
    assert!(asked("-300000", &[]).is_some_and(|words| words.contains("430 times") && words.ends_with("in mA?")));
    assert!(asked("0.6", &[]).is_some_and(|words| words.ends_with("in kA?")));
    for peak in ["600", "-70", "7000", "1", "0"] {
        assert_eq!(asked(peak, &[]), None, "{peak}");
    }
    assert_eq!(asked("300000", &[("text.current_unit", "ampere")]), None, "the unit was typed");
    assert_eq!(asked("300000", &[("chain.clip_low_a", ""), ("chain.clip_high_a", "")]), None, "no range");
}
