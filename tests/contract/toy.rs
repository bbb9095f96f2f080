//! What the core offers calculations that do not exist yet, shown by small ones that are in no catalogue: a part that rests
//! on two others, a list with a requirement a row, a requirement that is not judged, and one that its trials do not resolve.

use sensewright_core::calculation::{Calculation, Entry, Meta};
use sensewright_core::design::assess::assess;
use sensewright_core::design::on_start::OnStart;
use sensewright_core::design::prepared::Prepared;
use sensewright_core::design::section::{Carried, Kind, Rests, Section, Take, kind};
use sensewright_core::design::{Design, Part, answer, starts, summary};
use sensewright_core::field::{Notation, list, number, optional};
use sensewright_core::input;
use sensewright_core::judge::{Judged, Ledger, Limit, Outcome, Verdict, Words};
use sensewright_core::quantity::{Quantity, Unit, say};
use sensewright_core::report::{Step, View};
use sensewright_core::work::{Refused, Work};
use serde_json::{Map, Value, json};

input! {
    /// Gives a current.
    pub struct Given {
        current_a: f64 = number(Unit::Ampere, 0.0, 1e3, 1.0), "I", "Current", "That is handed on.";
    }
}

input! {
    /// A limit of its own.
    pub struct Limited {
        limit_a: f64 = number(Unit::Ampere, 0.0, 1e3, 5.0), "", "Limit", "Of the sum.";
    }
}

input! {
    /// Takes two currents.
    pub struct Taken {
        first_a: f64 = number(Unit::Ampere, 0.0, 1e3, 1.0), "", "First", "Taken from one part.";
        second_a: f64 = number(Unit::Ampere, 0.0, 1e3, 1.0), "", "Second", "Taken from another part.";
        rows: Vec<Limited> = list::<Limited>(0, 9, "5"), "", "Limits", "One a row.";
        trial_a: f64 = number(Unit::Ampere, 0.0, 1e3, 4.0), "", "Limit by trials", "That few trials cannot tell.";
        unknown_a: Option<f64> = optional(Unit::Ampere, 0.0, 1e3), "", "Limit nobody gave", "If known.";
    }
}

struct Source;
struct Sum;

impl Calculation for Source {
    const META: Meta = Meta { slug: "source", title: "Source", job: "Gives.", short: "", sources: &[] };
    type Input = Given;
    type Solved = ();
    type Output = f64;

    fn solve(_: &Given, _: Work) -> Result<(), Refused> {
        Ok(())
    }

    fn requirements(_: &Given, (): &(), _: &mut Ledger) {}

    fn detail(input: &Given, (): (), _: Work) -> Result<f64, Refused> {
        Ok(input.current_a)
    }

    fn working(_: &Given, _: &f64) -> Vec<Step> {
        Vec::new()
    }

    fn view(_: &Given, _: &f64, _: &Ledger) -> View {
        View { lead: "A source".into(), ..View::default() }
    }
}

impl Calculation for Sum {
    const META: Meta = Meta { slug: "sum", title: "Sum", job: "Adds.", short: "", sources: &[] };
    type Input = Taken;
    type Solved = f64;
    type Output = f64;

    fn solve(input: &Taken, _: Work) -> Result<f64, Refused> {
        Ok(input.first_a + input.second_a)
    }

    fn requirements(input: &Taken, sum: &f64, to: &mut Ledger) {
        let words = |label: String| {
            let sum = *sum;
            move |_: &Judged| Words::new(label, "as it stands", format!("The sum is {}.", say(sum, Unit::Ampere)))
        };
        for (index, row) in input.rows.iter().enumerate() {
            let one = Judged::at_most("sum.row", "/rows/{}/limit_a", Unit::Ampere, *sum, row.limit_a).row(index);
            to.require(one, words(format!("Limit of row {}", index + 1)));
        }
        let mut trials = Judged::at_most("sum.trials", "/trial_a", Unit::Ampere, *sum, input.trial_a);
        trials.outcome = Outcome::NotResolved { low: 0.9, high: 1.1, trials: 40_000 };
        to.require(trials, words("Limit by trials".into()));
        let limit = input.unknown_a.map_or(Limit::Missing("/unknown_a"), Limit::Given);
        let unknown = Judged::at_most("sum.unknown", "/unknown_a", Unit::Ampere, *sum, limit);
        to.require(unknown, words("Limit nobody gave".into()));
    }

