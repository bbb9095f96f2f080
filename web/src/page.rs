//! A calculation's page.
use crate::Outcome;
use sensewright_core::calculation::Room;
/// The page of a calculation.
pub fn room_page(room: &Room, typed: &[(String, String)], outcome: Outcome, origin: &str) -> String {
    format!("<h1>{}</h1>{typed:?}{:?}{origin}", room.meta.title, outcome.faults())
}
/// The parts of it that change with the values.
pub fn live_part(room: &Room, outcome: Outcome, origin: &str) -> String {
    room_page(room, &[], outcome, origin)
}
