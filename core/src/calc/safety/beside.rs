//! What a mode does as one of two faults: what of it stays unnoticed, what alone does no harm, what is seen when both stand.

/// A part of what a mode does.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Span {
    /// Onset where to where in the distribution of its magnitude.
    pub shares: [f64; 2],
    /// The lowest and the highest deviation there, in units of what harms.
    pub parts: [f64; 2],
}

/// Onset which size on a step is seen in time.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Onset {
    /// In units of what harms.
    pub size: f64,
    /// What filters pass of a step until the last look that is in time: what stood before is seen whole.
    pub passed: f64,
}

/// What a mode does to the reading as one of two faults, signed, in units of what harms.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Beside {
    /// What neither harms nor is noticed; nothing where there is none.
    pub quiet: Option<Span>,
    /// What alone does no harm.
    pub harmless: Option<Span>,
    /// What would harm downwards and upwards, and is seen in time by what looks at the whole deviation.
    pub covered: [Option<Span>; 2],
    /// Onset which size on a deviation downwards and upwards is seen in time, be there another before; nothing where it never is.
    pub seen: [Option<Onset>; 2],
}

/// Both of two spans.
pub fn around(one: Option<[f64; 2]>, other: Option<[f64; 2]>) -> Option<[f64; 2]> {
    [one, other].into_iter().flatten().reduce(|one, other| [one[0].min(other[0]), one[1].max(other[1])])
}

/// What holds both of two parts.
pub fn both(one: Option<Span>, other: Option<Span>) -> Option<Span> {
    let of = |part: fn(Span) -> [f64; 2]| around(one.map(part), other.map(part));
    of(|span| span.shares).zip(of(|span| span.parts)).map(|(shares, parts)| Span { shares, parts })
}

impl Beside {
    /// The worse of two states.
    #[must_use]
    pub fn worse(self, other: Self) -> Self {
        let later =
            |one: Onset, other: Onset| Onset { size: one.size.max(other.size), passed: one.passed.min(other.passed) };
        let seen = [0, 1].map(|side| self.seen[side].zip(other.seen[side]).map(|(one, other)| later(one, other)));
        Self {
            quiet: both(self.quiet, other.quiet),
            harmless: both(self.harmless, other.harmless),
            covered: [0, 1].map(|side| both(self.covered[side], other.covered[side])),
            seen,
        }
    }

    /// Counted towards what harms where that lies below.
    #[must_use]
    pub fn turned(self, turns: bool) -> Self {
        if !turns {
            return self;
        }
        let turn = |span: Span| Span { parts: [-span.parts[1], -span.parts[0]], ..span };
        let [down, up] = self.covered.map(|span| span.map(turn));
        let seen = [self.seen[1], self.seen[0]];
        Self { quiet: self.quiet.map(turn), harmless: self.harmless.map(turn), covered: [up, down], seen }
    }
}
