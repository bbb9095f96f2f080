//! # Numbers as files write them
//!
//! Most numbers of a file have few digits: whole number and power of ten are exact doubles then, and one division rounds
//! once, which is the nearest double. All others go through the standard library, which is as exact and slower.
//!
//! ```text
//! Formula    x = ± m / 10^k, exact to the last bit for m ≤ 2^53 and k ≤ 22
//! Symbols    m the digits as a whole number, k digits behind the decimal sign
//! Accepted   sign, digits with one decimal sign among or beside them, exponent; no names, no thousands sign
//! Source     W. D. Clinger, "How to read floating point numbers accurately", PLDI 1990, section 5; digits in parallel after
//!            D. Lemire, "Number parsing at a gigabyte per second", Software: Practice and Experience 51 (2021) 1700
//! ```

use super::marks::same;

/// Powers of ten that are doubles.
const TEN: [f64; 23] = [
    1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18, 1e19, 1e20,
    1e21, 1e22,
];
/// Every whole number up to this is a double.
const EXACT: u64 = 1 << 53;
/// Digits that a 64-bit word holds for certain.
const MOST_DIGITS: usize = 19;

/// The number that stands between two places of a text, and nothing beside it.
///
/// Up to eight characters are taken in one word, the last one highest: the decimal sign is closed up, all bytes are checked
/// to be digits, and pairs of digits are put together in parallel. No branch depends on how many there are.
#[inline(always)]
pub(super) fn between(bytes: &[u8], from: usize, to: usize, decimal: u8) -> Option<f64> {
    const ZEROS: u64 = 0x3030_3030_3030_3030;
    const ABOVE_NINE: u64 = 0x7676_7676_7676_7676;
    const HIGHEST: u64 = 0x8080_8080_8080_8080;
    let negative = *bytes.get(from)? == b'-';
    let length = to.wrapping_sub(from + usize::from(negative));
    if length > 8 || length == 0 || to < 8 {
        return whole_cell(bytes.get(from..to)?, decimal);
    }
    let word = u64::from_le_bytes(*bytes.get(to - 8..)?.first_chunk()?);
    let mut digits = (word ^ ZEROS) & (u64::MAX << (8 * (8 - length)));
    let point = same(digits, u64::from_le_bytes([decimal; 8]) ^ ZEROS);
    let mut behind = 0;
    if point != 0 {
        let place = point.trailing_zeros() / 8;
        let before = (1 << (8 * place)) - 1;
        // What stands behind the sign stays, what stands before it moves up by one.
        digits = (digits & !(before << 8 | 0xFF)) | ((digits & before) << 8);
        behind = 7 - place as usize;
        if length == 1 {
            return None;
        }
    }
    if (digits.wrapping_add(ABOVE_NINE) | digits) & HIGHEST != 0 {
        return whole_cell(&bytes[from..to], decimal);
    }
    let pairs = (digits.wrapping_mul(10).wrapping_add(digits >> 8)) & 0x00FF_00FF_00FF_00FF;
    let fours = pairs.wrapping_mul(100).wrapping_add(pairs >> 16) & 0x0000_FFFF_0000_FFFF;
    let whole = fours.wrapping_mul(10_000).wrapping_add(fours >> 32) & 0xFFFF_FFFF;
    let value = whole as f64 / TEN[behind];
    // As a sign bit: a branch on the sign of a current is wrong every second time.
    Some(f64::from_bits(value.to_bits() | u64::from(negative) << 63))
}

/// A number of any length, digit by digit.
fn any(bytes: &[u8], from: usize, decimal: u8) -> Option<(f64, usize)> {
    let mut at = from;
    let sign = *bytes.get(at)?;
    let negative = sign == b'-';
    at += usize::from(negative || sign == b'+');
    let (mut whole, first) = (0_u64, at);
    while let Some(digit) = digit(bytes, at) {
        whole = whole.wrapping_mul(10).wrapping_add(digit);
        at += 1;
    }
    let mut digits = at - first;
    let mut behind = 0;
    if bytes.get(at) == Some(&decimal) {
        at += 1;
        let first = at;
        while let Some(digit) = digit(bytes, at) {
            whole = whole.wrapping_mul(10).wrapping_add(digit);
            at += 1;
        }
        behind = at - first;
        digits += behind;
    }
    if digits == 0 {
        return None;
    }
    let exponent = matches!(bytes.get(at), Some(b'e' | b'E'));
    if exponent || digits > MOST_DIGITS || whole > EXACT || behind >= TEN.len() {
        return hard(bytes, from, at, decimal, exponent);
    }
    let value = whole as f64 / TEN[behind];
    Some((if negative { -value } else { value }, at))
}

