//! A small calculation that shows every kind of block and of field, and what its page must hold.

use sensewright_core::calculation::{Calculation, Entry, Meta};
use sensewright_core::field::{self, Notation, defaulted, group, list, number, numbers, optional, text, whole, yes_no};
use sensewright_core::judge::{Judged, Ledger, Verdict, Words};
use sensewright_core::quantity::{Quantity, Unit};
use sensewright_core::report::{
    Axis, Block, Budget, Cell, Chart, Column, Contribution, Curve, Figure, Lane, Mark, Row, Stage, Step, Stroke, Table,
    Total, View,
};
use sensewright_core::work::{Refused, Work};
use sensewright_core::{choice, input};

use crate::{Outcome, entry_page, live_part};

/// What a hostile person would type.
pub const HOSTILE: &str = "<script>alert(\"1\")</script>'&";

choice! {
    /// Test choice.
    pub enum Kind { Plain = "plain", "Plain"; Fancy = "fancy", "Fancy"; }
}

input! {
    /// Test part.
    pub struct Part {
        resistance_ohm: f64 = number(Unit::Ohm, 1e-6, 1.0, 100e-6), "R", "Resistance", "At the reference temperature.";
        tolerance_percent: f64 = defaulted(Unit::Percent, 0.0, 50.0, 0.5), "t", "Tolerance", "Half-width.";
        power_w: Option<f64> = optional(Unit::Watt, 0.0, 1e3), "P", "Rated power", "If known.";
    }
}

input! {
    /// Test point.
    pub struct Point {
        at_degc: f64 = number(Unit::Celsius, -273.15, 1000.0, 25.0), "T", "Temperature", "Measured.";
        resistance_ohm: f64 = number(Unit::Ohm, 0.0, 1e9, 1.0), "R", "Resistance", "Measured.";
    }
}

input! {
    /// Test input.
    pub struct Everything {
        part: Part = group::<Part>(), "", "Part", "The part on its own.";
        bits_bits: u32 = whole(Unit::Bit, 6, 32, 16), "N", "Resolution", "Bits.";
        bipolar: bool = yes_no(true), "", "Bipolar", "Both signs.";
        kind: Kind = Kind::Plain.chosen(), "", "Kind", "A word.";
        currents_a: Vec<f64> = numbers(Unit::Ampere, 0.0, 1e4, 3, &[5.0, 400.0]), "I", "Currents", "Some.";
        points: Vec<Point> = list::<Point>(2, 4, "0 1\n50 2"), "", "Points", "Rows.";
        title: String = text(60, "none"), "", "Title", "Words.";
    }
}

/// Test calculation.
pub struct Sample;

impl Calculation for Sample {
    const META: Meta = Meta {
        slug: "sample/part",
        title: "Sample part",
        job: "Shows every block.",
        short: "every block",
        sources: &["A source, clause 1"],
    };
    type Input = Everything;
    type Solved = f64;
    type Output = f64;

    fn solve(_: &Everything, _: Work) -> Result<f64, Refused> {
        Ok(1.0)
    }

    fn requirements(input: &Everything, _: &f64, to: &mut Ledger) {
        let words =
            |label: &'static str, note: &'static str| move |_: &Judged| Words::new(label, note, "It is too much.");
        to.require(Judged::at_most("power", "/part/power_w", Unit::Watt, 90.0, 100.0), words("Power", "steady"));
        to.require(Judged::at_most("loose", "", Unit::Watt, 1.0, None), words("Loose", ""));
        to.require(Judged::at_most("never", "", Unit::Watt, None, 1.0), words("Never", ""));
        to.warn("sample.thin", "/points/1/resistance_ohm", true, || format!("Only just: {}", input.title));
        to.note("sample.note", "", true, || "Good to know.".into());
    }

    fn detail(_: &Everything, solved: f64, _: Work) -> Result<f64, Refused> {
        Ok(solved)
    }

    fn working(_: &Everything, _: &f64) -> Vec<Step> {
        let signal = Quantity::new(0.04, Unit::Volt);
        vec![Step::new("Signal", "V", "I · R", "400 A · 100 µΩ".into(), signal, "Ohm's law")]
    }

    fn cautions(_: &Everything, _: &f64) -> Vec<String> {
        vec!["Treat the wires as live.".into()]
    }

