//! What channels and checks share: one cause that is in all of its users at once.

use super::goal::Reads;
use super::insert::Insert;
use super::names;
use crate::field::text;
use crate::input;

crate::choice! {
    /// What is shared.
    pub enum Shared {
        Reference = "reference", "Reference";
        Supply = "supply", "Supply";
        Clock = "clock", "Clock";
        Converter = "converter", "Converter";
        Link = "link", "Link";
        Connector = "connector", "Connector";
        Heat = "heat", "Heat";
    }
}

input! {
    /// A shared cause.
    pub struct Share {
        what: Shared = Shared::Reference.chosen(), "", "Shared", "Its faults are inserted once, into all that use it.";
        users: String = text(200, "voltage"), "", "Used by", "Parted by commas: current, voltage, temperature, link for their channels, and names of checks that compare two.";
    }
}

/// The channel of the link of a pre-charge.
pub const LINK: &str = "link";

impl Shared {
    /// Whether a fault of this kind sits in what is shared: both words begin alike.
    pub fn has(self, insert: Insert) -> bool {
        insert.word().split('-').next() == Some(self.word())
    }
}

impl Share {
    /// Whether a channel or a check uses it.
    pub fn is_used_by(&self, name: &str) -> bool {
        names(&self.users).any(|user| user == name)
    }
}

/// The names of channels that may share something.
pub fn channels() -> [&'static str; 4] {
    [Reads::Current.word(), Reads::Voltage.word(), Reads::Temperature.word(), LINK]
}
