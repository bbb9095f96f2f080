//! The engine from outside, through the published interface: worked examples of JCGM 100 and 101.

use serde_json::{Value, json};

use super::{answer, at, holds};

fn rectangles(standard: &[f64]) -> Value {
    json!(standard.iter().map(|u| json!({"estimate": 0, "limit": u * 3f64.sqrt()})).collect::<Vec<_>>())
}

/// JCGM 101:2008 clause 9.2.2, table 2: four standard normal inputs, u = 2.00, interval ±3.92.
#[test]
fn four_normal_inputs_of_jcgm_101() {
    let normal = json!({"estimate": 0, "limit": 1, "shape": "normal", "coverage": 1});
    let done =
        answer("uncertainty", &[("/inputs", json!([normal, normal, normal, normal])), ("/trials", json!(1_000_000))]);
    holds(at(&done, "/assessment/gum/standard"), 2.0, 1e-12);
    holds(at(&done, "/assessment/monte_carlo/standard"), 2.0, 0.01);
    holds(at(&done, "/assessment/monte_carlo/p95/symmetric/high"), 3.92, 0.02);
    assert_eq!(done.result.pointer("/assessment/monte_carlo/comparison/validated"), Some(&json!(true)));
}

/// JCGM 101:2008 clause 9.2.3, table 3: four rectangles of unit standard uncertainty; exact 95 % end 3.8794 = √3 · 2.239777
/// (Irwin-Hall, mpmath 1.4.1).
#[test]
fn four_equal_rectangles_of_jcgm_101() {
    let done = answer("uncertainty", &[("/inputs", rectangles(&[1.0; 4])), ("/trials", json!(1_000_000))]);
    holds(at(&done, "/assessment/monte_carlo/p95/symmetric/high"), 3f64.sqrt() * 2.239_777, 0.015);
    holds(at(&done, "/assessment/worst_case/high"), 4.0 * 3f64.sqrt(), 1e-12);
}

/// JCGM 101:2008 clause 9.2.4, table 4: one rectangle ten times wider: exact end 17.0158, GUM interval ±19.9: not validated.
#[test]
fn a_dominating_rectangle_of_jcgm_101() {
    let done = answer(
        "uncertainty",
        &[
            ("/inputs", rectangles(&[1.0, 1.0, 1.0, 10.0])),
            ("/trials", json!(1_000_000)),
            ("/coverage_probability_percent", json!(95)),
        ],
    );
    holds(at(&done, "/assessment/monte_carlo/p95/symmetric/high"), 17.0158, 0.03);
    holds(at(&done, "/assessment/gum/expanded"), 19.9, 0.05);
    assert_eq!(done.result.pointer("/assessment/monte_carlo/comparison/validated"), Some(&json!(false)));
    assert!(done.findings.iter().any(|finding| finding.code == "uncertainty.not-validated"));
}

/// Limits 0.5 % and 0.2 % (rectangular), a calibrator of 0.20 % at k = 2, a repeatability of 0.05 % (standard): worst case
/// 0.5 + 0.2 + 3 √(0.1² + 0.05²) = 1.035410 %, u = 0.330404 %, U = 0.660808 %. By hand.
#[test]
fn a_budget_of_four_terms() {
    let inputs = json!([
        {"estimate": 0, "limit": 0.5}, {"estimate": 0, "limit": 0.2},
        {"estimate": 0, "limit": 0.2, "shape": "normal", "coverage": 2},
        {"estimate": 0, "limit": 0.1, "shape": "normal", "coverage": 2},
    ]);
    let done = answer("uncertainty", &[("/inputs", inputs)]);
    holds(at(&done, "/assessment/worst_case/sum_of_limits"), 1.035_410, 5e-7);
    holds(at(&done, "/assessment/worst_case/high"), 1.035_410, 5e-7);
    holds(at(&done, "/assessment/joined/contribution"), 0.335_410, 5e-7);
    holds(at(&done, "/assessment/gum/standard"), 0.330_404, 5e-7);
    holds(at(&done, "/assessment/gum/expanded"), 0.660_808, 5e-7);
}

/// JCGM 100:2008 H.2, the impedance Z = V/I from its means, standard uncertainties of the means and correlation:
/// 254.26 Ω, 0.236 Ω; without the correlation 0.204 Ω (table H.5 value from memory).
#[test]
fn the_impedance_of_gum_h2_needs_its_correlation() {
    let inputs = json!([
        {"label": "V", "estimate": 4.999, "limit": 0.003_209_361_307_176_18, "shape": "normal", "weight": 1},
        {"label": "I", "estimate": 0.019_661, "limit": 9.471_008_394_041_335e-6, "shape": "normal", "weight": -1},
    ]);
    let with = [("/form", json!("product")), ("/inputs", inputs.clone())];
    let alone = answer("uncertainty", &with);
    holds(at(&alone, "/assessment/gum/standard"), 0.204, 5e-4);
    let pair = json!([{"first": 1, "second": 2, "coefficient": -0.355_311_219_817_512}]);
    let both = answer("uncertainty", &[with.as_slice(), &[("/correlations", pair)]].concat());
    holds(at(&both, "/assessment/value"), 254.26, 5e-3);
    holds(at(&both, "/assessment/gum/standard"), 0.236, 5e-4);
}

/// A matrix that no set of quantities can have: r12 = r13 = 0.9, r23 = −0.9 has a negative eigenvalue.
#[test]
fn an_impossible_correlation_is_refused() {
    let entry = sensewright_core::catalogue::find("uncertainty").expect("it exists");
    let mut input = Value::Object(entry.start());
    let pairs: Vec<Value> = [(1, 2, 0.9), (1, 3, 0.9), (2, 3, -0.9)]
        .iter()
        .map(|(i, j, r)| json!({"first": i, "second": j, "coefficient": r}))
        .collect();
    input["correlations"] = json!(pairs);
    let faults = entry.answer(Some(&input), sensewright_core::field::Notation::Json).expect_err("it is impossible");
    assert_eq!(
        (faults.len(), faults[0].field.as_str(), faults[0].code.as_str()),
        (1, "/correlations", "contradiction")
    );
}
