//! # Counter-based random numbers
//!
//! Each draw is a pure function of (seed, trial, stream): a block cipher with the seed as key encrypts the counter.
//! So any range of trials can be computed anywhere, in any order and on any number of threads, with the same result.
//! A stream is one deviate of the model: a source's own one or a group's common one.
//!
//! ```text
//! Formula    u = (w + ½) · 2^-32,  w = Philox4x32-10(counter, key) word
//! Symbols    w 32-bit word, u uniform number in 0 … 1 exclusive [1]
//!            counter = (low, high word of ⌊trial/256⌋·64 + trial mod 64, stream, 0), word (trial mod 256)/64
//! Valid      period 2^64 trials per stream, 2^32 streams, 2^64 seeds; u is symmetric about ½ and never 0 or 1
//! Source     Salmon, Moraes, Dror and Shaw, "Parallel random numbers: as easy as 1, 2, 3", SC11 (2011); known answers
//!            in the tests from the authors' published vectors
//! ```
#![expect(clippy::inline_always, reason = "must be compiled inside the vectorised Monte Carlo loop")]

/// Trials drawn together; part of the numbering of draws, so a change changes every result.
pub(super) const BLOCK: usize = 256;
/// One value per trial of a block.
pub(super) type Column = [f64; BLOCK];

const QUARTER: usize = BLOCK / 4;
const MULTIPLIER_0: u64 = 0xD251_1F53;
const MULTIPLIER_1: u64 = 0xCD9E_8D57;
const WEYL_0: u32 = 0x9E37_79B9;
const WEYL_1: u32 = 0xBB67_AE85;
const ROUNDS: usize = 10;
const LOW: u64 = 0xffff_ffff;
/// 2^-32.
const STEP: f64 = 1.0 / 4_294_967_296.0;

/// The ten round keys, each word widened to 64 bits.
#[inline(always)]
fn schedule(key: [u32; 2]) -> [[u64; 2]; ROUNDS] {
    let mut keys = [[0; 2]; ROUNDS];
    let [mut k0, mut k1] = key;
    for round in &mut keys {
        *round = [u64::from(k0), u64::from(k1)];
        k0 = k0.wrapping_add(WEYL_0);
        k1 = k1.wrapping_add(WEYL_1);
    }
    keys
}

/// The cipher on 32-bit words held in 64-bit ones: their products need the room, and vector units multiply just so.
#[inline(always)]
fn encrypt(mut c: [u64; 4], keys: &[[u64; 2]; ROUNDS]) -> [u64; 4] {
    for key in keys {
        let p0 = MULTIPLIER_0 * (c[0] & LOW);
        let p1 = MULTIPLIER_1 * (c[2] & LOW);
        c = [(p1 >> 32) ^ c[1] ^ key[0], p1 & LOW, (p0 >> 32) ^ c[3] ^ key[1], p0 & LOW];
    }
    c
}

/// The generator itself: four 32-bit words from a 128-bit counter and a 64-bit key.
pub fn philox4x32(counter: [u32; 4], key: [u32; 2]) -> [u32; 4] {
    #[expect(clippy::cast_possible_truncation, reason = "the cipher keeps the high halves zero")]
    encrypt(counter.map(u64::from), &schedule(key)).map(|word| word as u32)
}

/// The seed as a key.
#[inline(always)]
#[expect(clippy::cast_possible_truncation, reason = "the two halves of the seed are the two words of the key")]
fn key(seed: u64) -> [u32; 2] {
    [seed as u32, (seed >> 32) as u32]
}

/// The uniform number of one word.
#[inline(always)]
fn unit(word: u64) -> f64 {
    (whole(word) + 0.5) * STEP
}

/// The uniform number of one trial and one stream; runs draw the same ones, 256 at a time.
pub fn uniform(seed: u64, trial: u64, stream: u32) -> f64 {
    let block = trial / BLOCK as u64;
    let place = trial % BLOCK as u64;
    let counter = block * QUARTER as u64 + place % QUARTER as u64;
    let words = encrypt([counter & LOW, counter >> 32, u64::from(stream), 0], &schedule(key(seed)));
    unit(match place / QUARTER as u64 {
        0 => words[0],
        1 => words[1],
        2 => words[2],
        _ => words[3],
    })
}

/// The uniform numbers of one block of trials and one stream.
#[inline(always)]
pub(super) fn uniform_block(seed: u64, block: u64, stream: u32, out: &mut Column) {
    let keys = schedule(key(seed));
    let first = block * QUARTER as u64;
    let stream = u64::from(stream);
    let (a, rest) = out.split_at_mut(QUARTER);
    let (b, rest) = rest.split_at_mut(QUARTER);
    let (c, d) = rest.split_at_mut(QUARTER);
    for (j, (((a, b), c), d)) in a.iter_mut().zip(b).zip(c).zip(d).enumerate() {
        let counter = first + j as u64;
        let words = encrypt([counter & LOW, counter >> 32, stream, 0], &keys);
        *a = unit(words[0]);
        *b = unit(words[1]);
        *c = unit(words[2]);
        *d = unit(words[3]);
    }
}

/// 2^52 as bits: a whole number below 2^52 in the low bits of such a double is the number added to 2^52.
const TWO_52_BITS: u64 = 0x4330_0000_0000_0000;
const TWO_52: f64 = 4_503_599_627_370_496.0;

/// A whole number below 2^52 as a double, in a form every vector unit has.
#[inline(always)]
pub(super) fn whole(n: u64) -> f64 {
    f64::from_bits(TWO_52_BITS | n) - TWO_52
}
