//! # Creepage along the chain
//!
//! Every element takes its share of the voltage over its own body, but a folded chain lays points side by side that are
//! far apart in voltage. The path between any two points is compared with what the voltage between them asks for.
//!
//! ```text
//! Formula    required = c · V_ij, V_ij = V m (1 + t)/(m (1 + t) + (n − m)(1 − t)), m = |i − j|: those between the points are
//!            high and the rest is low, as in `stress`; in one row |i − j| gaps; between rows √((rows apart · row gap)² + (places apart · gap)²)
//! Symbols    points 0 … n of the chain, c [mm/V], gap the smaller of body creepage and pad gap [mm]
//! Layout     rows of m elements, each row back under the one before; copper between two gaps does not insulate
//! Single     the element gap must also carry the largest share of n − 1 elements, one being short, and all of V where an open element is
//!            seen by no check
//! Valid      equal elements; plain board surface without slots; the shortest bypass is given where there is one
//! Source     geometry; mm per volt: as entered, the starting value from memory; which distance a standard asks for is
//!            not decided here
//! ```

use std::fmt;

use serde::{Serialize, Serializer};
use utoipa::ToSchema;

use super::stress::Elements;

/// The layout of the upper string.
#[derive(Clone, Copy, Debug)]
pub struct Fold {
    /// The elements, with all that parts their resistances.
    pub elements: Elements,
    /// Elements in a row.
    pub per_row: u32,
    /// Surface path over one element, mm.
    pub gap_mm: f64,
    /// Distance of two rows, mm.
    pub row_gap_mm: f64,
    /// Shortest way between the ends past the chain, mm.
    pub bypass_mm: Option<f64>,
    /// What a volt asks for, mm.
    pub mm_per_v: f64,
    /// The most that the string takes, V.
    pub string_v: f64,
    /// The same with one element short, V.
    pub one_short_v: f64,
    /// Voltage over an open element that no check sees, V.
    pub open_v: Option<f64>,
}

/// Which two points of the chain.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Between {
    /// The ends of one element.
    Element,
    /// The same while another element is short.
    OneShort,
    /// The ends of one element that is open and stays so, as no check sees it.
    OneOpen,
    /// The ends of the chain.
    Ends,
    /// The worst pair of all.
    Worst(u32, u32),
}

impl fmt::Display for Between {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Element => f.write_str("over one element"),
            Self::OneShort => f.write_str("over one element, another one short"),
            Self::OneOpen => f.write_str("over one element, open and unseen"),
            Self::Ends => f.write_str("between the ends of the chain"),
            Self::Worst(i, j) => write!(f, "worst pair of the layout, points {i} and {j}"),
        }
    }
}

impl Serialize for Between {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

/// Two points of the chain.
#[derive(Clone, Copy, Debug, Serialize, ToSchema)]
pub struct DividerPath {
    /// Which points.
    #[schema(value_type = String)]
    pub label: Between,
    /// First point, 0 is the input.
    pub from: u32,
    /// Second point.
    pub to: u32,
    /// Voltage between them, V.
    pub voltage_v: f64,
    /// Creepage that asks for, mm.
    pub required_mm: f64,
    /// Surface path there is, mm.
    pub available_mm: f64,
    /// Share that is used, percent.
    pub used_percent: f64,
}

impl Fold {
    fn count(&self) -> u32 {
        self.elements.count.max(1)
    }

    /// Row and place of a point, one for each row it belongs to: the turn between two rows lies in both.
    fn places(&self, point: u32) -> impl Iterator<Item = (f64, f64)> {
        let m = self.per_row.clamp(1, self.count());
        let rows = self.count().div_ceil(m);
        let (first, last) = (point.saturating_sub(1) / m, (point / m).min(rows - 1));
        (first..=last).map(move |row| {
            let along = point - row * m;
            // Even rows run to the right, odd ones back.
            let place = if row % 2 == 0 { along } else { m - along };
            (f64::from(row), f64::from(place))
        })
    }

    /// Surface path between two points, mm.
    fn distance_mm(&self, i: u32, j: u32) -> f64 {
        let mut shortest = f64::from(i.abs_diff(j)) * self.gap_mm;
        for (row, place) in self.places(i) {
            for (other_row, other_place) in self.places(j) {
                let across = (row - other_row).abs() * self.row_gap_mm;
                let along = (place - other_place).abs() * self.gap_mm;
                shortest = shortest.min(libm::hypot(across, along));
            }
        }
        shortest
    }

    fn path(&self, label: Between, i: u32, j: u32, voltage_v: f64, available_mm: f64) -> DividerPath {
        let required_mm = self.mm_per_v * voltage_v;
        DividerPath {
            label,
            from: i,
            to: j,
            voltage_v,
            required_mm,
            available_mm,
            used_percent: required_mm / available_mm * 100.0,
        }
    }

    /// Voltage between two points, V.
    fn between_v(&self, i: u32, j: u32) -> f64 {
        self.string_v * self.elements.share_of(f64::from(i.abs_diff(j)), f64::from(self.count()))
    }

