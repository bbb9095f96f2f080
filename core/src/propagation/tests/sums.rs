//! Worst case, trade sums and groups.

use super::super::{Distribution, Fault, Kind, Linear, Product, Request, Source, SourceFault, assess, fill, quick};
use super::{close, model, normal, rectangular, sum_of, values};
use crate::work::Work;

model!(Square, |x: &[N]| x[0] * x[0]);
model!(ShiftedSquare, |x: &[N]| (x[0] - 0.3) * (x[0] - 0.3) + x[1]);
model!(Saddle, |x: &[N]| x[0] * x[1]);
model!(Ratio, |x: &[N]| (x[0] + 1.0) / (x[1] + 1.0) - 1.0);
model!(Scaled, |x: &[N]| x[2] * (x[0] + 1.0) + x[0] * x[1] * 5.0);
model!(Gains, |x: &[N]| (x[0] + 1.0) * (x[1] + 1.0) / (x[2] + 1.0) - 1.0);

#[test]
fn monotone_models_have_their_extremes_in_corners() {
    // Exact: (1.01·1.02)/0.97 − 1 and (0.99·0.98)/1.03 − 1.
    let sources = [rectangular(0.0, 0.01), rectangular(0.0, 0.02), rectangular(0.0, 0.03)];
    let answer = quick(&Gains, &sources, true, Work::FREE).unwrap();
    close(answer.high, 1.01 * 1.02 / 0.97 - 1.0, 1e-15);
    close(answer.low, 0.99 * 0.98 / 1.03 - 1.0, 1e-15);
    close(answer.sum_of_limits, 0.06, 1e-15);
    close(answer.root_sum_square, (0.0001_f64 + 0.0004 + 0.0009).sqrt(), 1e-15);
}

#[test]
fn extremes_inside_the_limits() {
    let square = quick(&Square, &[rectangular(0.0, 2.0)], true, Work::FREE).unwrap();
    assert_eq!((square.low, square.high), (0.0, 4.0));
    // Vertex of the parabola at 0.3, neither in a corner nor in the middle.
    let shifted = quick(&ShiftedSquare, &[rectangular(0.0, 1.0), rectangular(0.0, 0.5)], true, Work::FREE).unwrap();
    close(shifted.low, -0.5, 1e-12);
    close(shifted.high, 1.69 + 0.5, 1e-12);
    // A parabola whose vertex lies beyond the middle on the side the slope at the estimate points away from.
    let beyond = quick(&ShiftedSquare, &[rectangular(-0.2, 0.6), rectangular(0.0, 0.0)], true, Work::FREE).unwrap();
    close(beyond.low, 0.0, 1e-12);
    close(beyond.high, 1.21, 1e-12);
    // Both sensitivities vanish at the estimate, yet the corners differ.
    let saddle = quick(&Saddle, &[rectangular(0.0, 1.0), rectangular(0.0, 3.0)], true, Work::FREE).unwrap();
    assert_eq!((saddle.low, saddle.high), (-3.0, 3.0));
}

/// Closed form: at `x[2] = ∓1` the gain and the offset that it multiplies must both turn, neither of them helps alone.
#[test]
fn what_cancels_to_first_order_is_set_by_what_it_multiplies() {
    let sources = [rectangular(0.0, 0.01), rectangular(0.0, 1.0), rectangular(0.0, 1.0)];
    let answer = quick(&Scaled, &sources, true, Work::FREE).unwrap();
    close(answer.low, -1.06, 1e-15);
    close(answer.high, 1.06, 1e-15);
}

#[test]
fn no_trial_of_bounded_sources_leaves_the_worst_case() {
    let shapes = [Distribution::Rectangular, Distribution::Triangular, Distribution::Arcsine];
    let sources: Vec<Source> = shapes.iter().map(|&shape| rectangular(0.001, 0.3).distributed(shape)).collect();
    let sources = [sources[0].clone().grouped("g", 0.2), sources[1].clone().grouped("g", 0.1), sources[2].clone()];
    let answer = quick(&Gains, &sources, true, Work::FREE).unwrap();
    let mut out = vec![0.0; 50_000];
    fill(&Gains, &sources, None, 3, 0, &mut out, Work::FREE).unwrap();
    let (low, high) = out.iter().fold((f64::MAX, f64::MIN), |(a, b), &y| (a.min(y), b.max(y)));
    assert!(answer.low <= low && high <= answer.high);
    // And the trials come near: the worst case is not just any bound.
    assert!(high > 0.7 * answer.high && low < 0.7 * answer.low, "{low} {high} {answer:?}");
}

