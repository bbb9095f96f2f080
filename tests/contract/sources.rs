//! The structure of the sources: what stands where, who may use whom.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};

use sensewright_core::catalogue::CATALOGUE;
use sensewright_core::field::schema;
use sensewright_core::quantity::Unit;
use serde_json::Value;

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).parent().expect("the workspace").into()
}

/// Every Rust file below a folder, with its path from the workspace and its text.
fn sources(folder: &str) -> Vec<(String, String)> {
    fn walk(folder: &Path, found: &mut Vec<PathBuf>) {
        for entry in fs::read_dir(folder).expect("a folder").map(|entry| entry.expect("an entry").path()) {
            if entry.is_dir() {
                walk(&entry, found);
            } else if entry.extension().is_some_and(|ending| ending == "rs") {
                found.push(entry);
            }
        }
    }
    let mut found = Vec::new();
    walk(&root().join(folder), &mut found);
    found.sort();
    let named = |path: PathBuf| {
        let name = path.strip_prefix(root()).expect("inside").to_string_lossy().replace('\\', "/");
        (name, fs::read_to_string(path).expect("text"))
    };
    found.into_iter().map(named).collect()
}

/// The code of a file: without comments and without its tests.
fn code(text: &str) -> String {
    let text = text.split("#[cfg(test)]").next().unwrap_or_default();
    text.lines().filter(|line| !line.trim_start().starts_with("//")).collect::<Vec<_>>().join("\n")
}

/// The module that a file is: `core/src/calc/current/shunt/mod.rs` is `calc::current::shunt`.
fn module(path: &str) -> Vec<String> {
    let inside = path.split_once("/src/").map_or(path, |(_, inside)| inside);
    let inside = inside.trim_end_matches(".rs").trim_end_matches("/mod");
    let names: Vec<String> = inside.split('/').map(str::to_owned).collect();
    if names == ["lib"] { Vec::new() } else { names }
}

/// The paths that a file names: `use` lines with their braces taken apart, and paths in the code, made absolute.
fn named(own: &[String], text: &str) -> BTreeSet<Vec<String>> {
    let mut found = BTreeSet::new();
    let text = code(text).replace('\n', " ");
    for start in ["crate::", "super::"] {
        let mut rest = text.as_str();
        while let Some(at) = rest.find(start) {
            let before = rest[..at].chars().next_back();
            let tail = &rest[at..];
            rest = &rest[at + start.len()..];
            if before.is_some_and(|c| c.is_alphanumeric() || c == ':' || c == '_') {
                continue;
            }
            expand(own, &[], tail, &mut found);
        }
    }
    found
}

/// Takes a path apart: names until something else, a brace for each of its branches.
fn expand(own: &[String], head: &[String], text: &str, found: &mut BTreeSet<Vec<String>>) {
    let end = text.find(|c: char| !(c.is_alphanumeric() || c == '_' || c == ':')).unwrap_or(text.len());
    let mut path = head.to_vec();
    path.extend(text[..end].split("::").filter(|name| !name.is_empty()).map(str::to_owned));
    if text[end..].starts_with('{') && text[..end].ends_with("::") {
        let (mut depth, mut from) = (0, end + 1);
        for (at, letter) in text.char_indices().skip_while(|(at, _)| *at < end) {
            match letter {
                '{' => depth += 1,
                ',' if depth == 1 => {
                    expand(own, &path, text[from..at].trim(), found);
                    from = at + 1;
                }
                '}' => {
                    depth -= 1;
                    if depth == 0 {
                        expand(own, &path, text[from..at].trim(), found);
                        return;
                    }
                }
                _ => {}
            }
        }
        return;
    }
    let mut base: Vec<String> = own.to_vec();
    let mut names = path.into_iter().peekable();
    if names.peek().is_some_and(|name| name == "crate") {
        names.next();
        base.clear();
    } else {
        while names.next_if(|name| name == "super").is_some() {
            base.pop();
        }
    }
    base.extend(names);
    found.insert(base);
}

/// The modules of a package and which of them each file uses.
fn graph(package: &str) -> BTreeMap<Vec<String>, BTreeSet<Vec<String>>> {
    let files = sources(&format!("{package}/src"));
    let modules: BTreeSet<Vec<String>> = files.iter().map(|(path, _)| module(path)).collect();
    let uses = |own: &Vec<String>, text: &str| {
        let longest = |path: Vec<String>| {
            (1..=path.len()).rev().map(|end| path[..end].to_vec()).find(|path| modules.contains(path))
        };
        named(own, text).into_iter().filter_map(longest).filter(|other| other != own).collect()
    };
    files.iter().map(|(path, text)| (module(path), uses(&module(path), text))).collect()
}

/// One word finds everything: the path of a calculation ends with its slug, in exactly one group.
#[test]
fn a_path_ends_with_its_slug() {
    let files: Vec<String> = sources("core/src/calc").into_iter().map(|(path, _)| path).collect();
    for room in CATALOGUE {
        let slug = room.meta.slug.replace('-', "_");
        let of_group = |path: &String| {
            let inside = path.strip_prefix("core/src/calc/").unwrap_or_default();
            let inside = inside.trim_end_matches(".rs").trim_end_matches("/mod");
            inside == slug || inside.split_once('/').is_some_and(|(_, rest)| rest == slug)
        };
        let found: Vec<&String> = files.iter().filter(|path| of_group(path)).collect();
        assert_eq!(found.len(), 1, "{slug}: {found:?}");
    }
}

