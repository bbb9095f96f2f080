//! Random numbers, quantiles, number types and the correlation matrix.

use super::super::normal::logarithm;
use super::super::student::StudentTable;
use super::super::{
    Correlation, Dual, Fault, LANES, Lanes, Linear, Model, Number, Product, arcsine_quantile, coverage_factor, fill,
    gradient, normal_distribution, normal_quantile, philox4x32, student_quantile, triangular_quantile, uniform,
};
use super::{close, model, normal, rectangular};
use crate::work::Work;

#[test]
fn generator_known_answers() {
    // Published known-answer vectors of the generator's authors (philox4x32, 10 rounds).
    assert_eq!(philox4x32([0; 4], [0; 2]), [0x6627_e8d5, 0xe169_c58d, 0xbc57_ac4c, 0x9b00_dbd8]);
    assert_eq!(philox4x32([u32::MAX; 4], [u32::MAX; 2]), [0x408f_276d, 0x41c8_3b0e, 0xa20b_c7c6, 0x6d54_51fd]);
    assert_eq!(
        philox4x32([0x243f_6a88, 0x85a3_08d3, 0x1319_8a2e, 0x0370_7344], [0xa409_3822, 0x299f_31d0]),
        [0xd16c_fe09, 0x94fd_cceb, 0x5001_e420, 0x2412_6ea1]
    );
}

#[test]
fn block_draws_are_the_single_draws() {
    // Two identity models of one rectangular source each read stream 0 of their list; the second source is stream 1.
    let sources = [rectangular(0.0, 0.0), rectangular(0.0, 1.0)];
    let mut out = vec![0.0; 700];
    let first = (1 << 40) + 77;
    fill(&Linear { offset: 0.0, coefficients: vec![1.0; 2] }, &sources, None, 9, first, &mut out, Work::FREE).unwrap();
    for (i, value) in out.iter().enumerate() {
        let expected = 2.0 * uniform(9, first + i as u64, 1) - 1.0;
        assert_eq!(value.to_bits(), expected.to_bits(), "trial {i}");
    }
}

#[test]
fn uniform_numbers_fill_the_unit_interval_evenly() {
    // Mean ½ and variance 1/12 of a uniform distribution; tolerance four standard errors of 65 536 draws.
    let n = 65_536_u32;
    let draws: Vec<f64> = (0..u64::from(n)).map(|trial| uniform(1, trial, 3)).collect();
    let mean = draws.iter().sum::<f64>() / f64::from(n);
    let variance = draws.iter().map(|u| (u - 0.5) * (u - 0.5)).sum::<f64>() / f64::from(n);
    close(mean, 0.5, 4.0 / (12.0 * f64::from(n)).sqrt());
    close(variance, 1.0 / 12.0, 4.0 / (180.0 * f64::from(n)).sqrt());
    assert!(draws.iter().all(|u| 0.0 < *u && *u < 1.0));
}

#[test]
fn normal_quantiles() {
    // 0.25, 0.001 and 1e-20: check values printed with the algorithm (Applied Statistics 37, 1988), from memory.
    // The rest: computed with 40 digits from the double nearest to p.
    for (p, z) in [
        (0.25, -0.674_489_750_196_081_7),
        (0.001, -3.090_232_306_167_813_5),
        (1e-20, -9.262_340_089_798_408),
        (0.975, 1.959_963_984_540_054),
        (0.995, 2.575_829_303_548_900_4),
        (0.998_65, 2.999_976_992_703_401_6),
        (1e-10, -6.361_340_902_404_056),
    ] {
        let got = normal_quantile(p);
        close(got, z, 4e-16 * z.abs().max(1.0));
    }
    assert_eq!(normal_quantile(0.5).to_bits(), 0.0_f64.to_bits());
    assert!(normal_quantile(0.0).is_finite() && normal_quantile(1.0).is_finite());
}

#[test]
fn normal_quantile_inverts_the_distribution() {
    for i in 1..2000 {
        let p = f64::from(i) / 2000.0;
        close(normal_distribution(normal_quantile(p)), p, 4e-16);
    }
}

#[test]
fn normal_block_equals_the_single_quantile() {
    // The packed tails of a block against the plain function, through a whole run.
    let mut out = vec![0.0; 4096];
    fill(&Linear { offset: 0.0, coefficients: vec![1.0] }, &[normal(0.0, 1.0)], None, 5, 0, &mut out, Work::FREE)
        .unwrap();
    for (trial, z) in out.iter().enumerate() {
        assert_eq!(z.to_bits(), normal_quantile(uniform(5, trial as u64, 0)).to_bits(), "trial {trial}");
    }
}

#[test]
fn logarithm_is_the_logarithm() {
    let mut x = 2e-10;
    while x < 3.0 {
        close(logarithm(x), libm::log(x), 2.3e-16 * libm::log(x).abs().max(1e-2));
        x *= 1.003;
    }
}

