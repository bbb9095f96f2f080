//! Cells of a line: parted by a sign, or by runs of spaces, quoted as in RFC 4180.

use std::ops::Range;

use super::fault::Wrong;

/// The most columns.
pub(super) const MOST_COLUMNS: usize = 256;

/// Where the cells of a line stand, without spaces around them and without their quotation marks.
pub(super) fn split(line: &[u8], separator: u8, cells: &mut Vec<Range<usize>>) -> Result<(), Wrong> {
    cells.clear();
    let spaces = |mut at: usize| {
        while line.get(at) == Some(&b' ') {
            at += 1;
        }
        at
    };
    let mut at = spaces(0);
    loop {
        if cells.len() == MOST_COLUMNS {
            return Err(Wrong::ManyColumns);
        }
        let (cell, end) = match line.get(at) {
            Some(b'"') => quoted(line, at + 1).ok_or(Wrong::Quote)?,
            _ => {
                let end = line[at..].iter().position(|byte| *byte == separator).map_or(line.len(), |end| at + end);
                let length = line[at..end].iter().rposition(|byte| *byte != b' ').map_or(0, |last| last + 1);
                (at..at + length, end)
            }
        };
        cells.push(cell);
        at = spaces(end);
        match line.get(at) {
            None => return Ok(()),
            Some(_) if separator == b' ' && at > end => {}
            Some(byte) if *byte == separator => at = spaces(at + 1),
            Some(_) => return Err(Wrong::Quote),
        }
    }
}

/// What stands up to the closing mark, and where the cell ends.
fn quoted(line: &[u8], from: usize) -> Option<(Range<usize>, usize)> {
    let mut at = from;
    loop {
        at += line.get(at..)?.iter().position(|byte| *byte == b'"')?;
        if line.get(at + 1) != Some(&b'"') {
            return Some((from..at, at + 1));
        }
        at += 2;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn cells(line: &str, separator: u8) -> Result<Vec<&str>, Wrong> {
        let mut found = Vec::new();
        split(line.as_bytes(), separator, &mut found)?;
        Ok(found.into_iter().map(|cell| &line[cell]).collect())
    }

    #[test]
    fn cells_are_parted_as_files_part_them() {
        assert_eq!(cells("1, 2 ,3", b','), Ok(vec!["1", "2", "3"]));
        assert_eq!(cells("1,,", b','), Ok(vec!["1", "", ""]));
        assert_eq!(cells("  1   2 ", b' '), Ok(vec!["1", "2"]));
        assert_eq!(cells("\"1,5\" ,\"a\"\"b\",2", b','), Ok(vec!["1,5", "a\"\"b", "2"]));
        assert_eq!(cells("\"1\" \"2\"", b' '), Ok(vec!["1", "2"]));
        assert_eq!(cells("", b','), Ok(vec![""]));
        for wrong in ["\"1", "\"1\"2,3", "1,\"", "\"\"\""] {
            assert_eq!(cells(wrong, b','), Err(Wrong::Quote), "{wrong}");
        }
        assert_eq!(cells(&",".repeat(255), b',').map(|cells| cells.len()), Ok(256));
        assert_eq!(cells(&",".repeat(256), b','), Err(Wrong::ManyColumns));
    }
}
