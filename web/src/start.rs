//! Start page.
use sensewright_core::calculation::Room;
use sensewright_core::demo::Demo;
/// The start page.
pub fn start_page(demos: &[Demo], catalogue: &[Room]) -> String {
    format!("<h1>Start</h1>{}{}", demos.len(), catalogue.len())
}
