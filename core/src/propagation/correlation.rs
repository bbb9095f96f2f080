//! # Correlation matrix
//!
//! Sources measured together are not independent; their correlation coefficients form a symmetric matrix with a unit
//! diagonal. No set of quantities can have a matrix with a negative eigenvalue, so such a matrix is refused.
//! Its lower triangular root turns independent normal deviates into correlated ones.
//!
//! ```text
//! Formula    R = L·Lᵀ,  w = L·z
//! Symbols    R correlation matrix [1], L lower triangular root [1], z independent and w correlated deviates [1]
//! Valid      −1 ≤ r_ij ≤ 1, R positive semi-definite; pivots down to 1e-10 count as zero
//! Source     JCGM 100:2008, 5.2.2 (equation 14); JCGM 101:2008, 6.4.8.4 (multivariate normal by Cholesky)
//! ```

use super::fault::Fault;
use super::source::Source;

/// Largest rounding difference accepted in the diagonal and between mirrored entries.
const ROUNDING: f64 = 1e-9;
/// Pivots of this size or smaller are zero: the quantity follows from those before it.
const PIVOT: f64 = 1e-10;
/// What may remain beside a zero pivot: the square root of the pivot's tolerance.
const REMAINDER: f64 = 1e-5;

/// A checked correlation matrix with its triangular root.
#[derive(Clone, Debug, PartialEq)]
pub struct Correlation {
    size: usize,
    /// Row by row.
    entries: Vec<f64>,
    /// Row by row, zero above the diagonal.
    root: Vec<f64>,
}

impl Correlation {
    /// Checks a matrix given row by row, in the order of the sources.
    pub fn new(rows: &[Vec<f64>]) -> Result<Self, Fault> {
        let size = rows.len();
        for (i, row) in rows.iter().enumerate() {
            if row.len() != size {
                return refuse(format!("row {} has {} entries, {size} are needed", i + 1, row.len()));
            }
            for (j, &r) in row.iter().enumerate() {
                let place = format!("row {}, column {}", i + 1, j + 1);
                if !(-1.0 - ROUNDING..=1.0 + ROUNDING).contains(&r) {
                    return refuse(format!("{place}: {r} is outside -1 to 1"));
                }
                if i == j && (r - 1.0).abs() > ROUNDING {
                    return refuse(format!("{place}: {r} on the diagonal must be 1"));
                }
                if rows.get(j).and_then(|mirror| mirror.get(i)).is_some_and(|m| (m - r).abs() > ROUNDING) {
                    return refuse(format!("{place}: {r} differs from its mirror entry"));
                }
            }
        }
        let entries: Vec<f64> = rows.iter().flatten().copied().collect();
        let root = root(&entries, size)?;
        Ok(Self { size, entries, root })
    }

    /// Number of sources.
    pub fn size(&self) -> usize {
        self.size
    }

    /// Correlation coefficient of two sources; 0 outside the matrix.
    pub fn get(&self, i: usize, j: usize) -> f64 {
        if i < self.size && j < self.size { self.entries[i * self.size + j] } else { 0.0 }
    }

    /// Row `i` of the triangular root up to the diagonal.
    pub(super) fn root_row(&self, i: usize) -> &[f64] {
        &self.root[i * self.size..=i * self.size + i]
    }

    /// Whether a source is correlated with any other.
    pub(super) fn involves(&self, i: usize) -> bool {
        (0..self.size).any(|j| j != i && self.get(i, j) != 0.0)
    }

    /// Root of the quadratic form of some terms, each with its place: √(Σ_i Σ_j r_ij t_i t_j).
    pub(super) fn root_of(&self, terms: &[(usize, f64)]) -> f64 {
        let largest = terms.iter().map(|(_, term)| term.abs()).fold(0.0, f64::max);
        if largest == 0.0 {
            return 0.0;
        }
        let row = |i: usize| terms.iter().map(|&(j, term)| self.get(i, j) * (term / largest)).sum::<f64>();
        let squares: f64 = terms.iter().map(|&(i, term)| (term / largest) * row(i)).sum();
        // A semi-definite matrix can leave nothing, which rounding may push below it.
        largest * squares.max(0.0).sqrt()
    }

    /// Checks that the matrix fits the sources.
    pub(super) fn check(&self, sources: &[Source]) -> Result<(), Fault> {
        if self.size != sources.len() {
            return refuse(format!("it has {} rows for {} sources", self.size, sources.len()));
        }
        for (i, source) in sources.iter().enumerate() {
            if source.common() > 0.0 && self.involves(i) {
                return refuse(format!(
                    "source {} is in a group and correlated as well; describe what it shares in one way only",
                    i + 1
                ));
            }
        }
        Ok(())
    }
}

fn refuse<T>(reason: String) -> Result<T, Fault> {
    Err(Fault::Correlation(reason))
}

/// Cholesky's root of a positive semi-definite matrix.
fn root(entries: &[f64], size: usize) -> Result<Vec<f64>, Fault> {
    let mut root = vec![0.0; size * size];
    for j in 0..size {
        for i in j..size {
            let mut left = entries[i * size + j];
            for k in 0..j {
                left -= root[i * size + k] * root[j * size + k];
            }
            if i == j {
                if left < -PIVOT {
                    return refuse(format!(
                        "not positive semi-definite: no quantities can have it (pivot {} is {left:.3e})",
                        j + 1
                    ));
                }
                root[j * size + j] = if left <= PIVOT { 0.0 } else { left.sqrt() };
            } else if root[j * size + j] > 0.0 {
                root[i * size + j] = left / root[j * size + j];
            } else if left.abs() > REMAINDER {
                return refuse(format!(
                    "not positive semi-definite: row {} contradicts the rows that row {} follows from",
                    i + 1,
                    j + 1
                ));
            }
        }
    }
    Ok(root)
}
