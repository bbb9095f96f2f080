//! # Static files
//!
//! Compiled in, so that the service needs no folder at run time. Each has a tag made of its bytes.

/// A static file.
#[derive(Clone, Debug)]
pub struct Asset {
    /// The file.
    pub bytes: &'static [u8],
    /// Its media type.
    pub content_type: &'static str,
    /// Entity tag with its quotes (RFC 9110 section 8.8.3): changes with the bytes.
    pub etag: String,
}

const CSS: &str = "text/css; charset=utf-8";
const JS: &str = "text/javascript; charset=utf-8";
const SVG: &str = "image/svg+xml";

/// Every file with the name it has below `/static/`.
pub const NAMES: &[&str] =
    &["style.css", "charts.css", "design.css", "print.css", "report.css", "live.js", "api.js", "icon.svg"];

/// The file of a name such as `style.css`, with or without `/static/` before it.
pub fn asset(path: &str) -> Option<Asset> {
    let (bytes, content_type): (&'static [u8], _) = match path.trim_start_matches("/static/") {
        "style.css" => (include_bytes!("../static/style.css"), CSS),
        "charts.css" => (include_bytes!("../static/charts.css"), CSS),
        "design.css" => (include_bytes!("../static/design.css"), CSS),
        "print.css" => (include_bytes!("../static/print.css"), CSS),
        "report.css" => (include_bytes!("../static/report.css"), CSS),
        "live.js" => (include_bytes!("../static/live.js"), JS),
        "api.js" => (include_bytes!("../static/api.js"), JS),
        "icon.svg" => (include_bytes!("../static/icon.svg"), SVG),
        _ => return None,
    };
    Some(Asset { bytes, content_type, etag: format!("\"{:016x}\"", fnv1a(bytes)) })
}

/// FNV-1a, 64 bit: tells two versions of a file apart; no secret depends on it.
fn fnv1a(bytes: &[u8]) -> u64 {
    bytes.iter().fold(0xcbf2_9ce4_8422_2325, |hash, byte| (hash ^ u64::from(*byte)).wrapping_mul(0x0100_0000_01b3))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_name_has_its_file_and_a_tag_of_its_own() {
        let tags: std::collections::BTreeSet<_> =
            NAMES.iter().map(|name| asset(name).expect("known name").etag).collect();
        assert_eq!(tags.len(), NAMES.len());
        assert!(asset("/static/style.css").is_some());
        assert!(asset("../Cargo.toml").is_none());
    }

    /// FNV-1a 64 of "foobar", from the test vectors of its authors.
    #[test]
    fn the_hash_is_the_published_one() {
        assert_eq!(fnv1a(b"foobar"), 0x8594_4171_f739_67e8);
    }
}