    fn detail(_: &Taken, sum: f64, _: Work) -> Result<f64, Refused> {
        Ok(sum)
    }

    fn working(_: &Taken, sum: &f64) -> Vec<Step> {
        let sum = Quantity::new(*sum, Unit::Ampere);
        vec![Step::new("Sum", "I", "I1 + I2", "both".into(), sum, "closed form")]
    }

    fn view(_: &Taken, _: &f64, _: &Ledger) -> View {
        View { lead: "A sum".into(), ..View::default() }
    }
}

static SOURCES: Section =
    Section { key: "sources", title: "Sources", one: "Source", absent: "", kinds: &[kind::<Source>("", &[])], most: 4 };

const fn takes(named_at: &'static str, carried: &'static [Carried]) -> Rests {
    Rests {
        named_at,
        label: "Rests on",
        help: "",
        section: "sources",
        tag: "",
        carried,
        judged_here: &[],
        at_once: true,
    }
}

static SUMS: Section = Section {
    key: "sums",
    title: "Sums",
    one: "Sum",
    absent: "",
    kinds: &[Kind {
        rests: &[
            takes("/first_on", &[Carried { to: "/first_a", take: Take::Value("/current_a") }]),
            takes("/second_on", &[Carried { to: "/second_a", take: Take::Value("/current_a") }]),
        ],
        ..kind::<Sum>("", &[])
    }],
    most: 4,
};

fn part(section: &'static Section, index: usize, name: &str, rests_on: &[u32], input: &Value) -> Part {
    let (kind, rests_on) = (&section.kinds[0], rests_on.iter().map(|number| Some(*number)).collect());
    let mut whole = kind.entry.start().clone();
    whole.extend(input.as_object().cloned().unwrap_or_default());
    let number = u32::try_from(index).expect("few") + 1;
    let typed = whole.clone();
    Part { section, index, number, kind, name: name.into(), rests_on, typed, input: whole }
}

/// Two sources of 1 A and 2 A, and a sum that rests on both: 3 A against 4 A and 2 A, row by row.
fn design() -> Design {
    Design {
        parts: vec![
            part(&SOURCES, 0, "one", &[], &json!({"current_a": 1.0})),
            part(&SOURCES, 1, "two", &[], &json!({"current_a": 2.0})),
            part(&SUMS, 0, "sum", &[1, 2], &json!({"rows": [{"limit_a": 4.0}, {"limit_a": 2.0}]})),
        ],
        starts: starts::FIRST,
        ..Design::start()
    }
}

fn achieved(rows: &[Judged]) -> Vec<Option<f64>> {
    rows.iter().map(|row| row.achieved).collect()
}

#[test]
fn a_part_rests_on_two_others() {
    let design = design();
    let sum = &design.parts[2];
    assert_eq!(sum.handed_down().collect::<Vec<_>>(), ["/first_a", "/second_a"]);
    for source in &design.parts[..2] {
        assert_eq!(sum.resting_on(source).count(), 1);
    }
    let mut ready = Prepared::new(&design, Work::FREE).expect("it stands");
    let judged = ready.verdicts(Work::FREE).expect("nobody stops it").pop().expect("the sum").expect("judged");
    assert!(achieved(&judged).iter().all(|sum| *sum == Some(3.0)), "{judged:#?}");
    // One value of each source moves the sum, and only it and its source.
    for (pointer, value, sum) in [("/sources/0/current_a", 10.0, 12.0), ("/sources/1/current_a", 10.0, 11.0)] {
        let moved = ready.rejudge(pointer, value, Work::FREE).expect("nobody stops it").expect("a number");
        assert_eq!(moved.len(), 2, "{moved:#?}");
        let rows = moved[1].1.as_ref().expect("judged");
        assert!(moved[1].0 == 2 && achieved(rows).iter().all(|one| *one == Some(sum)), "{moved:#?}");
    }
    let again = ready.verdicts(Work::FREE).expect("nobody stops it").pop().expect("the sum").expect("judged");
    assert_eq!(again, judged);
    let assessed = assess(&design).expect("it stands");
    let carried: Vec<_> = assessed.parts[2].carried.iter().map(|one| (one.to, one.from.as_str(), one.value)).collect();
    assert_eq!(carried, [("/first_a", "one", 1.0), ("/second_a", "two", 2.0)]);
}