#[test]
fn trade_sums_take_sensitivities_at_zero() {
    // (1 + a)(1 + b)/(1 + c) − 1 with known deviations of 1e-3 in a and −2e-3 in c, 3e-3 together: the hand sum is that
    // and the limits, with unit sensitivities; at the estimate they would be 1.001.
    let sources = [rectangular(1e-3, 0.01), rectangular(0.0, 0.01), rectangular(-2e-3, 0.01)];
    let answer = quick(&Gains, &sources, true, Work::FREE).unwrap();
    close(answer.sum_of_limits, 0.033, 1e-16);
    close(answer.root_sum_square, 0.003 + 0.01 * 3.0_f64.sqrt(), 1e-16);
    close(answer.value, 1.001 / 0.998 - 1.0, 1e-15);
    // As values, only the limits count.
    let sources = [rectangular(2.0, 0.01), rectangular(3.0, 0.01)];
    let answer = quick(&sum_of(2), &sources, false, Work::FREE).unwrap();
    close(answer.sum_of_limits, 0.02, 1e-15);
    close(answer.low, 4.98, 1e-15);
}

#[test]
fn ten_resistors_alone_or_together() {
    // JCGM 100:2008, 5.2.2, EXAMPLE (ten resistors in series): 0.1 % rectangular each; relative u of the sum
    // 0.000 182 574 2 when independent, 0.000 577 350 3 when their error is common. The worst case is the same.
    let mean = Linear { offset: 0.0, coefficients: vec![0.1; 10] };
    let alone = vec![rectangular(0.0, 0.001); 10];
    let together: Vec<Source> = alone.iter().map(|s| s.clone().grouped("reel", 0.001)).collect();
    for (sources, u, limit_rss) in
        [(&alone, 0.000_182_574_2, 0.001 / 10.0_f64.sqrt()), (&together, 0.000_577_350_3, 0.001)]
    {
        let request = Request { trials: Some(100_000), ..Request::default() };
        let budget = assess(&mean, sources, None, &request, Work::FREE).unwrap();
        close(budget.gum.standard, u, 1e-7 * u);
        close(budget.worst_case.high, 0.001, 1e-15);
        close(budget.worst_case.low, -0.001, 1e-15);
        close(budget.worst_case.sum_of_limits, 0.001, 1e-15);
        close(budget.root_sum_square, limit_rss, 1e-15);
        // Standard error of a standard deviation: below u/√(2M).
        close(budget.monte_carlo.unwrap().standard.unwrap(), u, 4.0 * u / 447.0);
    }
    // Half in common: variances of the two parts add (each half the limit).
    let half: Vec<Source> = alone.iter().map(|s| s.clone().grouped("reel", 0.0005)).collect();
    let budget = assess(&mean, &half, None, &Request::default(), Work::FREE).unwrap();
    close(budget.gum.standard, libm::hypot(0.000_577_350_3, 0.000_182_574_2) / 2.0, 1e-10);
    close(budget.worst_case.high, 0.001, 1e-15);
}

#[test]
fn a_ratio_of_tracking_parts_cancels() {
    // Both resistors of a network move alike: to first order nothing remains of the common part.
    let tracking = |common: f64| {
        [rectangular(0.0, 0.01).grouped("network", common), rectangular(0.0, 0.01).grouped("network", common)]
    };
    let all = assess(&Ratio, &tracking(0.01), None, &Request { trials: Some(1000), ..Request::default() }, Work::FREE)
        .unwrap();
    close(all.worst_case.high, 0.0, 1e-15);
    close(all.worst_case.sum_of_limits, 0.0, 1e-15);
    close(all.gum.standard, 0.0, 1e-15);
    assert!(all.contributions.iter().all(|c| c.share_percent.is_none()));
    close(all.monte_carlo.unwrap().p95.symmetric.high, 0.0, 1e-15);
    // 0.2 % of tracking error each is left: worst case (1.01/1.006) − 1 and its mirror.
    let most = quick(&Ratio, &tracking(0.008), true, Work::FREE).unwrap();
    close(most.sum_of_limits, 0.004, 1e-15);
    close(most.high, 0.994 / 0.990 - 1.0, 1e-12);
    close(most.low, 0.990 / 0.994 - 1.0, 1e-12);
}

