//! What an answer to a design holds: what is wanted of it.

use crate::calculation::Depth;
use crate::field::FieldError;

/// What an answer to a design may hold besides verdict, requirements, findings and link.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Member {
    /// The complete document.
    Input,
    /// Every part as its own page answers.
    Parts,
    /// The working of every part.
    Working,
    /// The values nearest to turning a verdict.
    Turning,
    /// What fails first and what turns it.
    Levers,
    /// What stands on values that nobody typed.
    OnStart,
    /// Where every value comes from.
    Origins,
    /// Limits for the end-of-line tester.
    TestLimits,
    /// Scaling words for firmware.
    ScalingWords,
    /// What follows from the pack alone.
    Pack,
    /// Cautions that the numbers make real.
    Cautions,
}

impl Member {
    /// Every member with its word in an address.
    pub const ALL: [(Self, &'static str); 11] = [
        (Self::Input, "input"),
        (Self::Parts, "parts"),
        (Self::Working, "working"),
        (Self::Turning, "turning"),
        (Self::Levers, "levers"),
        (Self::OnStart, "on_start"),
        (Self::Origins, "origins"),
        (Self::TestLimits, "test_limits"),
        (Self::ScalingWords, "scaling_words"),
        (Self::Pack, "pack"),
        (Self::Cautions, "cautions"),
    ];

    /// How deep the parts must be worked out for it.
    const fn depth(self) -> Depth {
        match self {
            Self::Input | Self::Turning | Self::Levers | Self::OnStart | Self::Origins | Self::Pack => {
                Depth::Requirements
            }
            Self::Parts | Self::Working | Self::TestLimits | Self::ScalingWords | Self::Cautions => Depth::Whole,
        }
    }
}

/// The members that are wanted.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Include(Vec<Member>);

impl Include {
    /// Every member.
    pub fn all() -> Self {
        Self(Member::ALL.map(|(member, _)| member).to_vec())
    }

    /// Reads words parted by commas; `all` is every member.
    ///
    /// # Errors
    /// A word that is none of them.
    pub fn read(words: &str) -> Result<Self, Vec<FieldError>> {
        let mut members = Vec::new();
        for word in words.split(',').map(str::trim).filter(|word| !word.is_empty()) {
            match Member::ALL.iter().find(|(_, other)| *other == word) {
                _ if word == "all" => return Ok(Self::all()),
                Some((member, _)) => members.push(*member),
                None => return Err(vec![unknown(word)]),
            }
        }
        Ok(Self(members))
    }

    /// Whether a member is wanted.
    pub fn has(&self, member: Member) -> bool {
        self.0.contains(&member)
    }

    /// How deep a design must be worked out.
    pub fn depth(&self) -> Depth {
        self.0.iter().map(|member| member.depth()).max().unwrap_or(Depth::Requirements)
    }
}

fn unknown(word: &str) -> FieldError {
    let words: Vec<&str> = Member::ALL.iter().map(|(_, word)| *word).collect();
    let got: String = word.chars().take(40).collect();
    FieldError {
        field: "/include".into(),
        code: "not-a-choice".into(),
        message: format!("There is nothing called \u{201c}{got}\u{201d} to include."),
        accepted: format!("all, or of: {}", words.join(", ")),
        got,
    }
}
