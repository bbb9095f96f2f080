//! server
fn main() {}
