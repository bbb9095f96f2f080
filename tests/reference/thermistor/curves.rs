//! Curves: the platinum table of the standard, Steinhart-Hart and beta, and the fit of measured points.

use sensewright_core::calc::temperature::thermistor::curve::Curve;
use sensewright_core::calc::temperature::thermistor::platinum::{self, ToleranceClass};
use sensewright_core::calc::temperature::thermistor::steinhart::SteinhartHart;
use sensewright_core::catalogue::find;
use sensewright_core::field::Notation;
use serde_json::{Value, json};

use super::super::{answer, at, holds, holds_relative};

/// IEC 60751 table 1, Pt100 in ohm, printed to 0.01 Ω.
#[test]
fn platinum_has_the_resistances_of_the_standard() {
    let table = [
        (-200.0, 18.52),
        (-100.0, 60.26),
        (-50.0, 80.31),
        (0.0, 100.0),
        (25.0, 109.73),
        (50.0, 119.40),
        (100.0, 138.51),
        (150.0, 157.33),
        (200.0, 175.86),
        (300.0, 212.05),
        (400.0, 247.09),
        (600.0, 313.71),
        (850.0, 390.48),
    ];
    for (degc, ohm) in table {
        holds(100.0 * platinum::ratio(degc), ohm, 5e-3);
    }
    // Through the interface: the range and its ends.
    let degc: Vec<f64> = table.iter().map(|row| row.0).take(12).collect();
    let sensor = answer(
        "thermistor",
        &[
            ("/curve", json!("platinum")),
            ("/platinum/nominal", json!("pt100")),
            ("/read_out", json!("current")),
            ("/current/current_a", json!(1e-3)),
            ("/min_degc", json!(-200)),
            ("/max_degc", json!(850)),
            ("/points_degc", json!(degc)),
        ],
    );
    for (index, (_, ohm)) in table.iter().take(12).enumerate() {
        holds(at(&sensor, &format!("/points/{index}/at/resistance_ohm")), *ohm, 5e-3);
    }
}

/// The temperatures of resistances by the polynomial of IEC 60751, the negative ones by iteration (scipy 1.17.1).
#[test]
fn platinum_is_read_back_on_both_sides_of_zero() {
    for (ohm, degc) in [
        (18.52, -200.000_185_041_592_12),
        (90.0, -25.488_353_409_347_702),
        (110.0, 25.684_046_662_509_11),
        (138.5055, 100.0),
        (200.0, 266.348_190_958_335_64),
    ] {
        holds(platinum::degc(ohm / 100.0).expect("inside"), degc, 1e-9);
    }
}

/// IEC 60751: mean coefficient of 0 °C to 100 °C 3.851e-3 1/K; class B at 100 °C is ±0.8 K, +0.30339 Ω and −0.30346 Ω
/// (numpy 2.4.6); classes at 0 °C and −50 °C by hand.
#[test]
fn platinum_has_its_mean_coefficient_and_classes() {
    holds((platinum::ratio(100.0) - 1.0) / 100.0, 3.851e-3, 5e-7);
    for (class, at_0, at_minus_50) in [
        (ToleranceClass::Aa, 0.1, 0.185),
        (ToleranceClass::A, 0.15, 0.25),
        (ToleranceClass::B, 0.3, 0.55),
        (ToleranceClass::C, 0.6, 1.1),
    ] {
        holds(class.limit_k(0.0), at_0, 1e-15);
        holds(class.limit_k(-50.0), at_minus_50, 1e-15);
    }
    let sensor = answer(
        "thermistor",
        &[
            ("/curve", json!("platinum")),
            ("/platinum/nominal", json!("pt100")),
            ("/platinum/class", json!("b")),
            ("/read_out", json!("current")),
            ("/current/current_a", json!(1e-3)),
            ("/points_degc", json!([100])),
        ],
    );
    let ohm = at(&sensor, "/points/0/at/resistance_ohm");
    holds(at(&sensor, "/points/0/at/resistance_high_ohm") - ohm, 0.303_39, 5e-6);
    holds(at(&sensor, "/points/0/at/resistance_low_ohm") - ohm, -0.303_46, 5e-6);
    holds(at(&sensor, "/points/0/at/error/curve_k"), 0.8, 1e-9);
}

