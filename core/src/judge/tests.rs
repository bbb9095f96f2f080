//! What a verdict means, by hand: shares, the border, the order, and outcomes that are neither.

use super::*;

fn judged(value: f64, limit: impl Into<Limit>) -> Judged {
    Judged::at_most("a.b", "/limit_a", Unit::Ampere, value, limit)
}

/// Definition: value over limit; a limit of nothing allows nothing; a negative limit is passed by what lies above it.
#[test]
fn a_value_above_its_limit_never_holds() {
    for (value, limit, fails) in [
        (0.9, 1.0, false),
        (1.0, 1.0, false),
        (1.0 + 1e-8, 1.0, true),
        (0.0, 0.0, false),
        (1e-300, 0.0, true),
        (5.0, -1.0, true),
        (-0.5, -1.0, true),
        (-2.0, -1.0, false),
        (f64::NAN, 1.0, true),
    ] {
        assert_eq!(judged(value, limit).fails(), fails, "{value} against {limit}");
        assert_eq!(passes(value, limit), fails, "{value} against {limit}");
    }
    let at_least = |value: f64, limit: f64| Judged::at_least("a.b", "/limit_a", Unit::Ampere, value, limit).fails();
    assert!(at_least(0.9, 1.0) && !at_least(1.1, 1.0) && at_least(-1.0, 1.0) && !at_least(1.0, -1.0));
}

/// The rounding of doubles is no failure: 900 A through 50 µΩ is 45 mV.
#[test]
fn a_value_at_its_limit_is_thin_and_exactly_the_limit() {
    let one = judged(900.0 * 50e-6, 45e-3);
    assert_eq!((one.outcome.verdict(85.0), one.outcome.used()), (Verdict::Thin, Some(1.0)));
}

/// An outcome that is neither appears in row, order, JSON and count, and makes no finding of a failure.
#[test]
fn what_is_not_judged_is_said_and_never_holds() {
    let mut ledger = Ledger::for_reader(85.0);
    let words = |_: &Judged| Words::new("Label", "note", "It is too much.");
    ledger.require(judged(0.5, 1.0), words);
    ledger.require(judged(0.5, Limit::Missing("/switch/breaking_a")), words);
    let mut open = judged(0.5, 1.0);
    open.outcome = Outcome::NotResolved { low: 0.9, high: 1.1, trials: 40_000 };
    ledger.require(open, words);
    ledger.require(judged(2.0, 1.0), words);
    let told = ledger.told();
    let verdicts: Vec<Verdict> = told.iter().map(|check| check.verdict).collect();
    assert_eq!(verdicts, [Verdict::Fails, Verdict::NotResolved, Verdict::NotJudged, Verdict::Holds]);
    assert!(told[2].reason.as_deref().is_some_and(|reason| reason.contains("/switch/breaking_a")));
    assert!(told[1].reason.as_deref().is_some_and(|reason| reason.contains("40000")));
    let json = serde_json::to_value(&told[2]).expect("JSON");
    assert_eq!(json["verdict"], "not-judged");
    assert_eq!((ledger.count(Verdict::NotJudged), ledger.verdict(), ledger.findings().len()), (1, Verdict::Fails, 1));
}

/// Words are asked for only when somebody reads them.
#[test]
fn a_ledger_for_numbers_makes_no_words() {
    let mut ledger = Ledger::numbers();
    ledger.require(judged(2.0, 1.0), |_| unreachable!("no words are made"));
    ledger.note("a.note", "/limit_a", true, || unreachable!("no words are made"));
    assert_eq!((ledger.rows().len(), ledger.findings().len()), (1, 0));
}
