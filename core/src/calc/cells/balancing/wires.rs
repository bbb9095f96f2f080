//! # Sense wires that carry the bleed current
//!
//! Two neighbouring cells share the wire between them. Which cells read wrong, and which way, depends on who bleeds: a cell
//! that bleeds alone reads low, a cell between two that bleed reads high, and inside a run of cells that bleed the currents
//! of a shared wire cancel, so that each takes more.
//!
//! ```text
//! Formula    mesh of a run of m cells: (r + 2 Rw) I_k − Rw (I_(k−1) + I_(k+1)) = V, r = R + Rs, I_0 = I_(m+1) = 0
//!            I_k = (V/r) [1 − (λ^k + λ^(m+1−k))/(1 + λ^(m+1))], λ + 1/λ = (r + 2 Rw)/Rw
//!            own reading −2 Rw I_1 of a run of one, −Rw (2 I_1 − I_2) of the last of a run; between two runs
//!            + Rw (I_end + I_end) of the longest runs
//! Symbols    V [V] cell, R, Rs, Rw [Ω] resistor, switch, wire, m cells of a run; any pattern of the channels that may be on
//! Valid      equal cells and resistors; the outermost cells have wires of their own
//! Source     mesh equations; checked against a nodal analysis of every pattern
//! ```

use super::{BalancingInput, BalancingWire};

/// A run of neighbouring cells that bleed.
#[derive(Clone, Copy, Debug)]
struct Run {
    /// V/r, A.
    full_a: f64,
    /// The root of the mesh; 0 without a wire.
    root: f64,
    cells: u32,
}

impl Run {
    fn new(input: &BalancingInput, cell_v: f64, cells: u32) -> Self {
        let r = input.bleed_ohm + input.switch_ohm;
        let w = input.wire_ohm;
        let root = if w > 0.0 {
            // 2 cosh of the exponent; the small root without a difference of near numbers.
            let half = 0.5 * (r / w) + 1.0;
            1.0 / (half + (half * half - 1.0).sqrt())
        } else {
            0.0
        };
        Self { full_a: cell_v / r, root, cells }
    }

    /// The current of a cell of it, counted from 1.
    fn current_a(self, cell: u32) -> f64 {
        let power = |n: u32| libm::pow(self.root, f64::from(n));
        let (near, far) = (power(cell), power(self.cells + 1 - cell));
        self.full_a * (1.0 - (near + far) / (1.0 + power(self.cells + 1)))
    }
}

/// What the wires do to the readings in the worst pattern.
pub(super) fn worst(input: &BalancingInput, cell_v: f64) -> BalancingWire {
    let (w, on) = (input.wire_ohm, input.channels_on);
    let end = |cells: u32| if cells == 0 { 0.0 } else { Run::new(input, cell_v, cells).current_a(1) };
    let own_v = -2.0 * w * end(1);
    // The channels that are on, shared by two runs, one on each side of the cell that reads high.
    let neighbour_v = w * (end(on - on / 2) + end(on / 2));
    // Apart are most a cell that bleeds alone and one that reads high: the lone one is one of its runs, or stands elsewhere.
    let beside = end(1) + end(on - 1);
    let elsewhere = end((on - 1) - (on - 1) / 2) + end((on - 1) / 2);
    let apart_v = w * beside.max(elsewhere) - own_v;
    // Where wires are much of the path the last cell of a run reads as low, and no lone one is needed.
    let last_v = |cells: u32| {
        let run = Run::new(input, cell_v, cells);
        if cells == 0 { 0.0 } else { w * (2.0 * run.current_a(1) - run.current_a(2)) }
    };
    let runs_v = neighbour_v + last_v(on - on / 2).max(last_v(on / 2));
    BalancingWire { own_v, neighbour_v, difference_v: apart_v.max(runs_v) }
}

/// The largest current of one channel, and the sum of the squares of all, in the pattern that heats most: one run.
pub(super) fn heat(input: &BalancingInput, cell_v: f64) -> (f64, f64) {
    let run = Run::new(input, cell_v, input.channels_on);
    let squares = (1..=input.channels_on).map(|cell| run.current_a(cell)).map(|a| a * a).sum();
    (run.current_a(input.channels_on.div_ceil(2)), squares)
}
