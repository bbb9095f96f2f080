//! # The table as text
//!
//! A comma-separated file and a C header of our own design: constant arrays, one inline function that works with integers
//! alone, the state of the wires, and vectors to test it with. It needs nothing but `stdint.h` of C99.

use std::fmt::Write;

use super::{ThermistorTableOutput, WireLimit};
use crate::report::c_comment;

/// Code, value in output steps and degrees, one node a line.
pub fn csv(result: &ThermistorTableOutput) -> String {
    let mut text = format!("code,steps_of_1/{}_k,degc\n", result.steps_per_k);
    for node in &result.nodes {
        // Writing to a string cannot fail.
        let _ = writeln!(text, "{},{},{}", node.code, node.value, node.degc);
    }
    text
}

fn rows(values: impl Iterator<Item = String>, count: usize) -> String {
    let all: Vec<String> = values.collect();
    all.chunks(count).map(|row| format!("    {}", row.join(", "))).collect::<Vec<_>>().join(",\n")
}

/// The type that holds every value.
fn holder(values: impl Iterator<Item = i64>) -> &'static str {
    let most = values.map(i64::abs).max().unwrap_or(0);
    if most <= i64::from(i16::MAX) { "int16_t" } else { "int32_t" }
}

/// The largest product of the interpolation, rounding included.
fn largest_product(result: &ThermistorTableOutput) -> i64 {
    result
        .nodes
        .windows(2)
        .map(|pair| {
            let span = i64::from(pair[1].code) - i64::from(pair[0].code);
            (pair[1].value - pair[0].value).abs() * span + span
        })
        .max()
        .unwrap_or(0)
}

/// The C header.
pub fn c_header(name: &str, engine: &str, link: &str, result: &ThermistorTableOutput) -> String {
    let upper = name.to_uppercase();
    let steps = result.steps_per_k;
    let count = result.nodes.len();
    let last = count - 1;
    let wide = if largest_product(result) <= i64::from(i32::MAX) { "int32_t" } else { "int64_t" };
    let value_type = holder(result.nodes.iter().map(|node| node.value));
    let code_type = if u16::try_from(result.code_max).is_ok() { "uint16_t" } else { "uint32_t" };
    let codes = rows(result.nodes.iter().map(|node| format!("{}u", node.code)), 8);
    let values = rows(result.nodes.iter().map(|node| node.value.to_string()), 8);
    let vectors = rows(result.vectors.iter().map(|vector| format!("{{ {}u, {} }}", vector.code, vector.value)), 4);
    let limits = wire_limits(&upper, result);
    let state = wire_state(name, &upper, result);
    format!(
        "/*\n \
         * {name}: degrees Celsius in steps of 1/{steps} K from a code, by integers alone.\n \
         *\n \
         * Made by {engine} from\n \
         * {link}\n \
         *\n \
         * {count} nodes from code {first} to {end}; largest error {error:.6} K at code {worst},\n \
         * rounding included, found by trying every code. Outside the nodes the end value is returned.\n \
         */\n\
         #ifndef {upper}_TABLE_H\n#define {upper}_TABLE_H\n\n#include <stdint.h>\n\n\
         #define {upper}_STEPS_PER_K {steps}\n\
         #define {upper}_NODES {count}u\n\
         #define {upper}_CODE_MIN {first}u\n\
         #define {upper}_CODE_MAX {end}u\n{limits}\n\
         static const {code_type} {name}_codes[{upper}_NODES] = {{\n{codes}\n}};\n\n\
         static const {value_type} {name}_values[{upper}_NODES] = {{\n{values}\n}};\n\n\
         /* The temperature of a code, rounded to the nearest step. */\n\
         static inline int32_t {name}_of(uint32_t code)\n{{\n    \
             uint32_t i = 1u;\n    \
             {wide} span;\n    \
             {wide} product;\n\n    \
             if (code <= {upper}_CODE_MIN) {{\n        return {name}_values[0];\n    }}\n    \
             if (code >= {upper}_CODE_MAX) {{\n        return {name}_values[{last}];\n    }}\n    \
             while (code > {name}_codes[i]) {{\n        ++i;\n    }}\n    \
             span = ({wide}){name}_codes[i] - ({wide}){name}_codes[i - 1u];\n    \
             product = (({wide}){name}_values[i] - ({wide}){name}_values[i - 1u])\n        \
                 * (({wide})code - ({wide}){name}_codes[i - 1u]);\n    \
             product += (product >= 0) ? span / 2 : -(span / 2);\n    \
             return (int32_t)({name}_values[i - 1u] + product / span);\n}}\n\n\
         {state}\n\
         #ifdef {upper}_TEST\n\
         /* Codes and what {name}_of() must return for them. */\n\
         static const struct {{\n    uint32_t code;\n    int32_t value;\n}} {name}_vectors[{vectors_count}] = {{\n{vectors}\n}};\n\
         #endif\n\n\
         #endif\n",
        engine = c_comment(engine),
        link = c_comment(link),
        first = result.code_min,
        end = result.code_max,
        error = result.worst_error_k,
        worst = result.worst_error_code,
        vectors_count = result.vectors.len(),
    )
}

fn wire_limits(upper: &str, result: &ThermistorTableOutput) -> String {
    let mut text = String::new();
    for (limit, word) in [(&result.open, "OPEN"), (&result.short, "SHORT")] {
        if let Some(limit) = limit {
            let side = if limit.above { "FROM" } else { "TO" };
            let _ = writeln!(text, "#define {upper}_{word}_{side} {}u", limit.threshold_code);
        }
    }
    text
}

fn wire_state(name: &str, upper: &str, result: &ThermistorTableOutput) -> String {
    let test = |limit: &Option<WireLimit>, word: &str, value: u32| {
        limit.as_ref().map_or_else(
            || {
                format!(
                    "    /* A wire that is {} cannot be told from a temperature of the table. */\n",
                    word.to_lowercase()
                )
            },
            |limit| {
                // A comparison with zero from below is true for no unsigned number: it is written as an equation.
                let condition = match (limit.above, limit.threshold_code) {
                    (true, _) => format!("code >= {upper}_{word}_FROM"),
                    (false, 0) => format!("code == {upper}_{word}_TO"),
                    (false, _) => format!("code <= {upper}_{word}_TO"),
                };
                format!("    if ({condition}) {{\n        return {value};\n    }}\n")
            },
        )
    };
    format!(
        "/* 0: a temperature of the table, 1: open wire, 2: shorted sensor, 3: outside the table. */\n\
         static inline int {name}_state(uint32_t code)\n{{\n{}{}    \
             return (code < {upper}_CODE_MIN || code > {upper}_CODE_MAX) ? 3 : 0;\n}}\n",
        test(&result.open, "OPEN", 1),
        test(&result.short, "SHORT", 2),
    )
}
