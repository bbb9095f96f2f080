//! Where separators and line ends stand, eight bytes at a time: the cells between them do not wait for each other then.

#![expect(clippy::inline_always, reason = "compiled once per kind of processor, inside the dispatching function")]

/// Bytes that are looked through at once.
pub(super) const WINDOW: usize = 16 * 1024;
const BLOCK: usize = 64;
/// Marks that are written at once; those beyond the count are written over.
const AT_ONCE: usize = 12;
/// The place before the first one, to which one is added.
const BEFORE: u32 = u32::MAX;
const LOW: u64 = 0x7F7F_7F7F_7F7F_7F7F;

/// Places of marks in a window.
#[derive(Debug, Default)]
pub(super) struct Marks {
    places: Vec<u32>,
    count: usize,
}

impl Marks {
    /// The place before the last window, and all marks of it: a cell stands between two neighbours.
    pub fn places(&self) -> &[u32] {
        &self.places[..self.count]
    }

    /// Looks through at most a window.
    #[inline(always)]
    pub fn find(&mut self, bytes: &[u8], separator: u8) {
        self.places.resize(1 + WINDOW + BLOCK + AT_ONCE, BEFORE);
        self.count = 1;
        let (separators, ends) = (every(separator), every(b'\n'));
        let bytes = &bytes[..bytes.len().min(WINDOW)];
        let (blocks, rest) = bytes.as_chunks::<BLOCK>();
        for (index, block) in blocks.iter().enumerate() {
            let mut found = 0;
            let (words, _) = block.as_chunks::<8>();
            for (place, word) in words.iter().enumerate() {
                let word = u64::from_le_bytes(*word);
                found |= bits(same(word, separators) | same(word, ends)) << (8 * place);
            }
            self.note(found, index * BLOCK);
        }
        let from = bytes.len() - rest.len();
        for (place, _) in rest.iter().enumerate().filter(|(_, byte)| **byte == separator || **byte == b'\n') {
            self.note(1, from + place);
        }
    }

    /// Writes down the set bits, from the lowest.
    #[inline(always)]
    fn note(&mut self, mut found: u64, from: usize) {
        #[expect(clippy::cast_possible_truncation, reason = "a window is short")]
        let from = from as u32;
        let count = found.count_ones() as usize;
        for piece in 0..count.div_ceil(AT_ONCE) {
            let at = self.count + piece * AT_ONCE;
            for place in &mut self.places[at..at + AT_ONCE] {
                *place = from.wrapping_add(found.trailing_zeros());
                found &= found.wrapping_sub(1);
            }
        }
        self.count += count;
    }
}

const fn every(byte: u8) -> u64 {
    u64::from_le_bytes([byte; 8])
}

/// The highest bit of each byte that is the same in both.
#[inline(always)]
pub(super) const fn same(word: u64, pattern: u64) -> u64 {
    let other = word ^ pattern;
    !(((other & LOW) + LOW) | other | LOW)
}

/// The highest bits of eight bytes side by side.
#[inline(always)]
const fn bits(highest: u64) -> u64 {
    (highest >> 7).wrapping_mul(0x0102_0408_1020_4080) >> 56
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_mark_is_found_and_nothing_else() {
        let mut state = 7_u32;
        let mut marks = Marks::default();
        for length in (0..700).chain([WINDOW - 1, WINDOW, WINDOW + 100]) {
            let bytes: Vec<u8> = (0..length)
                .map(|_| {
                    state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                    [b';', b'\n', b'1', 0xBB, 0x8A, 0x3A, b',', b'\r'][(state >> 29) as usize]
                })
                .collect();
            marks.find(&bytes, b';');
            let expected: Vec<u32> = (0_u32..)
                .zip(bytes.iter().take(WINDOW))
                .filter(|(_, b)| matches!(b, b';' | b'\n'))
                .map(|(at, _)| at)
                .collect();
            assert_eq!(marks.places()[0].wrapping_add(1), 0);
            assert_eq!(marks.places()[1..], expected, "{length}");
        }
    }
}
