//! Every parser of what comes from outside, on texts with a few letters changed: it reads or refuses, never panics, never
//! takes long, and what it read is read again.
//!
//! `FUZZ_CASES=1000000 cargo test --release -p sensewright-tests --test all -- parsers` is the long version.

use std::net::IpAddr;
use std::time::{Duration, Instant};

use axum::http::{HeaderMap, HeaderValue, Uri};
use sensewright_core::catalogue::{CATALOGUE, find};
use sensewright_core::demo::DEMOS;
use sensewright_core::design::answer::Include;
use sensewright_core::design::{Design, link};
use sensewright_core::field::{Notation, form_tree};
use sensewright_core::quantity::Unit;
use sensewright_server::client::{Client, Network, Peer};
use sensewright_server::{form, host, json, question};
use sensewright_tests::Dice;
use serde_json::Value;

/// Longer than any text may take to be read, also on a busy machine.
const LONG: Duration = Duration::from_secs(5);
/// Letters that mean something to one reader or another.
const LETTERS: &[u8] = b"{}[]\",:0123456789.eE+-&=%/~#\\ \t\n\r\0\xff\xc2\xb5\xce\xa9\xe2\x88\x92ateukKmMRpn;|";
const WORDS: [&str; 12] = [
    "1e308",
    "-1e-320",
    "99999999999999999999999",
    "null",
    "NaN",
    "[[[[",
    "\u{2212}",
    "\"schema\":99",
    "4k7",
    "0R05",
    "1,5",
    "%F0%9F",
];

/// A text with one change or a few: letters put in, taken out, exchanged, repeated, cut off.
fn mutated(dice: &mut Dice, text: &[u8]) -> Vec<u8> {
    let mut text = text.to_vec();
    let place = |dice: &mut Dice, most: usize| usize::try_from(dice.up_to(most as u64)).expect("small");
    for _ in 0..=dice.up_to(3) {
        let from = place(dice, text.len());
        let to = (from + place(dice, 20)).min(text.len());
        let letter = LETTERS[place(dice, LETTERS.len() - 1)];
        match dice.up_to(6) {
            0 => text.insert(from, letter),
            1 if from < text.len() => text[from] = letter,
            2 => drop(text.drain(from..to)),
            3 => {
                let again = text[from..to].to_vec();
                text.splice(from..from, again);
            }
            4 => drop(text.splice(from..to, WORDS[place(dice, WORDS.len() - 1)].bytes())),
            5 if from < text.len() => text[from] ^= 1 << dice.up_to(7),
            6 if dice.up_to(9) == 0 => text.truncate(from),
            _ => {}
        }
    }
    text
}

/// Tries a parser on changed texts; it says whether it has read one.
fn hunt(what: &str, seeds: &[Vec<u8>], parse: impl Fn(&[u8]) -> bool) {
    let cases = std::env::var("FUZZ_CASES").ok().and_then(|cases| cases.parse().ok()).unwrap_or(600);
    let mut dice = Dice(what.bytes().fold(1, |sum: u64, letter| sum.wrapping_mul(31) ^ u64::from(letter)));
    assert!(seeds.iter().any(|seed| parse(seed)), "{what}: nothing is read");
    let mut read = 0_u64;
    for case in 0..cases {
        let seed = &seeds[usize::try_from(dice.up_to(seeds.len() as u64 - 1)).expect("small")];
        let text = mutated(&mut dice, seed);
        let began = Instant::now();
        read += u64::from(parse(&text));
        assert!(began.elapsed() < LONG, "{what}, case {case}: {:?} of {}", began.elapsed(), text.escape_ascii());
    }
    assert!(read < cases, "{what}: everything is read");
}

fn texts(seeds: &[&str]) -> Vec<Vec<u8>> {
    seeds.iter().map(|seed| seed.as_bytes().to_vec()).collect()
}

#[test]
fn tokens() {
    let of_demos = || DEMOS.iter().map(|demo| &demo.design);
    let seeds: Vec<Vec<u8>> = of_demos().map(|design| link::token(design).into_bytes()).collect();
    hunt("token", &seeds, |text| {
        let text = String::from_utf8_lossy(text);
        let Ok(opened) = link::open(link::token_in(&text)) else { return false };
        assert_eq!(link::open(&link::token(&opened.design)).map(|again| again.design), Ok(opened.design));
        true
    });
    let now = &DEMOS[0].design;
    let mut from = now.clone();
    from.parts.pop();
    let seeds = [link::beginning(now, &from).expect("little differs").into_bytes()];
    hunt("where a visit began", &seeds, |text| link::begun(now, &String::from_utf8_lossy(text)).is_some());
}

/// The check sum keeps changed tokens out: what is inside is changed before it is packed.
#[test]
fn documents() {
    let seeds: Vec<Vec<u8>> = DEMOS
        .iter()
        .flat_map(|demo| [Value::Object(demo.design.write()), Value::Object(demo.design.document())])
        .map(|document| document.to_string().into_bytes())
        .collect();
    hunt("document", &seeds, |text| {
        let Some(design) = json::read(text).ok().and_then(|document| Design::read(&document).ok()) else {
            return false;
        };
        assert_eq!(Design::read(&Value::Object(design.document())).as_ref(), Ok(&design));
        assert_eq!(link::open(&link::token(&design)).map(|again| again.design), Ok(design));
        true
    });
}

