//! Recorded profiles: whatever the pieces, the same bytes; no row is lost or read twice; garbage is refused.

use std::fmt::Write;

use proptest::prelude::*;
use sensewright_core::field::{Notation, read};
use sensewright_core::profile::{Profile, ProfileInput, ProfileOutput, Refusal};
use serde_json::{Value, json};

fn answer(text: &[u8], options: &Value, pieces: &[usize]) -> Result<ProfileOutput, Refusal> {
    let input: ProfileInput = read(Some(options), Notation::Json).expect("options");
    let mut profile = Profile::new(input);
    let (mut rest, mut lengths) = (text, pieces.iter().cycle());
    while !rest.is_empty() {
        let (piece, after) =
            rest.split_at(rest.len().min(lengths.next().map_or(rest.len(), |length| (*length).max(1))));
        profile.push(piece);
        rest = after;
    }
    profile.finish()
}

/// A chain with everything in it.
fn everything() -> Value {
    json!({
        "limits": [{"limit_a": 10}, {"limit_a": -5.5}],
        "element": {"resistance_ohm": 50e-6, "tcr_ppm_per_k": 45, "tcr_quadratic_ppm_per_k2": -0.5},
        "chain": {"offset_a": 0.1, "gain_percent": 0.5, "asymmetry_percent": 0.1, "bend_a": 0.02, "emf_a": 0.05,
            "emf_at_a": 100, "clip_high_a": 900, "step_a": 0.05, "dead_band_a": 0.2, "sample_s": 0.03, "averaging": 4,
            "aperture_s": 0.05, "noise_a": 0.06},
        "handling": {"bad_row": "leave-out", "backward": "new-segment"},
    })
}

/// One cell: mostly a number in one of many notations, sometimes none.
fn cell() -> impl Strategy<Value = String> {
    prop_oneof![
        6 => (-2_000_000_i64..2_000_000, 0_i32..6).prop_map(|(whole, places)| (whole as f64 / 10_f64.powi(places)).to_string()),
        2 => (-1e5_f64..1e5).prop_map(|value| value.to_string()),
        1 => (-1e5_f64..1e5).prop_map(|value| format!("{value:e}")),
        1 => prop_oneof![Just(""), Just("nan"), Just("-"), Just("1,5"), Just("1e999"), Just("0x1"), Just("\"7\""), Just("+3."),
            Just(".5"), Just(" 4 "), Just("7 8"), Just("٣"), Just("00000000000000000000012.5")].prop_map(str::to_owned),
    ]
}

fn line() -> impl Strategy<Value = String> {
    prop_oneof![
        12 => (cell(), cell(), cell()).prop_map(|(a, b, c)| format!("{a};{b};{c}")),
        1 => Just("# a comment; with; signs".to_owned()),
        1 => Just(String::new()),
        1 => Just("1;2".to_owned()),
        1 => Just("1;2;3;4".to_owned()),
        1 => Just("\"1".to_owned()),
    ]
}

fn text() -> impl Strategy<Value = String> {
    (prop::collection::vec(line(), 0..400), prop_oneof![Just("\n"), Just("\r\n")], any::<bool>()).prop_map(
        |(lines, end, closed)| {
            let text = lines.join(end);
            if closed { text + end } else { text }
        },
    )
}

