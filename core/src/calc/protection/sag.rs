//! A voltage under load: what an under-voltage limit that follows the current costs on either side.

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

    /// Largest resistance and largest current, when both are given.
    pub(super) fn largest(&self) -> Option<(f64, f64)> {
        self.largest_ohm.zip(self.current_a)
    }

    /// What it takes on the side of operation and on that of the hazard.
    pub(super) fn takes(&self) -> Option<[f64; 2]> {
        let (largest, current_a) = self.largest()?;
        let follows = self.follows_ohm.unwrap_or(0.0);
        let smallest = self.smallest_ohm.unwrap_or(largest);
        let reading = self.error_a.unwrap_or(0.0) * follows;
        Some([largest - follows, follows - smallest].map(|ohm| (current_a * ohm).max(0.0) + reading))
    }
}
