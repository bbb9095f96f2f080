//! What a part gives to those that rest on it: inputs as they are, how far it reads, its error at a point.

use super::{At, Handed, LeftOut, Prepared, Ready, Resting, Taken};
use crate::channel::counted::Counted;
use crate::design::pack::Pack;
use crate::design::section::Take;
use crate::judge::{Judged, THIN_FROM_PERCENT, Verdict};
use crate::quantity::{Quantity, Unit, say};
use crate::work::{Halt, Refused, Work};

/// Errors that are kept: a value that moves a point asks for another one each time.
const KEPT: usize = 64;
/// Voltages at which the largest error of a range is looked for, ends included.
const BETWEEN: usize = 9;
/// What an error that bends like a parabola may be larger between them: an eighth of the square of a quarter, times its
/// second difference, which is at most four times the largest of all.
const BEND: f64 = 1.0 + 4.0 / 8.0 / 16.0;

/// What a part gave: how far it reads, and its error at the points that somebody asked about.
#[derive(Clone, Debug, Default)]
pub(super) struct Giving {
    reads: Option<Reads>,
    /// What a count has to know, once it was asked.
    counted: Asked,
    /// Whether some requirement of it neither holds nor is thin, once it was asked.
    fails: Option<bool>,
    errors: Vec<(f64, Option<f64>)>,
}

/// What a channel gave to a count.
#[derive(Clone, Copy, Debug, Default)]
enum Asked {
    /// Nobody asked.
    #[default]
    NotYet,
    /// Nothing that could be counted.
    Nothing,
    /// These bounds.
    Bounds(Counted),
}

/// How far a part reads.
#[derive(Clone, Copy, Debug, Default)]
struct Reads {
    /// Whether it reads at all: what is no channel hands no error on.
    channel: bool,
    end: Option<f64>,
    below: Option<f64>,
    from_on: Option<f64>,
    stands: bool,
    /// What its error leaves out.
    missing: Option<&'static str>,
}

/// Even places between two values, ends included.
fn even((low, high): (f64, f64)) -> [f64; BETWEEN] {
    let last = (BETWEEN - 1) as f64;
    std::array::from_fn(|step| low + (high - low) * step as f64 / last)
}

impl Giving {
    fn at(&self, at: f64) -> Option<&(f64, Option<f64>)> {
        self.errors.iter().find(|(point, _)| point.total_cmp(&at).is_eq())
    }
}

