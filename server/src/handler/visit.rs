//! A design as its path says it, and where the visit began.

use sensewright_core::calculation::ENGINE;
use sensewright_core::design::{Design, link};

use crate::error::Fault;

/// A design as its path says it, and where the visit began.
pub struct Visit {
    /// The design that is shown.
    pub opened: link::Opened,
    /// The design that the visit began with.
    pub began: Option<Design>,
    /// Why the page does not say where the visit began.
    lost: bool,
}

impl Visit {
    /// Opens a path: a token, or a token and a beginning.
    ///
    /// # Errors
    /// A link that cannot be opened.
    pub fn open(path: &str) -> Result<Self, Fault> {
        if path == "-" {
            return Err(carried_away());
        }
        let (token, from) = path.split_once('~').map_or((path, None), |(token, from)| (token, Some(from)));
        let opened = link::open(token).map_err(Fault::BadLink)?;
        let began = from.and_then(|from| link::begun(&opened.design, from));
        Ok(Self { lost: from.is_some() && began.is_none(), opened, began })
    }

    /// A visit that begins.
    pub fn new(design: Design) -> Self {
        Self { opened: link::Opened { design, engine: ENGINE.into() }, began: None, lost: false }
    }

    /// A visit that goes on with a changed design.
    #[must_use]
    pub fn onward(self, design: Design) -> Self {
        let began = self.began.or(Some(self.opened.design)).filter(|began| *began != design);
        Self { opened: link::Opened { design, engine: ENGINE.into() }, began, lost: self.lost }
    }

    /// The design.
    pub const fn design(&self) -> &Design {
        &self.opened.design
    }

    /// What to say of the link.
    pub fn notice(&self) -> Option<String> {
        let lost = "Where this visit began cannot be read, so nothing is said of what changed since.";
        self.opened.notice().or_else(|| self.lost.then(|| lost.into()))
    }

    /// The path of the overview of the design that this one becomes: it keeps where the visit began.
    pub fn path_of(&self, design: &Design) -> String {
        path_of(design, self.from())
    }

    /// What a form says of the design that this one becomes.
    pub fn token_of(&self, design: &Design) -> String {
        token_of(design, self.from())
    }

    fn from(&self) -> &Design {
        self.began.as_ref().unwrap_or_else(|| self.design())
    }
}

/// Somebody came without the form that a design without an address travels in.
fn carried_away() -> Fault {
    Fault::Lost {
        detail: "A design that is too long for an address travels in the form of its page: go back to that page, or open its file."
            .into(),
        ways: vec![["/worksheet#open-h".into(), "Open a design from a file".into()]],
    }
}

/// The path of a design's overview, for a visit that began with another; where it is too long it does not say the beginning,
/// and where that is too long as well, the design travels in a form.
pub fn path_of(design: &Design, from: &Design) -> String {
    let token = link::token(design);
    let whole = began(design, from).and_then(|began| link::address_of(&format!("{token}~{began}")));
    whole.or_else(|| link::address_of(&token)).unwrap_or_else(|| link::CARRIED.into())
}

/// What a form says of a design, for a visit that began with another.
pub fn token_of(design: &Design, from: &Design) -> String {
    let token = link::token(design);
    match began(design, from) {
        Some(began) => format!("{token}~{began}"),
        None => token,
    }
}

fn began(design: &Design, from: &Design) -> Option<String> {
    link::beginning(design, from).filter(|_| design != from)
}
