//! # How long an address may be
//!
//! Servers on the way take lines of 8 kB, as they are usually set up. What would be longer has no address: it is handed on
//! as a file, or sent in a body.

/// The most letters of an address, with scheme and host.
pub const MOST_LETTERS: usize = 8_000;
/// What is kept free for scheme and host, and for the page of a part.
const ROOM: usize = 200;

/// The address, where it is short enough for everybody on the way.
pub fn short_enough(address: String) -> Option<String> {
    (letters(address.len()) <= MOST_LETTERS).then_some(address)
}

/// The letters of a whole address whose path and query have so many.
pub const fn letters(path: usize) -> usize {
    path + ROOM
}
