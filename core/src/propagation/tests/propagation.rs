//! Monte Carlo: independence of shards and threads, order statistics, exact quantiles, adaptive runs.

use rayon::ThreadPoolBuilder;

use super::super::{
    Correlation, Coverage, Distribution, Fault, Interval, Linear, Request, Source, assess, fill, normal_quantile,
    summarise, uniform,
};
use super::{close, model, normal, rectangular, sum_of, values};
use crate::work::Work;

model!(Curved, |x: &[N]| x[0] * x[1].exp() + (x[2] * x[2] + 1.0).sqrt() - x[3] / (x[4] + 3.0) + x[5] * x[6]);

/// All shapes, a group and a correlated pair.
fn mixed() -> (Vec<Source>, Correlation) {
    let sources = vec![
        rectangular(1.0, 0.2).grouped("g", 0.1),
        rectangular(0.0, 0.3).distributed(Distribution::Triangular).grouped("g", 0.3),
        rectangular(0.5, 0.3).distributed(Distribution::Arcsine),
        normal(0.0, 0.1),
        normal(0.2, 0.1).with_dof(6.0),
        normal(1.0, 0.1),
        rectangular(1.0, 0.1),
    ];
    let mut rows: Vec<Vec<f64>> = (0..7).map(|i| (0..7).map(|j| f64::from(u8::from(i == j))).collect()).collect();
    rows[5][6] = 0.7;
    rows[6][5] = 0.7;
    (sources, Correlation::new(&rows).unwrap())
}

fn bits(values: &[f64]) -> Vec<u64> {
    values.iter().map(|value| value.to_bits()).collect()
}

#[test]
fn shards_are_the_whole() {
    let (sources, correlation) = mixed();
    let whole = {
        let mut out = vec![0.0; 10_000];
        fill(&Curved, &sources, Some(&correlation), 7, 100, &mut out, Work::FREE).unwrap();
        out
    };
    let mut pieces = vec![0.0; 10_000];
    let mut start = 0;
    for length in [1, 255, 256, 257, 4096, 3, 0, 5132] {
        let out = &mut pieces[start..start + length];
        fill(&Curved, &sources, Some(&correlation), 7, 100 + start as u64, out, Work::FREE).unwrap();
        start += length;
    }
    assert_eq!(start, 10_000);
    assert_eq!(bits(&whole), bits(&pieces));
    // Another seed is another run.
    fill(&Curved, &sources, Some(&correlation), 8, 100, &mut pieces, Work::FREE).unwrap();
    assert!(whole.iter().zip(&pieces).all(|(a, b)| a.to_bits() != b.to_bits()));
}

#[test]
fn threads_do_not_change_a_byte() {
    let (sources, correlation) = mixed();
    let on = |threads: usize, adaptive: bool| {
        let request = Request { trials: Some(60_000), seed: 11, adaptive, ..values(None) };
        let pool = ThreadPoolBuilder::new().num_threads(threads).build().unwrap();
        let budget = pool.install(|| assess(&Curved, &sources, Some(&correlation), &request, Work::FREE)).unwrap();
        serde_json::to_string(&budget).unwrap()
    };
    assert_eq!(on(1, false), on(2, false));
    assert_eq!(on(1, true), on(3, true));
}

#[test]
fn joined_shards_sum_up_like_one_run() {
    let (sources, correlation) = mixed();
    let budget = assess(&Curved, &sources, Some(&correlation), &values(Some(5000)), Work::FREE).unwrap();
    let mut joined = vec![0.0; 5000];
    let (a, b) = joined.split_at_mut(1234);
    fill(&Curved, &sources, Some(&correlation), 1, 1234, b, Work::FREE).unwrap();
    fill(&Curved, &sources, Some(&correlation), 1, 0, a, Work::FREE).unwrap();
    assert_eq!(
        summarise(&Curved, &sources, Some(&correlation), 1, &joined, Work::FREE).unwrap(),
        budget.monte_carlo.unwrap()
    );
}

