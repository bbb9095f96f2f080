//! A design as its path says it, and where the visit began.

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
        let (token, from) = path.split_once('~').map_or((path, None), |(token, from)| (token, Some(from)));
        let opened = link::open(token).map_err(Fault::BadLink)?;
        let began = from.and_then(|from| link::begun(&opened.design, from));
        Ok(Self { lost: from.is_some() && began.is_none(), opened, began })
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
        path_of(design, self.began.as_ref().unwrap_or_else(|| self.design()))
    }
}

/// The path of a design's overview, for a visit that began with another.
pub fn path_of(design: &Design, from: &Design) -> String {
    let token = link::token(design);
    match link::beginning(design, from).filter(|_| design != from) {
        Some(began) => format!("/worksheet/{token}~{began}/"),
        None => format!("/worksheet/{token}/"),
    }
}
