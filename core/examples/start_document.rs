use sensewright_core::design::{Design, section::SECTIONS};
fn main() {
    let mut design = Design::start();
    for section in SECTIONS {
        for kind in section.kinds {
            design.add(section, kind);
        }
    }
    let mut document = serde_json::Map::new();
    document.insert("engine".into(), serde_json::json!("sensewright-core 0.1.0"));
    document.extend(design.write());
    print!("{}", serde_json::Value::Object(document));
}
