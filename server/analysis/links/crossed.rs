//! Signals that arrive at each other's far ends: swapped pairs, rotated groups, reversed and shifted buses.

use super::{Link, Verdict};

/// Links whose signals arrive at each other's far ends.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Crossing {
    /// Positions in the list of links; the signal of `links[k]` arrives where that of `links[k + 1]` should,
    /// the last one's where the first one's should.
    pub links: Vec<usize>,
    /// All bits of a bus (at least three links) arrive in the opposite order.
    pub reversed: bool,
}

/// Finds swapped pairs, rotated groups, and reversed buses among checked links.
pub fn crossings(links: &[Link]) -> Vec<Crossing> {
    let arrives_at: Vec<Option<usize>> = links
        .iter()
        .map(|link| {
            let better = link.better_match.filter(|_| link.verdict == Verdict::Dead)?;
            links.iter().position(|other| other.to == better.line)
        })
        .collect();
    let mut seen = vec![false; links.len()];
    let mut found = Vec::new();
    for start in 0..links.len() {
        let (mut cycle, mut at) = (Vec::new(), start);
        while let Some(next) = arrives_at[at].filter(|_| !seen[at] && !cycle.contains(&at)) {
            cycle.push(at);
            at = next;
        }
        if cycle.len() > 1 && at == start {
            cycle.iter().for_each(|&i| seen[i] = true);
            found.push(Crossing {
                links: cycle,
                reversed: false,
            });
        }
    }
    // A reversed bus is a nest of swapped pairs, with at most one (intact) middle bit inside the innermost.
    let mut pairs: Vec<(usize, usize)> = found
        .iter()
        .filter(|c| c.links.len() == 2)
        .map(|c| (c.links[0].min(c.links[1]), c.links[0].max(c.links[1])))
        .collect();
    pairs.sort_unstable();
    let nested = pairs
        .windows(2)
        .all(|p| p[1].0 == p[0].0 + 1 && p[1].1 + 1 == p[0].1);
    if let [first, .., inner] = pairs[..]
        && nested
        && inner.1 - inner.0 <= 2
    {
        found.retain(|c| c.links.len() != 2);
        found.push(Crossing {
            links: (first.0..=first.1).collect(),
            reversed: true,
        });
    }
    found
}

/// How the bits of a bus, or some single links, are exchanged.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Order {
    /// Pairs of bits in each other's place, the others straight.
    Swapped,
    /// The opposite order.
    Reversed,
    /// All by the same number of places, what falls off one end coming in at the other.
    Rotated,
    /// All that arrive by the same number of places, as from a connector put in beside its place.
    Shifted,
    /// None of these.
    Mixed,
}

impl Order {
    /// The word of the report.
    pub fn word(self) -> &'static str {
        match self {
            Order::Swapped => "swapped",
            Order::Reversed => "reversed",
            Order::Rotated => "rotated",
            Order::Shifted => "shifted",
            Order::Mixed => "mixed",
        }
    }
}

/// Where the signals of some links arrive.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Permutation {
    /// Which of the declared buses; `None`: single links.
    pub bus: Option<usize>,
    pub order: Order,
    /// Positions in the list of links, of a bus from its most significant bit on.
    pub links: Vec<usize>,
    /// For each of them the line its signal is found on; `None`: on no captured line.
    pub arrives_at: Vec<Option<usize>>,
}