impl Prepared {
    /// What a source gives to each of the parts that ask: one question for all their points.
    pub(super) fn given(
        &self,
        source: usize,
        asking: &[Resting],
        giving: &mut Giving,
        work: Work,
    ) -> Result<Vec<Taken>, Refused> {
        let Reads { channel, end, below, from_on, stands, missing } = self.reads(source, giving);
        let asking = || asking.iter().map(|one| (&self.parts[one.part], &self.parts[one.part].links[one.link]));
        let point = |part: &Ready, place: At| match place {
            At::Input(pointer) => part.input.number(pointer),
            At::Below(pointer) => part.input.number(pointer).map(|value| -value),
            At::Pack(of) => Some(of(&self.head.pack)),
        };
        let stands = end.filter(|_| stands);
        let mut points = Vec::new();
        for (part, link) in asking() {
            for carried in link.rests.carried {
                if let Take::Error(place) | Take::ErrorPercent(place) = carried.take {
                    let least = below.filter(|_| stands.is_some()).map_or(f64::NEG_INFINITY, |size| -size);
                    points.extend(point(part, place).map(|at| stands.map_or(at, |end| at.min(end)).max(least)));
                }
                if let Take::Largest(ends) = carried.take {
                    points.extend(self.between(ends));
                }
                if matches!(carried.take, Take::LargestRead) {
                    points.extend(from_on.zip(end).into_iter().flat_map(even));
                }
            }
        }
        let from = &self.parts[source];
        let errors = match channel {
            // What cannot be judged itself gives nothing, and says why.
            _ if from.taken.iter().any(Result::is_err) || from.entry.contradicts(&*from.input) => Err("gives no value"),
            _ if !from.not_given.is_empty() => Err("gives no value: something of it is not given"),
            _ if points.is_empty() => Ok(Vec::new()),
            true => Ok(self.errors(source, &points, giving, work)?),
            false => Err("hands no error on"),
        };
        let counts = |link: &super::Link| link.rests.carried.iter().any(|one| matches!(one.take, Take::Counted(_)));
        let counted = if errors.is_ok() && asking().any(|(_, link)| counts(link)) {
            self.counted(source, giving, work)?
        } else {
            None
        };
        let mut asked = points.iter().zip(errors.as_deref().unwrap_or_default());
        let mut all = Vec::with_capacity(asking().len());
        for (part, link) in asking() {
            let mut taken: Taken = Ok(Vec::with_capacity(link.rests.carried.len()));
            let refuse = |why: String| Some(Err(part.refuse(link, format!("{} {why}.", link.name))));
            for carried in link.rests.carried {
                let without = self.left_out(source, carried.take, missing);
                let hand = |at, value| Handed { to: carried.to, at, value, without };
                let one = match carried.take {
                    Take::Value(pointer) if errors.is_ok() => {
                        let value = from.input.number(pointer);
                        value.map(|value| Ok(hand(None, value)))
                    }
                    Take::Result(words) => match (&errors, from.entry.gives(&*from.input, words)) {
                        (Ok(_), Some(value)) => Some(Ok(hand(None, value))),
                        (Ok(_), None) => refuse(format!("gives no value: {words} does not follow from what is given")),
                        (Err(why), _) => refuse((*why).into()),
                    },
                    Take::Counted(of) => match (&errors, &counted) {
                        (Ok(_), Some(counted)) => Some(Ok(hand(None, of(counted)))),
                        (Ok(_), None) => refuse("gives no error that could be counted".into()),
                        (Err(why), _) => refuse((*why).into()),
                    },
                    Take::Largest(ends) => {
                        let all: Vec<Option<f64>> = asked.by_ref().take(BETWEEN).map(|(_, error)| *error).collect();
                        let largest = all.iter().try_fold(0.0, |most: f64, error| error.map(|error| most.max(error)));
                        match (&errors, largest) {
                            (Ok(_), Some(error)) => {
                                let at = Some(Quantity::new(ends[1](&self.head.pack), Unit::Volt));
                                Some(Ok(hand(at, BEND * error)))
                            }
                            (Ok(_), None) => refuse("gives no error over all voltages of the pack".into()),
                            (Err(why), _) => refuse((*why).into()),
                        }
                    }
                    Take::LargestRead => {
                        let many = from_on.zip(end).map_or(0, |_| BETWEEN);
                        let all: Vec<Option<f64>> = asked.by_ref().take(many).map(|(_, error)| *error).collect();
                        let largest = all.iter().try_fold(0.0, |most: f64, error| error.map(|error| most.max(error)));
                        let known = largest.filter(|_| errors.is_ok() && all.len() == BETWEEN);
                        known.map(|error| Ok(hand(None, BEND * error)))
                    }
                    Take::Known(words) => {
                        let value = from.entry.gives(&*from.input, words).filter(|_| errors.is_ok());
                        value.map(|value| Ok(hand(None, value)))
                    }
                    Take::Fails(but) if errors.is_ok() => {
                        let value = f64::from(u8::from(self.fails(source, but, giving, work)?));
                        Some(Ok(hand(None, value)))
                    }
                    Take::Full => end.map(|value| Ok(hand(None, value))),
                    Take::From => from_on.map(|value| Ok(hand(None, value))),
                    Take::FullBelow => below.map(|value| Ok(hand(None, value))),
                    Take::Value(_) => refuse("gives no value".into()),
                    Take::Error(place) | Take::ErrorPercent(place) if point(part, place).is_some() => {
                        let unit = part.unit(place);
                        match (&errors, asked.next()) {
                            (Ok(_), Some((&at, &Some(error)))) => {
                                let percent = matches!(carried.take, Take::ErrorPercent(_));
                                let value = if percent { error / at * 100.0 } else { error };
                                Some(Ok(hand(Some(Quantity::new(at, unit)), value)))
                            }
                            (Ok(_), Some((_, None))) if matches!(place, At::Below(_)) => None,
                            (Ok(_), Some((&at, None))) => refuse(format!("gives no error at {}", say(at, unit))),
                            (Err(why), _) => refuse((*why).into()),
                            (Ok(_), None) => refuse("gives no error".into()),
                        }
                    }
                    _ => None,
                };
                match (one, &mut taken) {
                    (Some(Ok(one)), Ok(list)) => list.push(one),
                    (Some(Err(faults)), Ok(_)) => taken = Err(faults),
                    _ => {}
                }
            }
            all.push(taken);
        }
        Ok(all)
    }

