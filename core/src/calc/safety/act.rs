//! What a mode does to a reading, as numbers.

/// What a mode does in a state.
#[derive(Clone, Copy, Debug)]
pub(super) enum Act {
    /// A part is another one.
    Part,
    /// A value of these is held, whatever is true.
    Held([f64; 2]),
    /// The same, which follows the true value: this part of the way to it is left.
    Follows([f64; 2], f64),
    /// Any reading of these.
    Any([f64; 2]),
    /// The reading stands here.
    Stands(f64),
    /// It comes to stand here from a value that is held.
    Settles(f64),
    /// It is behind the true value, which moves so fast, a second.
    Behind(f64),
    /// What is decided later counts as read so much lower: this for each part of the delay.
    Later(f64),
    /// A bit of so many steps is forced to a level.
    Bit { step: f64, weight: f64, high: bool, error: f64 },
    /// The reading follows the supply by this gain, within this share; beyond it stands here.
    Supply { gain: f64, within: f64, end: f64 },
    /// The sensor has lost its contact and sees this ambient, °C.
    Loose(f64),
}
