//! # Who asks
//!
//! A share of the service belongs to an address, not to a connection: who opens more of them gets no more. A network of
//! IPv6 is one client, because one machine has all of its addresses.

use std::net::{IpAddr, Ipv6Addr};
use std::str::FromStr;

use axum::http::{Extensions, HeaderMap};

const FORWARDED: &str = "x-forwarded-for";

/// The address at the other end of a connection.
#[derive(Clone, Copy, Debug)]
pub struct Peer(pub IpAddr);

impl Peer {
    /// Whether it is one of these networks.
    pub fn is_in(self, networks: &[Network]) -> bool {
        networks.iter().any(|network| network.holds(self.0.to_canonical()))
    }
}

/// Who asks.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Client(IpAddr);

impl Client {
    /// Who is at the other end of a connection; behind a trusted proxy the last address before it that is none.
    ///
    /// What stands further left in the header anybody may have written.
    pub fn of(peer: Option<Peer>, headers: &HeaderMap, trusted: &[Network]) -> Self {
        let is_trusted = |address: &IpAddr| trusted.iter().any(|network| network.holds(*address));
        let mut address = peer.map_or(IpAddr::V6(Ipv6Addr::UNSPECIFIED), |Peer(address)| address.to_canonical());
        let lines = headers.get_all(FORWARDED).iter().filter_map(|line| line.to_str().ok());
        let named: Vec<&str> = lines.flat_map(|line| line.split(',')).collect();
        for one in named.iter().rev() {
            if !is_trusted(&address) {
                break;
            }
            // What is no address came from somebody else than a proxy that is trusted.
            let Ok(next) = one.trim().parse::<IpAddr>() else { break };
            address = next.to_canonical();
        }
        Self(network_of(address))
    }

    /// The one that the edge has found; of a request that came past it, nobody in particular.
    pub fn in_extensions(extensions: &Extensions) -> Self {
        extensions.get::<Self>().copied().unwrap_or(Self(IpAddr::V6(Ipv6Addr::UNSPECIFIED)))
    }
}

fn network_of(address: IpAddr) -> IpAddr {
    match address {
        IpAddr::V4(_) => address,
        IpAddr::V6(address) => IpAddr::V6(Ipv6Addr::from_bits(address.to_bits() >> 64 << 64)),
    }
}

/// A network: its address and how many bits of it count.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Network {
    address: IpAddr,
    bits: u32,
}

impl Network {
    /// Whether an address belongs to it.
    pub fn holds(&self, address: IpAddr) -> bool {
        match (self.address, address) {
            (IpAddr::V4(own), IpAddr::V4(other)) => {
                (own.to_bits() ^ other.to_bits()).checked_shr(32 - self.bits).unwrap_or(0) == 0
            }
            (IpAddr::V6(own), IpAddr::V6(other)) => {
                (own.to_bits() ^ other.to_bits()).checked_shr(128 - self.bits).unwrap_or(0) == 0
            }
            _ => false,
        }
    }
}

impl FromStr for Network {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let wrong = || "write networks such as 10.0.0.0/8 or fd00::/8, with commas between them".to_owned();
        let (address, bits) = text.split_once('/').map_or((text, None), |(address, bits)| (address, Some(bits)));
        let address: IpAddr = address.parse().map_err(|_| wrong())?;
        let most = if address.is_ipv4() { 32 } else { 128 };
        let bits = bits.map_or(Ok(most), |bits| bits.parse().map_err(|_| wrong()))?;
        if bits > most { Err(wrong()) } else { Ok(Self { address, bits }) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn client(peer: &str, forwarded: &str, trusted: &[&str]) -> Client {
        let mut headers = HeaderMap::new();
        headers.insert(FORWARDED, forwarded.parse().expect("a header"));
        let trusted: Vec<Network> = trusted.iter().map(|text| text.parse().expect("a network")).collect();
        Client::of(Some(Peer(peer.parse().expect("an address"))), &headers, &trusted)
    }

    fn plain(address: &str) -> Client {
        client(address, "", &[])
    }

    #[test]
    fn a_header_counts_only_behind_a_trusted_proxy() {
        assert_eq!(client("192.0.2.1", "198.51.100.7", &[]), plain("192.0.2.1"));
        assert_eq!(client("10.0.0.1", "198.51.100.7", &["10.0.0.0/8"]), plain("198.51.100.7"));
        // What the client wrote itself stands left of what the proxy saw.
        assert_eq!(client("10.0.0.1", "203.0.113.9, 198.51.100.7, 10.2.0.1", &["10.0.0.0/8"]), plain("198.51.100.7"));
        assert_eq!(client("10.0.0.1", "nobody", &["10.0.0.0/8"]), plain("10.0.0.1"));
        assert_eq!(client("11.0.0.1", "198.51.100.7", &["10.0.0.0/8"]), plain("11.0.0.1"));
        assert_eq!(client("203.0.113.1", "198.51.100.7", &["0.0.0.0/0"]), plain("198.51.100.7"));
    }

    #[test]
    fn a_network_of_ipv6_is_one_client() {
        assert_eq!(plain("2001:db8::1"), plain("2001:db8::ffff:2"));
        assert_ne!(plain("2001:db8::1"), plain("2001:db8:0:1::1"));
        assert_eq!(plain("::ffff:192.0.2.1"), plain("192.0.2.1"));
        assert_ne!(plain("192.0.2.1"), plain("192.0.2.2"));
    }

    #[test]
    fn what_is_no_network_is_refused() {
        for bad in ["", "10.0.0.0/33", "fd00::/129", "10.0.0/8", "10.0.0.0/x", "a/8"] {
            assert!(bad.parse::<Network>().is_err(), "{bad}");
        }
    }
}