    fn view(input: &Everything, _: &f64, _: &Ledger) -> View {
        let table = |id: &str| Table {
            id: id.into(),
            heads: None,
            caption: format!("Values of {}", input.title),
            note: "At 25 °C.".into(),
            head: "Current".into(),
            columns: vec![
                Column::of("Signal", Unit::Volt),
                Column::words("Remark"),
                Column::of("Error", Unit::Percent),
                Column::words("Verdict"),
            ],
            rows: vec![
                Row {
                    head: input.title.clone(),
                    note: "a note".into(),
                    cells: vec![
                        Cell::Number(input.part.resistance_ohm),
                        Cell::Words(input.title.clone()),
                        Cell::Limit(0.5),
                        Cell::Verdict(Verdict::Thin),
                    ],
                },
                Row { head: "none".into(), note: String::new(), cells: vec![Cell::Empty] },
            ],
        };
        View {
            lead: format!("The part holds: {}", input.title),
            more: "More.".into(),
            blocks: vec![
                Block::Figures(vec![Figure::new("Signal", 0.04, Unit::Volt, "at 400 A")]),
                Block::Table(table("values")),
                Block::Budget(Budget {
                    id: "budget".into(),
                    caption: "Budget".into(),
                    note: "At 400 A.".into(),
                    unit: Unit::Percent,
                    rows: [("Gain", 0.5, true), ("Offset", 0.1, false)]
                        .map(|(label, size, grows)| Contribution {
                            label: label.into(),
                            note: input.title.clone(),
                            size,
                            share_percent: size * 100.0,
                            grows,
                        })
                        .into(),
                    totals: vec![Total {
                        label: "Worst case".into(),
                        note: "sum".into(),
                        size: 0.6,
                        verdict: Some(Verdict::Holds),
                    }],
                }),
                Block::Chart(chart(&input.title)),
                Block::Lane(lane(&input.title, &[40.0, 70.0])),
            ],
        }
    }
}

/// A chart with every stroke.
pub fn chart(title: &str) -> Chart {
    let points: Vec<[f64; 2]> = (0..=20).map(|step| [f64::from(step) * 50.0, f64::from(step * step)]).collect();
    Chart {
        id: "heat".into(),
        finding: format!("It stays cool, {title}"),
        conditions: "At 25 °C.".into(),
        title: format!("Temperature of {title}"),
        x: Axis::linear("current", Unit::Ampere),
        y: Axis::linear("temperature", Unit::Celsius),
        curves: [Stroke::Main, Stroke::Second, Stroke::Filled, Stroke::Allowed, Stroke::Thin]
            .map(|stroke| Curve { label: format!("{stroke:?} {title}"), stroke, points: points.clone() })
            .into(),
        marks: vec![Mark { x: 400.0, y: 64.0, label: title.into() }],
        table: Table {
            id: "heat-values".into(),
            heads: None,
            caption: "Temperature".into(),
            note: String::new(),
            head: "Current".into(),
            columns: vec![Column::of("Temperature", Unit::Celsius)],
            rows: points
                .iter()
                .map(|point| Row {
                    head: point[0].to_string(),
                    note: String::new(),
                    cells: vec![Cell::Number(point[1])],
                })
                .collect(),
        },
    }
}

/// A lane with the given shares.
pub fn lane(title: &str, shares: &[f64]) -> Lane {
    Lane {
        id: "lane".into(),
        caption: format!("The current lane of {title}"),
        stages: shares
            .iter()
            .map(|takes| Stage {
                label: format!("Stage {title}"),
                part: "100 µΩ".into(),
                signal: "40 mV at 400 A".into(),
                takes_percent: *takes,
            })
            .collect(),
        behind_barrier: Some(1),
        allowed: "±1 % of reading".into(),
        reached: "110 % used".into(),
        verdict: Verdict::Fails,
    }
}

/// The entry of it.
pub static ROOM: Entry = Entry::of::<Sample>();

/// Typed pairs.
pub fn pairs(list: &[(&str, &str)]) -> Vec<(String, String)> {
    list.iter().map(|(key, text)| ((*key).to_owned(), (*text).to_owned())).collect()
}

fn solved(typed: &[(&str, &str)]) -> String {
    let typed = pairs(typed);
    let tree = field::form_tree(&typed).expect("keys are fine");
    let answer = ROOM.answer(Some(&tree), Notation::Form).expect("values are fine");
    entry_page(&ROOM, &typed, Outcome::Solved(&answer), "https://host.example")
}

fn refused(typed: &[(&str, &str)], with_last: bool) -> String {
    let typed = pairs(typed);
    let tree = field::form_tree(&typed).expect("keys are fine");
    let faults = ROOM.answer(Some(&tree), Notation::Form).expect_err("values are not fine");
    let last = ROOM.answer(None, Notation::Form).expect("start values are fine");
    let last = with_last.then_some(&last);
    entry_page(&ROOM, &typed, Outcome::Refused { faults: &faults, last }, "https://host.example")
}

#[allow(clippy::missing_panics_doc, reason = "an assertion")]
/// What no page may hold: inline looks or scripts, numbers that are none, the same id twice.
pub fn assert_clean(page: &str) {
    for bad in ["style=", "<style", "<script>", "onclick", "javascript:", "data:", ">inf", "\"inf"] {
        assert!(!page.contains(bad), "{bad} in {page}");
    }
    // A link may hold any letters.
    assert!(page.split(|c: char| !c.is_alphanumeric() && !"-_".contains(c)).all(|word| word != "NaN"), "NaN in {page}");
    for outside in ["src=\"http", "<link rel=\"stylesheet\" href=\"http"] {
        assert!(!page.contains(outside), "{outside}");
    }
    let mut ids: Vec<&str> =
        page.split(" id=\"").skip(1).filter_map(|rest| rest.split_once('"')).map(|(id, _)| id).collect();
    let count = ids.len();
    ids.sort_unstable();
    ids.dedup();
    assert_eq!(ids.len(), count, "an id occurs twice");
    for attribute in ["for=\"", "aria-describedby=\"", "aria-labelledby=\"", "href=\"#"] {
        for list in page.split(attribute).skip(1).filter_map(|rest| rest.split_once('"')).map(|(list, _)| list) {
            for id in list.split(' ') {
                assert!(ids.binary_search(&id).is_ok(), "{attribute}{id} leads nowhere");
            }
        }
    }
}

