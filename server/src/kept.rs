//! # Pages that were drawn already
//!
//! A page of a design follows from its address alone, and a team opens the same link again and again: from a ticket, by Back,
//! after a reload. What was drawn is kept for the next one, as much as there is room for; `Cache-Control: no-cache` has it drawn
//! anew, with the same bytes.

use axum::http::HeaderMap;
use bytes::Bytes;
use quick_cache::Weighter;
use quick_cache::sync::Cache;

/// Bytes of pages and their addresses.
const ROOM_BYTES: usize = 16 * 1_024 * 1_024;
/// What a page has at most for being kept.
pub const MOST_BYTES: usize = 1_024 * 1_024;
/// A page of a design has about so many.
const USUAL_BYTES: usize = 100 * 1_024;

/// Pages that were drawn, by all that they follow from.
#[derive(Debug)]
pub struct Kept(Cache<String, Page, Weight>);

/// Headers and text of a page.
pub type Page = (HeaderMap, Bytes);

#[derive(Clone, Debug)]
struct Weight;

impl Weighter<String, Page> for Weight {
    fn weight(&self, address: &String, (_, page): &Page) -> u64 {
        (address.len() + page.len()) as u64
    }
}

impl Default for Kept {
    /// None yet.
    fn default() -> Self {
        Self(Cache::with_weighter(ROOM_BYTES / USUAL_BYTES, ROOM_BYTES as u64, Weight))
    }
}

impl Kept {
    /// The page that all this leads to, if it was drawn and is still kept.
    pub fn page(&self, of: &str) -> Option<Page> {
        self.0.get(of)
    }

    /// Keeps a page; others make room for it.
    pub fn keep(&self, of: String, page: Page) {
        self.0.insert(of, page);
    }
}