/// Intervals from a plain sort, by the words of JCGM 101:2008, 7.7 and 5.3.4.
fn sorted_intervals(values: &[f64], thousandths: usize) -> (Interval, Interval) {
    let mut y = values.to_vec();
    y.sort_by(f64::total_cmp);
    let m = y.len();
    // q is p·M when whole, else the whole part of p·M + ½; in whole numbers of 1/10 000 throughout.
    let q = (thousandths * m + 5000) / 10_000;
    let r = if (m - q).is_multiple_of(2) { (m - q) / 2 } else { (m - q).div_ceil(2) };
    let symmetric = Interval { low: y[r - 1], high: y[r + q - 1] };
    let shortest = (0..m - q)
        .map(|i| Interval { low: y[i], high: y[i + q] })
        .reduce(|best, next| if next.high - next.low < best.high - best.low { next } else { best })
        .unwrap();
    (symmetric, shortest)
}

/// Output of a trial from a uniform number.
type Shape = fn(f64) -> f64;

#[test]
fn order_statistics_equal_a_full_sort() {
    let draw = |trial: u64| uniform(2, trial, 0);
    let shapes: [(&str, Shape); 5] = [
        ("normal", normal_quantile),
        ("heavy tails", |u| (std::f64::consts::PI * (u - 0.5)).tan()),
        ("two values", |u| if u < 0.3 { -1.0 } else { 1.0 }),
        ("all equal", |_| 4.0),
        ("one straggler", |u| if u > 0.9999 { 1e12 } else { u }),
    ];
    for (name, shape) in shapes {
        for count in [1000, 1001, 20_007, 70_001] {
            let values: Vec<f64> = (0..count).map(|trial| shape(draw(trial))).collect();
            let run = summarise(&sum_of(1), &[normal(0.0, 1.0)], None, 0, &values, Work::FREE).unwrap();
            for (intervals, p) in [(&run.p95, 9500), (&run.p99_73, 9973)] {
                let (symmetric, shortest) = sorted_intervals(&values, p);
                assert_eq!(intervals.symmetric, symmetric, "{name} {count} {p}");
                assert_eq!(intervals.shortest, shortest, "{name} {count} {p}");
                assert!(intervals.low_error >= 0.0 && intervals.high_error >= 0.0);
            }
            let h = &run.histogram;
            assert_eq!(h.counts.iter().sum::<u32>() + h.below + h.above, u32::try_from(count).unwrap(), "{name}");
            assert_eq!(h.counts.len(), 64);
        }
    }
}

#[test]
fn sums_of_rectangles() {
    // Irwin-Hall distribution, exact (computed with 50 digits): sums of n rectangles ±1, ends of the central 95 % and
    // 99.73 %, and the share of outputs within √n (the root-sum-square of the limits).
    let trials = 200_000;
    for (n, q95, q99_73, within) in [
        (2, 1.552_786, 1.896_077, 0.914_213_6),
        (4, 2.239_777, 3.151_472, 0.916_666_7),
        (6, 2.751_712, 4.009_444, 0.916_669_9),
        (20, 5.049_821, 7.626_615, 0.916_732_6),
    ] {
        let sources = vec![rectangular(0.0, 1.0); n];
        let request = Request { trials: Some(trials), ..Request::default() };
        let budget = assess(&sum_of(n), &sources, None, &request, Work::FREE).unwrap();
        close(budget.worst_case.high, n as f64, 1e-12);
        close(budget.root_sum_square, (n as f64).sqrt(), 1e-12);
        let run = budget.monte_carlo.unwrap();
        for (intervals, q) in [(&run.p95, q95), (&run.p99_73, q99_73)] {
            close(intervals.symmetric.low, -q, 4.0 * intervals.low_error);
            close(intervals.symmetric.high, q, 4.0 * intervals.high_error);
            assert!(intervals.high_error < 0.015 * q);
        }
        let mut out = vec![0.0; trials as usize];
        fill(&sum_of(n), &sources, None, 77, 0, &mut out, Work::FREE).unwrap();
        let share = out.iter().filter(|y| y.abs() <= (n as f64).sqrt()).count() as f64 / f64::from(trials);
        close(share, within, 4.0 * (within * (1.0 - within) / f64::from(trials)).sqrt());
    }
}