#[test]
fn bounded_quantiles() {
    // Distribution function of the triangle is (1 + z)²/2 below 0; of the arcsine ½ + asin(z)/π.
    for i in 1..1000 {
        let p = f64::from(i) / 1000.0;
        let z = triangular_quantile(p);
        let back = if z < 0.0 { (1.0 + z).powi(2) / 2.0 } else { 1.0 - (1.0 - z).powi(2) / 2.0 };
        close(back, p, 4e-16);
        close(arcsine_quantile(p), (std::f64::consts::PI * (p - 0.5)).sin(), 4e-16);
    }
}

#[test]
fn student_factors_of_the_guide() {
    // JCGM 100:2008, Table G.2, printed to two decimals.
    let probabilities = [0.6827, 0.90, 0.95, 0.9545, 0.99, 0.9973];
    for (degrees, factors) in [
        (1.0, [1.84, 6.31, 12.71, 13.97, 63.66, 235.80]),
        (2.0, [1.32, 2.92, 4.30, 4.53, 9.92, 19.21]),
        (5.0, [1.11, 2.02, 2.57, 2.65, 4.03, 5.51]),
        (10.0, [1.05, 1.81, 2.23, 2.28, 3.17, 3.96]),
        (16.0, [1.03, 1.75, 2.12, 2.17, 2.92, 3.54]),
        (20.0, [1.03, 1.72, 2.09, 2.13, 2.85, 3.42]),
        (50.0, [1.01, 1.68, 2.01, 2.05, 2.68, 3.16]),
    ] {
        for (p, factor) in probabilities.into_iter().zip(factors) {
            // The largest entry is printed from p = 0.9973 exactly in other digits: 235.78 against 235.80.
            let tolerance = if factor > 100.0 { 0.03 } else { 0.0051 };
            close(coverage_factor(p, Some(degrees)), factor, tolerance);
        }
    }
    // Truncated to a whole number, as JCGM 100:2008, H.1.6 does with 16.7.
    close(coverage_factor(0.99, Some(16.7)), coverage_factor(0.99, Some(16.0)), 0.0);
}

#[test]
fn student_quantiles() {
    // Computed with 40 digits (inverse of the incomplete beta function).
    for (degrees, p, t) in [
        (1.0, 0.975, 12.706_204_736_174_693),
        (1.0, 1.0 - 1e-10, 1.0 / (std::f64::consts::PI * 1.000_000_082_740_371e-10)),
        (2.0, 0.9999, 70.700_071_074_968_17),
        (5.0, 0.975, 2.570_581_835_636_315),
        (25.6, 0.9999, 4.334_781_803_004_876),
        (300.0, 0.975, 1.967_903_011_261_086_6),
        (1e3, 0.975, 1.962_339_080_826_408),
        (1e3, 0.9999, 3.732_851_604_575_395),
        (1e4, 0.9999, 3.720_395_869_117_668),
        (1e6, 0.975, 1.959_966_356_814_106_7),
    ] {
        close(student_quantile(p, degrees), t, 1e-12 * t);
        close(student_quantile(1.0 - p, degrees), -t, 1e-11 * t);
    }
    assert!(student_quantile(0.5, 4.0).abs() < 1e-15);
    for odd in [f64::NAN, 0.0, 1.0, -1.0, f64::INFINITY] {
        assert!(student_quantile(odd, 4.0).is_finite() && student_quantile(0.9, odd).is_finite());
        assert!(normal_quantile(odd).is_finite());
    }
}

#[test]
fn student_table_bends_to_the_quantile() {
    // Closed forms for 1 and 2 degrees of freedom: tan(π(p − ½)) and (2p − 1)/√(2p(1 − p)), through the thinner tail
    // probability; the others against the quantile checked above, which is poor close to the middle.
    // Down to the thinnest tail of 32 bits.
    for degrees in [1.0, 1.5, 2.0, 4.0, 9.0, 60.0, 999.0, 1e5] {
        let table = StudentTable::new(degrees, Work::FREE).unwrap();
        for i in 0..6340 {
            let z = f64::from(i) / 1000.0 + 1e-4;
            let tail = normal_distribution(-z);
            let exact = if degrees == 1.0 {
                1.0 / (std::f64::consts::PI * tail).tan()
            } else if degrees == 2.0 {
                (1.0 - 2.0 * tail) / (2.0 * tail * (1.0 - tail)).sqrt()
            } else if z > 0.3 {
                -student_quantile(tail, degrees)
            } else {
                continue;
            };
            let tolerance = if z > 0.01 { 1e-7 } else { 1e-6 };
            assert!((table.bend(z) / exact - 1.0).abs() < tolerance, "{degrees} {z} {} {exact}", table.bend(z));
            close(table.bend(-z), -table.bend(z), 0.0);
        }
    }
}

model!(Everything, |x: &[N]| {
    (x[0].sqrt() * x[1].exp() + x[2].ln() / x[0].powi(-3)) * x[1].powf(1.7) - (x[2] * x[1] - 9.0).abs() * 0.25
});

