//! Known deviations, normal sources, correlation and groups in the sums; what trials can tell about a limit.

use super::super::{
    Correlation, Coverage, Distribution, Fault, Joining, Linear, Request, Source, assess, fill, normal_distribution,
    quick, student_quantile, worst_case,
};
use super::{close, model, normal, rectangular, sum_of};
use crate::judge::{Judged, Outcome, Verdict};
use crate::quantity::Unit;
use crate::work::Work;

model!(Gains, |x: &[N]| (x[0] + 1.0) * (x[1] + 1.0) / (x[2] + 1.0) - 1.0);
model!(Square, |x: &[N]| x[0] * x[0] + x[1] * x[1]);

fn with(joining: Joining, count: usize, sources: &[Source]) -> super::super::Quick {
    joining.quick(&sum_of(count), sources, true, Work::FREE).unwrap()
}

#[test]
fn a_known_deviation_never_stands_under_the_root() {
    // Closed form: 2 ± √(1² + 1²) = 2 ± 1.414.
    let sources = [rectangular(2.0, 1.0), rectangular(0.0, 1.0)];
    let sums = quick(&sum_of(2), &sources, true, Work::FREE).unwrap();
    close(sums.root_sum_square, 3.414, 5e-4);
    close(sums.sum_of_limits, 4.0, 1e-15);
    close(sums.known, 2.0, 1e-15);
    // Known deviations of either sign compensate each other: 2 − 3 is 1 below.
    let sources = [rectangular(2.0, 1.0), rectangular(-3.0, 1.0)];
    let sums = quick(&sum_of(2), &sources, true, Work::FREE).unwrap();
    close(sums.known, -1.0, 1e-15);
    close(sums.root_sum_square, 1.0 + 2.0_f64.sqrt(), 1e-15);
    close(sums.sum_of_limits, 3.0, 1e-15);
    close(sums.low, -3.0, 1e-15);
}

#[test]
fn unequal_limits_have_a_known_middle() {
    // +3/−1 is 1 ± 2.
    let source = rectangular(0.0, 0.0).between(-1.0, 3.0);
    assert_eq!((source.estimate, source.limit), (1.0, 2.0));
    let sums = quick(&sum_of(2), &[source, rectangular(0.0, 1.5)], true, Work::FREE).unwrap();
    close(sums.root_sum_square, 1.0 + 2.5, 1e-15);
    close(sums.high, 4.5, 1e-15);
}

#[test]
fn two_normal_sources_count_once() {
    // Closed form: 3·√(1² + 1²) = 4.243, not 2·3.
    let sources = [normal(0.0, 1.0), normal(0.0, 1.0)];
    let sums = quick(&sum_of(2), &sources, true, Work::FREE).unwrap();
    for size in [sums.high, -sums.low, sums.sum_of_limits, sums.root_sum_square] {
        close(size, 4.243, 5e-4);
    }
    // The same source typed by its limit and its k.
    let typed = rectangular(0.0, 2.0).distributed(Distribution::Normal { k: 2.0 });
    assert_eq!(typed.standard(), rectangular(0.0, 7.0).with_standard(1.0).standard());
    close(quick(&sum_of(2), &[typed, normal(0.0, 1.0)], true, Work::FREE).unwrap().high, 18.0_f64.sqrt(), 1e-15);
    // Beside a limit it is one line: 1 + 3·√2, and √(1 + 18).
    let three = [rectangular(0.0, 1.0), normal(0.0, 1.0), normal(0.0, 1.0)];
    let sums = quick(&sum_of(3), &three, true, Work::FREE).unwrap();
    close(sums.high, 1.0 + 18.0_f64.sqrt(), 1e-14);
    close(sums.root_sum_square, 19.0_f64.sqrt(), 1e-14);
    // A typed factor.
    let four = Joining { k: Some(4.0), correlation: None };
    close(with(four, 3, &three).high, 1.0 + 4.0 * 2.0_f64.sqrt(), 1e-14);
    let allowance = 4.2;
    assert!(quick(&sum_of(2), &sources, true, Work::FREE).unwrap().high > allowance);
    for k in [1.9, 6.1, f64::NAN] {
        let refused = Joining { k: Some(k), correlation: None }.quick(&sum_of(3), &three, true, Work::FREE);
        assert!(matches!(refused, Err(Fault::Coverage(_))));
    }
}