/// 5 °C 25 kΩ, 25 °C 10 kΩ, 45 °C 4 kΩ (numpy.linalg.solve 2.4.6), and what these coefficients read.
#[test]
fn three_points_fix_the_steinhart_hart_coefficients() {
    let points = json!([
        {"degc": 5, "resistance_ohm": 25e3}, {"degc": 25, "resistance_ohm": 10e3}, {"degc": 45, "resistance_ohm": 4e3},
    ]);
    let fit = answer("thermistor/fit", &[("/points", points)]);
    let coefficient = |name: &str| at(&fit, &format!("/steinhart_hart/{name}/value"));
    let with = SteinhartHart { a: coefficient("a"), b: coefficient("b"), c: coefficient("c") };
    holds_relative(with.a, 0.002_108_508_173_112_712, 1e-9);
    holds_relative(with.b, 7.979_204_726_779_853e-5, 1e-9);
    holds_relative(with.c, 6.535_076_314_649_454e-7, 1e-9);
    for (ohm, degc) in [
        (30e3, 1.044_231),
        (15e3, 16.133_618),
        (12e3, 21.011_712),
        (8e3, 29.881_057),
        (5e3, 40.144_187),
        (3e3, 51.235_891),
    ] {
        let curve = Curve::SteinhartHart(with);
        holds(curve.degc(ohm).expect("inside"), degc, 5e-7);
        holds_relative(curve.ohm(degc).expect("inside"), ohm, 1e-6);
    }
    assert!(fit.findings.iter().any(|finding| finding.code == "thermistor.fit-without-spare-points"));
}

/// A widely reprinted set of example coefficients reads 10 kΩ as 24.68 °C, not 25 °C (numpy 2.4.6).
#[test]
fn reprinted_coefficients_read_what_they_read() {
    let with = SteinhartHart { a: 0.001_009_249_522, b: 0.000_237_840_544_4, c: 2.019_202_697e-7 };
    for (ohm, kelvin) in [(4e3, 322.880_815), (10e3, 297.831_293), (27e3, 273.928_826)] {
        holds(with.kelvin(ohm).expect("inside"), kelvin, 5e-7);
    }
}

/// The same coefficients, evaluated to points and fitted by least squares, come back: no point is off, whatever the order.
#[test]
fn least_squares_gives_the_coefficients_back() {
    let with = SteinhartHart { a: 0.001_009_249_522, b: 0.000_237_840_544_4, c: 2.019_202_697e-7 };
    let curve = Curve::SteinhartHart(with);
    let rows: Vec<Value> = [85.0, -30.0, 0.0, 110.0, 25.0, 50.0, -10.0]
        .map(|degc| json!({"degc": degc, "resistance_ohm": curve.ohm(degc).expect("inside")}))
        .to_vec();
    let fit = answer("thermistor/fit", &[("/points", json!(rows))]);
    holds_relative(at(&fit, "/steinhart_hart/a/value"), with.a, 1e-9);
    holds_relative(at(&fit, "/steinhart_hart/b/value"), with.b, 1e-9);
    holds_relative(at(&fit, "/steinhart_hart/c/value"), with.c, 1e-8);
    assert!(at(&fit, "/worst_residual_k") < 1e-9);
    // One slipped digit stands out, by its line and in kelvin.
    let mut rows: Vec<Value> = (-6..=20)
        .map(|step| f64::from(step) * 5.0)
        .map(|degc| json!({"degc": degc, "resistance_ohm": curve.ohm(degc).expect("inside")}))
        .collect();
    rows[9]["resistance_ohm"] = json!(rows[9]["resistance_ohm"].as_f64().expect("a number") * 1.02);
    let fit = answer("thermistor/fit", &[("/points", json!(rows))]);
    let outlier = fit.findings.iter().find(|finding| finding.code == "thermistor.fit-outlier").expect("it stands out");
    assert_eq!(outlier.field.as_deref(), Some("/points/9"));
    assert!(outlier.message.starts_with("Row 10: "), "{}", outlier.message);
    // 2 % of resistance at 15 °C is 0.02 T²/B_local colder.
    let slope = curve.alpha(15.0).expect("a slope");
    holds(at(&fit, "/points/9/residual_k"), 0.02 / slope, 0.05);
}