#[test]
fn a_solved_page_keeps_the_contract() {
    let page = solved(&[("part.resistance_ohm", "50u"), ("bipolar", "no")]);
    assert_clean(&page);
    for part in [
        "<title>Sample part – Sensewright</title>",
        "<input class=\"addr\" id=\"addr\" readonly value=\"https://host.example/sample/part?v=1&#38;part.resistance_ohm=50u&#38;bipolar=no\">",
        "<fieldset id=\"part\"><legend><h2>Part</h2>",
        "<input id=\"part.resistance_ohm\" name=\"part.resistance_ohm\" value=\"50 µ\" data-default=\"100 µ\" aria-describedby=\"h2\"",
        "<span id=\"paper-addr\">https://host.example/sample/part?v=1&#38;part.resistance_ohm=50u&#38;bipolar=no</span>",
        "</svg>Fails</span><span class=\"vh\">: </span>The part holds",
        "Of sum</th>",
        "<b>changed</b>, default 100 µΩ",
        "class=\"f chg\"><label for=\"part.resistance_ohm\"",
        "<div class=\"box pfx\">",
        "default not given",
        "<option value=\"no\" selected>",
        "<textarea id=\"points\" name=\"points\"",
        "Temperature in °C; resistance in Ω",
        "data-live=\"out\"",
        "2 of 9 values differ",
        "<a href=\"#part.power_w\">Power</a>",
        "<a href=\"#points\">Points</a>",
        "<h3>How it is worked out</h3>",
        "role=\"note\"",
        "A source, clause 1",
        "Local electrical rules",
        "sensewright-core ",
        "class=\"gauge\"",
        "class=\"cbar\"",
        "format=json",
    ] {
        let found = page.to_lowercase().contains(&part.to_lowercase());
        assert!(found, "{part} is missing in {page}");
    }
}

#[test]
fn a_refused_page_keeps_what_was_typed() {
    let typed = [("part.resistance_ohm", "80O"), ("title", HOSTILE), ("kind", "<b>")];
    let page = refused(&typed, true);
    assert_clean(&page);
    assert!(page.contains("<title>Error: Sample part"));
    assert!(page.contains("2 values need a correction"));
    assert!(page.contains("value=\"80O\"") && page.contains("aria-invalid=\"true\""));
    assert!(page.contains("aria-describedby=\"part.resistance_ohm-e h2\""));
    assert!(page.contains("last complete set of values"));
    assert!(page.contains("&#60;script&#62;"), "typed text is escaped");
    let without = refused(&typed, false);
    assert_clean(&without);
    assert!(!without.contains("last complete set of values") && !without.contains("class=\"verdict\""));
}

#[test]
fn hostile_words_are_only_words() {
    let page = solved(&[("title", HOSTILE)]);
    assert_clean(&page);
    assert!(!page.contains("<script>alert"));
}

#[test]
fn the_live_part_says_what_the_script_needs() {
    let answer = ROOM.answer(None, Notation::Form).expect("start values are fine");
    let part = live_part(&ROOM, &[], Outcome::Solved(&answer), "https://host.example");
    for words in
        ["data-live=\"out\"", "data-link=\"/sample/part?v=1\"", "data-key=\"part.resistance_ohm\" data-text=\"100 µ\""]
    {
        assert!(part.contains(words), "{words}");
    }
    let typed = pairs(&[("bits_bits", "x y"), ("nowhere", "1")]);
    let tree = field::form_tree(&typed[..1]).expect("keys are fine");
    let faults = ROOM.answer(Some(&tree), Notation::Form).expect_err("not a number");
    let part = live_part(&ROOM, &typed, Outcome::Refused { faults: &faults, last: None }, "https://host.example");
    assert!(
        part.contains("data-link=\"/sample/part?v=1&#38;bits_bits=x+y\""),
        "who opens it finds what was typed: {part}"
    );
    assert!(part.contains("data-key=\"bits_bits\" data-error=\"Enter"), "{part}");
    assert!(part.contains("1 value needs a correction"));
}

#[test]
fn the_other_pages_are_clean() {
    for page in [
        crate::start_page(&sensewright_core::demo::DEMOS, std::slice::from_ref(&ROOM)),
        crate::error_page(404, "Not found", HOSTILE, &[["/there".into(), HOSTILE.into()]], HOSTILE),
        crate::error_page(503, HOSTILE, "", &[], ""),
    ] {
        assert_clean(&page);
        assert!(page.contains("<h1>") && page.contains("Local electrical rules"));
    }
}