/// The simplest reader there could be: whole text, lines, cells, the standard library. Rows of time, current, voltage, and
/// how many lines are none.
fn naive(text: &str) -> (Vec<[f64; 3]>, u64) {
    let (mut rows, mut bad) = (Vec::new(), 0);
    for line in text.lines().filter(|line| !line.trim().is_empty() && !line.trim().starts_with('#')) {
        let cells: Vec<&str> = line.split(';').map(|cell| cell.trim_matches(' ').trim_matches('"')).collect();
        let number = |(column, cell): (usize, &&str)| {
            let plain = cell.bytes().all(|byte| byte.is_ascii_digit() || b"+-.eE".contains(&byte));
            let most = if column == 0 { 1e12 } else { 1e6 };
            cell.parse::<f64>().ok().filter(|_| plain).filter(|value| value.abs() <= most)
        };
        let values: Vec<f64> = cells.iter().enumerate().filter_map(number).collect();
        match values[..] {
            [a, b, c] if cells.len() == 3 => rows.push([a, b, c]),
            _ => bad += 1,
        }
    }
    (rows, bad)
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 300, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn pieces_do_not_matter(text in text(), pieces in prop::collection::vec(1_usize..200, 1..8), noise in prop::collection::vec(any::<(u16, u8)>(), 0..3)) {
        let mut bytes = text.into_bytes();
        for (place, byte) in noise {
            let length = bytes.len();
            if length > 0 {
                bytes[usize::from(place) % length] = byte;
            }
        }
        let whole = answer(&bytes, &everything(), &[]);
        for pieces in [&pieces[..], &[1], &[65_536]] {
            let again = answer(&bytes, &everything(), pieces);
            prop_assert_eq!(format!("{whole:?}"), format!("{again:?}"));
        }
        if let Ok(answer) = whole {
            let lines = answer.lines;
            prop_assert_eq!(lines.rows + lines.header + lines.beside + lines.left_out, lines.lines);
        }
    }

    #[test]
    fn every_row_is_read_once_and_as_the_standard_library_reads_it(text in text()) {
        let options = json!({
            "text": {"separator": "semicolon", "decimal_sign": "point", "time_column": 1, "current_column": 2, "voltage_column": 3},
            "handling": {"bad_row": "leave-out", "backward": "new-segment"},
        });
        // Where as many of the first lines have another number of columns, that may be the number; two may be a header.
        let data = text.lines().filter(|line| !line.trim().is_empty() && !line.trim().starts_with('#')).take(200);
        let counts: Vec<usize> = data.map(|line| line.split(';').count()).collect();
        let having = |columns: usize| counts.iter().filter(|count| **count == columns).count();
        prop_assume!([1, 2, 4].into_iter().all(|other| having(other) == 0 || having(other) + 2 < having(3)));
        let (rows, bad) = naive(&text);
        match answer(text.as_bytes(), &options, &[777]) {
            // Names above the columns: the first lines without any number.
            Ok(answer) => {
                prop_assert_eq!(answer.lines.rows, rows.len() as u64);
                prop_assert_eq!(answer.lines.left_out + answer.lines.header, bad);
                let pairs = || rows.windows(2).map(|pair| (pair[0], (pair[1][0] - pair[0][0]).max(0.0)));
                let out: f64 = pairs().map(|(row, seconds)| row[1].max(0.0) * seconds).sum();
                let energy: f64 = pairs().map(|(row, seconds)| row[1] * row[2] * seconds).sum();
                let scale: f64 = pairs().map(|(row, seconds)| (row[1] * row[2]).abs() * seconds).sum();
                prop_assert!((answer.discharge_ah * 3_600.0 - out).abs() <= 1e-10 * out.abs());
                prop_assert!((answer.energy_net_j.unwrap_or_default() - energy).abs() <= 1e-10 * scale);
                let highest = rows.iter().map(|row| row[1]).fold(f64::NEG_INFINITY, f64::max);
                prop_assert_eq!(answer.highest.current_a, highest);
            }
            Err(refusal) => {
                let codes: Vec<&str> = refusal.faults.iter().map(|fault| fault.code.as_str()).collect();
                let few = rows.len() < 2;
                // Nothing but bad lines among the first, or another number of columns more often than three.
                prop_assert!(few || codes == ["no-columns"] || codes == ["no-such-column"], "{:?}", codes);
            }
        }
    }

    #[test]
    fn garbage_is_answered(bytes in prop::collection::vec(any::<u8>(), 0..3_000), pieces in prop::collection::vec(1_usize..500, 1..5)) {
        let once = answer(&bytes, &json!({}), &pieces);
        prop_assert_eq!(format!("{once:?}"), format!("{:?}", answer(&bytes, &json!({}), &[])));
    }

    #[test]
    fn any_separator_and_decimal_sign_is_recognised(
        rows in prop::collection::vec((1_i64..1_000_000, -1_000_000_i64..1_000_000), 3..300),
        separator in prop_oneof![Just(','), Just(';'), Just('\t'), Just('|'), Just(' ')],
        comma in any::<bool>(),
        head in any::<bool>(),
    ) {
        let decimal = if comma && separator != ',' { ',' } else { '.' };
        let written = |value: i64| {
            let sign = if value < 0 { "-" } else { "" };
            format!("{sign}{}{decimal}{:02}", value.abs() / 100, value.abs() % 100)
        };
        let (mut text, mut time, mut expected, mut last) = (String::new(), 0, 0.0, None::<(i64, i64)>);
        if head {
            let _ = writeln!(text, "time{separator}current");
        }
        for (step, current) in rows {
            if let Some((before, held)) = last {
                expected += held as f64 / 100.0 * ((time - before) as f64 / 100.0);
            }
            last = Some((time, current));
            let _ = writeln!(text, "{}{separator}{}", written(time), written(current));
            time += step;
        }
        let answer = answer(text.as_bytes(), &json!({}), &[333]).map_err(|refusal| TestCaseError::fail(format!("{refusal:?}")))?;
        let scale = answer.discharge_ah + answer.charge_ah;
        prop_assert!((answer.net_ah - expected / 3_600.0).abs() <= 1e-12 * scale);
    }
}