/// Beta of IEC 60539-1 from two points: 3435.426 K of 25/85, 3433.299 K of 25/50 (numpy 2.4.6); 27.28 kΩ at 0 °C and 3.60 kΩ
/// at 50 °C give 3575.26 K, by hand.
#[test]
fn beta_of_two_points() {
    for (points, beta) in [
        ([(25.0, 10e3), (85.0, 1451.0)], 3435.426),
        ([(25.0, 10e3), (50.0, 4103.0)], 3433.299),
        ([(0.0, 27.28e3), (50.0, 3.60e3)], 3575.26),
    ] {
        let rows = json!(points.map(|(degc, ohm)| json!({"degc": degc, "resistance_ohm": ohm})));
        let fit = answer("thermistor/fit", &[("/points", rows), ("/equation", json!("beta"))]);
        let digits = if beta > 3500.0 { 5e-3 } else { 5e-4 };
        holds(at(&fit, "/beta/beta_k/value"), beta, digits);
        holds(at(&fit, "/beta_of_ends_k"), beta, digits);
    }
}

/// What is wrong with pasted points is said with its row: headings and empty lines are not counted.
#[test]
fn points_are_refused_by_their_row() {
    let refused = |rows: &[(f64, f64)], equation: &str| {
        let rows: Vec<Value> = rows.iter().map(|(degc, ohm)| json!({"degc": degc, "resistance_ohm": ohm})).collect();
        let input = json!({"points": rows, "equation": equation});
        find("thermistor/fit").expect("the entry").answer(Some(&input), Notation::Json).expect_err("refused")
    };
    let few = refused(&[(0.0, 3e4), (25.0, 1e4)], "steinhart-hart");
    assert_eq!(few[0].field, "/points");
    let twice = refused(&[(0.0, 3e4), (25.0, 1e4), (0.0, 2.9e4)], "beta");
    assert_eq!(twice[0].field, "/points/2/degc");
    assert!(twice[0].message.starts_with("Row 3: "), "{}", twice[0].message);
    let rises = refused(&[(0.0, 3e4), (25.0, 1e4), (50.0, 1.1e4), (85.0, 1e3)], "beta");
    assert_eq!(rises[0].field, "/points/2/resistance_ohm");
    let points = json!({"curve": "points", "points": {"rows": [{"degc": 0, "resistance_ohm": 3e4}]}, "min_degc": 0, "max_degc": 50});
    let faults = find("thermistor").expect("the entry").answer(Some(&points), Notation::Json).expect_err("refused");
    assert_eq!(faults[0].field, "/points/rows");
}

/// The example points, weighted by T² (numpy 2.4.6: lstsq, and standard errors from the QR of the weighted matrix).
#[test]
fn the_fit_has_the_standard_errors_of_a_linear_algebra_library() {
    let three = answer("thermistor/fit", &[]);
    for (name, value, error) in [
        ("a", 7.495_607_33e-4, 9.898_119_96e-9),
        ("b", 2.791_198_02e-4, 1.757_155_74e-9),
        ("c", 4.308_973_33e-8, 7.249_412_79e-12),
    ] {
        holds_relative(at(&three, &format!("/steinhart_hart/{name}/value")), value, 2e-9);
        holds_relative(at(&three, &format!("/steinhart_hart/{name}/standard_error")), error, 1e-7);
    }
    holds(at(&three, "/deviation_k"), 1.669_022_723e-4, 5e-13);
    // A difference of two temperatures near 300 K: doubles leave some 1e-11 K.
    holds(at(&three, "/worst_residual_k"), 2.883_947e-4, 5e-11);
    let two = answer("thermistor/fit", &[("/equation", json!("beta"))]);
    holds_relative(at(&two, "/beta/r25_ohm/value"), 9_853.697_253_211_9, 1e-12);
    holds_relative(at(&two, "/beta/beta_k/value"), 3_455.990_822_162_58, 1e-12);
    holds_relative(at(&two, "/beta/r25_ohm/standard_error"), 68.620_143_163_5, 1e-10);
    holds_relative(at(&two, "/beta/beta_k/standard_error"), 11.180_305_728_4, 1e-10);
    holds_relative(at(&two, "/deviation_k"), 0.444_031_265_764, 1e-11);
}