#[test]
fn few_degrees_of_freedom_widen_the_line() {
    // JCGM 100:2008, Table G.2: t at 99.73 % for 5 degrees of freedom is 5.51; unlimited 3.00.
    let one = [normal(0.0, 1.0).with_dof(5.0)];
    close(quick(&sum_of(1), &one, true, Work::FREE).unwrap().high, 5.51, 0.005);
    // Two alike have 10 together (Welch-Satterthwaite): 3.96.
    let two = [normal(0.0, 1.0).with_dof(5.0), normal(0.0, 1.0).with_dof(5.0)];
    let done = assess(&sum_of(2), &two, None, &Request::default(), Work::FREE).unwrap();
    let line = done.joined.unwrap();
    close(line.k, 3.96, 0.005);
    close(line.k, student_quantile(0.998_65, 10.0), 1e-9);
    close(line.degrees_of_freedom.unwrap(), 10.0, 1e-9);
    close(done.worst_case.high, line.k * 2.0_f64.sqrt(), 1e-12);
    // Many are as good as unlimited, and a typed factor stands.
    let many = [normal(0.0, 1.0).with_dof(1e9)];
    close(quick(&sum_of(1), &many, true, Work::FREE).unwrap().high, 3.0, 1e-6);
    close(with(Joining { k: Some(2.0), correlation: None }, 1, &one).high, 2.0, 1e-15);
}

#[test]
fn correlation_counts_in_the_root_and_never_shrinks_a_worst_case() {
    // √(a′ C a) of two limits 1 and 2, signed by their sensitivities 1 and −1: √(1 + 4 − 4 r).
    let model = Linear { offset: 0.0, coefficients: vec![1.0, -1.0] };
    let sources = [rectangular(0.0, 1.0), rectangular(0.0, 2.0)];
    for r in [-1.0, -0.5, 0.0, 0.5, 1.0] {
        let correlation = Correlation::new(&[vec![1.0, r], vec![r, 1.0]]).unwrap();
        let joining = Joining { k: None, correlation: Some(&correlation) };
        let sums = joining.quick(&model, &sources, true, Work::FREE).unwrap();
        close(sums.root_sum_square, (5.0 - 4.0 * r).sqrt(), 1e-14);
        assert_eq!((sums.low, sums.high), (-3.0, 3.0));
        // Normal sources: the root has the correlation with either sign, the worst case only what adds.
        let normals = [normal(0.0, 1.0), normal(0.0, 2.0)];
        let sums = joining.quick(&model, &normals, true, Work::FREE).unwrap();
        close(sums.root_sum_square, 3.0 * (5.0 - 4.0 * r).sqrt(), 1e-13);
        let adding = 3.0 * (5.0 - 4.0 * r.min(0.0)).sqrt();
        close(sums.high, adding, 1e-13);
        close(sums.low, -adding, 1e-13);
        close(sums.sum_of_limits, adding, 1e-13);
    }
}

#[test]
fn a_common_part_of_normal_sources_compensates() {
    // Ten in series with half the standard uncertainty in common: √((10·0.5)² + 10·0.5²), three times.
    let mean = sum_of(10);
    let half = vec![normal(0.0, 1.0).grouped("lot", 0.5); 10];
    let joined = 3.0 * (25.0_f64 + 2.5).sqrt();
    close(quick(&mean, &half, true, Work::FREE).unwrap().high, joined, 1e-12);
    close(quick(&mean, &half, true, Work::FREE).unwrap().root_sum_square, joined, 1e-12);
    // A difference of two that move together has nothing left of it.
    let apart = Linear { offset: 0.0, coefficients: vec![1.0, -1.0] };
    let together = vec![normal(0.0, 1.0).grouped("lot", 1.0); 2];
    close(quick(&apart, &together, true, Work::FREE).unwrap().high, 0.0, 1e-12);
}

