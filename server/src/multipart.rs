//! # Bodies of several parts
//!
//! A form with a file, as RFC 7578 and RFC 2046 have it, read in pieces: what a part holds is given on as it comes, and
//! nothing is kept but the head of a part and what may be the beginning of a boundary.

use memchr::memmem::Finder;

/// The longest head of a part.
const MOST_HEAD: usize = 8 * 1_024;
/// The longest boundary (RFC 2046 section 5.1.1).
const MOST_BOUNDARY: usize = 70;

/// What comes next.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Event<'a> {
    /// A part of this name begins.
    Begin(&'a str),
    /// Some of what it holds.
    Data(&'a [u8]),
    /// It ends.
    End,
}

/// What is wrong with a body.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Wrong {
    /// A part has no name, or its head is too long or not to be read.
    Head,
    /// It ends before its last boundary.
    Cut,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum State {
    /// Before the first boundary.
    Before,
    /// Behind a boundary: the head of a part, or the end.
    Head,
    Inside,
    After,
}

/// A body of several parts.
#[derive(Debug)]
pub struct Parts {
    /// Line end, two dashes, the boundary.
    finder: Finder<'static>,
    held: Vec<u8>,
    state: State,
}

/// The boundary that a content type names.
pub fn boundary(kind: &str) -> Option<String> {
    let mut parameters = kind.split(';');
    if !parameters.next()?.trim().eq_ignore_ascii_case("multipart/form-data") {
        return None;
    }
    let boundary = parameters.find_map(|parameter| {
        let (name, value) = parameter.split_once('=')?;
        name.trim().eq_ignore_ascii_case("boundary").then(|| value.trim().trim_matches('"').to_owned())
    })?;
    (1..=MOST_BOUNDARY).contains(&boundary.len()).then_some(boundary)
}

impl Parts {
    /// Of this boundary.
    pub fn new(boundary: &str) -> Self {
        let finder = Finder::new(format!("\r\n--{boundary}").as_bytes()).into_owned();
        // The first boundary need not have a line end before it.
        Self { finder, held: b"\r\n".to_vec(), state: State::Before }
    }

    /// Takes a piece and tells what it holds.
    ///
    /// # Errors
    /// What is wrong with the body, or whatever `tell` gives.
    pub fn push<E: From<Wrong>>(
        &mut self,
        piece: &[u8],
        tell: &mut impl FnMut(Event) -> Result<(), E>,
    ) -> Result<(), E> {
        let mut held = std::mem::take(&mut self.held);
        if held.is_empty() {
            let kept = self.read(piece, tell)?;
            held.extend_from_slice(&piece[piece.len() - kept..]);
        } else {
            held.extend_from_slice(piece);
            let kept = self.read(&held, tell)?;
            held.drain(..held.len() - kept);
        }
        self.held = held;
        Ok(())
    }

    /// Reads what is there; how many bytes at the end are not understood yet.
    fn read<E: From<Wrong>>(
        &mut self,
        mut rest: &[u8],
        tell: &mut impl FnMut(Event) -> Result<(), E>,
    ) -> Result<usize, E> {
        let length = self.finder.needle().len();
        loop {
            match self.state {
                State::Before | State::Inside => {
                    let found = self.finder.find(rest);
                    // What may be the beginning of a boundary waits.
                    let safe = found.unwrap_or_else(|| rest.len().saturating_sub(length - 1));
                    if self.state == State::Inside && safe > 0 {
                        tell(Event::Data(&rest[..safe]))?;
                    }
                    rest = &rest[safe..];
                    if found.is_none() {
                        return Ok(rest.len());
                    }
                    if self.state == State::Inside {
                        tell(Event::End)?;
                    }
                    rest = &rest[length..];
                    self.state = State::Head;
                }
                State::Head => {
                    if rest.len() < 2 {
                        return Ok(rest.len());
                    }
                    if rest.starts_with(b"--") {
                        self.state = State::After;
                        continue;
                    }
                    let Some(end) = memchr::memmem::find(rest, b"\r\n\r\n") else {
                        return if rest.len() > MOST_HEAD { Err(Wrong::Head.into()) } else { Ok(rest.len()) };
                    };
                    let name = name(&rest[..end]).filter(|_| end <= MOST_HEAD).ok_or(Wrong::Head)?;
                    tell(Event::Begin(&name))?;
                    rest = &rest[end + 4..];
                    self.state = State::Inside;
                }
                State::After => return Ok(0),
            }
        }
    }

    /// Whether the last boundary has come.
    ///
    /// # Errors
    /// It has not.
    pub fn finish(&self) -> Result<(), Wrong> {
        if self.state == State::After { Ok(()) } else { Err(Wrong::Cut) }
    }
}

/// The name of a part, from its head.
fn name(head: &[u8]) -> Option<String> {
    let head = std::str::from_utf8(head).ok()?;
    let disposition = head.split("\r\n").find_map(|line| {
        let (name, value) = line.split_once(':')?;
        name.trim().eq_ignore_ascii_case("content-disposition").then_some(value)
    })?;
    disposition.split(';').skip(1).find_map(|parameter| {
        let (key, value) = parameter.split_once('=')?;
        key.trim().eq_ignore_ascii_case("name").then(|| value.trim().trim_matches('"').to_owned())
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Names, and what the parts hold.
    type Found = Vec<(String, Vec<u8>)>;

    fn read(body: &[u8], length: usize) -> (Found, Result<(), Wrong>) {
        let (mut parts, mut found) = (Parts::new("b"), Vec::new());
        for piece in body.chunks(length) {
            let told = parts.push(piece, &mut |event| {
                match event {
                    Event::Begin(name) => found.push((name.to_owned(), Vec::new())),
                    Event::Data(data) => found.last_mut().expect("a part").1.extend_from_slice(data),
                    Event::End => {}
                }
                Ok::<(), Wrong>(())
            });
            if told.is_err() {
                return (found, told);
            }
        }
        (found, parts.finish())
    }

    #[test]
    fn parts_are_the_same_whatever_the_pieces() {
        let body = b"before\r\n--b\r\nContent-Disposition: form-data; name=\"a\"\r\n\r\n\r\n--b\r\n\
            content-disposition: form-data; name=file; filename=\"x; y.csv\"\r\nContent-Type: text/csv\r\n\r\n\
            1,2\r\n--\r\n--c\r\n3\r\n--b--\r\nafter --b";
        let expected = vec![("a".to_owned(), Vec::new()), ("file".to_owned(), b"1,2\r\n--\r\n--c\r\n3".to_vec())];
        for length in 1..body.len() {
            assert_eq!(read(body, length), (expected.clone(), Ok(())), "{length}");
        }
        assert_eq!(read(&body[..body.len() - 20], 7).1, Err(Wrong::Cut));
        assert_eq!(read(b"--b\r\nX: y\r\n\r\n1\r\n--b--", 5).1, Err(Wrong::Head));
        assert_eq!(read(&[b"--b\r\n".as_slice(), &vec![b'x'; 10_000]].concat(), 100).1, Err(Wrong::Head));
    }

    #[test]
    fn a_boundary_is_named_by_the_content_type() {
        let named = |kind| boundary(kind);
        assert_eq!(named("multipart/form-data; boundary=\"a b\"").as_deref(), Some("a b"));
        assert_eq!(named("Multipart/Form-Data; charset=utf-8; Boundary=x").as_deref(), Some("x"));
        for none in ["multipart/mixed; boundary=x", "multipart/form-data", "multipart/form-data; boundary=", ""] {
            assert_eq!(named(none), None, "{none}");
        }
    }
}
