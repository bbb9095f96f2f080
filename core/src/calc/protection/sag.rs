//! A voltage under load: what an under-voltage limit that follows the current costs on either side.

/// The two sides of a threshold.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Side {
    /// Allowed operation.
    Operation,
    /// The hazard.
    Hazard,
}

/// A voltage under load, as it was given.
#[derive(Clone, Copy, Debug, Default)]
pub struct Sag {
    /// Largest and smallest resistance of the cell, Ω.
    pub largest_ohm: Option<f64>,
    pub(super) smallest_ohm: Option<f64>,
    /// Largest current and its error, A.
    pub current_a: Option<f64>,
    pub(super) error_a: Option<f64>,
    /// The resistance with which the limit follows the current, Ω.
    pub follows_ohm: Option<f64>,
}

impl Sag {
    /// Whether anything of it is given.
    pub fn given(&self) -> bool {
        [self.largest_ohm, self.smallest_ohm, self.current_a, self.error_a, self.follows_ohm]
            .iter()
            .any(Option::is_some)
    }

    /// What is needed and not given: half of it is no sag of nothing.
    pub(super) fn missing(&self) -> Option<&'static str> {
        let follows = self.follows_ohm.is_some_and(|ohm| ohm > 0.0);
        match (self.largest_ohm, self.current_a, self.smallest_ohm, self.error_a) {
            _ if !self.given() => None,
            (None, ..) => Some("/sag_resistance_ohm"),
            (_, None, ..) => Some("/sag_current_a"),
            (_, _, None, _) if follows => Some("/sag_resistance_min_ohm"),
            (.., None) if follows => Some("/sag_current_error_a"),
            _ => None,
        }
    }

    /// The same of what one side takes: operation knows no smallest resistance, and a hazard nothing of a limit that stays.
    pub(super) fn missing_on(&self, side: Side) -> Option<&'static str> {
        let follows = self.follows_ohm.is_some_and(|ohm| ohm > 0.0);
        match side {
            _ if !self.given() => None,
            Side::Operation if self.largest_ohm.is_none() => Some("/sag_resistance_ohm"),
            Side::Hazard if !follows => None,
            _ if self.current_a.is_none() => Some("/sag_current_a"),
            Side::Hazard if self.smallest_ohm.is_none() => Some("/sag_resistance_min_ohm"),
            _ if follows && self.error_a.is_none() => Some("/sag_current_error_a"),
            _ => None,
        }
    }

    /// By how much a limit that follows the current lies lower under it; less where the error of the current is not known.
    pub(super) fn lowers(&self) -> f64 {
        let current_a = self.current_a.map_or(0.0, |current_a| current_a + self.error_a.unwrap_or(0.0));
        self.follows_ohm.unwrap_or(0.0) * current_a
    }

    /// Largest resistance and largest current, when both are given.
    pub(super) fn largest(&self) -> Option<(f64, f64)> {
        self.largest_ohm.zip(self.current_a)
    }

    /// What it takes on the side of operation and on that of the hazard; of what is not given nothing.
    pub(super) fn takes(&self) -> [f64; 2] {
        let current_a = self.current_a.unwrap_or(0.0);
        let follows = self.follows_ohm.unwrap_or(0.0);
        let reading = self.error_a.unwrap_or(0.0) * follows;
        let steeper = self.largest_ohm.map_or(0.0, |largest| largest - follows);
        let flatter = self.smallest_ohm.or(self.largest_ohm).map_or(0.0, |smallest| follows - smallest);
        [steeper, flatter].map(|ohm| (current_a * ohm).max(0.0) + reading)
    }
}
