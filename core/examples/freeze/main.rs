//! Every number of every calculation, written to files: what a change of structure must not move.
//!
//! ```text
//! freeze inputs OUTDIR [COUNT=400]   OUTDIR/inputs/<slug>.jsonl: the form's example, then COUNT random inputs
//! freeze dump OUTDIR                 OUTDIR/<slug>.jsonl: for each line of the inputs, all that its answer says
//!                                    OUTDIR/demos/<name>.json: the same for every demo design and its parts
//! ```
//!
//! A slug's `/` is written as `__`. Inputs are random but the same at every run; they are made once, and both sides of
//! a comparison read the same ones (`OUTDIR/inputs` may be a link). `tests/freeze/compare.py` compares two dumps.

mod inputs;
mod view;

use std::error::Error;
use std::fs::{self, File};
use std::io::{BufRead, BufReader, BufWriter, Write};
use std::path::{Path, PathBuf};
use std::time::Instant;

use rayon::prelude::*;
use sensewright_core::calculation::Entry;
use sensewright_core::catalogue::CATALOGUE;
use sensewright_core::demo::{DEMOS, Demo};
use sensewright_core::design::assess::assess;
use sensewright_core::design::turning::{Reach, turning, unit_of};
use sensewright_core::design::{answer, link};
use sensewright_core::field::Notation;
use sensewright_core::work::Work;
use serde_json::{Value, json};

type Outcome<T> = Result<T, Box<dyn Error>>;

const USE: &str = "use: freeze inputs OUTDIR [COUNT], or freeze dump OUTDIR";
const COUNT: usize = 400;
/// Lines that are worked out together; their answers are held until all are written.
const TOGETHER: usize = 64;

fn main() -> Outcome<()> {
    let words: Vec<String> = std::env::args().skip(1).collect();
    match words.iter().map(String::as_str).collect::<Vec<_>>()[..] {
        ["inputs", folder] => write_inputs(Path::new(folder), COUNT),
        ["inputs", folder, count] => write_inputs(Path::new(folder), count.parse()?),
        ["dump", folder] => dump(Path::new(folder), None),
        ["dump", folder, slug] => dump(Path::new(folder), Some(slug)),
        _ => Err(USE.into()),
    }
}

fn file_of(folder: &Path, entry: &Entry) -> PathBuf {
    folder.join(format!("{}.jsonl", entry.meta.slug.replace('/', "__")))
}

fn write_inputs(folder: &Path, count: usize) -> Outcome<()> {
    let folder = folder.join("inputs");
    fs::create_dir_all(&folder)?;
    CATALOGUE.par_iter().try_for_each(|entry| {
        let found = inputs::of(entry, count);
        let lines: Vec<String> = found.lines.iter().map(Value::to_string).collect();
        eprintln!("{}: {} inputs of {} tried", entry.meta.slug, found.lines.len(), found.tried);
        fs::write(file_of(&folder, entry), lines.join("\n") + "\n")
            .map_err(|fault| format!("{}: {fault}", entry.meta.slug))
    })?;
    Ok(())
}

fn dump(folder: &Path, only: Option<&str>) -> Outcome<()> {
    for entry in CATALOGUE.iter().filter(|entry| only.is_none_or(|slug| entry.meta.slug == slug)) {
        let begun = Instant::now();
        let from = file_of(&folder.join("inputs"), entry);
        let from = File::open(&from).map_err(|fault| format!("{}: {fault}", from.display()))?;
        let lines = BufReader::new(from).lines().collect::<Result<Vec<_>, _>>()?;
        let mut to = BufWriter::new(File::create(file_of(folder, entry))?);
        let mut bytes = 0;
        for chunk in lines.chunks(TOGETHER) {
            let done: Result<Vec<String>, serde_json::Error> =
                chunk.par_iter().map(|line| Ok(answered(entry, &serde_json::from_str(line)?).to_string())).collect();
            for line in done? {
                bytes += line.len() + 1;
                writeln!(to, "{line}")?;
            }
        }
        to.flush()?;
        let seconds = begun.elapsed().as_secs_f64();
        eprintln!("{}: {} lines, {} kB, {seconds:.1} s", entry.meta.slug, lines.len(), bytes / 1000);
    }
    if only.is_some() {
        return Ok(());
    }
    fs::create_dir_all(folder.join("demos"))?;
    for demo in DEMOS.iter() {
        fs::write(folder.join(format!("demos/{}.json", demo.slug)), format!("{}\n", of_demo(demo)))?;
    }
    Ok(())
}

/// What a calculation says to an input. An input that was accepted once may be refused later: that is an answer too.
fn answered(entry: &Entry, input: &Value) -> Value {
    let done = entry.answer(Some(input), Notation::Json);
    done.map_or_else(|faults| json!({ "refused": faults }), |answer| view::answer(&answer))
}

fn of_demo(demo: &Demo) -> Value {
    let assessed = match assess(&demo.design) {
        Ok(assessed) => assessed,
        Err(faults) => return json!({ "refused": faults }),
    };
    let requirements = assessed.requirements.iter().map(|row| {
        let part = assessed.parts[row.part].part.pointer();
        json!({ "part": part, "check": row.check, "reason": row.check.reason })
    });
    let turning = turning(&assessed, Reach::Near, Work::FREE).unwrap_or_default().into_iter().map(|one| {
        json!({
            "pointer": one.pointer, "label": one.field.label, "unit": unit_of(one.field), "now": one.now,
            "turns_at": one.turns_at, "requirement": one.requirement, "of_part": one.of_part,
            "holds_now": one.holds_now,
        })
    });
    let parts = assessed.parts.iter().map(|one| {
        let carried = one.carried.iter().map(|carried| {
            json!({
                "to": carried.to, "from": carried.from, "value": carried.value,
                "at": carried.at.map(|at| view::quantity(&at)),
            })
        });
        json!({
            "part": one.part.pointer(), "title": one.part.title(), "calculation": one.part.kind.entry.meta.slug,
            "verdict": one.verdict, "carried": carried.collect::<Vec<_>>(), "answer": view::answer(&one.answer),
        })
    });
    json!({
        "token": link::token(&assessed.design),
        "verdict": assessed.verdict(),
        "requirements": requirements.collect::<Vec<_>>(),
        "turning": turning.collect::<Vec<_>>(),
        "parts": parts.collect::<Vec<_>>(),
        "api": answer::answer(&assessed, &answer::Include::all(), Work::FREE).ok().map(|done| answer::write(&done)),
    })
}