#[test]
fn the_joined_worst_case_is_the_extreme_of_the_model() {
    // (1 + a)(1 + b)/(1 + c) − 1 over a limit of 0.1 in a and the circle of 3·0.02 in b and c; reference: the circle in
    // steps of 1/100 000, at the corner of a.
    let sources = [rectangular(0.0, 0.1), normal(0.0, 0.02), normal(0.0, 0.02)];
    let (low, high) = worst_case(&Gains, &sources, Work::FREE).unwrap();
    let circle = |a: f64| {
        (0..100_000).map(move |step| {
            let (sine, cosine) = (std::f64::consts::TAU * f64::from(step) / 1e5).sin_cos();
            (1.0 + a) * (1.0 + 0.06 * cosine) / (1.0 + 0.06 * sine) - 1.0
        })
    };
    close(high, circle(0.1).fold(f64::MIN, f64::max), 1e-9);
    close(low, circle(-0.1).fold(f64::MAX, f64::min), 1e-9);
    // Without a slope at the estimates each source is tried alone: 3² of x² + y².
    let square = worst_case(&Square, &[normal(0.0, 1.0), normal(0.0, 1.0)], Work::FREE).unwrap();
    close(square.1, 9.0, 1e-12);
    assert_eq!(square.0, 0.0);
}

#[test]
fn contributions_and_known_deviations_add_up_to_the_sum() {
    let model = Linear { offset: 0.0, coefficients: vec![1.0, -2.0, 0.7, 1.0, 3.0, -1.5] };
    let sources = [
        rectangular(0.1, 1.0).grouped("a", 0.6),
        rectangular(0.0, 1.0).grouped("a", 0.2),
        rectangular(-0.9, 2.0).distributed(Distribution::Triangular),
        normal(0.3, 0.4).grouped("a", 0.1),
        normal(0.0, 0.2),
        normal(0.0, 0.5),
    ];
    let mut rows: Vec<Vec<f64>> = (0..6).map(|i| (0..6).map(|j| f64::from(u8::from(i == j))).collect()).collect();
    (rows[4][5], rows[5][4]) = (-0.4, -0.4);
    let correlation = Correlation::new(&rows).unwrap();
    let done = assess(&model, &sources, Some(&correlation), &Request::default(), Work::FREE).unwrap();
    let line = done.joined.unwrap();
    let parts = |joined: bool| -> f64 {
        done.contributions.iter().filter(|term| term.joined == joined).map(|term| term.contribution).sum()
    };
    let known: f64 = done.contributions.iter().map(|term| term.known).sum();
    close(known, done.known, 1e-14);
    close(parts(true), line.contribution, 1e-12);
    close(known.abs() + parts(false) + line.contribution, done.worst_case.sum_of_limits, 1e-12);
    // A linear model reaches that sum.
    close(done.worst_case.high.max(-done.worst_case.low), done.worst_case.sum_of_limits, 1e-12);
    assert_eq!(line.sources, 3);
    let sizes: Vec<f64> = done.contributions.iter().map(|term| term.contribution.abs() + term.known.abs()).collect();
    assert!(sizes.is_sorted_by(|a, b| a >= b), "{sizes:?}");
}

#[test]
fn an_end_lies_between_order_statistics() {
    // The 97.5 % point of a normal source is 1.959964: of 200 runs of 1000 trials each the interval of three standard
    // deviations holds it in all but 0.27 % (binomial), and the limit is called open only when it lies inside.
    let sources = [normal(0.0, 1.0)];
    let mut missed = 0;
    for seed in 0..200 {
        let request = Request { trials: Some(1000), seed, ..Request::default() };
        let run = assess(&sum_of(1), &sources, None, &request, Work::FREE).unwrap().monte_carlo.unwrap();
        let high = run.p95.high_between;
        let (low, high) = (high.low.unwrap(), high.high.unwrap());
        missed += u32::from(!(low < 1.959_964 && 1.959_964 < high));
        // A plain sort: ranks 975 ∓ 3·√(1000·0.025·0.975) = 960.2 and 989.8.
        let mut values = vec![0.0; 1000];
        fill(&sum_of(1), &sources, None, seed, 0, &mut values, Work::FREE).unwrap();
        values.sort_by(f64::total_cmp);
        assert_eq!((low, high), (values[959], values[989]));
        // At 99.73 % a thousand trials do not reach the rank: nothing bounds the end from outside.
        assert_eq!((run.p99_73.low_between.low, run.p99_73.high_between.high), (None, None));
    }
    assert!(missed <= 4, "{missed}");
}

