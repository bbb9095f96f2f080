//! What every answer carries, whatever made it.

use std::collections::HashSet;

use axum::body::Body;
use axum::http::Method;

use super::{app, ask_with, get, get_with, post};

const ADDRESSES: [&str; 9] = [
    "/",
    "/shunt",
    "/shunt?shunt.resistance_ohm=x",
    "/no-such-page",
    "/api",
    "/api/openapi.json",
    "/api/v1/none",
    "/healthz",
    "/static/icon.svg",
];

#[tokio::test]
async fn every_answer_is_kept_safe() {
    let app = app();
    for address in ADDRESSES {
        let answer = get(&app, address).await;
        let policy = answer.header("content-security-policy");
        assert!(policy.starts_with("default-src 'none'; "), "{address}: {policy}");
        for part in ["form-action 'self'", "base-uri 'none'", "frame-ancestors 'none'"] {
            assert!(policy.contains(part), "{address}: {policy}");
        }
        assert!(!policy.contains("unsafe") && !policy.contains('*'), "{address}: {policy}");
        for (name, value) in [
            ("x-content-type-options", "nosniff"),
            ("referrer-policy", "no-referrer"),
            ("cross-origin-opener-policy", "same-origin"),
            ("cross-origin-resource-policy", "same-origin"),
        ] {
            assert_eq!(answer.header(name), value, "{address}");
        }
        assert!(answer.headers.contains_key("permissions-policy"), "{address}");
        assert!(!answer.headers.contains_key("server"), "{address}");
    }
}

#[tokio::test]
async fn every_request_has_a_name_of_its_own() {
    let app = app();
    let mut names = HashSet::new();
    for address in ADDRESSES.into_iter().chain(ADDRESSES) {
        let answer = get_with(&app, address, &[("x-request-id", "chosen-by-the-client")]).await;
        let name = answer.header("x-request-id").to_owned();
        assert!(!name.is_empty() && name != "chosen-by-the-client", "{address}: {name}");
        assert!(names.insert(name.clone()), "{name} twice");
    }
}

#[tokio::test]
async fn head_is_get_without_the_body() {
    let app = app();
    for address in ADDRESSES {
        let whole = get(&app, address).await;
        let head = ask_with(&app, Method::HEAD, address, &[], Body::empty()).await;
        assert_eq!(
            (head.status, head.header("content-type")),
            (whole.status, whole.header("content-type")),
            "{address}"
        );
        assert!(head.body.is_empty(), "{address}");
        assert_eq!(head.header("content-length"), whole.body.len().to_string(), "{address}");
    }
}

#[tokio::test]
async fn text_is_packed_for_who_can_unpack_it() {
    let app = app();
    let plain = get(&app, "/api/openapi.json").await;
    assert_eq!(plain.header("content-encoding"), "");
    let packed = get_with(&app, "/api/openapi.json", &[("accept-encoding", "gzip")]).await;
    assert_eq!(packed.header("content-encoding"), "gzip");
    assert!(packed.headers.get_all("vary").iter().any(|vary| vary == "accept-encoding"), "{:?}", packed.headers);
    assert!(packed.body.starts_with(&[0x1f, 0x8b]) && packed.body.len() < plain.body.len() / 2);
    for address in ["/", "/api", "/static/style.css"] {
        let packed = get_with(&app, address, &[("accept-encoding", "br, gzip")]).await;
        assert_eq!(
            (packed.header("content-encoding"), packed.header("vary")),
            ("gzip", "accept-encoding"),
            "{address}"
        );
        assert!(packed.body.len() < get(&app, address).await.body.len(), "{address}");
    }
}

#[tokio::test]
async fn an_asset_that_is_known_is_not_sent_again() {
    let app = app();
    for address in ["/static/icon.svg", "/favicon.ico"] {
        let first = get(&app, address).await;
        assert_eq!((first.status.as_u16(), first.header("content-type")), (200, "image/svg+xml"), "{address}");
        assert!(!first.header("cache-control").is_empty() && !first.body.is_empty());
        let tag = first.header("etag");
        assert!(tag.ends_with('"'), "{tag}");
        for known in [tag.to_owned(), format!("\"other\", {tag}"), "*".into()] {
            let again = get_with(&app, address, &[("if-none-match", &known)]).await;
            assert_eq!((again.status.as_u16(), again.header("etag")), (304, tag), "{known}");
            assert!(again.body.is_empty());
        }
        assert_eq!(get_with(&app, address, &[("if-none-match", "\"other\"")]).await.status, 200);
    }
    get(&app, "/static/no-such-file.css").await.page(404);
}

#[tokio::test]
async fn what_goes_stale_is_not_kept() {
    let app = app();
    assert_eq!(get(&app, "/shunt").await.header("cache-control"), "no-cache");
    assert_eq!(get_with(&app, "/shunt", &[("x-part", "live")]).await.header("cache-control"), "no-store");
    assert_eq!(get(&app, "/no-such-page").await.header("cache-control"), "no-store");
    assert_eq!(get(&app, "/shunt").await.header("vary"), "accept, x-part");
    assert_eq!(post(&app, "/api/v1/shunt", "{").await.header("cache-control"), "no-store");
}

#[tokio::test]
async fn crawlers_are_told_where_to_stop() {
    let answer = get(&app(), "/robots.txt").await;
    assert_eq!((answer.status.as_u16(), answer.header("content-type")), (200, "text/plain; charset=utf-8"));
    assert!(answer.text().contains("Disallow: /*?"));
}
