//! # Where the nodes of a table go
//!
//! Straight lines between nodes must stay within an error of the curve at every code. With nodes on the curve the longest
//! line that holds is taken each time. When node values may leave the curve by the same error, lines get longer by about
//! √2: from each node the steepest or flattest line that holds is followed, and the next node sits on it where the line
//! after it reaches farthest.
//!
//! ```text
//! Window     the slopes from (i, v) that stay within ±e at all codes up to k: [max (t_k − e − v)/(k − i), min (t_k + e − v)/(k − i)]
//! On curve   the farthest j whose value, rounded, lies on a slope of the window; optimal where the curve bends one way
//! Offset     greedy with one look ahead over at most 96 places of a line
//! Estimate   local length √(8 e/|T''|), so about ∫ √(|T''|/(8 e)) dc + 1 nodes on the curve
//! Source     visibility in a corridor (minimum-link paths); chord error h² |T''|/8 of a parabola
//! ```

/// A node: code less the first code, and value in output steps.
pub type Node = (usize, i64);

/// Places on a line that are tried for the next node.
const PLACES: usize = 96;
/// Values of the first node that are tried.
const FIRST_VALUES: i64 = 33;

/// The curve in output steps at every code, and how far a line may leave it.
#[derive(Clone, Copy, Debug)]
pub struct Corridor<'a> {
    /// Values in output steps.
    pub values: &'a [f64],
    /// Allowed deviation of a line, output steps; at least one half.
    pub allowed: f64,
}

/// How far a line from a node can go.
#[derive(Clone, Copy, Debug)]
struct Reach {
    /// The last code at which some line still holds.
    last: usize,
    /// The slope of the line that gets there.
    slope: f64,
}

/// Rounds to a whole output step; the values are far below 2^53.
#[expect(clippy::cast_possible_truncation, reason = "output steps are below a few million")]
pub const fn whole(value: f64) -> i64 {
    value.round() as i64
}

impl Corridor<'_> {
    /// The slopes allowed by code `k` for a line from a node.
    fn window(&self, (at, value): Node, k: usize) -> [f64; 2] {
        let run = (k - at) as f64;
        let rise = self.values[k] - value as f64;
        [(rise - self.allowed) / run, (rise + self.allowed) / run]
    }

    /// Nodes on the curve, rounded to output steps.
    pub fn on_curve(&self) -> Vec<Node> {
        let last = self.values.len() - 1;
        let mut nodes = vec![(0, whole(self.values[0]))];
        while let Some(&node) = nodes.last().filter(|node| node.0 < last) {
            let mut window = [f64::MIN, f64::MAX];
            let mut best = node.0 + 1;
            for k in node.0 + 1..=last {
                let slope = (whole(self.values[k]) - node.1) as f64 / (k - node.0) as f64;
                if window[0] <= slope && slope <= window[1] {
                    best = k;
                }
                let [low, high] = self.window(node, k);
                window = [window[0].max(low), window[1].min(high)];
                if window[0] > window[1] {
                    break;
                }
            }
            nodes.push((best, whole(self.values[best])));
        }
        nodes
    }

    fn reach(&self, node: Node) -> Reach {
        let mut window = [f64::MIN, f64::MAX];
        let mut last = node.0;
        for k in node.0 + 1..self.values.len() {
            let [low, high] = self.window(node, k);
            if low > window[1] {
                // The next code lies too high: the steepest line went farthest.
                return Reach { last, slope: window[1] };
            }
            if high < window[0] {
                return Reach { last, slope: window[0] };
            }
            window = [window[0].max(low), window[1].min(high)];
            last = k;
        }
        let end = self.window(node, last.max(node.0 + 1).min(self.values.len() - 1));
        Reach { last, slope: (0.5 * (end[0] + end[1])).clamp(window[0], window[1]) }
    }

    /// Whether the line from one node to another holds at every code between them and at its end.
    fn holds(&self, from: Node, to: Node) -> bool {
        let slope = (to.1 - from.1) as f64 / (to.0 - from.0) as f64;
        (from.0 + 1..=to.0).all(|k| {
            let [low, high] = self.window(from, k);
            low <= slope && slope <= high
        })
    }

    /// Nodes whose values may leave the curve.
    pub fn offset(&self) -> Vec<Node> {
        let last = self.values.len() - 1;
        let first = self.values[0];
        let room = self.allowed.floor();
        let start = (0..FIRST_VALUES)
            .map(|step| whole(first + room * (2.0 * step as f64 / (FIRST_VALUES - 1) as f64 - 1.0)))
            .filter(|value| (*value as f64 - first).abs() <= self.allowed)
            .map(|value| (0, value))
            .max_by_key(|node| self.reach(*node).last)
            .unwrap_or((0, whole(first)));
        let mut nodes = vec![start];
        while let Some(&node) = nodes.last().filter(|node| node.0 < last) {
            nodes.push(self.next(node));
        }
        nodes
    }

    /// The node after `node`: the end when a line gets there, otherwise the place on the farthest line from which the next
    /// line reaches farthest.
    fn next(&self, node: Node) -> Node {
        let end = self.values.len() - 1;
        let reach = self.reach(node);
        let on_line = |at: usize| node.1 as f64 + reach.slope * (at - node.0) as f64;
        let around = |at: usize| {
            let value = on_line(at);
            [whole(value.floor()), whole(value.ceil()), whole(self.values[at])]
        };
        if reach.last == end
            && let Some(value) = around(end).into_iter().find(|value| self.holds(node, (end, *value)))
        {
            return (end, value);
        }
        let step = ((reach.last - node.0) / PLACES).max(1);
        let mut best: Option<(usize, Node)> = None;
        let mut at = reach.last;
        while at > node.0 {
            for value in around(at) {
                let place = (at, value);
                // Only a place that may win is checked along its whole line.
                let far = self.reach(place).last;
                if (value as f64 - self.values[at]).abs() <= self.allowed
                    && best.is_none_or(|(reached, _)| far > reached)
                    && self.holds(node, place)
                {
                    best = Some((far, place));
                }
            }
            at = at.saturating_sub(step).max(node.0);
        }
        best.map_or((node.0 + 1, whole(self.values[node.0 + 1])), |(_, place)| place)
    }

    /// About how many nodes lie on the curve, from its bend.
    pub fn estimate(&self) -> f64 {
        let bends = self.values.windows(3).map(|three| (three[0] - 2.0 * three[1] + three[2]).abs());
        bends.map(|bend| (bend / (8.0 * self.allowed)).sqrt()).sum::<f64>() + 1.0
    }
}

