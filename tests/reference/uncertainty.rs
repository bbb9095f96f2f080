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
    assert_eq!(done.result.tree().pointer("/assessment/monte_carlo/comparison/validated"), Some(&json!(true)));
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
    assert_eq!(done.result.tree().pointer("/assessment/monte_carlo/comparison/validated"), Some(&json!(false)));
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
    let mut input = Value::Object(entry.start().clone());
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

fn quantity(estimate: f64, standard: f64) -> Value {
    json!({"estimate": estimate, "standard": standard})
}

/// A factor of a sum of products: output, term, input, exponent, scale.
fn factor((output, term, input, exponent, scale): (u32, u32, u32, f64, f64)) -> Value {
    json!({"output": output, "term": term, "input": input, "exponent": exponent, "scale": scale})
}

/// JCGM 100:2008 H.1, the end gauge l = l_s + d − l_s (δα θ + α_s δθ), in nanometres: u_c = 32, 16.7 effective degrees of
/// freedom cut to 16, k = 2.92, U = 93; with the second-order terms of H.1.7 (11.7 nm and 1.7 nm) u_c = 34.
#[test]
fn the_end_gauge_of_gum_h1() {
    let mut inputs: Vec<Value> =
        [(50_000_623.0, 25.0), (215.0, 9.7), (0.0, 0.58e-6), (-0.1, 0.41), (11.5e-6, 1.2e-6), (0.0, 0.029)]
            .map(|(estimate, standard)| quantity(estimate, standard))
            .into();
    for (place, degrees) in [(0, 18.0), (1, 25.6), (2, 50.0), (5, 2.0)] {
        inputs[place]["degrees_of_freedom"] = json!(degrees);
    }
    let factors = [
        (1, 1, 1, 1.0, 1.0),
        (1, 2, 2, 1.0, 1.0),
        (1, 3, 1, 1.0, -1.0),
        (1, 3, 3, 1.0, 1.0),
        (1, 3, 4, 1.0, 1.0),
        (1, 4, 1, 1.0, -1.0),
        (1, 4, 5, 1.0, 1.0),
        (1, 4, 6, 1.0, 1.0),
    ];
    let done = answer(
        "uncertainty",
        &[
            ("/form", json!("sum-of-products")),
            ("/inputs", json!(inputs)),
            ("/factors", json!(factors.map(factor))),
            ("/coverage_probability_percent", json!(99)),
            ("/trials", json!(1_000)),
        ],
    );
    let gum = |name: &str| at(&done, &format!("/assessment/gum/{name}"));
    holds(at(&done, "/assessment/value"), 50_000_838.0, 0.5);
    holds(gum("standard"), 32.0, 0.5);
    holds(gum("degrees_of_freedom"), 16.7, 0.1);
    holds(gum("degrees_of_freedom_used"), 16.0, 0.0);
    holds(gum("k"), 2.92, 0.005);
    holds(gum("expanded"), 93.0, 0.6);
    holds(at(&done, "/second_order/standard"), 34.0, 0.5);
}

/// JCGM 100:2008 H.2, table H.3 (correlations of the results from memory): resistance, reactance and impedance from five sets
/// of readings. R = V c/I, X = V s/I with c and s the cosine and sine of the phase, which have its correlations.
#[test]
fn three_outputs_of_gum_h2() {
    let readings = [
        [5.007, 4.994, 5.005, 4.990, 4.999],
        [19.663e-3, 19.639e-3, 19.640e-3, 19.685e-3, 19.678e-3],
        [1.0456, 1.0438, 1.0468, 1.0428, 1.0433],
    ];
    let mean = |row: &[f64; 5]| row.iter().sum::<f64>() / 5.0;
    let covariance =
        |a: &[f64; 5], b: &[f64; 5]| a.iter().zip(b).map(|(x, y)| (x - mean(a)) * (y - mean(b))).sum::<f64>() / 20.0;
    let u = readings.map(|row| covariance(&row, &row).sqrt());
    let r = |i: usize, j: usize| covariance(&readings[i], &readings[j]) / (u[i] * u[j]);
    let [v, i, phase] = readings.map(|row| mean(&row));
    let inputs = json!([
        quantity(v, u[0]),
        quantity(i, u[1]),
        quantity(phase.cos(), phase.sin() * u[2]),
        quantity(phase.sin(), phase.cos() * u[2]),
    ]);
    let pair = |first: u32, second: u32, coefficient: f64| json!({"first": first, "second": second, "coefficient": coefficient});
    let correlations = json!([
        pair(1, 2, r(0, 1)),
        pair(1, 3, -r(0, 2)),
        pair(1, 4, r(0, 2)),
        pair(2, 3, -r(1, 2)),
        pair(2, 4, r(1, 2)),
        pair(3, 4, -1.0),
    ]);
    let factors = [
        (1, 1, 1, 1.0, 1.0),
        (1, 1, 2, -1.0, 1.0),
        (1, 1, 3, 1.0, 1.0),
        (2, 1, 1, 1.0, 1.0),
        (2, 1, 2, -1.0, 1.0),
        (2, 1, 4, 1.0, 1.0),
        (3, 1, 1, 1.0, 1.0),
        (3, 1, 2, -1.0, 1.0),
    ];
    let done = answer(
        "uncertainty",
        &[
            ("/form", json!("sum-of-products")),
            ("/inputs", inputs),
            ("/correlations", correlations),
            ("/factors", json!(factors.map(factor))),
            ("/trials", json!(1_000)),
        ],
    );
    for (place, value, standard) in [
        ("/assessment", 127.732, 0.071),
        // Printed 0.295, from rounded intermediate values.
        ("/others/0/assessment", 219.847, 0.2956),
        ("/others/1/assessment", 254.260, 0.236),
    ] {
        holds(at(&done, &format!("{place}/value")), value, 5e-4);
        holds(at(&done, &format!("{place}/gum/standard")), standard, 5e-4);
    }
    for (place, coefficient) in [-0.588, -0.485, 0.993].into_iter().enumerate() {
        holds(at(&done, &format!("/output_correlations/{place}/coefficient")), coefficient, 5e-4);
    }
    // Correlated inputs have no simple second order.
    assert_eq!(done.result.tree().pointer("/second_order"), None);
}

