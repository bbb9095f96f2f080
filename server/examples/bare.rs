//! A server that does nothing, as the peer of a benchmark: `POST /` reads a body and answers a kilobyte, `GET /` answers
//! thirty, both by the library alone.
//!
//! ```text
//! bare 127.0.0.1:PORT
//! ```

use axum::Router;
use axum::body::Bytes;
use axum::http::header::CONTENT_TYPE;
use axum::routing::get;

#[tokio::main]
async fn main() -> std::io::Result<()> {
    let address = std::env::args().nth(1).unwrap_or_else(|| "127.0.0.1:8081".into());
    let post = |body: Bytes| async move { ([(CONTENT_TYPE, "application/json")], vec![b' '; 1_000.min(body.len())]) };
    let page = || async { ([(CONTENT_TYPE, "text/html")], vec![b' '; 30_000]) };
    axum::serve(tokio::net::TcpListener::bind(address).await?, Router::new().route("/", get(page).post(post))).await
}
