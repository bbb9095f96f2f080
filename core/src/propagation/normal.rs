//! # Normal distribution
//!
//! Monte Carlo needs millions of normal deviates that are the same bytes on every machine.
//! The quantile is a ratio of polynomials in the middle 85 % and another in the logarithm of the tail, so only
//! correctly rounded operations (+ − · / √) and whole-number arithmetic occur.
//! Blocks of trials are done together: the middle for all, the few tail trials packed, computed and put back.
//!
//! ```text
//! Formula    |q| ≤ 0.425, q = p − ½:  z = q·A(r)/B(r), r = 0.425² − q²
//!            else r = √(−ln min(p, 1−p)):  z = ± C(r−1.6)/D(r−1.6) up to r = 5, E(r−5)/F(r−5) beyond
//! Symbols    p probability [1], z standard normal deviate [1], A … F polynomials of degree 7
//! Valid      0 < p < 1, relative accuracy about 1e-16; p = 0 and p = 1 give the nearest finite deviate
//! Source     M. J. Wichura's algorithm AS 241 (PPND16), Applied Statistics 37 (1988) 477-484: coefficients from
//!            memory, proved by the tests; logarithm after the fdlibm scheme
//! ```
#![expect(clippy::inline_always, reason = "must be compiled inside the vectorised Monte Carlo loop")]

use std::f64::consts::FRAC_1_SQRT_2;

use super::random::{BLOCK, Column, whole};

/// Half-width of the middle.
const MIDDLE: f64 = 0.425;

const A: [f64; 8] = [
    3.387_132_872_796_366_5,
    1.331_416_678_917_843_8e2,
    1.971_590_950_306_551_4e3,
    1.373_169_376_550_946e4,
    4.592_195_393_154_987e4,
    6.726_577_092_700_87e4,
    3.343_057_558_358_813e4,
    2.509_080_928_730_122_7e3,
];
const B: [f64; 8] = [
    1.0,
    4.231_333_070_160_091e1,
    6.871_870_074_920_579e2,
    5.394_196_021_424_751e3,
    2.121_379_430_158_659_7e4,
    3.930_789_580_009_271e4,
    2.872_908_573_572_194_3e4,
    5.226_495_278_852_854e3,
];
const C: [f64; 8] = [
    1.423_437_110_749_683_5,
    4.630_337_846_156_546,
    5.769_497_221_460_691,
    3.647_848_324_763_204_5,
    1.270_458_252_452_368_4,
    2.417_807_251_774_506e-1,
    2.272_384_498_926_918_4e-2,
    7.745_450_142_783_414e-4,
];
const D: [f64; 8] = [
    1.0,
    2.053_191_626_637_759,
    1.676_384_830_183_803_8,
    6.897_673_349_851e-1,
    1.481_039_764_274_800_8e-1,
    1.519_866_656_361_645_7e-2,
    5.475_938_084_995_345e-4,
    1.050_750_071_644_416_9e-9,
];
const E: [f64; 8] = [
    6.657_904_643_501_103,
    5.463_784_911_164_114,
    1.784_826_539_917_291_3,
    2.965_605_718_285_048_7e-1,
    2.653_218_952_657_612_4e-2,
    1.242_660_947_388_078_4e-3,
    2.711_555_568_743_487_6e-5,
    2.010_334_399_292_288_1e-7,
];
const F: [f64; 8] = [
    1.0,
    5.998_322_065_558_88e-1,
    1.369_298_809_227_358e-1,
    1.487_536_129_085_061_5e-2,
    7.868_691_311_456_133e-4,
    1.846_318_317_510_054_8e-5,
    1.421_511_758_316_446e-7,
    2.044_263_103_389_939_8e-15,
];

/// Polynomial of degree 7 by Horner's rule.
#[inline(always)]
fn polynomial(c: &[f64; 8], x: f64) -> f64 {
    ((((((c[7] * x + c[6]) * x + c[5]) * x + c[4]) * x + c[3]) * x + c[2]) * x + c[1]) * x + c[0]
}

