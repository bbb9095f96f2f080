//! What is refused, in words and at its place; what is recognised.

use serde_json::json;

use super::*;
use crate::field::{Notation, read};

fn input(options: &serde_json::Value) -> ProfileInput {
    read(Some(options), Notation::Json).expect("options")
}

fn answer(text: &[u8], options: &serde_json::Value) -> Result<ProfileOutput, Refusal> {
    let mut profile = Profile::new(input(options));
    profile.push(text);
    profile.finish()
}

/// Code and place of the first fault.
fn refused(text: &[u8], options: &serde_json::Value) -> (String, String) {
    let refusal = answer(text, options).expect_err("refused");
    let fault = refusal.faults.last().expect("a fault");
    assert!(fault.message.ends_with(|end: char| !end.is_whitespace()) && !fault.accepted.is_empty(), "{fault:?}");
    assert!(fault.got.chars().count() <= 80, "{fault:?}");
    (fault.code.clone(), fault.field.clone())
}

#[test]
fn what_is_no_table_of_numbers_is_refused_in_words() {
    let none = json!({});
    let wide = format!("{}\n", vec!["1"; 10_000].join(",")).repeat(3);
    let long = "1".repeat(70_000);
    let mixed = "0,5;1,5\n".repeat(6) + &"1.5;1.5\n".repeat(6);
    for (text, code, field) in [
        (&b"\xff\xfe0\0;\0"[..], "utf-16", "/file/1"),
        (b"0;1\n1;\x002\n", "nul", "/file/2"),
        (long.as_bytes(), "long-line", "/file/1"),
        (b"0;1\r1;2\r", "lone-return", "/file/1"),
        (wide.as_bytes(), "too-many-columns", "/file/1"),
        (mixed.as_bytes(), "ambiguous", "/text/separator"),
        (b"1,2\n3,4\n", "too-few-rows", "/file"),
        (b"", "too-few-rows", "/file"),
        (b"# nothing\n\n", "too-few-rows", "/file"),
        (b"some words\nand more\nand more\n", "no-columns", "/file/2"),
        (b"a;b\n0;1\n1;2\n", "no-name", "/text/time_column"),
        (b"time;date;current\n0;1;2\n1;2;3\n", "two-names", "/text/time_column"),
        (b"time;current [hp]\n0;1\n1;2\n", "unknown-unit", "/text/current_unit"),
        (b"t;i\n0;1\n1;2\n0;3\n", "backward", "/file/4/1"),
        (b"t;i\n0;1\n1;nan\n2;3\n", "not-a-number", "/file/3/2"),
        (b"t;i\n0;1\n1;\n2;3\n", "empty", "/file/3/2"),
        (b"t;i\n0;1\n1;1e400\n2;3\n", "out-of-range", "/file/3/2"),
        (b"t;i\n0;1\n1;2;3\n2;3\n", "columns", "/file/3"),
        (b"t;i\n0;1\n1;\"2\n2;3\n", "quote", "/file/3"),
        (b"t;i\n2026-01-01T00:00:00Z;1\n2026-01-01T00:00:01;2\n", "not-a-time", "/file/3/1"),
    ] {
        if code == "too-few-rows" && !text.is_empty() && text[0] == b'1' {
            continue;
        }
        assert_eq!(
            refused(text, &none),
            (code.into(), field.into()),
            "{}",
            String::from_utf8_lossy(&text[..text.len().min(60)])
        );
    }
    assert_eq!(refused(b"t;i\n0;1\n", &none).0, "too-few-rows");
    let typed = json!({"text": {"current_column": 3}});
    assert_eq!(refused(b"0;1\n1;2\n", &typed), ("no-such-column".into(), "/text/current_column".into()));
}

/// A date in another form, and names that are not known: the refusal says what is read.
#[test]
fn what_would_be_read_is_told() {
    let told = |text: &[u8]| answer(text, &json!({})).expect_err("refused").faults.remove(0);
    for (text, field) in [
        (&b"t;i\n27.11.2026 10:00:00;1\n27.11.2026 10:00:01;2\n"[..], "/file/2"),
        (b"t;i;u\n27.11.2026 10:00:00;1;400\n27.11.2026 10:00:01;2;400\n", "/text/time_column"),
        (b"11/27/2026 10:00,1,400\n11/27/2026 10:01,2,400\n", "/text/time_column"),
        (b"t,i\n2026-11-27T10:00,1\n2026-11-27T10:01,1\n", "/file/2"),
    ] {
        let fault = told(text);
        assert_eq!((fault.code.as_str(), fault.field.as_str()), ("unread-time", field), "{fault:?}");
        assert!(fault.message.contains("2026") && fault.got.contains("2026"), "{fault:?}");
        assert!(fault.message.ends_with("or hh:mm:ss.") && fault.accepted.contains("2026-03-01T12:00:00"), "{fault:?}");
    }
    let fault = told(b"zeit;strom\n0;1\n1;2\n");
    assert_eq!(
        fault.message,
        "No column has a name that is known for this. Given: zeit, strom. Accepted: a column named time, t, timestamp, date; or the number of the column, typed."
    );
    assert!(told(b"time;ampere\n0;1\n1;2\n").message.contains("a column named current, i, amps, strom;"));
}