#[inline]
fn digit(bytes: &[u8], at: usize) -> Option<u64> {
    let digit = bytes.get(at)?.wrapping_sub(b'0');
    (digit < 10).then_some(u64::from(digit))
}

/// By the standard library, from the text up to `at`, and an exponent behind it.
#[cold]
fn hard(bytes: &[u8], from: usize, mut at: usize, decimal: u8, exponent: bool) -> Option<(f64, usize)> {
    if exponent {
        at += 1;
        at += usize::from(matches!(bytes.get(at), Some(b'+' | b'-')));
        let first = at;
        while digit(bytes, at).is_some() {
            at += 1;
        }
        if at == first {
            return None;
        }
    }
    let text = std::str::from_utf8(bytes.get(from..at)?).ok()?;
    let value = if decimal == b'.' { text.parse() } else { text.replace(',', ".").parse() };
    value.ok().map(|value| (value, at))
}

/// A cell that is a number and nothing else.
pub(super) fn whole_cell(cell: &[u8], decimal: u8) -> Option<f64> {
    any(cell, 0, decimal).filter(|(_, end)| *end == cell.len()).map(|(value, _)| value)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The standard library is the witness: it reads to the nearest double (Eisel and Lemire's algorithm, with a slow exact path).
    #[test]
    fn every_number_is_the_nearest_double() {
        let mut state = 1_u64;
        let mut next = move || {
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            state >> 16
        };
        let mut texts: Vec<String> = [
            "0",
            "-0",
            "+1",
            ".5",
            "5.",
            "-.25",
            "1e3",
            "1E-3",
            "1e400",
            "-1e400",
            "1e-400",
            "9007199254740993",
            "9007199254740992",
            "0.1",
            "123456789012345678901234567890",
            "0.00000000000000000000000000001",
            "1.7976931348623157e308",
            "2.2250738585072011e-308",
            "18446744073709551616",
            "00000000000000000000001.5",
        ]
        .map(str::to_owned)
        .to_vec();
        for _ in 0..200_000 {
            let (digits, point) = (next() % 22, next() % 24);
            let mut text = String::new();
            for place in 0..=digits {
                if place == point {
                    text.push('.');
                }
                text.push(char::from(b'0' + (next() % 10) as u8));
            }
            if next() % 4 == 0 {
                text = format!("-{text}");
            }
            if next() % 8 == 0 {
                text = format!("{text}e{}", next() % 40);
            }
            texts.push(text);
        }
        for text in texts {
            let expected: f64 = text.parse().expect("a number");
            let with_comma = text.replace('.', ",");
            let got = whole_cell(text.as_bytes(), b'.').expect(&text);
            let comma = whole_cell(with_comma.as_bytes(), b',').expect(&text);
            let amid = format!("12345678;{text};9");
            let amid = between(amid.as_bytes(), 9, 9 + text.len(), b'.').expect(&text);
            assert_eq!(amid.to_bits(), expected.to_bits(), "{text}");
            assert_eq!((got.to_bits(), comma.to_bits()), (expected.to_bits(), expected.to_bits()), "{text}");
        }
    }

    #[test]
    fn what_is_no_number_is_none() {
        for text in ["", "-", ".", "e5", "1e", "1e+", "nan", "inf", "1,5", "1.2.3", "0x10", "1 2", "--1", "1_000", "١"]
        {
            assert_eq!(whole_cell(text.as_bytes(), b'.'), None, "{text}");
            let amid = format!("12345678;{text};9");
            assert_eq!(between(amid.as_bytes(), 9, 9 + text.len(), b'.'), None, "{text}");
        }
    }
}
