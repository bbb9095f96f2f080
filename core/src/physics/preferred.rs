//! # Preferred values
//!
//! Resistors are made in values that step evenly on a logarithmic scale, rounded by the standard to two or three
//! digits. Half of the E24 list is E12, half of that E6, half of that E3; half of E192 is E96, half of that E48. The E24
//! values are no subset of E96: 18 of the 24 are in neither of the finer series.
//!
//! ```text
//! Formula    value ≈ 10^(i/N) rounded; the standard's lists differ from that in eight values of E24 and one of E192
//! Nearest    by arithmetic distance; of two equally near values the lower one
//! Source     IEC 60063:2015, tables 1 and 2
//! ```

crate::choice! {
    /// A series of preferred values.
    pub enum Series {
        E3 = "e3", "E3";
        E6 = "e6", "E6";
        E12 = "e12", "E12";
        E24 = "e24", "E24";
        E48 = "e48", "E48";
        E96 = "e96", "E96";
        E192 = "e192", "E192";
    }
}

/// E24, in tenths of the decade.
const E24: [u16; 24] = [10, 11, 12, 13, 15, 16, 18, 20, 22, 24, 27, 30, 33, 36, 39, 43, 47, 51, 56, 62, 68, 75, 82, 91];

/// E192, in hundredths of the decade.
#[rustfmt::skip]
const E192: [u16; 192] = [
    100, 101, 102, 104, 105, 106, 107, 109, 110, 111, 113, 114, 115, 117, 118, 120, 121, 123, 124, 126, 127, 129, 130, 132,
    133, 135, 137, 138, 140, 142, 143, 145, 147, 149, 150, 152, 154, 156, 158, 160, 162, 164, 165, 167, 169, 172, 174, 176,
    178, 180, 182, 184, 187, 189, 191, 193, 196, 198, 200, 203, 205, 208, 210, 213, 215, 218, 221, 223, 226, 229, 232, 234,
    237, 240, 243, 246, 249, 252, 255, 258, 261, 264, 267, 271, 274, 277, 280, 284, 287, 291, 294, 298, 301, 305, 309, 312,
    316, 320, 324, 328, 332, 336, 340, 344, 348, 352, 357, 361, 365, 370, 374, 379, 383, 388, 392, 397, 402, 407, 412, 417,
    422, 427, 432, 437, 442, 448, 453, 459, 464, 470, 475, 481, 487, 493, 499, 505, 511, 517, 523, 530, 536, 542, 549, 556,
    562, 569, 576, 583, 590, 597, 604, 612, 619, 626, 634, 642, 649, 657, 665, 673, 681, 690, 698, 706, 715, 723, 732, 741,
    750, 759, 768, 777, 787, 796, 806, 816, 825, 835, 845, 856, 866, 876, 887, 898, 909, 920, 931, 942, 953, 965, 976, 988,
];

/// Decades that are searched: 10⁻⁹ Ω to 10¹⁵ Ω.
const DECADES: std::ops::RangeInclusive<i32> = -9..=15;

impl Series {
    /// The values of one decade as whole numbers: two digits up to E24, three above.
    pub fn values(self) -> impl DoubleEndedIterator<Item = u16> + Clone {
        let (list, step): (&'static [u16], usize) = match self {
            Self::E3 => (&E24, 8),
            Self::E6 => (&E24, 4),
            Self::E12 => (&E24, 2),
            Self::E24 => (&E24, 1),
            Self::E48 => (&E192, 4),
            Self::E96 => (&E192, 2),
            Self::E192 => (&E192, 1),
        };
        list.iter().copied().step_by(step)
    }

    /// Power of ten of one unit of [`Self::values`] in the decade from 1 to 10.
    const fn digits(self) -> i32 {
        match self {
            Self::E3 | Self::E6 | Self::E12 | Self::E24 => 1,
            Self::E48 | Self::E96 | Self::E192 => 2,
        }
    }

    /// Every value from `low` to `high`, ascending; each is the correctly rounded double.
    pub fn between(self, low: f64, high: f64) -> Vec<f64> {
        DECADES
            .flat_map(|decade| self.values().map(move |value| scaled(value, decade - self.digits())))
            .filter(|value| low <= *value && *value <= high)
            .collect()
    }

    /// The value nearest to a positive `target` by arithmetic distance; none far outside every decade.
    pub fn nearest(self, target: f64) -> Option<f64> {
        let (below, above) = self.neighbours(target);
        match (below, above) {
            (Some(below), Some(above)) => Some(if target - below <= above - target { below } else { above }),
            (one, None) | (None, one) => one,
        }
        .filter(|_| target > 0.0)
    }

