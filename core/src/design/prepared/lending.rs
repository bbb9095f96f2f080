//! Lists that parts lend each other, when one of their numbers is another.

use super::{Borrowed, Ready, takes_list};
use crate::design::lending::Lends;
use crate::design::{Design, Part};

/// The lists that a part borrows.
pub(super) fn borrowed(design: &Design, part: &Part) -> Vec<Borrowed> {
    let list = |lent| match design.lends(part, lent) {
        Lends::List(list, lenders) if takes_list(design, part, lent).is_ok() => {
            let place = |lender: &&Part| design.parts.iter().position(|other| other == *lender);
            let rows = list.as_array().map_or(0, Vec::len);
            Some(Borrowed { lent, rows, lenders: lenders.iter().filter_map(place).collect() })
        }
        _ => None,
    };
    part.kind.lent.iter().filter_map(list).collect()
}

/// The numbers of borrowed lists that moved with a touched lender. Nothing where one of two equal lists alone moved: they
/// differ then.
pub(super) fn moved(parts: &[Ready], at: usize, touched: &[bool]) -> Option<Vec<(String, f64)>> {
    let mut list = Vec::new();
    for Borrowed { lent, rows, lenders } in &parts[at].lent {
        if lenders.iter().all(|lender| !touched[*lender]) {
            continue;
        }
        let cells = (0..*rows).flat_map(|row| lent.columns.iter().map(move |column| format!("/{row}/{column}")));
        for cell in cells {
            let of = |lender: &usize| parts[*lender].input.number(&format!("{}{cell}", lent.from));
            let value = lenders.first().and_then(of)?;
            if lenders.iter().any(|lender| of(lender) != Some(value)) {
                return None;
            }
            let to = format!("{}{cell}", lent.to);
            if parts[at].input.number(&to) != Some(value) {
                list.push((to, value));
            }
        }
    }
    Some(list)
}
