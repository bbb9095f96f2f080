//! The firmware table: counts of nodes from closed forms and an independent script, and the emitted C code compiled and run.

use std::io::Write;
use std::process::{Command, Stdio};

use sensewright_core::calc::temperature::thermistor::curve::Curve;
use sensewright_core::calc::temperature::thermistor::table::nodes::interpolate;
use sensewright_core::calculation::Answer;
use serde_json::{Value, json};

use super::{answer, at};

fn count(table: &Answer, placement: usize) -> Option<u64> {
    table.result.tree().pointer(&format!("/placements/{placement}/nodes")).and_then(Value::as_u64)
}

/// R25 10 kΩ, B 3435 K, 10 kΩ, 12 bit, −40 °C to 125 °C, 0.25 K: 18 nodes on the curve, about 13 beside it, 27 with equal steps
/// of temperature, more than 79 with equal steps of code (independent script).
#[test]
fn nodes_are_as_few_as_an_independent_script_finds() {
    let table = answer("thermistor/table", &[]);
    assert_eq!(count(&table, 0), Some(18));
    assert!(count(&table, 1).is_some_and(|nodes| (12..=14).contains(&nodes)), "{:?}", count(&table, 1));
    assert_eq!(count(&table, 2), Some(27));
    assert!(count(&table, 3).is_none_or(|nodes| nodes > 79));
    assert!((at(&table, "/estimate") - 18.0).abs() < 1.5, "{}", at(&table, "/estimate"));
    assert_eq!((at(&table, "/code_min"), at(&table, "/code_max")), (215.0, 3937.0));
    assert!(at(&table, "/worst_error_k") <= 0.25);
}

fn nodes(table: &Answer) -> Vec<(usize, i64)> {
    let result = table.result.tree();
    let rows = result["nodes"].as_array().expect("nodes");
    let first = rows[0]["code"].as_u64().expect("a code");
    rows.iter()
        .map(|node| {
            let code = node["code"].as_u64().expect("a code") - first;
            (usize::try_from(code).expect("small"), node["value"].as_i64().expect("a value"))
        })
        .collect()
}

/// Every code of every table lies within its limit of the curve, worked out again here from the beta equation.
#[test]
fn no_code_is_further_off_than_said() {
    for placement in ["on-curve", "offset"] {
        for (error, steps, bits) in [(0.25, 100, 12), (0.05, 100, 12), (1.0, 1, 10), (0.02, 1000, 16), (0.01, 100, 14)]
        {
            let table = answer(
                "thermistor/table",
                &[
                    ("/max_error_k", json!(error)),
                    ("/steps_per_k", json!(steps)),
                    ("/converter/bits", json!(bits)),
                    ("/placement", json!(placement)),
                ],
            );
            let (first, last) = (at(&table, "/code_min"), at(&table, "/code_max"));
            let nodes = nodes(&table);
            let curve = Curve::Beta { r25_ohm: 10e3, beta_k: 3435.0 };
            let mut worst = 0.0f64;
            for place in 0..=nodes[nodes.len() - 1].0 {
                let share = (first + place as f64) / f64::from(1u32 << bits);
                let degc = curve.degc(10e3 * share / (1.0 - share)).expect("inside");
                worst = worst.max((interpolate(&nodes, place) as f64 / f64::from(steps) - degc).abs());
            }
            assert!(worst <= error, "{placement} {error} {steps} {bits}: {worst}");
            assert!((worst - at(&table, "/worst_error_k")).abs() < 1e-9);
            assert_eq!(nodes[nodes.len() - 1].0 as f64, last - first);
            // Beside the curve never takes more nodes than on it.
            assert!(count(&table, 1) <= count(&table, 0), "{error} {steps} {bits}");
        }
    }
}

/// A C compiler on this machine, if there is one.
fn has_compiler() -> bool {
    Command::new("cc")
        .arg("--version")
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .status()
        .is_ok_and(|done| done.success())
}

