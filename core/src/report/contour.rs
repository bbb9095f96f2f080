//! # Lines of equal value
//!
//! Values at the points of a grid become lines on which they are equal. Between two neighbouring points a value is taken
//! to change evenly; where four points of a cell leave it open which line goes where, their mean decides.
//!
//! ```text
//! Symbols    xs, ys rising; value(i, j) at (xs[i], ys[j]), nothing where there is none: no line goes through its cells
//! Valid      any grid; a line that leaves the grid ends at its edge
//! Source     marching squares: textbook
//! ```

use std::collections::BTreeMap;

/// An edge of the grid: from point (i, j) to the next one along x, or along y.
type Edge = (bool, usize, usize);

/// The lines at a level, the longest first; each runs towards larger x.
pub fn lines(xs: &[f64], ys: &[f64], value: &dyn Fn(usize, usize) -> Option<f64>, level: f64) -> Vec<Vec<[f64; 2]>> {
    let mut next: BTreeMap<Edge, Vec<Edge>> = BTreeMap::new();
    for i in 0..xs.len().saturating_sub(1) {
        for j in 0..ys.len().saturating_sub(1) {
            for [from, to] in cell(i, j, value, level) {
                next.entry(from).or_default().push(to);
                next.entry(to).or_default().push(from);
            }
        }
    }
    let place = |(along_x, i, j): Edge| -> Option<[f64; 2]> {
        let (k, l) = if along_x { (i + 1, j) } else { (i, j + 1) };
        let (here, there) = (value(i, j)?, value(k, l)?);
        let share = (level - here) / (there - here);
        let between = |from: f64, to: f64| from + (to - from) * share;
        Some([between(*xs.get(i)?, *xs.get(k)?), between(*ys.get(j)?, *ys.get(l)?)])
    };
    let mut all = Vec::new();
    // Open lines begin where only one piece ends; what is left over is closed.
    let mut starts: Vec<Edge> = next.iter().filter(|(_, pieces)| pieces.len() == 1).map(|(edge, _)| *edge).collect();
    starts.extend(next.keys().copied());
    for start in starts {
        let mut line = Vec::new();
        let mut at = Some(start);
        while let Some(edge) = at {
            line.extend(place(edge));
            at = next.get_mut(&edge).and_then(Vec::pop);
            if let Some(back) = at.and_then(|to| next.get_mut(&to)) {
                back.retain(|other| *other != edge);
            }
        }
        if line.len() > 1 {
            if line.first().map(|from| from[0]) > line.last().map(|to| to[0]) {
                line.reverse();
            }
            all.push(line);
        }
    }
    all.sort_by_key(|line| std::cmp::Reverse(line.len()));
    all
}

/// The pieces of lines in a cell.
fn cell(i: usize, j: usize, value: &dyn Fn(usize, usize) -> Option<f64>, level: f64) -> Vec<[Edge; 2]> {
    let corners = [value(i, j), value(i + 1, j), value(i + 1, j + 1), value(i, j + 1)];
    let [Some(a), Some(b), Some(c), Some(d)] = corners else { return Vec::new() };
    let over = [a, b, c, d].map(|value| value >= level);
    let edges: [Edge; 4] = [(true, i, j), (false, i + 1, j), (true, i, j + 1), (false, i, j)];
    let crossed: Vec<Edge> =
        (0..4).filter(|side| over[*side] != over[(side + 1) % 4]).map(|side| edges[side]).collect();
    match crossed[..] {
        [from, to] => vec![[from, to]],
        [bottom, right, top, left] => {
            let joined = ((a + b + c + d) / 4.0 >= level) == over[0];
            if joined { vec![[bottom, right], [top, left]] } else { vec![[bottom, left], [right, top]] }
        }
        _ => Vec::new(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn grid(from: f64, to: f64, points: usize) -> Vec<f64> {
        (0..points).map(|step| from + (to - from) * step as f64 / (points - 1) as f64).collect()
    }

    /// Closed form: x + y = 1 is a straight line, and linear interpolation meets it exactly.
    #[test]
    fn a_plane_is_cut_in_its_straight_line() {
        let (xs, ys) = (grid(0.0, 1.0, 5), grid(0.0, 1.0, 4));
        let found = lines(&xs, &ys, &|i, j| Some(xs[i] + ys[j]), 1.0);
        assert_eq!(found.len(), 1);
        assert!(found[0].iter().all(|[x, y]| (x + y - 1.0).abs() < 1e-12));
        assert!(found[0].windows(2).all(|pair| pair[0][0] <= pair[1][0]));
        assert!(found[0][0][0].abs() < 1e-12 && (found[0].last().expect("ends")[0] - 1.0).abs() < 1e-12);
    }

    /// Closed form: the circle of radius 1 is one closed line, and its points lie within the error of interpolation.
    #[test]
    fn a_hill_is_cut_in_a_closed_line() {
        let xs = grid(-2.0, 2.0, 41);
        let found = lines(&xs, &xs, &|i, j| Some(xs[i].hypot(xs[j])), 1.0);
        assert_eq!(found.len(), 1);
        let (first, last) = (found[0][0], *found[0].last().expect("ends"));
        assert!((first[0] - last[0]).hypot(first[1] - last[1]) < 1e-12, "closed");
        assert!(found[0].iter().all(|[x, y]| (x.hypot(*y) - 1.0).abs() < 2e-3));
    }

    #[test]
    fn a_saddle_is_parted_by_its_mean_and_nothing_goes_through_a_gap() {
        let value = |i: usize, j: usize| Some(if i == j { 1.0 } else { 0.0 });
        assert_eq!(lines(&[0.0, 1.0], &[0.0, 1.0], &value, 0.6).len(), 2);
        let xs = grid(0.0, 2.0, 3);
        let gap = |i: usize, j: usize| (i != 1 || j != 1).then_some((i + j) as f64);
        assert!(lines(&xs, &xs, &gap, 1.5).is_empty());
        assert!(lines(&[], &[], &value, 0.5).is_empty());
    }
}