    /// The largest value not above `target` and the smallest one above it.
    pub fn neighbours(self, target: f64) -> (Option<f64>, Option<f64>) {
        if !(target > 0.0 && target.is_finite()) {
            return (None, None);
        }
        // A power of ten may land on either side by rounding, so one decade more is looked at on each side.
        #[expect(clippy::cast_possible_truncation, reason = "the logarithm of a double is a few hundred")]
        let decade = (libm::log10(target).floor() as i32).clamp(*DECADES.start(), *DECADES.end());
        let near = (decade - 1..=decade + 1)
            .flat_map(|decade| self.values().map(move |value| scaled(value, decade - self.digits())));
        let below = near.clone().take_while(|value| *value <= target).last();
        let above = near.into_iter().find(|value| *value > target);
        (below, above)
    }
}

/// `value · 10^power`: both factors are whole below 2⁵³, so one rounding is all there is.
fn scaled(value: u16, power: i32) -> f64 {
    let factor = libm::pow(10.0, f64::from(power.abs())).round();
    if power < 0 { f64::from(value) / factor } else { f64::from(value) * factor }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// IEC 60063:2015: number of values and their sum, the first digits of the coarse lists.
    #[test]
    fn every_series_has_its_values() {
        for (series, count, sum) in [
            (Series::E3, 3, 79),
            (Series::E6, 6, 195),
            (Series::E12, 12, 429),
            (Series::E24, 24, 901),
            (Series::E96, 96, 37_070),
            (Series::E192, 192, 74_599),
        ] {
            assert_eq!(series.values().count(), count, "{series:?}");
            assert_eq!(series.values().map(u32::from).sum::<u32>(), sum, "{series:?}");
        }
        assert_eq!(Series::E3.values().collect::<Vec<_>>(), [10, 22, 47]);
        assert_eq!(Series::E6.values().collect::<Vec<_>>(), [10, 15, 22, 33, 47, 68]);
        assert_eq!(Series::E12.values().collect::<Vec<_>>(), [10, 12, 15, 18, 22, 27, 33, 39, 47, 56, 68, 82]);
        assert!(Series::E192.values().any(|value| value == 920), "10^(185/192) rounds to 919, the standard says 920");
        let e96: Vec<u16> = Series::E96.values().collect();
        let shared: Vec<u16> = Series::E24.values().filter(|value| e96.contains(&(value * 10))).collect();
        assert_eq!(shared, [10, 11, 13, 15, 20, 75]);
        assert!(Series::E48.values().all(|value| e96.contains(&value)));
        // Off the formula 10^(i/24): 27 30 33 36 39 43 47 82, and only these.
        let odd: Vec<u16> = Series::E24
            .values()
            .enumerate()
            .filter(|(i, value)| (10.0 * libm::pow(10.0, *i as f64 / 24.0)).round() != f64::from(*value))
            .map(|(_, value)| value)
            .collect();
        assert_eq!(odd, [27, 30, 33, 36, 39, 43, 47, 82]);
        let odd: Vec<u16> = Series::E192
            .values()
            .enumerate()
            .filter(|(i, value)| (100.0 * libm::pow(10.0, *i as f64 / 192.0)).round() != f64::from(*value))
            .map(|(_, value)| value)
            .collect();
        assert_eq!(odd, [920]);
    }

    /// By hand from the lists.
    #[test]
    fn the_nearest_value_is_nearest_by_difference() {
        for (target, series, value) in [
            (4990.0, Series::E24, 5100.0),
            (5000.0, Series::E96, 4990.0),
            (5000.0, Series::E12, 4700.0),
            (1.37e6, Series::E24, 1.3e6),
            (1e6 / 7.0, Series::E96, 143e3),
            (123_456.0, Series::E192, 123e3),
            (9.9, Series::E12, 10.0),
            (1e3, Series::E6, 1e3),
            (0.47, Series::E24, 0.47),
        ] {
            assert_eq!(series.nearest(target), Some(value), "{series:?} {target}");
        }
        for odd in [0.0, -1.0, f64::NAN, f64::INFINITY] {
            assert_eq!(Series::E24.nearest(odd), None);
        }
    }

    #[test]
    fn a_range_holds_its_ends_and_ascends() {
        let values = Series::E6.between(10.0, 1000.0);
        assert_eq!(values.len(), 13);
        assert!(values.windows(2).all(|pair| pair[0] < pair[1]));
        assert_eq!((values[0], values[12]), (10.0, 1000.0));
    }
}
