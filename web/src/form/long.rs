//! A form of very many values: each group is one line, but for the first and for those that ask for something.
//!
//! In a design what was typed folds as well, since it is told in the words of the line. The page of a calculation has no
//! other place for it: a group with a change stands open there, and the first groups do, which say what it is about.

use super::{Piece, Row, words::as_they_start};

/// Rows that stand open before the groups are folded: beyond, nobody reads a form from top to bottom.
pub(super) const MANY: usize = 80;
/// The same in a design, whose rows stand beside the outcome and have two lines each.
const MANY_OF_DESIGN: usize = 50;
/// Rows of the first groups of a calculation alone that stand open.
const OPEN: usize = 40;

impl Row {
    /// Whether it may stand in a folded group: nothing is wrong with it, it was not changed and asks for no value.
    fn rests(&self) -> bool {
        let quiet = self.lean.as_ref().map_or(!self.changed, |lean| lean.was.is_none() && !lean.open);
        self.error.is_none() && quiet
    }
}

/// Folds the groups of a form that shows more rows than anybody reads.
pub(super) fn fold_long(pieces: Vec<Piece>) -> Vec<Piece> {
    let (mut folds, mut open, mut most) = (0_usize, 0, MANY);
    for piece in &pieces {
        match piece {
            Piece::Fold(_) => folds += 1,
            Piece::Unfold => folds -= 1,
            Piece::Row(row) if folds == 0 => {
                open += 1;
                if row.lean.is_some() {
                    most = MANY_OF_DESIGN;
                }
            }
            _ => {}
        }
    }
    if open <= most {
        return pieces;
    }
    let (mut told, mut group, mut depth, mut shown) = (Vec::with_capacity(pieces.len()), Vec::new(), 0_usize, 0);
    for piece in pieces {
        match piece {
            Piece::Open { .. } => depth += 1,
            Piece::Close => depth -= 1,
            _ => {}
        }
        let ends = depth == 0 && matches!(piece, Piece::Close);
        // What is folded already goes around its group.
        let around = group.is_empty() && depth == 0 && !ends;
        if around {
            told.push(piece);
        } else {
            group.push(piece);
        }
        if ends {
            shown += group.iter().filter(|piece| matches!(piece, Piece::Row(row) if row.lean.is_none())).count();
            let first = told.is_empty() || (1..=OPEN).contains(&shown);
            told.extend(folded(std::mem::take(&mut group), first));
        }
    }
    told
}

/// A group of the form, as one line where it may be.
fn folded(group: Vec<Piece>, first: bool) -> Vec<Piece> {
    let rows = || group.iter().filter_map(|piece| if let Piece::Row(row) = piece { Some(row) } else { None });
    let (Some(Piece::Open { legend, .. }), true) = (group.first(), !first && rows().all(|row| row.rests())) else {
        return group;
    };
    let words = match rows().filter(|row| row.changed).count() {
        // In a design these are one line already.
        0 if rows().any(|row| row.lean.is_some()) => return group,
        0 => as_they_start(legend, rows().count(), rows().next().map_or("", |row| &row.label)),
        1 => format!("{legend}: 1 value typed"),
        typed => format!("{legend}: {typed} values typed"),
    };
    let mut all = Vec::with_capacity(group.len() + 2);
    all.push(Piece::Fold(words));
    all.extend(group);
    all.push(Piece::Unfold);
    all
}
