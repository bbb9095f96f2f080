//! A part by itself.

use super::{Prepared, Ready};
use crate::design::{Head, Part};
use crate::field::Typed;

impl Prepared {
    /// A part by itself, with its input as typed: nothing is handed down to it, and nothing follows from a pack.
    pub fn alone(head: &Head, part: &Part, input: Box<dyn Typed>) -> Self {
        let ready = Ready {
            entry: part.entry(),
            kind: part.kind,
            pointer: part.pointer(),
            title: part.title(),
            links: Vec::new(),
            input,
            taken: Vec::new(),
            not_given: Vec::new(),
            left_out: Vec::new(),
            follows: Vec::new(),
            lent: Vec::new(),
            doubts: Vec::new(),
        };
        Self { head: head.clone(), parts: vec![ready], sources: Vec::new(), giving: Vec::new(), pairs: Vec::new() }
    }
}
