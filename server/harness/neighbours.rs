//! Which pins lie beside which: by ribbon order, by row pairs, or as given.

use std::collections::{BTreeMap, BTreeSet, HashMap};

use super::sheet::{NEIGHBOURS, PIN};
use super::table::{Mistake, Table};
use super::{Clips, Harness, Pin};

/// What says that two pins lie beside each other.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Order {
    /// Conductors of a flat cable, in the order of pin numbers.
    Ribbon,
    /// Two rows of pins: the next along the row, and the one across.
    Pairs,
    /// Named in the sheet.
    Given,
}

impl Order {
    /// "on the ribbon", …
    pub fn words(self) -> &'static str {
        match self {
            Order::Ribbon => "on the ribbon",
            Order::Pairs => "in the pin rows",
            Order::Given => "by the harness sheet",
        }
    }
}

/// A place where something runs beside a line.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Beside<'a> {
    /// The line's own pin there.
    pub own: &'a Pin,
    pub neighbour: &'a Pin,
    pub order: Order,
}

impl Harness {
    /// What runs beside a line, at every connector its signal passes; quiet pins (grounds, rails) are left out.
    pub fn neighbours(&self, line: &str, clips: &Clips) -> Vec<Beside<'_>> {
        let mut found = Vec::new();
        for own in self.signal_pins(line, clips) {
            for &(neighbour, order) in &self.beside[own] {
                let (own, neighbour) = (&self.pins[own], &self.pins[neighbour]);
                if !neighbour.is_quiet() && neighbour.signal != own.signal {
                    found.push(Beside {
                        own,
                        neighbour,
                        order,
                    });
                }
            }
        }
        found
    }

    /// The places where two lines run side by side.
    pub fn side_by_side(&self, line: &str, other: &str, clips: &Clips) -> Vec<Beside<'_>> {
        let others: BTreeSet<usize> = self.signal_pins(other, clips).into_iter().collect();
        let is_other = |pin: &Pin| others.iter().any(|&other| std::ptr::eq(&self.pins[other], pin));
        let mut found = self.neighbours(line, clips);
        found.retain(|beside| is_other(beside.neighbour));
        found
    }

    /// Every pin that carries the signal of a line, not only the one its clip is on.
    pub(super) fn signal_pins(&self, line: &str, clips: &Clips) -> Vec<usize> {
        let clipped = self.pins_of(line, clips);
        let signals: BTreeSet<&str> = clipped
            .iter()
            .map(|&pin| self.pins[pin].signal.as_str())
            .filter(|s| !s.is_empty())
            .collect();
        let carries = |i: &usize| clipped.contains(i) || signals.contains(self.pins[*i].signal.as_str());
        (0..self.pins.len()).filter(carries).collect()
    }
}

/// For each pin, the pins beside it; mistakes in the `neighbours` column are added to `mistakes`.
pub fn pins_beside(pins: &[Pin], table: &Table, mistakes: &mut Vec<Mistake>) -> Vec<Vec<(usize, Order)>> {
    let mut connectors: BTreeMap<(&str, &str), Vec<usize>> = BTreeMap::new();
    let mut places: HashMap<(&str, &str, &str), usize> = HashMap::new();
    for (i, pin) in pins.iter().enumerate() {
        connectors
            .entry((&pin.board, &pin.connector))
            .or_default()
            .push(i);
        places.insert((&pin.board, &pin.connector, &pin.pin), i);
    }
    let mut beside: Vec<BTreeMap<usize, Order>> = vec![BTreeMap::new(); pins.len()];
    for members in connectors.values() {
        let word = members.iter().find_map(|&i| order_word(&pins[i].neighbours));
        for &i in members {
            let pin = &pins[i];
            let order = if pin.neighbours.is_empty() {
                word
            } else {
                order_word(&pin.neighbours)
            };
            let names = match order {
                Some(order) => match numbered(&pin.pin) {
                    Some((prefix, number)) => by_order(order, prefix, number),
                    None => {
                        let message = format!(
                            "\"{}\" has no place in an order, expected a number (12) or a row and a number (B7); or name its neighbours",
                            pin.pin
                        );
                        mistakes.push(table.mistake(table.rows[i].row, PIN, message));
                        continue;
                    }
                },
                None => Vec::new(),
            };
            for name in &names {
                if let Some(&other) = places.get(&(&*pin.board, &*pin.connector, &**name)) {
                    put(&mut beside, i, other, order.unwrap_or(Order::Given));
                }
            }
            if order.is_some() {
                continue;
            }
            for word in pin
                .neighbours
                .split([' ', ',', ';', '/'])
                .filter(|word| !word.is_empty())
            {
                let here = places.get(&(&*pin.board, &*pin.connector, word));
                let there = || {
                    word.rsplit_once('-')
                        .and_then(|(c, p)| places.get(&(&*pin.board, c, p)))
                };
                match here.or_else(there) {
                    Some(&other) if other != i => put(&mut beside, i, other, Order::Given),
                    _ => {
                        let message = format!(
                            "found \"{word}\", expected ribbon, pairs, or other pins of {} such as \"11 13\" or \"J3-4\"",
                            pin.board
                        );
                        mistakes.push(table.mistake(table.rows[i].row, NEIGHBOURS, message));
                    }
                }
            }
        }
    }
    beside.into_iter().map(|map| map.into_iter().collect()).collect()
}

