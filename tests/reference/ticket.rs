//! The block of lines that a review ticket takes.

use sensewright_core::calculation::Depth;
use sensewright_core::demo::DEMOS;
use sensewright_core::design::Design;
use sensewright_core::design::assess::{Assessed, assess, assess_to};
use sensewright_core::design::levers::{Levers, levers};
use sensewright_core::design::on_start::on_start;
use sensewright_core::design::ticket::{literal, ticket};
use sensewright_core::work::Work;
use serde_json::{Value, json};

fn told(design: &Design) -> String {
    let assessed = assess_to(design, Depth::Requirements, Work::FREE).expect("an answer");
    told_with(&assessed, &Levers::default())
}

fn told_with(assessed: &Assessed, found: &Levers) -> String {
    let on_start = on_start(assessed, Work::FREE).expect("not stopped");
    ticket(assessed, found, &on_start, "https://host.example")
}

fn block(change: impl Fn(&mut Value)) -> String {
    let mut document = Value::Object(DEMOS[0].design.document());
    change(&mut document);
    told(&Design::read(&document).expect("a document"))
}

#[test]
fn every_line_is_one_of_a_list_behind_the_first() {
    for demo in DEMOS.iter() {
        let text = told(&demo.design);
        let lines: Vec<&str> = text.lines().collect();
        let words = ["Fails: ", "Holds: ", "Not judged: "];
        assert!(words.iter().any(|word| lines[0].starts_with(word)), "{}", lines[0]);
        assert!(lines[0].contains(&demo.design.head.title) && lines[1].is_empty(), "{text}");
        for line in &lines[2..] {
            assert!(line.starts_with("- ") && line[2..].starts_with(|letter: char| letter.is_lowercase()), "{line}");
            assert!(line.contains(": ") && line.trim() == *line, "{line:?}");
        }
        // What nobody typed on purpose reads as plain text does.
        assert!(!text.contains('\\'), "{text}");
        for assumed in &demo.design.head.assumed {
            assert!(!text.contains(&assumed.value), "{} in {text}", assumed.value);
            assert!(text.contains(&assumed.why), "{} in {text}", assumed.why);
        }
    }
    assert!(block(|_| ()).contains("- assumed: Shunt A: Thermal resistance (Shunt), estimated from a similar bar"));
}

/// A current channel that nobody typed, and a voltage channel of the same name, which was: what stands on start values says
/// so, and the parts are told apart by their sections.
#[test]
fn start_values_and_parts_of_one_name_are_told() {
    let text = block(|document| {
        document["current"][0] = json!({"number": 1, "name": "Shunt"});
        document["voltage"][0]["name"] = json!("Shunt");
    });
    assert!(text.lines().next().is_some_and(|first| first.contains(" on start values)")), "{text}");
    let mut fails = text.lines().filter(|line| line.starts_with("- fails: "));
    assert!(fails.any(|line| line.ends_with("; on start values")), "{text}");
    for told in ["Shunt (voltage channel 1)", "- assumed: Shunt (current channel 1): "] {
        assert!(text.contains(told), "{told} in {text}");
    }
    assert!(!text.contains("Shunt, ") && !text.contains("Shunt: "), "{text}");
}

/// A row that is or is not has its reason in place of numbers, and no line that says it again.
#[test]
fn a_reason_is_said_once() {
    let mut without_numbers = 0;
    for demo in DEMOS.iter() {
        for row in told(&demo.design).split("- fails: ").skip(1) {
            for reason in row.lines().filter_map(|line| line.strip_prefix("- reason: ")) {
                assert_eq!(row.matches(reason.trim_end_matches('.')).count(), 1, "{row}");
            }
            without_numbers += usize::from(!row.contains("% used"));
        }
    }
    assert!(without_numbers > 0);
}

/// What turns a failure is told with its effect, and what takes most of an error.
#[test]
fn levers_and_largest_terms_are_told() {
    let mut document = Value::Object(DEMOS[0].design.document());
    document["requirements"]["current"]["gain_percent"] = json!(0.01);
    let design = Design::read(&document).expect("a document");
    let assessed = assess(&design).expect("an answer");
    let text = told_with(&assessed, &levers(&assessed, Work::FREE).expect("not stopped"));
    assert!(text.lines().any(|line| line.starts_with("- lever: ") && line.contains(" → ")), "{text}");
    let three = |line: &str| line.starts_with("- largest: ") && line.matches(", ").count() == 2;
    assert!(text.lines().any(three), "{text}");
}

#[test]
fn what_is_not_judged_is_named() {
    let text = block(|_| ());
    let lines: Vec<&str> = text.lines().filter(|line| line.starts_with("- not judged: ")).collect();
    assert!(matches!(lines[..], [_, more] if more.ends_with(" more")), "{text}");
}

#[test]
fn what_a_title_or_a_name_holds_stays_text() {
    for (title, told) in [
        ("[x](javascript:alert(1))", "\\[x\\](javascript:alert(1))"),
        ("![x](https://else.example/a.png)", "!\\[x\\](https://else.example/a.png)"),
        ("<b>bold</b>", "\\<b>bold\\</b>"),
        ("<!-- gone", "\\<!-- gone"),
        ("**bold** _thin_ ~~gone~~", "\\*\\*bold\\*\\* \\_thin\\_ \\~\\~gone\\~\\~"),
        ("`code` | cell", "\\`code\\` \\| cell"),
        ("&lt; and R&D", "\\&lt; and R\\&D"),
        ("rack_7 at 3 < 4 & more", "rack_7 at 3 < 4 & more"),
        ("a\\*b", "a\\\\\\*b"),
    ] {
        let text = block(|document| {
            document["title"] = json!(title);
            document["current"][0]["name"] = json!(title);
        });
        let first = text.lines().next().unwrap_or_default();
        assert!(first.starts_with(&format!("Fails: {told}. ")), "{first}");
        assert_eq!(text.lines().nth(1), Some(""), "{text}");
        assert!(text.contains(&format!("- fails: {told}, ")), "{text}");
        assert!(text.lines().skip(2).all(|line| line.starts_with("- ")), "{text}");
    }
    assert_eq!(literal("# one\n- two\r\n> three\u{2028}\u{7}four"), "# one - two > three four");
}