/// JCGM 101:2008 9.3, table 6: calibration of a mass. First order 0.0539 mg, second order 0.0750 mg, trials 0.0754 mg.
#[test]
fn the_mass_of_jcgm_101_bends() {
    let inputs = json!([
        quantity(100_000.0, 0.050),
        quantity(1.234, 0.020),
        {"estimate": 1.20, "limit": 0.10},
        {"estimate": 8000.0, "limit": 1000.0},
        {"estimate": 8000.0, "limit": 50.0},
    ]);
    // (m + δ)(1 + (ρa − 1.2)(1/ρw − 1/ρr)) − 100 000, multiplied out.
    let mut factors = Vec::new();
    for (mass, first) in [(1, 1), (2, 6)] {
        factors.push((1, first, mass, 1.0, 1.0));
        for (term, density, air, scale) in
            [(1, 4, true, 1.0), (2, 5, true, -1.0), (3, 4, false, -1.2), (4, 5, false, 1.2)]
        {
            factors.push((1, first + term, mass, 1.0, scale));
            factors.push((1, first + term, density, -1.0, 1.0));
            if air {
                factors.push((1, first + term, 3, 1.0, 1.0));
            }
        }
    }
    factors.push((1, 11, 1, 0.0, -100_000.0));
    let done = answer(
        "uncertainty",
        &[
            ("/form", json!("sum-of-products")),
            ("/inputs", inputs),
            ("/factors", json!(factors.into_iter().map(factor).collect::<Vec<_>>())),
            ("/coverage_probability_percent", json!(95)),
            ("/trials", json!(400_000)),
        ],
    );
    holds(at(&done, "/assessment/value"), 1.234, 5e-4);
    holds(at(&done, "/assessment/gum/standard"), 0.0539, 5e-5);
    holds(at(&done, "/second_order/standard"), 0.0750, 5e-5);
    holds(at(&done, "/assessment/monte_carlo/standard"), 0.0754, 3e-4);
    assert!(done.findings.iter().any(|finding| finding.code == "uncertainty.second-order"));
}

/// JCGM 101:2008 9.4, comparison loss X1² + X2² about (0.010, 0): exact variance 4 x² u² + 2·2 u⁴, mean x² + 2 u²; first
/// order has 2 x u alone.
#[test]
fn the_comparison_loss_of_jcgm_101_to_second_order() {
    let done = answer(
        "uncertainty",
        &[
            ("/form", json!("sum-of-products")),
            ("/inputs", json!([quantity(0.010, 0.005), quantity(0.0, 0.005)])),
            ("/factors", json!([(1, 1, 1, 2.0, 1.0), (1, 2, 2, 2.0, 1.0)].map(factor))),
        ],
    );
    holds(at(&done, "/assessment/gum/standard"), 100e-6, 1e-12);
    holds(at(&done, "/second_order/standard"), 111.8e-6, 5e-8);
    holds(at(&done, "/second_order/mean"), 150e-6, 1e-12);
}

