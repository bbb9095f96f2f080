//! How every requirement of a design stands, and what another value changes of it.

use crate::design::prepared::{NOT_ASSESSED, OfPart};
use crate::judge::{Judged, Key, Outcome, Sense, Verdict};

/// A requirement, whatever else is judged beside it: its part, its word, which of several.
pub type Place = (usize, &'static str, Key);

/// How one requirement stands.
#[derive(Clone, Copy, Debug)]
pub struct Score {
    /// Its verdict.
    pub verdict: Verdict,
    /// The share of its allowance; nothing where it is no number.
    pub used: Option<f64>,
    /// What of its part it is not judged without.
    pub missing: Option<&'static str>,
}

impl Score {
    /// Whether it is thin or holds.
    pub fn holds(self) -> bool {
        matches!(self.verdict, Verdict::Thin | Verdict::Holds)
    }

    /// Whether it fails or cannot be told.
    fn open(self) -> bool {
        self.verdict < Verdict::Thin
    }
}

/// How a design stands.
#[derive(Debug)]
pub struct Standing<'a> {
    now: &'a [OfPart],
    thin_from_percent: f64,
    /// How many fail, and how many are not resolved or not judged.
    counts: [usize; 2],
}

/// What another value changes.
#[derive(Debug, Default)]
pub struct Change {
    /// Rows that fail now and hold then.
    pub turned: Vec<Place>,
    /// Rows that get a worse word, or are no longer judged.
    pub worse: Vec<Place>,
    /// Rows that nothing judges and of which more is asked, with what is reached now and then.
    pub strained: Vec<(Place, [f64; 2])>,
    /// Rows that are new and do not hold.
    pub appeared: usize,
    /// Other rows whose word is another one then: gone and new ones are among them.
    pub others: usize,
    /// How many fail then.
    pub fails: usize,
    /// How many are not resolved or not judged then.
    pub open: usize,
    /// How the row that was asked about stands then.
    pub row: Option<Score>,
}

impl<'a> Standing<'a> {
    /// The design as it is.
    pub fn new(now: &'a [OfPart], thin_from_percent: f64) -> Self {
        let mut one = Self { now, thin_from_percent, counts: [0; 2] };
        one.counts = now.iter().map(|rows| one.count(rows)).fold([0; 2], |sum, own| [sum[0] + own[0], sum[1] + own[1]]);
        one
    }

    /// How one requirement stands.
    pub fn score(&self, one: &Judged) -> Score {
        let missing = if let Outcome::NotJudged(missing) = one.outcome { Some(missing) } else { None };
        Score { verdict: one.outcome.verdict(self.thin_from_percent), used: one.outcome.used(), missing }
    }

    /// How a requirement stands among these of its part.
    pub fn find(&self, rows: &OfPart, (_, id, key): Place) -> Option<Score> {
        rows.as_ref().ok()?.iter().find(|one| one.id == id && one.key == key).map(|one| self.score(one))
    }

    /// How a requirement stands now.
    pub fn of(&self, place: Place) -> Option<Score> {
        self.find(&self.now[place.0], place)
    }

    /// How many of a part fail, and how many cannot be told: a part that cannot be asked is one of these.
    fn count(&self, rows: &OfPart) -> [usize; 2] {
        let Ok(rows) = rows else { return [0, 1] };
        let scores = || rows.iter().map(|one| self.score(one));
        let fails = scores().filter(|one| one.verdict == Verdict::Fails).count();
        [fails, scores().filter(|one| one.open()).count() - fails]
    }

    /// What parts that moved change, beside the row that is asked about; nothing where a part is refused then.
    pub fn change(&self, moved: &[(usize, OfPart)], asked: Place) -> Option<Change> {
        let mut change =
            Change { fails: self.counts[0], open: self.counts[1], row: self.of(asked), ..Change::default() };
        for (part, rows) in moved {
            let before = &self.now[*part];
            if rows.is_err() && rows != before {
                return None;
            }
            let (was, is) = (self.count(before), self.count(rows));
            (change.fails, change.open) = (change.fails + is[0] - was[0], change.open + is[1] - was[1]);
            if *part == asked.0 {
                change.row = self.find(rows, asked);
            }
            for one in before.iter().flatten() {
                let (place, now) = ((*part, one.id, one.key), self.score(one));
                let same = rows.iter().flatten().find(|other| other.id == one.id && other.key == one.key);
                let strain = same.filter(|_| place != asked).and_then(|then| strain(one, then));
                change.strained.extend(strain.map(|values| (place, values)));
                let then = self.find(rows, place);
                let stays = then.is_some_and(|then| then.verdict == now.verdict);
                change.others += usize::from(place != asked && !stays);
                match then {
                    _ if place == asked => {}
                    Some(then) if now.verdict == Verdict::Fails && then.holds() => change.turned.push(place),
                    Some(then) if worse(now, then) => change.worse.push(place),
                    // What was not assessed at all now is.
                    None if now.verdict != Verdict::NoLimitSet && one.id != NOT_ASSESSED => change.worse.push(place),
                    _ => {}
                }
            }
            let old = |one: &&Judged| self.find(before, (*part, one.id, one.key)).is_some();
            let new = || rows.iter().flatten().filter(|one| !old(one));
            change.appeared += new().filter(|one| self.score(one).open()).count();
            change.others += new().count();
        }
        Some(change)
    }