/// What one of two does not give leaves the part unjudged, at the place where it names that one.
#[test]
fn a_part_with_one_source_missing_is_not_assessed() {
    let mut design = design();
    design.parts[2].rests_on[1] = Some(3);
    let ready = Prepared::new(&design, Work::FREE).expect("it stands");
    let faults = ready.taken(2).expect_err("there is no part of this name");
    assert_eq!(faults.iter().map(|fault| fault.field.as_str()).collect::<Vec<_>>(), ["/sums/0/second_on"]);
    assert_eq!(assess(&design).expect("it is told").verdict(), Verdict::NotJudged);
    // Left typed, it counts with its own value.
    design.parts[2].rests_on[1] = None;
    design.parts[2].input["second_a"] = json!(7.0);
    let ready = Prepared::new(&design, Work::FREE).expect("it stands");
    assert_eq!(ready.input(2).number("/second_a"), Some(7.0));
    assert_eq!(ready.input(2).number("/first_a"), Some(1.0));
}

/// Every row of a list is judged against its own limit and points at it.
#[test]
fn a_list_has_a_requirement_a_row() {
    let assessed = assess(&design()).expect("it stands");
    let answer = answer::answer(&assessed, &answer::Include::default(), Work::FREE).expect("whole");
    let rows: Vec<_> =
        answer.result.requirements.iter().map(|row| &row.check).filter(|row| row.id == "sum.row").collect();
    let told: Vec<_> = rows.iter().map(|row| (row.label.as_str(), row.field.as_deref(), row.verdict)).collect();
    assert_eq!(
        told,
        [
            ("Limit of row 2", Some("/sums/0/rows/1/limit_a"), Verdict::Fails),
            ("Limit of row 1", Some("/sums/0/rows/0/limit_a"), Verdict::Holds),
        ]
    );
    let failing: Vec<_> = answer.findings.iter().map(|one| (one.code.as_str(), one.field.as_deref())).collect();
    assert_eq!(failing, [("sum.row", Some("/sums/0/rows/1/limit_a"))]);
}

/// An outcome that is neither good nor bad is told in row, headline, page and JSON, in its place of the order, and makes no
/// failure.
#[test]
fn what_is_not_judged_and_not_resolved_is_told_everywhere() {
    static SUM: Entry = Entry::of::<Sum>();
    let open = ["sum.trials", "sum.unknown"];
    let input = json!({"first_a": 1.0, "second_a": 2.0, "trial_a": 3.0, "rows": [{"limit_a": 4.0}]});
    let answer = SUM.answer(Some(&input), Notation::Json).expect("it stands");
    let verdicts: Vec<_> = answer.requirements.iter().map(|row| row.verdict).collect();
    assert_eq!(verdicts, [Verdict::NotResolved, Verdict::NotJudged, Verdict::Holds]);
    assert_eq!((answer.verdict(), answer.findings.len()), (Verdict::NotResolved, 0));

    let page = sensewright_web::entry_page(&SUM, &[], sensewright_web::Outcome::Solved(&answer), "");
    for words in ["Not resolved", "Not judged", "some 40000 trials would tell", "Limit nobody gave is not given"] {
        assert!(page.contains(words), "{words}");
    }

    let assessed = assess(&design()).expect("it stands");
    let order: Vec<&str> = assessed.requirements.iter().map(|row| row.check.id.as_str()).collect();
    assert_eq!(order, ["sum.row", "sum.trials", "sum.unknown", "sum.row"]);
    assert_eq!(
        summary::lead(&assessed),
        "1 of 4 requirements holds, 1 is not resolved, 1 is not judged, 1 fails: limit of row 2"
    );
    let told = answer::answer(&assessed, &answer::Include::default(), Work::FREE).expect("whole");
    let json = answer::write(&told);
    assert_eq!(json["result"]["verdict"]["not_resolved"], json!(1));
    assert_eq!(json["result"]["verdict"]["not_judged"], json!(1));
    let rows: Vec<&Map<String, Value>> =
        json["result"]["requirements"].as_array().expect("rows").iter().filter_map(Value::as_object).collect();
    let word = |id: &str| rows.iter().find(|row| row["id"] == id).expect("the row")["verdict"].clone();
    assert_eq!(open.map(word), [json!("not-resolved"), json!("not-judged")]);
    let worksheet = sensewright_web::report_page(&assessed, &OnStart::default(), "1 January 2026", None, "");
    for words in
        ["1 is not resolved", "1 is not judged", "Limit by trials", "Limit nobody gave", "Not resolved", "Not judged"]
    {
        assert!(worksheet.contains(words), "{words}");
    }
}