#[test]
fn coverage_factors_of_single_shapes() {
    // Half-width of the central 95 % over u, exact: rectangular 0.95·√3, triangular (1 − √0.05)·√6, arcsine
    // sin(0.475π)·√2, normal 1.959964, t with 5 degrees of freedom 2.570582 (JCGM 100:2008, Table G.2: 2.57).
    for (source, factor) in [
        (rectangular(0.0, 1.0), 1.645_448_267_190_433_4),
        (rectangular(0.0, 1.0).distributed(Distribution::Triangular), 1.901_767_185_278_011_8),
        (rectangular(0.0, 1.0).distributed(Distribution::Arcsine), 1.409_854_013_930_214_7),
        (normal(0.0, 1.0), 1.959_963_984_540_054),
        (normal(0.0, 1.0).with_dof(5.0), 2.570_582),
    ] {
        let u = source.standard();
        let budget = assess(&sum_of(1), &[source], None, &values(Some(100_000)), Work::FREE).unwrap();
        let p95 = budget.monte_carlo.unwrap().p95;
        close(p95.symmetric.high / u, factor, 4.0 * p95.high_error / u);
        close(p95.symmetric.low / u, -factor, 4.0 * p95.low_error / u);
        assert!(p95.high_error < 0.02 * u);
    }
}

#[test]
fn common_and_own_part_are_drawn_apart() {
    // Half the limit common, half own: two independent rectangles of ½, u = √(2/12). One stream for both would give
    // the full rectangle, 1/√3; another group or source must not share the stream either.
    let sources = [rectangular(0.0, 1.0).grouped("a", 0.5), rectangular(0.0, 1.0).grouped("b", 0.5)];
    for (model, u) in [(vec![1.0, 0.0], 1.0_f64 / 6.0), (vec![1.0, -1.0], 2.0 / 6.0), (vec![1.0, 1.0], 2.0 / 6.0)] {
        let model = Linear { offset: 0.0, coefficients: model };
        let budget = assess(&model, &sources, None, &values(Some(100_000)), Work::FREE).unwrap();
        close(budget.gum.standard, u.sqrt(), 1e-12);
        close(budget.monte_carlo.unwrap().standard.unwrap(), u.sqrt(), 4.0 * u.sqrt() / 447.0);
    }
}

#[test]
fn moments_that_do_not_exist_are_left_out() {
    let run = |degrees: f64| {
        let source = normal(0.0, 1.0).with_dof(degrees);
        assess(&sum_of(1), &[source], None, &values(Some(2000)), Work::FREE).unwrap().monte_carlo.unwrap()
    };
    assert_eq!((run(1.0).mean, run(1.0).standard), (None, None));
    assert!(run(2.0).mean.is_some() && run(2.0).standard.is_none());
    assert!(run(3.0).standard.is_some());
}

#[test]
fn product_of_two_inputs() {
    // Exact: variance of a product of (1, 10 %) and (1, 20 %) is 0.01 + 0.04 + 0.0004; first order 0.05.
    model!(Product, |x: &[N]| x[0] * x[1]);
    let sources = [normal(1.0, 0.1), normal(1.0, 0.2)];
    let budget = assess(&Product, &sources, None, &values(Some(400_000)), Work::FREE).unwrap();
    close(budget.gum.standard, 0.05_f64.sqrt(), 1e-12);
    // Excess kurtosis below 1: error of u below u·√3/(2·√M).
    close(budget.monte_carlo.unwrap().standard.unwrap(), 0.0504_f64.sqrt(), 4.0 * 0.2245 * 0.87 / 632.0);
}

