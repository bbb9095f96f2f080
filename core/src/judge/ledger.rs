//! What takes requirements and remarks of a calculation.

use super::told::{Check, Words, sort};
use super::{Judged, THIN_FROM_PERCENT, Verdict};
use crate::quantity::in_sentence;
use crate::report::{Finding, Severity};

/// Takes requirements and remarks; makes words only when it was opened for a reader.
#[derive(Clone, Debug)]
pub struct Ledger {
    rows: Vec<Judged>,
    told: Option<Vec<Words>>,
    remarks: Vec<Finding>,
    thin_from_percent: f64,
    /// Places of requirements that stand open, and why.
    open: Vec<(usize, String)>,
}

impl Ledger {
    /// For numbers alone.
    pub const fn numbers() -> Self {
        Self {
            rows: Vec::new(),
            told: None,
            remarks: Vec::new(),
            thin_from_percent: THIN_FROM_PERCENT,
            open: Vec::new(),
        }
    }

    /// For a reader, who calls a requirement thin from this share on, in percent.
    pub const fn for_reader(thin_from_percent: f64) -> Self {
        Self { rows: Vec::new(), told: Some(Vec::new()), remarks: Vec::new(), thin_from_percent, open: Vec::new() }
    }

    /// The same, where requirements at some places in the order of the calculation stand open for a reason.
    #[must_use]
    pub fn leaving_open(mut self, open: &[(usize, String)]) -> Self {
        self.open = open.to_vec();
        self
    }

    /// Takes a requirement; its words are asked for only when somebody reads them.
    pub fn require(&mut self, one: Judged, words: impl FnOnce(&Judged) -> Words) {
        let open = self.open.iter().find(|(place, _)| *place == self.rows.len());
        let stands = open.map_or(one, |_| one.left_open());
        if let Some(told) = &mut self.told {
            let mut words = words(&one);
            if let Some((_, why)) = open.filter(|_| stands != one) {
                words.failure.clone_from(why);
            }
            told.push(words);
        }
        let one = stands;
        self.rows.push(one);
    }

    /// Takes a remark, which is no failure: it is asked for only when somebody reads it.
    pub fn remark(&mut self, finding: impl FnOnce() -> Finding) {
        if self.told.is_some() {
            self.remarks.push(finding());
        }
    }

    /// Takes a warning, when there is one to give.
    pub fn warn(&mut self, code: &'static str, at: &str, given: bool, message: impl FnOnce() -> String) {
        if given {
            self.remark(|| Finding::new(Severity::Warn, code, message()).at(at));
        }
    }

    /// Takes a note, when there is one to give.
    pub fn note(&mut self, code: &'static str, at: &str, given: bool, message: impl FnOnce() -> String) {
        if given {
            self.remark(|| Finding::new(Severity::Note, code, message()).at(at));
        }
    }

    /// The requirements as numbers, in the order in which they were taken.
    pub fn rows(&self) -> &[Judged] {
        &self.rows
    }

    /// The requirements as numbers, and nothing else.
    pub fn into_rows(self) -> Vec<Judged> {
        self.rows
    }

    /// The first requirement of a kind.
    pub fn find(&self, id: &str) -> Option<&Judged> {
        self.rows.iter().find(|one| one.id == id)
    }

    /// How one requirement stands.
    pub fn verdict_of(&self, one: &Judged) -> Verdict {
        one.outcome.verdict(self.thin_from_percent)
    }

    /// How many stand so.
    pub fn count(&self, verdict: Verdict) -> usize {
        self.rows.iter().filter(|one| self.verdict_of(one) == verdict).count()
    }

    /// The worst verdict.
    pub fn verdict(&self) -> Verdict {
        self.rows.iter().map(|one| self.verdict_of(one)).min().unwrap_or(Verdict::NoLimitSet)
    }

    /// How many requirements are open; nothing where one fails, or all are judged.
    pub fn open_in_words(&self) -> Option<String> {
        matches!(self.verdict(), Verdict::NotJudged | Verdict::NotResolved).then(|| {
            let open = self.count(Verdict::NotJudged) + self.count(Verdict::NotResolved);
            let asked = self.rows.len() - self.count(Verdict::NoLimitSet);
            let one = if asked == 1 { "requirement" } else { "requirements" };
            format!("{open} of {asked} {one} cannot be judged")
        })
    }

    /// The verdict in words: what fails, or that the rest holds; what is open is said before.
    pub fn in_words(&self, holding: &str) -> String {
        match self.verdict() {
            Verdict::Fails => {
                let worst = self.told().first().map_or_else(String::new, |row| in_sentence(&row.label));
                match self.count(Verdict::Fails) {
                    1 => format!("One requirement fails: {worst}"),
                    some => format!("{some} requirements fail, worst: {worst}"),
                }
            }
            Verdict::NotJudged | Verdict::NotResolved => "Nothing fails".into(),
            Verdict::Thin => format!("{holding}, with little left"),
            _ => holding.into(),
        }
    }

    /// The worst requirement: of equals the first.
    pub fn worst(&self) -> Option<&Judged> {
        let order = |one: &Judged| one.outcome.order(self.thin_from_percent);
        self.rows.iter().reduce(|worst, one| {
            let (best, new) = (order(worst), order(one));
            if new.0 < best.0 || (new.0 == best.0 && new.1 < best.1) { one } else { worst }
        })
    }

    /// The requirements as they are told, worst first, in the order in which they were taken among equals.
    pub fn told(&self) -> Vec<Check> {
        let mut checks = self.tell();
        sort(&mut checks);
        checks
    }

    /// What an engineer must know: the failures, in the order in which they were taken, warnings, notes.
    pub fn findings(&self) -> Vec<Finding> {
        let mut findings: Vec<Finding> = self.tell().iter().filter_map(Check::finding).collect();
        findings.extend(self.remarks.iter().cloned());
        findings.sort_by_key(|finding| finding.severity);
        findings
    }

    fn tell(&self) -> Vec<Check> {
        let told = self.told.as_deref().unwrap_or_default();
        let rows = self.rows.iter().zip(told).enumerate();
        rows.map(|(place, (one, words))| Check::tell(place, one, words, self.thin_from_percent)).collect()
    }
    /// Whether somebody reads it: what only remarks rest on is worked out then.
    pub const fn is_read(&self) -> bool {
        self.told.is_some()
    }
}
