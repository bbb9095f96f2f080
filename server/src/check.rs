//! # The health check of a container
//!
//! An image without a shell has no client to ask with, so the binary asks its own server.

use std::io::{self, Read, Write};
use std::net::{IpAddr, Ipv4Addr, Ipv6Addr, SocketAddr, TcpStream};
use std::time::Duration;

const PATIENCE: Duration = Duration::from_secs(2);

/// Asks the server that listens at `listen`.
///
/// # Errors
/// No answer in time, or another answer than 200.
pub fn ask(listen: SocketAddr) -> io::Result<()> {
    let address = reachable(listen);
    let named = |fault: io::Error| io::Error::new(fault.kind(), format!("no answer from {address}: {fault}"));
    let status = status_line(address).map_err(named)?;
    if status.starts_with(b"HTTP/1.1 200 ") {
        return Ok(());
    }
    let status = String::from_utf8_lossy(&status).into_owned();
    Err(io::Error::other(format!("{address} answers, but not with 200: {status:?}")))
}

fn status_line(address: SocketAddr) -> io::Result<Vec<u8>> {
    let mut stream = TcpStream::connect_timeout(&address, PATIENCE)?;
    stream.set_read_timeout(Some(PATIENCE))?;
    stream.set_write_timeout(Some(PATIENCE))?;
    // At once: a peer that answers early and closes must not meet a request still on its way.
    let request = format!("GET /healthz HTTP/1.1\r\nHost: {address}\r\nConnection: close\r\n\r\n");
    stream.write_all(request.as_bytes())?;
    let mut status = vec![0; b"HTTP/1.1 200 ".len()];
    stream.read_exact(&mut status)?;
    Ok(status)
}

/// "Every interface" is an address to listen at, not one to call.
fn reachable(listen: SocketAddr) -> SocketAddr {
    let ip = match listen.ip() {
        IpAddr::V4(ip) if ip.is_unspecified() => Ipv4Addr::LOCALHOST.into(),
        IpAddr::V6(ip) if ip.is_unspecified() => Ipv6Addr::LOCALHOST.into(),
        ip => ip,
    };
    SocketAddr::new(ip, listen.port())
}

#[cfg(test)]
mod tests {
    use std::net::TcpListener;
    use std::thread;

    use super::*;

    fn answered_with(answer: &'static [u8]) -> io::Result<()> {
        let listener = TcpListener::bind("127.0.0.1:0").expect("a free port");
        let port = listener.local_addr().expect("bound").port();
        let server = thread::spawn(move || {
            let (mut stream, _) = listener.accept().expect("a client");
            let mut asked = Vec::new();
            let mut part = [0; 1_024];
            while !asked.ends_with(b"\r\n\r\n") {
                let length = stream.read(&mut part).expect("a request");
                assert!(length > 0, "the request ends early");
                asked.extend_from_slice(&part[..length]);
            }
            stream.write_all(answer).expect("the client waits");
            String::from_utf8_lossy(&asked).into_owned()
        });
        let result = ask(SocketAddr::new(Ipv4Addr::UNSPECIFIED.into(), port));
        let asked = server.join().expect("the server thread ends");
        assert!(asked.starts_with("GET /healthz HTTP/1.1\r\n"), "{asked}");
        result
    }

    #[test]
    fn only_200_is_alive() {
        assert!(answered_with(b"HTTP/1.1 200 OK\r\n\r\nalive\n").is_ok());
        assert!(answered_with(b"HTTP/1.1 503 Service Unavailable\r\n\r\n").is_err());
        assert!(answered_with(b"HTTP/1.1 2").is_err());
    }

    #[test]
    fn nobody_there_is_an_error() {
        let listener = TcpListener::bind("127.0.0.1:0").expect("a free port");
        let address = listener.local_addr().expect("bound");
        drop(listener);
        let fault = ask(address).expect_err("nothing listens");
        assert!(fault.to_string().contains(&address.to_string()), "{fault}");
    }
}