/// Compiles a header with a program that prints the value and the state of every code, and runs it.
fn run(name: &str, header: &str, from: u64, to: u64) -> Vec<(i64, i64)> {
    let upper = name.to_uppercase();
    let folder = std::env::temp_dir().join(format!("sensewright-header-{}-{name}", std::process::id()));
    std::fs::create_dir_all(&folder).expect("a folder");
    std::fs::write(folder.join("table.h"), header).expect("written");
    // Twice: the guard must hold. The vectors are checked by the program itself.
    let program = format!(
        "#define {upper}_TEST\n#include \"table.h\"\n#include \"table.h\"\n#include <stdio.h>\n\
         int main(void) {{\n  uint32_t code;\n  unsigned i;\n  \
         for (i = 0; i < sizeof {name}_vectors / sizeof {name}_vectors[0]; ++i)\n    \
         if ({name}_of({name}_vectors[i].code) != {name}_vectors[i].value) return 1;\n  \
         for (code = {from}u; code <= {to}u; ++code)\n    \
         printf(\"%ld %d\\n\", (long){name}_of(code), {name}_state(code));\n  return 0;\n}}\n"
    );
    std::fs::File::create(folder.join("main.c"))
        .and_then(|mut file| file.write_all(program.as_bytes()))
        .expect("written");
    // Once without the vectors, as firmware includes it.
    let plain = "#include \"table.h\"\nint main(void) { return 0; }\n";
    std::fs::write(folder.join("plain.c"), plain).expect("written");
    for file in ["plain.c", "main.c"] {
        let built = Command::new("cc")
            .args(["-std=c99", "-Wall", "-Wextra", "-Werror", "-pedantic", "-o", "main", file])
            .current_dir(&folder)
            .output()
            .expect("cc runs");
        assert!(built.status.success(), "{file}: {}", String::from_utf8_lossy(&built.stderr));
    }
    let done = Command::new(folder.join("main")).output().expect("it runs");
    std::fs::remove_dir_all(&folder).expect("removed");
    assert!(done.status.success(), "a test vector does not hold");
    String::from_utf8_lossy(&done.stdout)
        .lines()
        .map(|line| {
            let (value, state) = line.split_once(' ').expect("two numbers");
            (value.parse().expect("a number"), state.parse().expect("a number"))
        })
        .collect()
}

/// The emitted header compiles without a warning and its function gives the integer model's value at every code, inside and
/// outside the table.
#[test]
fn the_c_header_compiles_and_gives_the_same_integers() {
    if !has_compiler() {
        return;
    }
    for (name, changes) in [
        ("temperature", vec![]),
        ("cell_1", vec![("/placement", json!("offset")), ("/divider/side", json!("high"))]),
        // Products beyond 32 bit.
        ("wide", vec![("/converter/bits", json!(16)), ("/steps_per_k", json!(1000)), ("/max_error_k", json!(20))]),
        (
            "platinum",
            vec![
                ("/curve", json!("platinum")),
                ("/read_out", json!("current")),
                ("/current/current_a", json!(1e-3)),
                ("/max_error_k", json!(0.1)),
            ],
        ),
        ("frequency", vec![("/read_out", json!("oscillator")), ("/oscillator/gate_s", json!(0.3))]),
    ] {
        let mut changes: Vec<(&str, Value)> = changes;
        changes.push(("/name", json!(name)));
        let table = answer("thermistor/table", &changes);
        let result = table.result.tree();
        let header = result["c_header"].as_str().expect("text");
        assert!(header.contains(&table.address), "the header says where it comes from");
        let (first, last) = (
            table.result.tree()["code_min"].as_u64().expect("a code"),
            table.result.tree()["code_max"].as_u64().expect("a code"),
        );
        let (from, to) = (first.saturating_sub(40), last + 40);
        let ran = run(name, header, from, to);
        let nodes = nodes(&table);
        assert_eq!(ran.len() as u64, to - from + 1);
        for (code, (value, state)) in (from..=to).zip(ran) {
            let place = usize::try_from(code.clamp(first, last) - first).expect("small");
            assert_eq!(value, interpolate(&nodes, place), "{name} at code {code}");
            assert_eq!(state == 0, (first..=last).contains(&code), "{name} at code {code}");
        }
    }
}

/// The text has a line for every node.
#[test]
fn the_text_has_every_node() {
    let table = answer("thermistor/table", &[]);
    let result = table.result.tree();
    let csv = result["csv"].as_str().expect("text");
    assert_eq!(csv.lines().count(), 19);
    assert_eq!(csv.lines().next(), Some("code,steps_of_1/100_k,degc"));
}