/// Two normal inputs of u = 1: 4.243 in the worst case (closed form 3 √2), 5.657 with a factor of 4; beyond 4.243 are 0.27 %.
#[test]
fn normal_inputs_count_once() {
    let inputs = [("/inputs", json!([quantity(0.0, 1.0), quantity(0.0, 1.0)])), ("/allowed", json!(4.2))];
    let done = answer("uncertainty", &inputs);
    holds(at(&done, "/assessment/worst_case/high"), 4.243, 5e-4);
    holds(at(&done, "/assessment/joined/contribution"), 4.243, 5e-4);
    assert!(done.findings.iter().any(|finding| finding.code == "uncertainty.deviation"));
    let share = at(&done, "/assessment/monte_carlo/of_sums/root_sum_square/share");
    holds(share, 0.0027, 4.0 * (0.0027f64 / 200_000.0).sqrt());
    let four = answer("uncertainty", &[inputs.as_slice(), &[("/normal_k", json!(4))]].concat());
    holds(at(&four, "/assessment/worst_case/low"), -5.657, 5e-4);
}

/// JCGM 100:2008 5.2.2, example: ten resistors of 0.1 % in series, alone and of one lot; limits that are not equal have a
/// known middle.
#[test]
fn groups_and_unequal_limits() {
    let resistor = |group: &str| json!({"estimate": 1000, "limit": 1, "group": group, "kind": "life"});
    let series = |group: &str| answer("uncertainty", &[("/inputs", json!(vec![resistor(group); 10]))]);
    holds(at(&series(""), "/assessment/gum/standard"), 10.0 * 0.182_574_2, 5e-6);
    holds(at(&series("reel"), "/assessment/gum/standard"), 10.0 * 0.577_350_3, 5e-6);
    assert_eq!(series("reel").result.tree().pointer("/assessment/contributions/0/kind"), Some(&json!("life")));
    // 10 +3/−1 is 11 ± 2.
    let uneven = json!([{"estimate": 10, "limit": 3, "limit_below": 1}]);
    let done = answer("uncertainty", &[("/inputs", uneven)]);
    holds(at(&done, "/assessment/value"), 11.0, 1e-12);
    holds(at(&done, "/assessment/worst_case/low"), 9.0, 1e-12);
}

/// The 97.5 % point of four standard normal inputs is 3.919928: a limit beside it is not resolved by few trials, and the
/// answer says how many would do.
#[test]
fn a_limit_beside_the_interval_is_not_resolved() {
    use sensewright_core::judge::Verdict;
    let judged = |allowed: f64, trials: u32| {
        let done = answer(
            "uncertainty",
            &[
                ("/inputs", json!(vec![quantity(0.0, 1.0); 4])),
                ("/allowed", json!(allowed)),
                ("/judged_by", json!("coverage-interval")),
                ("/trials", json!(trials)),
            ],
        );
        let row = done.requirements.iter().find(|row| row.id == "uncertainty.deviation").expect("it is required");
        (row.verdict, row.reason.clone().unwrap_or_default())
    };
    let (verdict, reason) = judged(3.98, 20_000);
    assert_eq!(verdict, Verdict::NotResolved);
    assert!(reason.contains("trials would tell"), "{reason}");
    assert_eq!(judged(3.98, 1_000_000).0, Verdict::Thin);
    assert_eq!(judged(3.7, 20_000).0, Verdict::Fails);
    assert_eq!(judged(5.0, 20_000).0, Verdict::Holds);
}

/// An input has a limit or a standard uncertainty; factors name inputs that exist.
#[test]
fn what_contradicts_itself_is_refused() {
    let entry = sensewright_core::catalogue::find("uncertainty").expect("it exists");
    let refused = |inputs: Value, factors: Value| -> Vec<String> {
        let mut input = Value::Object(entry.start().clone());
        input["inputs"] = inputs;
        input["form"] = json!("sum-of-products");
        input["factors"] = factors;
        let faults = entry.answer(Some(&input), sensewright_core::field::Notation::Json).err().unwrap_or_default();
        faults.into_iter().map(|fault| fault.field).collect()
    };
    let one = json!([factor((1, 1, 1, 1.0, 1.0))]);
    assert_eq!(refused(json!([{"estimate": 1}]), one.clone()), ["/inputs/0/limit"]);
    assert_eq!(refused(json!([{"estimate": 1, "limit": 1, "standard": 1}]), one), ["/inputs/0/standard"]);
    let two = json!([factor((1, 1, 2, 1.0, 1.0)), factor((3, 1, 1, 1.0, 1.0))]);
    assert_eq!(refused(json!([quantity(1.0, 0.1)]), two), ["/factors/0/input", "/factors"]);
    // 1/x of what may be zero within three standard uncertainties.
    let inverse = json!([factor((1, 1, 1, -1.0, 1.0))]);
    assert_eq!(refused(json!([quantity(1.0, 0.4)]), inverse), ["/inputs/0/estimate"]);
}