#[test]
fn inputs() {
    for entry in CATALOGUE {
        let seeds = [Value::Object(entry.start().clone()).to_string().into_bytes()];
        hunt(entry.meta.slug, &seeds, |text| {
            let Ok(node) = json::read(text) else { return false };
            let Ok(input) = entry.complete(Some(&node), Notation::Json) else { return false };
            assert_eq!(
                entry.complete(Some(&Value::Object(input.clone())), Notation::Json),
                Ok(input),
                "{}",
                entry.meta.slug
            );
            true
        });
    }
}

#[test]
fn forms_and_addresses() {
    for slug in ["shunt", "current-channel", "thermistor/table", "uncertainty"] {
        let entry = find(slug).expect("a calculation");
        let address = entry
            .address(&entry.complete(Some(&Value::Object(entry.start().clone())), Notation::Json).expect("it stands"));
        let typed: Vec<String> =
            sensewright_core::field::address_pairs(entry.fields, entry.start(), &serde_json::Map::new())
                .into_iter()
                .map(|(key, value)| {
                    format!(
                        "{key}={}",
                        percent_encoding::utf8_percent_encode(&value, percent_encoding::NON_ALPHANUMERIC)
                    )
                })
                .collect();
        let typed = typed.join("&");
        let values = |pairs: Vec<form::Pair>| {
            let pairs: Vec<form::Pair> = pairs.into_iter().filter(|(key, _)| key != "v").collect();
            form_tree(&pairs).and_then(|tree| entry.complete(Some(&tree), Notation::Form))
        };
        hunt(&format!("form of {slug}"), &[typed.clone().into_bytes()], |text| {
            form::pairs(text).is_ok_and(|pairs| values(pairs).is_ok())
        });
        let seeds = [address.clone().into_bytes(), format!("{address}&{typed}").into_bytes()];
        hunt(&format!("address of {slug}"), &seeds, |text| {
            let Some(uri) = std::str::from_utf8(text).ok().and_then(|text| text.parse::<Uri>().ok()) else {
                return false;
            };
            let Some(input) = question::pairs_of(&uri).ok().and_then(|pairs| values(pairs).ok()) else { return false };
            // What was read has an address that is read the same.
            let again: Uri = entry.address(&input).parse().expect("an address");
            assert_eq!(question::pairs_of(&again).ok().and_then(|pairs| values(pairs).ok()), Some(input), "{uri}");
            true
        });
    }
}

#[test]
fn quantities_and_letter_codes() {
    let seeds = texts(&[
        "50 µΩ",
        "50u",
        "4k7",
        "0R05",
        "1e-6",
        "−40 °C",
        "2,5 kV",
        "100 ppm/K",
        "3M3",
        "1_000",
        "5 A/ms",
        "R47",
        "12 %",
    ]);
    for unit in [Unit::Ohm, Unit::Volt, Unit::Ampere, Unit::Celsius, Unit::Kelvin, Unit::Percent, Unit::Second] {
        hunt(&format!("{unit:?}"), &seeds, |text| {
            let Ok(value) = unit.read(&String::from_utf8_lossy(text)) else { return false };
            assert!(value.is_finite(), "{}", text.escape_ascii());
            true
        });
    }
}

/// Points as they are pasted or taken from a file, whatever stands between them.
#[test]
fn lists() {
    let entry = find("shunt/fit").expect("a calculation");
    let seeds = texts(&[
        "-40 34.8803u\n-10 34.9547u\n25 35.0046u\n60 35.0171u",
        "-40,34.8803e-6\r\n-10,34.9547e-6\r\n25,35.0046e-6\r\n60,35.0171e-6\r\n",
        "-40;34,8803u\n-10;34,9547u\n25;35,0046u",
        "-40\t34.8803u\n\n25\t35.0046u\n 60 \t 35.0171u",
    ]);
    hunt("points", &seeds, |text| {
        let typed = ("points".to_owned(), String::from_utf8_lossy(text).into_owned());
        form_tree(&[typed]).is_ok_and(|tree| entry.complete(Some(&tree), Notation::Form).is_ok())
    });
}

#[test]
fn words_of_headers_and_queries() {
    hunt("include", &texts(&["all", "parts,working", "levers,turning,on_start,input"]), |text| {
        Include::read(&String::from_utf8_lossy(text)).is_ok()
    });
    hunt("host", &texts(&["sense.example:8080", "[2001:db8::1]:80", "192.0.2.7"]), |text| {
        host::is_host(&String::from_utf8_lossy(text))
    });
    hunt("network", &texts(&["10.0.0.0/8", "2001:db8::/32", "192.0.2.7"]), |text| {
        String::from_utf8_lossy(text).parse::<Network>().is_ok()
    });
    let trusted = ["127.0.0.0/8".parse::<Network>().expect("a network")];
    let behind = Client::of(Some(Peer(IpAddr::from([127, 0, 0, 1]))), &HeaderMap::new(), &trusted);
    hunt(
        "who a proxy asks for",
        &texts(&["192.0.2.7, 127.0.0.1", "2001:db8::7", "\"[2001:db8::7]:80\", 192.0.2.1"]),
        |text| {
            let Ok(value) = HeaderValue::from_bytes(text) else { return false };
            let headers = HeaderMap::from_iter([(axum::http::HeaderName::from_static("x-forwarded-for"), value)]);
            Client::of(Some(Peer(IpAddr::from([127, 0, 0, 1]))), &headers, &trusted) != behind
        },
    );
}