    /// What a value leaves out: what the error of a channel does, and what an error that was handed on to the part itself did.
    fn left_out(&self, source: usize, take: Take, missing: Option<&'static str>) -> Option<LeftOut> {
        let handed = || self.parts[source].taken.iter().flatten().flatten();
        let own = missing.map(|pointer| LeftOut { part: source, pointer });
        match take {
            Take::Error(_) | Take::ErrorPercent(_) | Take::Counted(_) | Take::Largest(_) | Take::LargestRead => own,
            reach if reach.is_reach() => own,
            Take::Value(pointer) => handed().find(|one| one.to == pointer).and_then(|one| one.without),
            Take::Known(_) | Take::Result(_) => handed().find_map(|one| one.without),
            // A row that stands open does not hold.
            _ => None,
        }
    }

    /// The voltages at which the largest error between two of the pack is looked for.
    fn between(&self, ends: [fn(&Pack) -> f64; 2]) -> [f64; BETWEEN] {
        let [low, high] = ends.map(|of| of(&self.head.pack));
        even((low, high))
    }

    /// What a count of a channel's readings has to know; asked once as long as it is kept.
    fn counted(&self, source: usize, giving: &mut Giving, work: Work) -> Result<Option<Counted>, Halt> {
        if matches!(giving.counted, Asked::NotYet) {
            let counted = match self.parts[source].entry.channel(self.input(source)) {
                Some(channel) => channel.counted(work)?,
                None => None,
            };
            giving.counted = counted.map_or(Asked::Nothing, Asked::Bounds);
        }
        Ok(match giving.counted {
            Asked::Bounds(counted) => Some(counted),
            Asked::NotYet | Asked::Nothing => None,
        })
    }

    /// Whether some requirement of a part, but for these, neither holds nor is thin; asked once as long as it is kept, since one
    /// kind of part asks for it.
    fn fails(&self, source: usize, but: &[&str], giving: &mut Giving, work: Work) -> Result<bool, Refused> {
        if let Some(fails) = giving.fails {
            return Ok(fails);
        }
        let stands = |row: &Judged| row.outcome.verdict(THIN_FROM_PERCENT) >= Verdict::Thin || but.contains(&row.id);
        let fails = !self.of_part(source, work)?.is_ok_and(|rows| rows.iter().all(stands));
        giving.fails = Some(fails);
        Ok(fails)
    }

    /// How far a part reads; asked once as long as it is kept.
    fn reads(&self, source: usize, giving: &mut Giving) -> Reads {
        *giving.reads.get_or_insert_with(|| match self.parts[source].entry.channel(self.input(source)) {
            None => Reads::default(),
            Some(channel) => Reads {
                channel: true,
                end: channel.full_at(),
                below: channel.full_below(),
                from_on: channel.reads_from(),
                stands: channel.stands(),
                missing: channel.missing(),
            },
        })
    }

    /// The errors at some points: those that are not kept in one question.
    fn errors(&self, source: usize, points: &[f64], giving: &mut Giving, work: Work) -> Result<Vec<Option<f64>>, Halt> {
        if giving.errors.len() > KEPT {
            giving.errors.clear();
        }
        let new: Vec<f64> = points.iter().copied().filter(|at| giving.at(*at).is_none()).collect();
        if let Some(channel) = self.parts[source].entry.channel(self.input(source)).filter(|_| !new.is_empty()) {
            let errors = channel.errors(&new, work)?;
            giving.errors.extend(new.into_iter().zip(errors));
        }
        Ok(points.iter().map(|at| giving.at(*at).and_then(|(_, error)| *error)).collect())
    }
}