#[test]
fn sensitivities_are_derivatives() {
    // Central differences with a step of 1e-5 err by about step² = 1e-10 of the third derivative.
    let x = [1.3, 0.7, 2.1];
    let (value, derivatives) = gradient(&Everything, &x);
    assert_eq!(value.to_bits(), Everything.evaluate(&x).to_bits());
    for i in 0..3 {
        let at = |step: f64| {
            let mut x = x;
            x[i] += step;
            Everything.evaluate(&x)
        };
        let difference = (at(1e-5) - at(-1e-5)) / 2e-5;
        close(derivatives[i], difference, 1e-8);
        assert!(derivatives[i].abs() > 0.1);
    }
}

/// A model on the dual numbers of another library.
impl Number for num_dual::Dual64 {
    fn sqrt(self) -> Self {
        num_dual::DualNum::sqrt(&self)
    }
    fn exp(self) -> Self {
        num_dual::DualNum::exp(&self)
    }
    fn ln(self) -> Self {
        num_dual::DualNum::ln(&self)
    }
    fn powi(self, exponent: i32) -> Self {
        num_dual::DualNum::powi(&self, exponent)
    }
    fn powf(self, exponent: f64) -> Self {
        num_dual::DualNum::powf(&self, exponent)
    }
    fn abs(self) -> Self {
        if self.re < 0.0 { -self } else { self }
    }
    fn value(self) -> f64 {
        self.re
    }
}

model!(Many, |x: &[N]| {
    x.chunks(3)
        .fold(N::from(0.5), |sum, x| (sum * x[0] - x[1]) / (x[2] * x[0] + 2.0) - (x[1] / 3.0 - 0.25).exp() * -x[2])
});

/// Outside check: forward differentiation by num-dual, one input after the other; more inputs than one pass takes.
#[test]
fn derivatives_are_those_of_another_library() {
    let check = |found: (f64, Vec<f64>), one: &dyn Fn(&[num_dual::Dual64]) -> num_dual::Dual64, x: &[f64]| {
        for i in 0..x.len() {
            let mut duals: Vec<num_dual::Dual64> = x.iter().map(|&x| num_dual::Dual64::from_re(x)).collect();
            duals[i].eps = 1.0;
            let other = one(&duals);
            close(found.0, other.re, 1e-14);
            close(found.1[i], other.eps, 1e-13);
        }
    };
    let few = [1.3, 0.7, 2.1];
    check(gradient(&Everything, &few), &|x| Everything.evaluate(x), &few);
    let many: Vec<f64> = (0..21).map(|i| 0.4 + 0.13 * f64::from(i)).collect();
    check(gradient(&Many, &many), &|x| Many.evaluate(x), &many);
}

#[test]
fn lanes_give_the_bytes_of_single_numbers() {
    let lane = |i: usize, l: usize| 0.5 + 0.31 * i as f64 + 0.07 * l as f64;
    let lanes: Vec<Lanes> = (0..3).map(|i| Lanes(std::array::from_fn(|l| lane(i, l)))).collect();
    let together = Everything.evaluate(&lanes);
    for l in 0..LANES {
        let single = Everything.evaluate(&[lane(0, l), lane(1, l), lane(2, l)]);
        assert_eq!(together.0[l].to_bits(), single.to_bits());
    }
}

#[test]
fn derivative_of_a_constant_stays_zero() {
    // √0 of an input that does not move must not turn 0 · ∞ into something that is not a number.
    assert_eq!(Number::sqrt(Dual::from(0.0)), Dual::from(0.0));
}

#[test]
fn product_of_powers() {
    // d(2·x²/y)/dx = 4x/y, d/dy = −2x²/y²; negative base with a whole exponent.
    let (value, slopes) = gradient(&Product { scale: 2.0, exponents: vec![2.0, -1.0] }, &[-3.0, 4.0]);
    close(value, 4.5, 1e-15);
    close(slopes[0], -3.0, 1e-15);
    close(slopes[1], -1.125, 1e-15);
    let (value, slopes) = gradient(&Product { scale: 1.0, exponents: vec![0.5] }, &[9.0]);
    close(value, 3.0, 1e-15);
    close(slopes[0], 1.0 / 6.0, 1e-15);
}

#[test]
fn correlation_matrices_nobody_can_have() {
    let refused = |rows: &[Vec<f64>]| matches!(Correlation::new(rows), Err(Fault::Correlation(_)));
    assert!(refused(&[vec![1.0, 0.9, 0.9], vec![0.9, 1.0, -0.9], vec![0.9, -0.9, 1.0]]));
    // Zero pivot with a contradiction beside it: the second is the first, but the third tells them apart.
    assert!(refused(&[vec![1.0, 1.0, 0.5], vec![1.0, 1.0, 0.4], vec![0.5, 0.4, 1.0]]));
    assert!(refused(&[vec![1.0, 0.5], vec![0.4, 1.0]]));
    assert!(refused(&[vec![1.0, 1.5], vec![1.5, 1.0]]));
    assert!(refused(&[vec![0.9, 0.0], vec![0.0, 1.0]]));
    assert!(refused(&[vec![1.0, f64::NAN], vec![f64::NAN, 1.0]]));
    assert!(refused(&[vec![1.0, 0.0], vec![0.0]]));
    assert!(Correlation::new(&[vec![1.0, -1.0], vec![-1.0, 1.0]]).is_ok());
    assert!(Correlation::new(&[]).is_ok());
}