#[test]
fn a_limit_among_the_order_statistics_is_not_resolved() {
    let sources = [normal(0.0, 1.0)];
    let run = |trials: u32| {
        let request = Request { trials: Some(trials), ..Request::default() };
        assess(&sum_of(1), &sources, None, &request, Work::FREE).unwrap().monte_carlo.unwrap()
    };
    let short = run(10_000);
    let end = short.p95.farther(0.0);
    let judged = |limit: f64, end: &super::super::End, trials: u32| {
        end.settle(trials, Judged::at_most("x", "/x", Unit::One, end.value, limit))
    };
    // Three standard errors of an end are 3·√(0.025·0.975/M)/φ(1.96) = 8.01/√M: 0.080 here.
    assert_eq!(judged(2.2, &end, short.trials).outcome.verdict(95.0), Verdict::Holds);
    assert!(judged(1.75, &end, short.trials).fails());
    let open = judged(1.99, &end, short.trials);
    assert_eq!(open.outcome.verdict(85.0), Verdict::NotResolved);
    let Outcome::NotResolved { low, high, trials } = open.outcome else { panic!("{open:?}") };
    assert!(low < 1.0 && 1.0 < high);
    let half = 0.5 * (end.high - end.low);
    close(trials as f64, 1e4 * (half / (1.99 - end.value)).powi(2), 1.0);
    // As many as were asked for tell, unless the end itself moves: the exact one is 0.03 from the limit.
    let long = run(400_000);
    assert_eq!(judged(1.99, &long.p95.farther(0.0), long.trials).outcome.verdict(85.0), Verdict::Thin);
    // At the end itself no number of trials would do.
    assert_eq!(end.needed(end.value, 10_000), Some(u64::MAX));
    // Where the trials do not reach the rank, the least number that does is told: 11/0.00135.
    let far = run(1000).p99_73.farther(0.0);
    assert_eq!(far.needed(50.0, 1000), Some(8149));
    let enough = run(8149).p99_73.farther(0.0);
    assert!(enough.high.is_finite());
}

#[test]
fn the_share_beyond_a_limit() {
    // Four rectangles of ±1 pass their root-sum-square 2 in 8.333 % of the units (Irwin-Hall distribution, exact).
    let request = Request { trials: Some(400_000), beyond: Some(2.0), ..Request::default() };
    let sources = vec![rectangular(0.0, 1.0); 4];
    let share = |request: &Request, sources: &[Source]| {
        let run = assess(&sum_of(sources.len()), sources, None, request, Work::FREE).unwrap().monte_carlo.unwrap();
        run.beyond.unwrap()
    };
    let found = share(&request, &sources);
    close(found.share, 1.0 / 12.0, 4.0 * found.error);
    close(found.error, (1.0 / 12.0 * 11.0 / 12.0 / 4e5_f64).sqrt(), 1e-5);
    assert_eq!(found.below, None);
    // A normal source passes three standard uncertainties in 0.27 %.
    let three = share(&Request { beyond: Some(3.0), ..request.clone() }, &[normal(0.0, 1.0)]);
    close(three.share, 2.0 * normal_distribution(-3.0), 4.0 * three.error);
    // None in M: below 3/M.
    let none = share(&Request { beyond: Some(4.5), ..request }, &sources);
    assert_eq!((none.trials, none.below), (0, Some(3.0 / 4e5)));
}

#[test]
fn both_intervals_are_compared_at_the_probability_asked_for() {
    // Exact ends of a rectangle ±1: p itself; the GUM's are z_p/√3.
    for (p, z) in [(0.5, 0.674_489_75), (0.8, 1.281_551_57), (0.95, 1.959_963_98), (0.99, 2.575_829_3)] {
        let request = Request { coverage: Coverage::Probability(p), trials: Some(100_000), ..Request::default() };
        let run =
            assess(&sum_of(1), &[rectangular(0.0, 1.0)], None, &request, Work::FREE).unwrap().monte_carlo.unwrap();
        close(run.comparison.probability, p, 0.0);
        close(run.comparison.gum.high, z / 3.0_f64.sqrt(), 1e-8);
        let at = run.asked.as_ref().unwrap_or(&run.p95);
        close(at.symmetric.high, p, 4.0 * at.high_error);
        close(at.symmetric.low, -p, 4.0 * at.low_error);
        close(run.comparison.d_high, (z / 3.0_f64.sqrt() - at.symmetric.high).abs(), 1e-8);
        // A rectangle is no normal distribution at any of these.
        assert!(!run.comparison.validated);
    }
}