    /// One element, one element after another is short, the two ends, and the worst pair of all points.
    pub fn paths(&self) -> Vec<DividerPath> {
        let n = self.count();
        let mut paths = vec![self.path(Between::Element, 0, 1, self.between_v(0, 1), self.gap_mm)];
        if n > 1 {
            let one_short = self.one_short_v * self.elements.unequal_share(f64::from(n - 1));
            paths.push(self.path(Between::OneShort, 0, 1, one_short, self.gap_mm));
        }
        if let Some(open_v) = self.open_v {
            paths.push(self.path(Between::OneOpen, 0, 1, open_v, self.gap_mm));
        }
        let ends = self.bypass_mm.unwrap_or(f64::INFINITY).min(self.distance_mm(0, n));
        paths.push(self.path(Between::Ends, 0, n, self.string_v, ends));
        let worst = (0..=n)
            .flat_map(|i| (i + 1..=n).map(move |j| (i, j)))
            // A point of the turn lies in both rows, so every distance between different points is positive.
            .map(|(i, j)| (i, j, self.distance_mm(i, j)))
            .max_by(|a, b| (self.between_v(a.0, a.1) / a.2).total_cmp(&(self.between_v(b.0, b.1) / b.2)));
        if let Some((i, j, distance)) = worst {
            paths.push(self.path(Between::Worst(i, j), i, j, self.between_v(i, j), distance));
        }
        paths
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const SIX: Elements = Elements {
        count: 6,
        resistance_ohm: 1e6,
        tolerance: 0.0,
        common: 0.0,
        tcr_per_k: 0.0,
        bend_per_v: 0.0,
        leak_ohm: f64::INFINITY,
        max_working_v: 200.0,
        overload_v: 400.0,
        rated_power_w: 0.25,
        derate_from_degc: 70.0,
        zero_power_degc: 155.0,
    };

    const FOLD: Fold = Fold {
        elements: SIX,
        per_row: 3,
        gap_mm: 1.9,
        row_gap_mm: 4.0,
        bypass_mm: None,
        mm_per_v: 0.01,
        string_v: 600.0,
        one_short_v: 600.0,
        open_v: None,
    };

    /// By hand: two rows of three lay the ends 0 and 6 side by side, 4 mm apart with the full 600 V between them; along
    /// the chain they would be 11.4 mm apart.
    #[test]
    fn a_folded_chain_lays_its_ends_side_by_side() {
        let paths = FOLD.paths();
        let ends = &paths[2];
        assert!((ends.available_mm - 4.0).abs() < 1e-12 && (ends.required_mm - 6.0).abs() < 1e-12);
        assert!((ends.used_percent - 150.0).abs() < 1e-9);
        let worst = &paths[3];
        assert_eq!((worst.from, worst.to), (0, 6));
        let straight = Fold { per_row: 6, ..FOLD }.paths();
        assert!((straight[2].available_mm - 11.4).abs() < 1e-12);
        let bypassed = Fold { per_row: 6, bypass_mm: Some(5.0), ..FOLD }.paths();
        assert!((bypassed[2].available_mm - 5.0).abs() < 1e-12);
    }

    /// Six elements of which one is 10 % high and five are 10 % low: 1.1/(1.1 + 5 · 0.9) of 600 V are 117.86 V; of five
    /// 1.1/(1.1 + 4 · 0.9), 140.43 V. Two that are high: 2.2/(2.2 + 3.6), 227.59 V. Voltages along a chain of resistors.
    #[test]
    fn unequal_elements_ask_for_more() {
        let unequal = Fold { elements: Elements { tolerance: 0.1, ..SIX }, ..FOLD };
        let paths = unequal.paths();
        assert!((paths[0].voltage_v - 117.857).abs() < 1e-3 && (paths[1].voltage_v - 140.426).abs() < 1e-3);
        assert!((unequal.between_v(1, 3) - 227.586).abs() < 1e-3 && (unequal.between_v(0, 6) - 600.0).abs() < 1e-9);
    }

    /// By hand: the turn, point 3, lies in both rows, so points 2 and 4 are two gaps apart along the copper of the turn or
    /// 4 mm across.
    #[test]
    fn the_shorter_way_counts_beside_the_turn() {
        assert!((FOLD.distance_mm(2, 4) - 3.8).abs() < 1e-12);
        assert!((FOLD.distance_mm(1, 5) - 4.0).abs() < 1e-12);
        assert!((FOLD.distance_mm(3, 3)).abs() < 1e-12);
        let open = Fold { open_v: Some(600.0), ..FOLD }.paths();
        assert!((open[2].required_mm - 6.0).abs() < 1e-12 && (open[2].available_mm - 1.9).abs() < 1e-12);
        let single = Fold { elements: Elements { count: 1, ..SIX }, per_row: 1, ..FOLD }.paths();
        assert!((single[0].available_mm - 1.9).abs() < 1e-12);
    }
}