/// Rows that are written as most are go through many at a time, quoted ones cell by cell: the same to the last bit.
#[test]
fn quotes_change_nothing() {
    let mut state = 11_u64;
    let mut next = |below: u64| {
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (state >> 33) % below
    };
    let clock = |second: u64| {
        format!(
            "2026-03-0{}T{:02}:{:02}:{:02}Z",
            1 + second / 86_400,
            second / 3_600 % 24,
            second / 60 % 60,
            second % 60
        )
    };
    let elapsed = |second: u64| format!("{:02}:{:02}:{:02}", second / 3_600, second / 60 % 60, second % 60);
    let kinds: [&dyn Fn(u64) -> String; 3] = [&|second| format!("{second}.25"), &clock, &elapsed];
    for (kind, unusual) in [(0, 1), (1, 1), (2, 1), (0, 2), (1, 3), (0, 100), (1, 300)] {
        let (mut plain, mut quoted, mut mixed, mut time) = (String::new(), String::new(), String::new(), 0_u64);
        for _ in 0..9_000 {
            // Now and then a row at the same time, and one before it.
            time += next(4).div_ceil(2);
            let at = if next(500) == 0 { time.saturating_sub(5) } else { time };
            let current = (next(200_001) as f64 - 1e5) / 100.0;
            let cells = [
                format!("n{}", next(50)),
                kinds[kind](at),
                format!("{current}"),
                format!("{}", next(4_000) as f64 / 10.0),
                format!("{}", 20 + next(20)),
            ];
            let rows = [cells.join(";"), cells.iter().map(|cell| format!("\"{cell}\"")).collect::<Vec<_>>().join(";")];
            let _ = writeln!(plain, "{}", rows[0]);
            let _ = writeln!(quoted, "{}", rows[1]);
            let _ = writeln!(mixed, "{}", rows[usize::from(next(unusual) == 0)]);
        }
        let mut options = everything();
        options["text"] = json!({"separator": "semicolon", "decimal_sign": "point", "time_column": 2, "current_column": 3,
            "voltage_column": 4, "ambient_column": 5});
        let [plain, quoted, mixed] = [plain, quoted, mixed].map(|text| answer(text.as_bytes(), &options, &[100_003]));
        let plain = format!("{plain:?}");
        assert!(plain.starts_with("Ok"), "{plain}");
        assert_eq!(plain, format!("{quoted:?}"), "kind {kind}");
        assert_eq!(plain, format!("{mixed:?}"), "kind {kind}, one of {unusual}");
    }
}

/// Files that ask for much: they are refused in words, and nothing grows.
#[test]
fn what_would_grow_is_refused() {
    let code = |mut more: Box<dyn FnMut() -> Option<Vec<u8>>>| {
        let input: ProfileInput = read(None, Notation::Form).expect("start");
        let mut profile = Profile::new(input);
        let mut taken = 0_u64;
        while let Some(piece) = more() {
            taken += piece.len() as u64;
            if !profile.push(&piece) {
                break;
            }
        }
        let refusal = profile.finish().expect_err("refused");
        (refusal.faults[0].code.clone(), taken)
    };
    let mut left = 16_384;
    let (long, taken) = code(Box::new(move || {
        left -= 1;
        (left > 0).then(|| vec![b'1'; 65_536])
    }));
    assert_eq!(long, "long-line");
    assert!(taken <= 3 * 65_536, "{taken} bytes of a gigabyte were taken");
    let mut rows = 1_000;
    let wide = vec!["1"; 10_000].join(",") + "\n";
    let (wide, _) = code(Box::new(move || {
        rows -= 1;
        (rows > 0).then(|| wide.clone().into_bytes())
    }));
    assert_eq!(wide, "too-many-columns");
}
