//! Temporary: renders pages to look at.
use sensewright_core::{
    catalogue::CATALOGUE,
    demo::DEMOS,
    field::{Notation, form_tree},
};
use sensewright_web::*;
fn main() {
    let o = "https://sensewright.example";
    let w = |n: &str, t: String| std::fs::write(format!("/tmp/web-out/{n}.html"), t).unwrap();
    for r in CATALOGUE {
        let n = r.meta.slug.replace('/', "-");
        let a = r.answer(None, Notation::Form).unwrap();
        let t = std::time::Instant::now();
        let page = room_page(r, &[], Outcome::Solved(&a), o);
        println!("{n} {} bytes {:?}", page.len(), t.elapsed());
        w(&n, page);
        if r.meta.slug == "shunt" {
            let typed: Vec<(String, String)> = [
                ("shunt.resistance_ohm", "80O"),
                ("shunt.thermal_resistance_k_per_w", "-1.9"),
                ("operating.current_a", "900"),
            ]
            .map(|(a, b)| (a.into(), b.into()))
            .into();
            let f = r.answer(Some(&form_tree(&typed).unwrap()), Notation::Form).unwrap_err();
            w("shunt-refused", room_page(r, &typed, Outcome::Refused { faults: &f, last: Some(&a) }, o));
            let typed: Vec<(String, String)> = [("shunt.resistance_ohm", "60u"), ("operating.current_a", "900")]
                .map(|(a, b)| (a.into(), b.into()))
                .into();
            let a = r.answer(Some(&form_tree(&typed).unwrap()), Notation::Form).unwrap();
            w("shunt-changed", room_page(r, &typed, Outcome::Solved(&a), o));
            w("live", live_part(r, Outcome::Solved(&a), o));
            for b in &a.view.blocks {
                if let sensewright_core::report::Block::Chart(c) = b {
                    std::fs::write(format!("/tmp/web-out/{}.svg", c.id), chart_svg(c)).unwrap();
                }
            }
        }
    }
    for d in DEMOS.iter() {
        let r = sensewright_core::catalogue::find(&d.calculation).unwrap();
        let a = r.answer(Some(&d.input), Notation::Json).unwrap();
        w(&format!("demo-{}", d.slug), room_page(r, &[], Outcome::Solved(&a), o));
    }
    w("start", start_page(&DEMOS, CATALOGUE));
    w(
        "error",
        error_page(404, "Not Found", "Nothing has this address. The start page lists every calculation.", "abc-1"),
    );
    if let Ok(t) = std::fs::read_to_string("/tmp/web-out/openapi.json") {
        w("api", api_page(&serde_json::from_str(&t).unwrap(), o));
    }
}