#[test]
fn correlated_deviates_have_the_correlation() {
    // u(x1 − x2)² = 2·(1 − r) and u(x1 + x2)² = 2·(1 + r) for unit uncertainties (JCGM 100:2008, 5.2.2).
    for (r, tolerance) in [(0.6, 4.0), (-1.0, 4.0)] {
        let correlation = Correlation::new(&[vec![1.0, r], vec![r, 1.0]]).unwrap();
        let sources = [normal(0.0, 1.0), normal(0.0, 1.0)];
        let budget = assess(&sum_of(2), &sources, Some(&correlation), &values(Some(100_000)), Work::FREE).unwrap();
        let u = (2.0_f64 * (1.0 + r)).sqrt();
        close(budget.gum.standard, u, 1e-12);
        close(budget.monte_carlo.unwrap().standard.unwrap(), u, tolerance * u / 447.0 + 1e-12);
    }
    // Gaussian copula of rectangles: r_values = (6/π)·asin(r/2), exact for rectangles; r = 0.6 gives 0.5819.
    let correlation = Correlation::new(&[vec![1.0, 0.6], vec![0.6, 1.0]]).unwrap();
    let sources = [rectangular(0.0, 3.0_f64.sqrt()), rectangular(0.0, 3.0_f64.sqrt())];
    let budget = assess(&sum_of(2), &sources, Some(&correlation), &values(Some(100_000)), Work::FREE).unwrap();
    let u = (2.0 + 12.0 / std::f64::consts::PI * 0.3_f64.asin()).sqrt();
    close(budget.monte_carlo.unwrap().standard.unwrap(), u, 4.0 * u / 447.0);
}

#[test]
fn adaptive_runs_stop_when_settled() {
    // u = 2.0 asks for δ = 0.05, met by some tens of thousands of trials; u² of two dominating rectangles likewise.
    let sources = vec![normal(0.0, 1.0); 4];
    let request = Request { trials: Some(1_000_000), adaptive: true, ..values(None) };
    let run = assess(&sum_of(4), &sources, None, &request, Work::FREE).unwrap().monte_carlo.unwrap();
    assert_eq!(run.settled, Some(true));
    assert!((20_000..300_000).contains(&run.trials), "{}", run.trials);
    // The same trials without the adaptive rule give the same figures.
    let plain = Request { trials: Some(run.trials), adaptive: false, ..request.clone() };
    let same = assess(&sum_of(4), &sources, None, &plain, Work::FREE).unwrap().monte_carlo.unwrap();
    assert_eq!((same.p95, same.mean), (run.p95, run.mean));
    // 15 000 trials are one step and a half: not enough to judge.
    let short = Request { trials: Some(15_000), ..request };
    let run = assess(&sum_of(4), &sources, None, &short, Work::FREE).unwrap().monte_carlo.unwrap();
    assert_eq!((run.settled, run.trials), (Some(false), 15_000));
}

#[test]
fn requests_out_of_range() {
    let sources = [normal(0.0, 1.0)];
    let ask = |request: Request| assess(&sum_of(1), &sources, None, &request, Work::FREE);
    assert_eq!(ask(values(Some(999))).unwrap_err(), Fault::Trials { got: 999 });
    assert!(matches!(ask(values(Some(10_000_001))), Err(Fault::Trials { .. })));
    for coverage in [Coverage::Factor(0.0), Coverage::Factor(f64::NAN), Coverage::Probability(1.0)] {
        assert!(matches!(ask(Request { coverage, ..values(None) }), Err(Fault::Coverage(_))));
    }
    assert_eq!(Fault::Trials { got: 999 }.to_string(), "999 trials are outside 1000 to 10000000");
}