fn worst(form: &str, inputs: Value, factors: &[(u32, u32, u32, f64, f64)]) -> [f64; 2] {
    let factors: Vec<Value> = factors.iter().copied().map(factor).collect();
    let changes = [("/form", json!(form)), ("/inputs", inputs), ("/factors", json!(factors)), ("/trials", json!(1000))];
    let done = answer("uncertainty", &changes);
    ["low", "high"].map(|end| at(&done, &format!("/assessment/worst_case/{end}")))
}

/// Closed form: 2 x1² − x1³ x2² + x1 x2² of 1 ± 1 and 1 ± 1 is −16 at (2, 2), 18 below its value at the estimates, and 8 at
/// (2, 0); a walk from the slopes at the estimates ends at a saddle. A product of two inputs of 0 ± 1 reaches ±1; of two
/// normal ones of u = 1, along 3 joined standard uncertainties, ±9/2.
#[test]
fn a_worst_case_is_not_a_saddle() {
    let one = json!({"estimate": 1, "limit": 1});
    let terms =
        [(1, 1, 1, 2.0, 2.0), (1, 2, 1, 3.0, -1.0), (1, 2, 2, 2.0, 1.0), (1, 3, 2, 2.0, 1.0), (1, 3, 1, 1.0, 1.0)];
    let [low, high] = worst("sum-of-products", json!([one, one]), &terms);
    holds(low, -16.0, 1e-9);
    holds(high, 8.0, 1e-9);
    let nothing = json!({"estimate": 0, "limit": 1});
    let product = [(1, 1, 1, 1.0, 1.0), (1, 1, 2, 1.0, 1.0)];
    let [low, high] = worst("sum-of-products", json!([nothing, nothing]), &product);
    holds(low, -1.0, 1e-12);
    holds(high, 1.0, 1e-12);
    let [low, high] = worst("sum-of-products", json!([quantity(0.0, 1.0), quantity(0.0, 1.0)]), &product);
    holds(low, -4.5, 1e-9);
    holds(high, 4.5, 1e-9);
    let [low, high] = worst("sum-of-products", json!([nothing, quantity(0.0, 1.0)]), &product);
    holds(low, -3.0, 1e-9);
    holds(high, 3.0, 1e-9);
}

/// By hand: a normal input of u = 1 and a limit of 3 that its group turns against it do not cancel: √(3² + 3²) by
/// root-sum-square; both the same way add.
#[test]
fn a_group_never_takes_a_limit_off_a_normal_input() {
    let root = |weight: f64| {
        let inputs = json!([
            {"estimate": 0, "standard": 1, "group": "a"},
            {"estimate": 0, "limit": 3, "group": "a", "weight": weight},
        ]);
        at(&answer("uncertainty", &[("/inputs", inputs), ("/trials", json!(1000))]), "/assessment/root_sum_square")
    };
    holds(root(-1.0), 18f64.sqrt(), 1e-12);
    holds(root(1.0), 6.0, 1e-12);
}

/// By hand: 0 +1/−3 is −1 ± 2, so that the value may be 3 off what was typed; two of them −2 ± 4 and −2 ± √8; what is only below,
/// 0 +0/−5, 5 off. Of 0 +1/−3, uniform, those from −3 to −2.5 are more than 2.5 off: an eighth.
#[test]
fn unequal_limits_are_held_against_the_typed_estimate() {
    let uneven = |limit: f64, below: f64| json!({"estimate": 0, "limit": limit, "limit_below": below});
    let off = |inputs: Value, by: &str| {
        let asked = [("/inputs", inputs), ("/allowed", json!(2.5)), ("/judged_by", json!(by))];
        let done = answer("uncertainty", &asked);
        let row =
            done.requirements.iter().find(|row| row.id == "uncertainty.deviation").expect("it is required").clone();
        (row.achieved.expect("a number"), done)
    };
    let (worst, one) = off(json!([uneven(1.0, 3.0)]), "worst-case");
    holds(worst, 3.0, 1e-12);
    holds(at(&one, "/assessment/known"), -1.0, 1e-12);
    holds(at(&one, "/assessment/worst_case/sum_of_limits"), 3.0, 1e-12);
    let share = at(&one, "/assessment/monte_carlo/beyond/share");
    holds(share, 0.125, 4.0 * (0.125_f64 * 0.875 / 200_000.0).sqrt());
    let two = json!([uneven(1.0, 3.0), uneven(1.0, 3.0)]);
    holds(off(two.clone(), "worst-case").0, 6.0, 1e-12);
    holds(off(two, "root-sum-square").0, 2.0 + 8.0_f64.sqrt(), 1e-12);
    holds(off(json!([uneven(0.0, 5.0)]), "worst-case").0, 5.0, 1e-12);
    // Equal limits have their middle at the estimate.
    holds(off(json!([uneven(2.0, 2.0)]), "worst-case").0, 2.0, 1e-12);
}
