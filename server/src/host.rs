//! Names of hosts.

/// Whether `text` is a host name or an IP address, with or without a port. It is printed into pages, so nothing else
/// is let through.
pub fn is_host(text: &str) -> bool {
    let (host, port) = match text.rsplit_once(':') {
        Some((host, port)) if !port.contains(']') => (host, Some(port)),
        _ => (text, None),
    };
    let name = |host: &str| {
        !host.is_empty() && host.bytes().all(|byte| byte.is_ascii_alphanumeric() || byte == b'-' || byte == b'.')
    };
    let address = |host: &str| {
        let inside = host.strip_prefix('[').and_then(|rest| rest.strip_suffix(']'));
        inside.is_some_and(|inside| inside.parse::<std::net::Ipv6Addr>().is_ok())
    };
    text.len() <= 255 && (name(host) || address(host)) && port.is_none_or(|port| port.parse::<u16>().is_ok())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_host_is_let_through_and_nothing_else() {
        for good in ["localhost", "sense.example", "sense.example:8080", "192.0.2.7:80", "[::1]", "[2001:db8::7]:8080"]
        {
            assert!(is_host(good), "{good}");
        }
        for bad in
            ["", ":80", "a b", "a/b", "a:b", "a:99999", "\"><script>", "user@host", "[::1", "[x]:80", "a:1:2", "é"]
        {
            assert!(!is_host(bad), "{bad}");
        }
        assert!(!is_host(&"a".repeat(300)));
    }
}