    /// Whether a change is offered: nothing gets worse, and fewer rows are open.
    pub fn gains(&self, change: &Change) -> bool {
        let fewer = change.fails + change.open < self.counts[0] + self.counts[1];
        change.worse.is_empty() && change.appeared == 0 && fewer
    }
}

/// What a row that nothing judges reaches now and then, where that is a tenth more towards a limit that is not known; and
/// what one that fails already takes of its limit in percent, where that is a tenth more.
fn strain(now: &Judged, then: &Judged) -> Option<[f64; 2]> {
    const TENTH: f64 = 1.1;
    let fails = |one: &Judged| one.outcome.used().filter(|used| *used > 1.0 && used.is_finite());
    if let (Some(was), Some(is)) = (fails(now), fails(then)) {
        return (is > TENTH * was).then_some([100.0 * was, 100.0 * is]);
    }
    let judged = |one: &Judged| one.outcome.used().is_some();
    let (was, is) = (now.achieved.filter(|_| !judged(now))?, then.achieved.filter(|_| !judged(then))?);
    let more = if matches!(now.sense, Sense::AtLeast | Sense::OfWhole) {
        was.abs() > TENTH * is.abs()
    } else {
        is.abs() > TENTH * was.abs()
    };
    more.then_some([was, is])
}

/// Whether a row gets a worse word: one without a limit was never judged, and one that loses it no longer is.
fn worse(now: Score, then: Score) -> bool {
    match (now.verdict, then.verdict) {
        (Verdict::NoLimitSet, _) => then.open(),
        (_, Verdict::NoLimitSet) => true,
        (now, then) => then < now,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::judge::Limit;
    use crate::quantity::Unit;

    fn row(id: &'static str, used: Option<f64>) -> Judged {
        let limit = used.map_or(Limit::NotAsked, |_| Limit::Given(1.0));
        Judged::new(id, "", Unit::One, Sense::AtMost, used, limit)
    }

    /// By hand: of four rows the asked one turns, one goes thin, one loses its limit, one fails that was not there.
    #[test]
    fn what_gets_worse_is_seen() {
        let now = [Ok(vec![row("a", Some(1.2)), row("b", Some(0.5)), row("c", Some(0.5)), row("d", Some(2.0))])];
        let standing = Standing::new(&now, 85.0);
        let then =
            vec![row("a", Some(0.9)), row("b", Some(0.9)), row("c", None), row("d", Some(0.1)), row("e", Some(3.0))];
        let change = standing.change(&[(0, Ok(then))], (0, "a", Key::One)).expect("it is judged");
        assert_eq!((change.fails, change.open, change.appeared), (1, 0, 1));
        assert_eq!(change.turned, [(0, "d", Key::One)]);
        assert_eq!(change.worse, [(0, "b", Key::One), (0, "c", Key::One)]);
        assert!(change.row.is_some_and(Score::holds) && !standing.gains(&change));
        assert!(standing.change(&[(0, Err(Vec::new()))], (0, "a", Key::One)).is_none());
        let alone = vec![row("a", Some(0.9)), row("b", Some(0.5)), row("c", Some(0.5)), row("d", Some(2.0))];
        let change = standing.change(&[(0, Ok(alone))], (0, "a", Key::One)).expect("it is judged");
        assert!(standing.gains(&change));
    }

    /// By hand: a current that nothing limits grows by half; one that shrinks, or is judged, is none of this.
    #[test]
    fn what_nobody_judges_and_grows_is_seen() {
        let open = |value: f64| Judged::new("c", "", Unit::Ampere, Sense::AtMost, value, Limit::Missing("/limit"));
        let reach = |value: f64| Judged::new("r", "", Unit::Ampere, Sense::AtLeast, value, Limit::Missing("/least"));
        let now = [Ok(vec![row("a", Some(1.2)), open(200.0), reach(3.0)])];
        let standing = Standing::new(&now, 85.0);
        let strained =
            |rows: Vec<Judged>| standing.change(&[(0, Ok(rows))], (0, "a", Key::One)).expect("it is judged").strained;
        let grown = strained(vec![row("a", Some(0.9)), open(300.0), reach(3.0)]);
        assert_eq!(grown, [((0, "c", Key::One), [200.0, 300.0])]);
        assert_eq!(strained(vec![row("a", Some(0.9)), open(100.0), reach(2.0)]), [((0, "r", Key::One), [3.0, 2.0])]);
        assert_eq!(strained(vec![row("a", Some(0.9)), open(210.0), reach(3.1)]), []);
        // One that fails already and takes half as much more of its limit.
        let now = [Ok(vec![row("a", Some(1.2)), row("f", Some(1.1))])];
        let standing = Standing::new(&now, 85.0);
        let rows = Ok(vec![row("a", Some(0.9)), row("f", Some(1.75))]);
        let [(place, [was, is])] =
            standing.change(&[(0, rows)], (0, "a", Key::One)).expect("it is judged").strained[..]
        else {
            panic!("one row")
        };
        assert_eq!((place, was.round(), is.round()), ((0, "f", Key::One), 110.0, 175.0));
    }
}
