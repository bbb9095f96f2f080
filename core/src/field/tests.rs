//! Reading, refusing and writing, by hand.

use serde_json::{Map, json};

use super::*;
use crate::{choice, input};

choice! {
    /// Test choice.
    pub enum Colour { Red = "red", "Red"; Blue = "blue", "Blue"; Dark = "dark", "A dark one"; }
}

input! {
    /// Test part.
    pub struct Part {
        resistance_ohm: f64 = number(Unit::Ohm, 1e-6, 1.0, 35e-6), "R", "Resistance", "At the reference temperature.";
        tolerance_percent: f64 = defaulted(Unit::Percent, 0.0, 50.0, 1.0), "t", "Tolerance", "Half-width.";
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
    /// A row of many columns.
    pub struct Wide {
        name: String = text(10, ""), "", "Name", "Words.";
        colour: Colour = Colour::Blue.chosen(), "", "Colour", "A word.";
        bits_bits: u32 = whole(Unit::Bit, 6, 32, 16), "N", "Resolution", "Bits.";
        bipolar: bool = yes_no(true), "", "Bipolar", "Both signs.";
        from_a: Option<f64> = optional(Unit::Ampere, -1e6, 1e6), "", "From, current", "A number.";
        to_a: Option<f64> = optional(Unit::Ampere, -1e6, 1e6), "", "To, current", "A number.";
        low_v: f64 = defaulted(Unit::Volt, 0.0, 1e6, 3.0), "", "Low", "A number.";
        high_v: f64 = defaulted(Unit::Volt, 0.0, 1e6, 4.0), "", "High", "A number.";
        note: String = text(40, ""), "", "Note", "Words.";
    }
}

input! {
    /// A list of many columns.
    pub struct Lists {
        rows: Vec<Wide> = list::<Wide>(0, 5, "name; colour\nfirst; red"), "", "Rows", "One a line.";
    }
}

input! {
    /// Test input.
    pub struct Everything {
        part: Part = group::<Part>(), "", "Part", "The part.";
        bits_bits: u32 = whole(Unit::Bit, 6, 32, 16), "N", "Resolution", "Bits.";
        bipolar: bool = yes_no(true), "", "Bipolar", "Both signs.";
        colour: Colour = Colour::Blue.chosen(), "", "Colour", "A word.";
        currents_a: Vec<f64> = numbers(Unit::Ampere, 0.0, 1e4, 3, &[5.0, 400.0]), "I", "Currents", "Some.";
        points: Vec<Point> = list::<Point>(2, 4, "0 1\n50 2"), "", "Points", "Rows.";
        title: String = text(10, "none"), "", "Title", "Words.";
    }
}

fn codes(faults: &[FieldError]) -> Vec<(String, String)> {
    faults.iter().map(|fault| (fault.field.clone(), fault.code.clone())).collect()
}

#[test]
fn every_fault_is_reported_at_its_pointer_in_one_answer() {
    let bad = json!({
        "part": {"resistance_ohm": 2.0, "tolerance_percent": null, "power_w": "50 mV", "extra": 1},
        "bits_bits": 16.5, "bipolar": "yes", "colour": "green", "currents_a": [1, 2, "x"],
        "points": [{"at_degc": 1}, 7], "title": "far too long a title",
    });
    let faults = read::<Everything>(Some(&bad), Notation::Json).expect_err("all of it is bad");
    let expected = [
        ("/part/extra", "unknown-field"),
        ("/part/resistance_ohm", "above"),
        ("/part/tolerance_percent", "wrong-type"),
        ("/part/power_w", "wrong-unit"),
        ("/bits_bits", "not-whole"),
        ("/bipolar", "wrong-type"),
        ("/colour", "not-a-choice"),
        ("/currents_a/2", "not-a-number"),
        ("/points/0/resistance_ohm", "missing"),
        ("/points/1", "wrong-type"),
        ("/points/1/at_degc", "missing"),
        ("/points/1/resistance_ohm", "missing"),
        ("/title", "too-long"),
    ];
    assert_eq!(codes(&faults), expected.map(|(field, code)| (field.to_owned(), code.to_owned())));
    assert!(faults[8].message.starts_with("Line 1: Resistance is missing"), "{}", faults[8].message);
}

#[test]
fn a_label_stands_for_its_word() {
    let colour = |given: Value, notation| {
        let mut part = Group::write(&start::<Everything>());
        part.insert("colour".into(), given);
        let form = form_tree(&address_pairs(Everything::FIELDS, &part, &Map::new())).expect("own pairs");
        let node = if notation == Notation::Form { form } else { Value::Object(part) };
        read::<Everything>(Some(&node), notation).map(|all| all.colour).map_err(|faults| faults[0].clone())
    };
    for notation in [Notation::Json, Notation::Form] {
        for given in ["dark", "DARK", "A dark one", "a dark one", " A dark one "] {
            assert_eq!(colour(json!(given), notation), Ok(Colour::Dark), "{given}");
        }
        let refused = colour(json!("darker"), notation).expect_err("no word and no label");
        assert_eq!((refused.code.as_str(), refused.accepted.as_str()), ("not-a-choice", "one of: red, blue, dark"));
    }
}

#[test]
fn json_must_give_what_a_form_starts_with() {
    let faults = read::<Everything>(Some(&json!({})), Notation::Json).expect_err("required values are missing");
    assert_eq!(
        codes(&faults),
        [("/part/resistance_ohm".into(), "missing".into()), ("/points".into(), "missing".into())]
    );
    let form = read::<Everything>(None, Notation::Form).expect("a form starts complete");
    assert_eq!(form.part.resistance_ohm, 35e-6);
    assert_eq!(form.points.len(), 2);
    assert_eq!((form.colour, form.colour.label()), (Colour::Blue, "Blue"));
}

#[test]
fn what_is_written_reads_back_from_json_and_from_the_address() {
    let start: Everything = start();
    let mut changed = start.clone();
    changed.part.resistance_ohm = 1.0 / 3.0;
    changed.part.power_w = Some(36.0);
    changed.currents_a = vec![0.5e-3, 7.0];
    changed.points.truncate(2);
    changed.points[1].resistance_ohm = 2.5;
    changed.bipolar = false;
    let json = Value::Object(Group::write(&changed));
    assert_eq!(read::<Everything>(Some(&json), Notation::Json).as_ref(), Ok(&changed));
    let pairs = address_pairs(Everything::FIELDS, &Group::write(&changed), &Group::write(&start));
    assert_eq!(pairs.len(), 5, "{pairs:?}");
    let tree = form_tree(&pairs).expect("own pairs are in order");
    assert_eq!(read::<Everything>(Some(&tree), Notation::Form).as_ref(), Ok(&changed));
    assert!(address_pairs(Everything::FIELDS, &Group::write(&start), &Group::write(&start)).is_empty());
}

/// What a spreadsheet or a logger writes: a heading, commas, quotes, comments, empty lines.
#[test]
fn points_are_read_as_files_write_them() {
    let points = |text: &str| {
        let tree = form_tree(&[("points".to_owned(), text.to_owned())]).expect("one key");
        read::<Everything>(Some(&tree), Notation::Form)
    };
    for text in [
        "degC,ohm\n0,1\n50,2.5",
        "\"T\";\"R\"\n0;1\n\n50;2.5",
        "# a bath\n0\t1\n50\t2.5",
        "0 1\r\n50 2.5",
        "0, 1 Ω\n50, 2500 mΩ",
    ] {
        let read = points(text).unwrap_or_else(|faults| panic!("{text}: {faults:?}"));
        let pairs: Vec<_> = read.points.iter().map(|point| (point.at_degc, point.resistance_ohm)).collect();
        assert_eq!(pairs, [(0.0, 1.0), (50.0, 2.5)], "{text}");
    }
    let faults = points("T R\n0 1\n\n25,5 100,2\n50 2").expect_err("decimal commas");
    assert_eq!(codes(&faults)[0], ("/points/1/at_degc".to_owned(), "decimal-comma".to_owned()));
    assert!(faults[0].message.starts_with("Line 4: "), "{}", faults[0].message);
}

#[test]
fn a_list_of_numbers_is_read_as_people_write_it() {
    let currents = |text: &str| {
        let tree = form_tree(&[("currents_a".to_owned(), text.to_owned())]).expect("one key");
        read::<Everything>(Some(&tree), Notation::Form).map(|all| all.currents_a)
    };
    for text in [
        "5, 300, 600",
        "5 300 600",
        "5;300;600",
        "5 A, 300 A, 600 A",
        "5 A 0.3 kA 600",
        "5,\n300,\n600,",
        "5 , 300 , 600",
    ] {
        assert_eq!(currents(text), Ok(vec![5.0, 300.0, 600.0]), "{text}");
    }
    for text in ["5,5 300", "5,300,600", "5,5, 300"] {
        let faults = currents(text).expect_err(text);
        assert_eq!(codes(&faults), [("/currents_a/0".to_owned(), "decimal-comma".to_owned())], "{text}");
    }
    assert!(currents("5,300,600").expect_err("commas").iter().all(|fault| fault.message.contains("by a space")));
    assert!(currents("5 V, 300").expect_err("volt")[0].code == "wrong-unit");
}

#[test]
fn a_form_keeps_lines_and_keys_in_order() {
    let pair = |key: &str, value: &str| (key.to_owned(), value.to_owned());
    let tree = form_tree(&[pair("points", "0; 1\n\n50\t2 mΩ\n7"), pair("part.power_w", " ")]).expect("keys are fine");
    let faults = read::<Everything>(Some(&tree), Notation::Form).expect_err("the third line lacks a column");
    assert_eq!(codes(&faults), [("/points/2/resistance_ohm".into(), "missing".into())]);
    for bad in
        [vec![pair("a", "1"), pair("a", "2")], vec![pair("a", "1"), pair("a.b", "2")], vec![pair("a.b.c.d.e.f.g", "1")]]
    {
        assert!(form_tree(&bad).is_err(), "{bad:?}");
    }
}

#[test]
fn a_first_line_names_columns_in_any_order() {
    let rows = |text: &str| {
        let tree = form_tree(&[("rows".to_owned(), text.to_owned())]).expect("one key");
        read::<Lists>(Some(&tree), Notation::Form).map(|all| all.rows)
    };
    let one = rows("high_v; Name; from, current\n5; x; -2\n; y").expect("keys and labels");
    assert_eq!((one[0].high_v, one[0].name.as_str(), one[0].from_a, one[0].bits_bits), (5.0, "x", Some(-2.0), 16));
    assert_eq!((one[1].high_v, one[1].name.as_str(), one[1].from_a), (4.0, "y", None));
    // In the order of their declaration without such a line; what is no name, or comes twice, is a row.
    assert_eq!(rows("x; red; 12").expect("a row")[0].bits_bits, 12);
    for (text, fault) in [("name; colours\nx; red", "/rows/0/colour"), ("name; name\nx; red", "/rows/0/colour")] {
        assert_eq!(rows(text).expect_err(text)[0].field, fault, "{text}");
    }
    assert!(rows("name; low_v\nx; -1").expect_err("below")[0].message.starts_with("Line 2: "));
    // What is written is read again, with the columns in use alone.
    let list = Lists::FIELDS.first().expect("a list");
    for text in ["name; bits_bits; high_v\nx; 12\ny; ; 5", "name; colour\nx\ny; red", "name; colour\nx"] {
        let read_once = rows(text).expect(text);
        let written = list.echo(Slot::write(&read_once).as_ref(), true);
        assert_eq!(rows(&written).expect(&written), read_once, "{text} became {written}");
    }
    assert_eq!(
        list.echo(Slot::write(&rows("name; note; high_v\nx; ; 5").expect("rows")).as_ref(), true),
        "name; high_v\nx; 5"
    );
}