/// What two groups share stands below both.
#[test]
fn no_group_of_calculations_uses_another() {
    for (own, used) in graph("core").iter().filter(|(own, _)| own.first().is_some_and(|name| name == "calc")) {
        let Some(group) = own.get(1) else { continue };
        for other in used.iter().filter(|other| other.first().is_some_and(|name| name == "calc")) {
            assert!(other.get(1).is_none_or(|name| name == group), "{own:?} uses {other:?}");
        }
    }
}

/// Each layer uses itself and those before it.
#[test]
fn layers_use_what_is_below_them() {
    const LAYERS: [&[&str]; 8] = [
        &["address", "constant", "quantity", "numeric"],
        &["field", "judge", "report", "work"],
        &["propagation"],
        &["physics"],
        &["channel", "profile"],
        &["calculation"],
        &["calc"],
        &["catalogue", "design", "demo"],
    ];
    let place =
        |path: &[String]| LAYERS.iter().position(|layer| path.first().is_some_and(|own| layer.contains(&own.as_str())));
    for (own, used) in graph("core") {
        for other in used {
            assert!(place(&own) >= place(&other) || place(&own).is_none(), "{own:?} uses {other:?}");
        }
    }
}

/// No circle between files, except parent and child.
#[test]
fn no_files_use_each_other_in_a_circle() {
    for package in ["core", "web", "server"] {
        let related = |a: &[String], b: &[String]| a.starts_with(b) || b.starts_with(a);
        let graph: BTreeMap<_, BTreeSet<_>> = graph(package)
            .into_iter()
            .map(|(own, used)| (own.clone(), used.into_iter().filter(|other| !related(&own, other)).collect()))
            .collect();
        let mut circles = Vec::new();
        for start in graph.keys() {
            let (mut seen, mut open) = (BTreeSet::new(), vec![start]);
            while let Some(at) = open.pop() {
                for next in graph.get(at).into_iter().flatten() {
                    if next == start {
                        circles.push(format!("{} through {}", start.join("::"), at.join("::")));
                    }
                    if seen.insert(next) {
                        open.push(next);
                    }
                }
            }
        }
        assert!(circles.is_empty(), "{package}: {circles:#?}");
    }
}

/// What fails is decided in one file.
#[test]
fn failures_are_made_in_one_place() {
    for (path, text) in sources("core/src") {
        let makes = code(&text).contains("Finding::new(Severity::Fail") || code(&text).contains("exact_limit");
        let own = ["core/src/judge/told.rs", "core/src/calculation.rs"].contains(&path.as_str());
        assert!(!makes || own, "{path} makes a failure");
    }
}

/// The whole string literals of a file.
fn literals(text: &str) -> Vec<String> {
    let mut found = Vec::new();
    let code = code(text).replace("\\\"", "");
    for line in code.lines() {
        found.extend(line.split('"').skip(1).step_by(2).map(str::to_owned));
    }
    found
}

/// The names of everything in a schema, and in what it refers to.
fn names(schema: &Value, found: &mut BTreeSet<String>) {
    match schema {
        Value::Object(map) => {
            for (key, value) in map {
                if let ("properties", Value::Object(properties)) = (key.as_str(), value) {
                    found.extend(properties.keys().cloned());
                }
                names(value, found);
            }
        }
        Value::Array(items) => items.iter().for_each(|item| names(item, found)),
        _ => {}
    }
}

/// What a calculation is called, what its result is called and how a unit is written stand once: in its folder, in the
/// section table, in `quantity`. The engine writes the units of its sources as text.
#[test]
fn slugs_results_and_units_are_written_in_one_place() {
    let slugs: BTreeSet<&str> = CATALOGUE.iter().map(|entry| entry.meta.slug).collect();
    let mut results = BTreeSet::new();
    let mut inputs = BTreeSet::new();
    for entry in CATALOGUE {
        let mut components = Vec::new();
        let own = entry.output_schema(&mut components);
        names(&serde_json::to_value((own, components)).expect("JSON"), &mut results);
        names(&schema(entry.fields), &mut inputs);
    }
    // A word without a unit, such as `points`, says nothing about whose it is.
    let unit = |name: &&String| name.contains('_') && !inputs.contains(*name);
    let results: BTreeSet<&str> = results.iter().filter(unit).map(String::as_str).collect();
    assert!(results.len() > 100 && results.contains("lsb_a"), "{results:?}");
    let symbols: BTreeSet<&str> =
        Unit::ALL.iter().map(|unit| unit.symbol()).filter(|symbol| symbol.len() > 1).collect();
    for (path, text) in ["core/src", "web/src", "server/src"].into_iter().flat_map(sources) {
        let table = path.starts_with("core/src/design/section");
        if table
            || path.starts_with("core/src/calc/")
            || path.starts_with("core/src/quantity/")
            || path.contains("/tests")
        {
            continue;
        }
        for literal in literals(&text) {
            let last = literal.rsplit('/').next().unwrap_or_default();
            assert!(!slugs.contains(literal.as_str()), "{path} names the calculation {literal}");
            assert!(!results.contains(last) || literal.contains(' '), "{path} names the result {literal}");
            let engine = ["core/src/physics/", "core/src/channel/", "core/src/propagation/"];
            let engine = engine.iter().any(|folder| path.starts_with(folder));
            assert!(engine || !symbols.contains(literal.as_str()), "{path} writes the unit {literal}");
        }
    }
}

/// A file has one subject and at most 500 lines of code, tests and declared tables aside.
#[test]
fn files_are_short() {
    for folder in ["core/src", "web/src", "server/src"] {
        for (path, text) in sources(folder) {
            let lines = code(&text).lines().filter(|line| !line.trim_end().ends_with("\";")).count();
            assert!(lines <= 500, "{path}: {lines} lines");
        }
    }
}