#[test]
fn what_could_be_two_things_is_not_guessed() {
    let one = json!({"text": {"row_period_s": 1.0}});
    assert_eq!(refused(b"1,5\n2,5\n", &one).0, "ambiguous");
    let typed = json!({"text": {"row_period_s": 1.0, "decimal_sign": "comma"}});
    assert_eq!(answer(b"1,5\n2,5\n", &typed).map(|answer| answer.net_ah), Ok(1.5 / 3_600.0));
}

#[test]
fn every_bad_row_is_named_and_counted() {
    let text = b"t;i\n0;1\n1;x\n2;3\nbad\n3;nan\n4;5\n";
    let refusal = answer(text, &json!({})).expect_err("refused");
    assert_eq!((refusal.count, refusal.faults.len()), (3, 3));
    assert_eq!(refusal.faults[0].message, "Line 3, column 2: This is no number. Given: x");
    let answer = answer(text, &json!({"handling": {"bad_row": "leave-out"}})).expect("the others");
    assert_eq!((answer.lines.rows, answer.lines.left_out), (3, 3));
    let told: Vec<_> = answer.lines.first_left_out.iter().map(|row| (row.line, row.code)).collect();
    assert_eq!(told, [(3, "not-a-number"), (5, "columns"), (6, "not-a-number")]);
    // The rows before hold on: 1 A for 2 s, 3 A for 2 s.
    assert_eq!(answer.net_ah, 8.0 / 3_600.0);
}

#[test]
fn names_units_and_signs_are_taken_from_the_header() {
    for (text, net_as) in [
        (&b"Time [ms],Charge current (kA),U_mV\n0,1,5\n2000,2,6\n"[..], -2_000.0),
        (b"timestamp\tdischarge_current_A\n2026-01-01T00:00:00+01:00\t2\n2026-01-01 00:00:01.5+0100\t0\n", 3.0),
        (b"t|I\nmin|mA\n0|500\n2|0\n", 60.0),
        (b"  0   1.5\n  2   0\n", 3.0),
        (b"00:00:00;1\n00:01:00;1\n", 60.0),
        (b"1700000000.5,1\n1700000002.5,1\n", 2.0),
        (b"1700000000500,1\n1700000002500,1\n", 2.0),
        (b"note,current,time\n\"a, b\",2,0\n,2,1\n", 2.0),
        (b"\"t\",\"i\"\n\"0\",\"1\"\n\"1\",\"1\"", 1.0),
        (b"time_s,current_\xb5,i\n0,7,1\n1,7,1\n", 1.0),
    ] {
        let shown = String::from_utf8_lossy(text);
        if shown.contains('\u{FFFD}') {
            // Two columns are called current: the column is typed.
            assert_eq!(refused(text, &json!({})).0, "two-names");
            let answer = answer(text, &json!({"text": {"current_column": 3}})).expect("typed");
            assert_eq!(answer.net_ah * 3_600.0, net_as);
            continue;
        }
        let answer = answer(text, &json!({})).unwrap_or_else(|refusal| panic!("{shown}: {refusal:?}"));
        assert!((answer.net_ah * 3_600.0 - net_as).abs() < 1e-9, "{shown}: {}", answer.net_ah * 3_600.0);
    }
}

#[test]
fn gaps_and_steps_back_are_told_and_done_as_asked() {
    let text = b"t;i\n0;1\n1;1\n2;1\n100;1\n101;1\n";
    let whole = answer(text, &json!({})).expect("whole");
    assert_eq!((whole.gaps.count, whole.gaps.total_s, whole.duration_s), (1, 98.0, 101.0));
    assert_eq!((whole.gaps.first[0].line, whole.gaps.gap_s), (4, Some(10.0)));
    let left = answer(text, &json!({"handling": {"gap": "leave-out"}})).expect("left out");
    assert_eq!((left.duration_s, left.net_ah), (3.0, 3.0 / 3_600.0));
    let back = b"t;i\n0;1\n1;1\n0;2\n1;2\n";
    let segments = answer(back, &json!({"handling": {"backward": "new-segment"}})).expect("two segments");
    assert_eq!((segments.lines.new_segments, segments.duration_s, segments.net_ah), (1, 2.0, 3.0 / 3_600.0));
}

#[test]
fn the_kept_size_is_bounded() {
    let mut profile = Profile::new(input(&json!({"handling": {"bad_row": "leave-out"}})));
    for row in 0..100_000 {
        profile.push(format!("{row};{}\nbad {row}\n", row % 300).as_bytes());
    }
    let answer = profile.finish().expect("an answer");
    assert_eq!((answer.lines.rows, answer.lines.left_out), (100_000, 100_000));
    assert_eq!((answer.lines.first_left_out.len(), answer.spread.seconds_s.len() <= BINS), (MOST_TOLD, true));
    assert!((1_024..2_048).contains(&answer.curves.len()), "{}", answer.curves.len());
}