/// Natural logarithm of a positive normal number, without branches, to about one unit in the last place.
#[inline(always)]
pub(super) fn logarithm(x: f64) -> f64 {
    /// Bits of √½ rounded down to the high word: the mantissa is taken from √½ to √2, around 1.
    const ROOT_HALF: u64 = 0x3fe6_a09e_0000_0000;
    const ONE: u64 = 0x3ff0_0000_0000_0000;
    const MANTISSA: u64 = 0x000f_ffff_ffff_ffff;
    let bits = x.to_bits() + (ONE - ROOT_HALF);
    let exponent = whole(bits >> 52) - 1023.0;
    let f = f64::from_bits((bits & MANTISSA) + ROOT_HALF) - 1.0;
    let s = f / (2.0 + f);
    let z = s * s;
    let w = z * z;
    let even = w * (0.399_999_999_994_094_2 + w * (0.222_221_984_321_497_84 + w * 0.153_138_376_992_093_73));
    let odd = z
        * (0.666_666_666_666_673_5
            + w * (0.285_714_287_436_623_9 + w * (0.181_835_721_616_180_5 + w * 0.147_981_986_051_165_86)));
    let half_square = 0.5 * f * f;
    s * (half_square + (even + odd)) + exponent * 1.908_214_929_270_587_7e-10 - half_square
        + f
        + exponent * 6.931_471_803_691_238e-1
}

/// Middle of the distribution; meaningless but harmless outside it.
#[inline(always)]
fn middle(q: f64) -> f64 {
    let r = MIDDLE * MIDDLE - q * q;
    q * polynomial(&A, r) / polynomial(&B, r)
}

/// Size of the deviate in a tail that holds probability `p`, down to p = e^-25 ≈ 1.4e-11.
#[inline(always)]
fn tail(p: f64) -> f64 {
    let r = (-logarithm(p)).sqrt() - 1.6;
    polynomial(&C, r) / polynomial(&D, r)
}

/// Deviate below which a standard normal quantity lies with probability `p`.
pub fn normal_quantile(p: f64) -> f64 {
    let q = p - 0.5;
    if q.abs() <= MIDDLE {
        return middle(q);
    }
    let rest = (if q < 0.0 { p } else { 1.0 - p }).max(f64::MIN_POSITIVE);
    let r = (-logarithm(rest)).sqrt();
    let size = if r <= 5.0 { tail(rest) } else { polynomial(&E, r - 5.0) / polynomial(&F, r - 5.0) };
    size.copysign(q)
}

/// Probability that a standard normal quantity lies below `z`.
pub fn normal_distribution(z: f64) -> f64 {
    0.5 * libm::erfc(-z * FRAC_1_SQRT_2)
}

/// Normal deviates of one block. The draws have 32 bits, so no tail is thinner than 2^-33 and the far tail
/// of the algorithm never occurs here.
#[inline(always)]
pub(super) fn normal_block(p: &Column, z: &mut Column) {
    for (z, p) in z.iter_mut().zip(p) {
        *z = middle(*p - 0.5);
    }
    // Pack the tail trials (15 % of all) without a branch that the processor would guess wrong.
    let mut places = [0_usize; BLOCK];
    let mut count = 0;
    for (i, p) in p.iter().enumerate() {
        places[count & (BLOCK - 1)] = i;
        count += usize::from((*p - 0.5).abs() > MIDDLE);
    }
    let places = &places[..count];
    let mut packed = [0.01; BLOCK];
    for (packed, &i) in packed.iter_mut().zip(places) {
        *packed = p[i];
    }
    // Whole groups of eight keep the loop free of a scalar remainder.
    let padded = count.next_multiple_of(8).min(BLOCK);
    for packed in &mut packed[..padded] {
        let q = *packed - 0.5;
        *packed = tail(0.5 - q.abs()).copysign(q);
    }
    for (packed, &i) in packed.iter().zip(places) {
        z[i] = *packed;
    }
}