#[test]
fn ranking_and_shares() {
    let sources = [rectangular(0.5, 1.0), normal(0.0, 1.0), rectangular(0.0, 4.0)];
    let model = Linear { offset: 0.0, coefficients: vec![3.0, -1.0, 0.5] };
    let budget = assess(&model, &sources, None, &Request::default(), Work::FREE).unwrap();
    let sizes: Vec<f64> = budget.contributions.iter().map(|c| c.contribution).collect();
    // A normal source alone is a line of three standard uncertainties; of equals the first comes first, and the known
    // deviation of 1.5 counts with its limit.
    assert_eq!(sizes, [3.0, 3.0, 2.0]);
    close(budget.contributions[0].known, 1.5, 1e-15);
    // Variances 3, 4/3 and 1.
    close(budget.contributions[0].share_percent.unwrap(), 300.0 / (16.0 / 3.0), 1e-9);
}

#[test]
fn faults_name_the_source() {
    let refused =
        |source: Source| match assess(&sum_of(2), &[normal(0.0, 1.0), source], None, &values(None), Work::FREE) {
            Err(Fault::Source { index: 1, reason }) => Some(reason),
            _ => None,
        };
    assert_eq!(refused(rectangular(f64::NAN, 1.0)), Some(SourceFault::Estimate));
    assert_eq!(refused(rectangular(0.0, -1.0)), Some(SourceFault::Limit));
    assert_eq!(refused(rectangular(0.0, f64::INFINITY)), Some(SourceFault::Limit));
    assert_eq!(refused(rectangular(0.0, 1.0).grouped("g", 1.1)), Some(SourceFault::Common));
    assert_eq!(refused(rectangular(0.0, 1.0).grouped("g", f64::NAN)), Some(SourceFault::Common));
    assert_eq!(
        refused(rectangular(0.0, 1.0).distributed(Distribution::Normal { k: 0.0 })),
        Some(SourceFault::CoverageFactor)
    );
    assert_eq!(refused(normal(0.0, 1.0).with_dof(0.5)), Some(SourceFault::DegreesOfFreedom));
}

#[test]
fn nothing_infinite_comes_out() {
    let inverse = Product { scale: 1.0, exponents: vec![-1.0] };
    let invert = |sources: &[Source]| assess(&inverse, sources, None, &values(Some(1000)), Work::FREE);
    assert!(matches!(invert(&[rectangular(0.0, 0.0)]), Err(Fault::NotFinite { .. })));
    assert!(matches!(invert(&[rectangular(1.0, 1.0)]), Err(Fault::NotFinite { .. })));
    assert!(invert(&[rectangular(1.0, 1e-300).distributed(Distribution::Normal { k: 1e-300 })]).is_ok());
    let huge = vec![rectangular(1e308, 1e308); 2];
    assert!(matches!(assess(&sum_of(2), &huge, None, &values(None), Work::FREE), Err(Fault::NotFinite { .. })));
    // Squares of these would overflow, or vanish; the answers themselves do not.
    for size in [1e-180, 1e160] {
        let budget =
            assess(&sum_of(2), &[normal(0.0, size), normal(0.0, size)], None, &values(None), Work::FREE).unwrap();
        close(budget.gum.standard / size, 2.0_f64.sqrt(), 1e-12);
        close(budget.root_sum_square / size, 3.0 * 2.0_f64.sqrt(), 1e-12);
    }
}

#[test]
fn no_sources_no_uncertainty() {
    let constant = Linear { offset: 3.0, coefficients: vec![] };
    let budget =
        assess(&constant, &[], None, &Request { trials: Some(1000), ..Request::default() }, Work::FREE).unwrap();
    assert_eq!((budget.value, budget.worst_case.low, budget.gum.standard), (3.0, 3.0, 0.0));
    let run = budget.monte_carlo.unwrap();
    assert_eq!((run.mean, run.standard, run.p99_73.shortest.high), (Some(3.0), Some(0.0), 3.0));
    assert_eq!(run.histogram.counts.iter().sum::<u32>(), 1000);
}

#[test]
fn names_in_json() {
    let source =
        Source::limit("s", "Shunt", "shunt", Kind::Life, "1", 0.1).distributed(Distribution::Normal { k: 2.0 });
    let json = serde_json::to_value(&source).unwrap();
    assert_eq!(json["kind"], "life");
    assert_eq!(json["distribution"], serde_json::json!({ "shape": "normal", "k": 2.0 }));
    assert!(json.get("group").is_none() && json.get("degrees_of_freedom").is_none());
}