/// Most nodes that are counted for the comparison.
const MOST_COMPARED: u32 = 600;
/// Codes at which the comparison is checked.
const COMPARED_CODES: usize = 4096;

/// The smallest number of nodes, evenly placed by `place` (share of the range to code and value), that stays within the
/// allowed error; none when more than 600 are needed. Nodes need not fall on whole codes or output steps here.
pub fn evenly(corridor: &Corridor, place: impl Fn(f64) -> Option<[f64; 2]>) -> Option<u32> {
    let last = corridor.values.len() - 1;
    let step = last.div_ceil(COMPARED_CODES).max(1);
    (2..=MOST_COMPARED).find(|count| {
        let mut nodes: Vec<[f64; 2]> =
            (0..*count).filter_map(|k| place(f64::from(k) / f64::from(*count - 1))).collect();
        nodes.sort_by(|a, b| a[0].total_cmp(&b[0]));
        let mut segment = 1;
        nodes.len() >= 2
            && (0..=last).step_by(step).all(|code| {
                let x = code as f64;
                while segment + 1 < nodes.len() && nodes[segment][0] < x {
                    segment += 1;
                }
                let ([x0, y0], [x1, y1]) = (nodes[segment - 1], nodes[segment]);
                let line = y0 + (y1 - y0) * (x - x0) / (x1 - x0);
                (line - corridor.values[code]).abs() <= corridor.allowed
            })
    })
}

/// Integer interpolation exactly as the emitted C code has it: rounded to the nearest, halves away from zero.
pub fn interpolate(nodes: &[Node], code: usize) -> i64 {
    let at = nodes.partition_point(|node| node.0 < code).clamp(1, nodes.len() - 1);
    let ((x0, y0), (x1, y1)) = (nodes[at - 1], nodes[at]);
    let span = i64::try_from(x1 - x0).unwrap_or(1);
    let run = i64::try_from(code.saturating_sub(x0).min(x1 - x0)).unwrap_or(0);
    let product = (y1 - y0) * run;
    let half = span / 2;
    y0 + (if product >= 0 { product + half } else { product - half }) / span
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A parabola t = c²/2 has chords of length √(8 e): with e = 8 each line spans 8 codes, offset ones up to 11.
    #[test]
    fn a_parabola_needs_lines_of_known_length() {
        let values: Vec<f64> = (0..=800).map(|c| f64::from(c * c) / 2.0).collect();
        let corridor = Corridor { values: &values, allowed: 8.0 };
        assert_eq!(corridor.on_curve().len(), 101);
        assert!((corridor.estimate() - (1.0 + 799.0 / 8.0)).abs() < 1e-9);
        let offset = corridor.offset();
        assert!(offset.len() < 78, "{}", offset.len());
        for nodes in [corridor.on_curve(), offset] {
            assert_eq!((nodes[0].0, nodes[nodes.len() - 1].0), (0, 800));
            for (code, value) in values.iter().enumerate() {
                assert!((interpolate(&nodes, code) as f64 - value).abs() <= 8.5, "{code}");
            }
        }
    }

    #[test]
    fn interpolation_rounds_to_the_nearest() {
        let nodes = [(0, 0), (4, -10), (7, -9)];
        let read: Vec<i64> = (0..=7).map(|code| interpolate(&nodes, code)).collect();
        assert_eq!(read, [0, -3, -5, -8, -10, -10, -9, -9]);
    }
}
