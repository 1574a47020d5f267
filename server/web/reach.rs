//! Under which addresses the server can be reached, in words for the window it was started from.

use std::net::{IpAddr, Ipv4Addr, Ipv6Addr, SocketAddr, UdpSocket};

/// The lines that are told when the server listens; the first holds the address that this machine's own browser opens.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Told {
    /// Opened by a browser on this machine, with the token if there is one.
    pub here: String,
    /// Sentences, one a line.
    pub lines: Vec<String>,
}

/// What to tell of a server that listens at `listening`, on a machine that others reach at `outside` (empty where that
/// is not known). `token` is the text of the token, and `query` carries it in an address; both empty without one.
pub fn told(listening: SocketAddr, outside: &[IpAddr], token: &str, query: &str) -> Told {
    let port = listening.port();
    let at = |ip: IpAddr| format!("http://{}/{query}", SocketAddr::new(ip, port));
    let everywhere = listening.ip().is_unspecified();
    // No browser can open "all addresses"; one on this machine opens the loopback's.
    let own = match listening.ip() {
        IpAddr::V4(ip) if ip.is_unspecified() => IpAddr::V4(Ipv4Addr::LOCALHOST),
        IpAddr::V6(ip) if ip.is_unspecified() => IpAddr::V6(Ipv6Addr::LOCALHOST),
        ip => ip,
    };
    let here = at(own);
    let mut lines = vec![format!("Edgewitness is at {here} (Ctrl-C ends it)")];
    if everywhere {
        // "All addresses" of the older kind has none of the newer; of the newer it has both, but on Windows.
        let is_heard =
            |ip: &&IpAddr| ip.is_ipv4() == listening.is_ipv4() || listening.is_ipv6() && !cfg!(windows);
        let outside: Vec<&IpAddr> = outside.iter().filter(is_heard).collect();
        lines.extend(
            outside
                .iter()
                .map(|ip| format!("From another machine: {}", at(**ip))),
        );
        let how = "`ip address` (on Windows ipconfig, elsewhere ifconfig) lists";
        lines.push(match outside.as_slice() {
            [] => {
                let shown = here.split('/').nth(2).unwrap_or_default();
                let shown = shown.trim_end_matches(&format!(":{port}"));
                format!(
                    "From another machine: the same with this machine's address in place of {shown}; {how} its addresses."
                )
            }
            _ => format!("If this machine has more addresses, each will do in its place; {how} them."),
        });
    }
    if !token.is_empty() {
        let sessions = format!("{}api/sessions", here.trim_end_matches(query));
        lines.push(format!(
            "Programs send the token as a header: curl -H \"Authorization: Bearer {token}\" {sessions}"
        ));
    }
    Told { here, lines }
}

/// Addresses at which other machines may reach this one: those that its routes to the networks around it begin at.
/// Asks the machine's own table of routes only, no packet is sent; empty where there is no route.
pub fn outside() -> Vec<IpAddr> {
    /// One address of each range that is kept for private networks (RFC 1918) and one kept for documentation (RFC 5737,
    /// RFC 3849), which the default route leads to.
    const AROUND: [IpAddr; 5] = [
        IpAddr::V4(Ipv4Addr::new(192, 0, 2, 1)),
        IpAddr::V4(Ipv4Addr::new(192, 168, 0, 1)),
        IpAddr::V4(Ipv4Addr::new(172, 16, 0, 1)),
        IpAddr::V4(Ipv4Addr::new(10, 0, 0, 1)),
        IpAddr::V6(Ipv6Addr::new(0x2001, 0xdb8, 0, 0, 0, 0, 0, 1)),
    ];
    let mut found = Vec::new();
    for there in AROUND {
        let any: IpAddr = match there {
            IpAddr::V4(_) => Ipv4Addr::UNSPECIFIED.into(),
            IpAddr::V6(_) => Ipv6Addr::UNSPECIFIED.into(),
        };
        let from = UdpSocket::bind((any, 0)).and_then(|socket| {
            socket.connect((there, 9))?;
            socket.local_addr()
        });
        if let Ok(from) = from
            && !from.ip().is_loopback()
            && !from.ip().is_unspecified()
            && !found.contains(&from.ip())
        {
            found.push(from.ip());
        }
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_addresses_that_can_be_opened_are_told() {
        let outside: [IpAddr; 2] = ["192.0.2.7".parse().unwrap(), "2001:db8::7".parse().unwrap()];
        let all = told("0.0.0.0:7117".parse().unwrap(), &outside, "abc", "?t=abc");
        assert_eq!(all.here, "http://127.0.0.1:7117/?t=abc");
        assert_eq!(
            all.lines[0],
            "Edgewitness is at http://127.0.0.1:7117/?t=abc (Ctrl-C ends it)"
        );
        assert_eq!(all.lines[1], "From another machine: http://192.0.2.7:7117/?t=abc");
        assert!(all.lines[2].contains("ip address"), "{:?}", all.lines);
        let program = "curl -H \"Authorization: Bearer abc\" http://127.0.0.1:7117/api/sessions";
        assert!(all.lines[3].ends_with(program), "{:?}", all.lines);
        assert!(!all.lines.concat().contains("0.0.0.0"), "{:?}", all.lines);

        let both = told("[::]:7117".parse().unwrap(), &outside, "", "");
        let newer = "From another machine: http://[2001:db8::7]:7117/".to_owned();
        assert!(both.lines.contains(&newer), "{:?}", both.lines);
        let six = told("[::]:7117".parse().unwrap(), &[], "abc", "?t=abc");
        assert_eq!(six.here, "http://[::1]:7117/?t=abc");
        let how = "this machine's address in place of [::1]; `ip address`";
        assert!(six.lines[1].contains(how), "{:?}", six.lines);
    }

    #[test]
    fn one_address_is_told_as_it_is() {
        let one = told("192.0.2.7:80".parse().unwrap(), &[], "", "");
        assert_eq!(
            one.lines,
            ["Edgewitness is at http://192.0.2.7:80/ (Ctrl-C ends it)"]
        );
    }
}
