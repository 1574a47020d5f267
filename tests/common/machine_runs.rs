//! Runs of a machine with planted troubles, as a VCD: what goes wrong how often is known.

use crate::dice::Dice;

/// One run: STEP falls `falls` times; CLEAR_N dips 15 ns after the first `struck` falls that the dice choose; KEY
/// bounces on some of its switchings; STRIKE_OUT sends a pulse a fall, of which STRIKE_IN loses some.
#[derive(Clone, Copy)]
pub struct Plan {
    pub falls: usize,
    pub struck: usize,
    pub lost: usize,
    pub bounced: usize,
    /// Dips of CLEAR_N that go with nothing.
    pub causeless: usize,
}

/// A run without any trouble.
pub const PLAIN: Plan = Plan {
    falls: 200,
    struck: 0,
    lost: 0,
    bounced: 0,
    causeless: 0,
};

pub fn run(seed: u64, plan: &Plan) -> String {
    let mut dice = Dice(seed);
    let mut changes: Vec<(u64, char, u8)> = Vec::new();
    let chosen = |dice: &mut Dice, count: usize| -> Vec<bool> {
        // Exactly so many of the falls, at random (Knuth's selection sampling).
        let mut left = count;
        (0..plan.falls)
            .map(|i| {
                let take = dice.unit() * ((plan.falls - i) as f64) < left as f64;
                left -= usize::from(take);
                take
            })
            .collect()
    };
    let (strikes, losses) = (chosen(&mut dice, plan.struck), chosen(&mut dice, plan.lost));
    let causeless = match plan.causeless {
        0 => vec![false; plan.falls],
        count => chosen(&mut dice, count),
    };
    let mut at = 100_000u64;
    for i in 0..plan.falls {
        at += 200_000 + (dice.unit() * 400_000.0) as u64;
        changes.push((at, 's', 0));
        changes.push((at + 90, 's', 1));
        if strikes[i] {
            let lag = 12 + (dice.unit() * 5.0) as u64;
            // Of one width they would look like what a part puts out.
            let width = 20 + (7 * i as u64) % 13;
            changes.push((at + lag, 'c', 0));
            changes.push((at + lag + width, 'c', 1));
        }
        if causeless[i] {
            let lag = 5_000 + (dice.unit() * 50_000.0) as u64;
            changes.push((at + lag, 'c', 0));
            changes.push((at + lag + 20, 'c', 1));
        }
        // CLEAR_N's own work: two microseconds low, far from any fall.
        if i % 3 == 0 {
            changes.push((at + 60_000, 'c', 0));
            changes.push((at + 62_000, 'c', 1));
        }
        changes.push((at + 100_000, 'o', 1));
        changes.push((at + 101_000, 'o', 0));
        if !losses[i] {
            changes.push((at + 100_030, 'i', 1));
            changes.push((at + 101_030, 'i', 0));
        }
    }
    // A key pressed and let go ten times after the tune, in ns: bounce of 0.1 to 2 ms.
    at += 50_000_000;
    let mut level = 1;
    for press in 0..20 {
        at += 200_000_000;
        level = 1 - level;
        changes.push((at, 'k', level));
        if press < plan.bounced {
            let mut moment = at;
            for _ in 0..3 {
                for now in [1 - level, level] {
                    moment += 100_000 + (dice.unit() * 900_000.0) as u64;
                    changes.push((moment, 'k', now));
                }
            }
        }
    }
    changes.sort_by_key(|change| change.0);
    let mut text = "$timescale 1 ns $end\n$scope module carillon $end\n".to_owned();
    for (code, name) in [
        ('s', "STEP"),
        ('c', "CLEAR_N"),
        ('o', "STRIKE_OUT"),
        ('i', "STRIKE_IN"),
        ('k', "KEY"),
    ] {
        text.push_str(&format!("$var wire 1 {code} {name} $end\n"));
    }
    text.push_str("$upscope $end\n$enddefinitions $end\n#0\n1s\n1c\n0o\n0i\n1k\n");
    let mut last = 0;
    for (moment, code, level) in changes {
        if moment != last {
            text.push_str(&format!("#{moment}\n"));
            last = moment;
        }
        text.push_str(&format!("{level}{code}\n"));
    }
    text.push_str(&format!("#{}\n", at + 300_000_000));
    text
}

/// What a person says of these lines.
pub const SETUP: &str = "[line.CLEAR_N]\nnarrow_below = \"60 ns\"\n\n[[link]]\nfrom = \"STRIKE_OUT\"\nto = \"STRIKE_IN\"\nmax_delay = \
                     \"200 ns\"\n\n[[limit]]\nkind = \"pulse-width\"\nname = \"clear lasts\"\nline = \"CLEAR_N\"\nlevel = \"low\"\nat_least \
                     = \"1 us\"\n";