fn put(beside: &mut [BTreeMap<usize, Order>], one: usize, other: usize, order: Order) {
    beside[one].entry(other).or_insert(order);
    beside[other].entry(one).or_insert(order);
}

fn order_word(cell: &str) -> Option<Order> {
    match cell.to_lowercase().as_str() {
        "ribbon" => Some(Order::Ribbon),
        "pairs" => Some(Order::Pairs),
        _ => None,
    }
}

/// `12` → ("", 12), `B7` → ("B", 7).
fn numbered(pin: &str) -> Option<(&str, u32)> {
    let digits = pin.trim_start_matches(|c: char| c.is_ascii_alphabetic());
    Some((&pin[..pin.len() - digits.len()], digits.parse().ok()?))
}

/// Names of the pins beside one, whether they exist or not.
///
/// A two-row header counts 1, 2 across, then 3, 4: along the row is two on, across is the pin of the same pair.
/// With lettered rows (A7, B7) along the row is one on, across is the next letter's.
fn by_order(order: Order, prefix: &str, number: u32) -> Vec<String> {
    let near = |step: u32| {
        [number.checked_sub(step), number.checked_add(step)]
            .into_iter()
            .flatten()
    };
    let named = |n: u32| format!("{prefix}{n}");
    match order {
        Order::Pairs if prefix.is_empty() => {
            let across = if number % 2 == 1 {
                number.checked_add(1)
            } else {
                number.checked_sub(1)
            };
            near(2).chain(across).map(named).collect()
        }
        Order::Pairs => {
            let letter = prefix.as_bytes()[prefix.len() - 1];
            let across = [letter - 1, letter + 1]
                .into_iter()
                .filter(u8::is_ascii_alphabetic);
            let across = across.map(|row| format!("{}{}{number}", &prefix[..prefix.len() - 1], row as char));
            near(1).map(named).chain(across).collect()
        }
        _ => near(1).map(named).collect(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn harness(rows: &str) -> Harness {
        Harness::parse(&format!("board,connector,pin,signal,neighbours\n{rows}"), "h.csv").unwrap()
    }

    fn names(harness: &Harness, line: &str) -> Vec<String> {
        let beside = harness.neighbours(line, &Clips::default());
        beside.iter().map(|beside| beside.neighbour.place()).collect()
    }

    #[test]
    fn a_ribbon_lays_pins_in_order() {
        let harness = harness("s,J2,1,A,ribbon\ns,J2,2,B,\ns,J2,3,GND,\ns,J2,4,D,\n");
        assert_eq!(names(&harness, "A"), ["s J2-2"]);
        assert_eq!(names(&harness, "B"), ["s J2-1"], "a ground lies between B and D");
        assert_eq!(names(&harness, "D"), [""; 0]);
    }

    #[test]
    fn two_rows_lie_along_and_across() {
        let numbers = harness("s,J2,1,A,pairs\ns,J2,2,B,\ns,J2,3,C,\ns,J2,4,D,\ns,J2,5,E,\n");
        assert_eq!(names(&numbers, "C"), ["s J2-1", "s J2-4", "s J2-5"]);
        let letters = harness("s,J2,A1,A,pairs\ns,J2,A2,B,\ns,J2,B1,C,\ns,J2,B2,D,\n");
        assert_eq!(names(&letters, "A"), ["s J2-A2", "s J2-B1"]);
    }

    #[test]
    fn given_neighbours_hold_both_ways_and_across_connectors() {
        let harness = harness("s,J2,1,A,J3-9\ns,J2,2,B,\ns,J3,9,C,\nt,J1,1,A,2\nt,J1,2,E,\n");
        assert_eq!(names(&harness, "A"), ["s J3-9", "t J1-2"]);
        assert_eq!(names(&harness, "C"), ["s J2-1"]);
        let clips = Clips::default();
        let together = harness.side_by_side("E", "A", &clips);
        assert_eq!(together.len(), 1);
        assert_eq!(
            (together[0].own.place().as_str(), together[0].order),
            ("t J1-2", Order::Given)
        );
        assert!(harness.side_by_side("A", "B", &clips).is_empty());
    }
}