/// Permutations among checked links. `buses`: for each declared link over a bus its bits' ends (from, to), most
/// significant first. A bus whose bits all arrive where they should, or nowhere, is none. Cost: buses × bits², and
/// links².
pub fn permutations(links: &[Link], buses: &[Vec<(usize, usize)>]) -> Vec<Permutation> {
    let mut of_a_bus = vec![false; links.len()];
    let mut found = Vec::new();
    for (bus, bits) in buses.iter().enumerate() {
        let positions = bits
            .iter()
            .map(|ends| links.iter().position(|link| (link.from, link.to) == *ends));
        let Some(positions) = positions
            .collect::<Option<Vec<usize>>>()
            .filter(|all| all.len() > 1)
        else {
            continue;
        };
        positions.iter().for_each(|&at| of_a_bus[at] = true);
        let arrives_at: Vec<Option<usize>> = positions.iter().map(|&at| arrives(&links[at])).collect();
        let place = |line: usize| positions.iter().position(|&at| links[at].to == line);
        let places: Vec<Option<usize>> = arrives_at.iter().map(|line| line.and_then(place)).collect();
        let is_moved = arrives_at
            .iter()
            .zip(&positions)
            .any(|(line, &at)| line.is_some_and(|line| line != links[at].to));
        if is_moved {
            found.push(Permutation {
                bus: Some(bus),
                order: order_of(&places, arrives_at.iter().filter(|line| line.is_some()).count()),
                links: positions,
                arrives_at,
            });
        }
    }
    for crossing in crossings(links) {
        if crossing.links.iter().any(|&at| of_a_bus[at]) {
            continue;
        }
        found.push(Permutation {
            bus: None,
            order: match (crossing.reversed, crossing.links.len()) {
                (true, _) => Order::Reversed,
                (false, 2) => Order::Swapped,
                _ => Order::Rotated,
            },
            arrives_at: crossing.links.iter().map(|&at| arrives(&links[at])).collect(),
            links: crossing.links,
        });
    }
    found
}

/// The line that carries what a link sends.
fn arrives(link: &Link) -> Option<usize> {
    match link.verdict {
        Verdict::Dead => link.better_match.map(|better| better.line),
        _ => Some(link.to),
    }
}

/// `places`: for each bit the place at which it arrives; `found`: bits found on any line, of the bus or not.
fn order_of(places: &[Option<usize>], found: usize) -> Order {
    let n = places.len();
    let pairs = || {
        places
            .iter()
            .enumerate()
            .filter_map(|(bit, place)| Some((bit, (*place)?)))
    };
    let all = pairs().count() == n;
    let by = |turn: usize| pairs().all(|(bit, place)| place == (bit + turn) % n);
    let is_pairs = pairs().all(|(bit, place)| places[place] == Some(bit));
    match () {
        () if all && n > 2 && pairs().all(|(bit, place)| place == n - 1 - bit) => Order::Reversed,
        () if all && is_pairs => Order::Swapped,
        () if all && (1..n).any(by) => Order::Rotated,
        // Some lie beside the bus or were not captured: what arrives within it is moved by one number of places.
        () if !all && pairs().count() > 0 && pairs().count() + 1 >= found && {
            let moves: Vec<i64> = pairs().map(|(bit, place)| place as i64 - bit as i64).collect();
            moves.iter().all(|by| *by == moves[0] && *by != 0)
        } =>
        {
            Order::Shifted
        }
        () => Order::Mixed,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_order_has_its_name() {
        let of = |places: &[i64]| {
            let places: Vec<Option<usize>> = places.iter().map(|&p| usize::try_from(p).ok()).collect();
            let found = places.iter().flatten().count();
            order_of(&places, found).word()
        };
        assert_eq!(of(&[3, 2, 1, 0]), "reversed");
        assert_eq!(of(&[2, 1, 0]), "reversed");
        assert_eq!(of(&[1, 0]), "swapped");
        assert_eq!(of(&[0, 2, 1, 3]), "swapped");
        assert_eq!(of(&[1, 0, 3, 2]), "swapped");
        assert_eq!(of(&[1, 2, 3, 0]), "rotated");
        assert_eq!(of(&[2, 3, 4, 0, 1]), "rotated");
        assert_eq!(of(&[1, 2, 3, -1]), "shifted");
        assert_eq!(of(&[-1, 0, 1, 2]), "shifted");
        assert_eq!(of(&[0, 2, -1, 1]), "mixed");
        assert_eq!(of(&[1, 2, 0, 3]), "mixed");
    }
}
