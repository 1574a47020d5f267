//! Rails before and after, from outside: how often at the edges that the dips follow, and how deep.
//!
//! What was planted is known; the rank test and its outside values stand beside `stats::ranks`.

use edgewitness::demo::random::Random;
use serde_json::Value;

const SETUP: &str = "[rail.\"+5V\"]\nnominal = \"5 V\"\ntolerance = \"5 %\"\n";

/// LIFT rises `lifts` times, every `pause` samples of 10 µs and a few; 40 µs later the rail dips for 60 µs, by a depth between
/// `depth` (volts). Now and then it doesn't.
fn tower(seed: u64, lifts: usize, pause: u64, depth: (f64, f64)) -> String {
    let mut random = Random::new(seed);
    let mut text = "Time (s),+5V (V),LIFT (V)\n".to_owned();
    let mut sample = 0u64;
    let mut put = |volts: f64, lift: bool, random: &mut Random| {
        let noise = random.uniform(-0.01, 0.01);
        text.push_str(&format!(
            "{:.5},{:.3},{:.1}\n",
            sample as f64 * 1e-5,
            volts + noise,
            if lift { 4.8 } else { 0.1 }
        ));
        sample += 1;
    };
    for _ in 0..lifts {
        for _ in 0..pause + random.draw() % 23 {
            put(5.0, false, &mut random);
        }
        let dip = match random.chance(0.95) {
            true => random.uniform(depth.0, depth.1),
            false => 0.0,
        };
        for at in 0..20 {
            let is_in = (4..10).contains(&at);
            put(if is_in { 5.0 - dip } else { 5.0 }, true, &mut random);
        }
    }
    for _ in 0..50 {
        put(5.0, false, &mut random);
    }
    text
}

fn compared(before: &str, after: &str) -> Value {
    super::compared(("a.csv", before), ("b.csv", after), SETUP)
}

#[test]
fn as_many_dips_that_are_less_deep_are_an_improvement() {
    // At another pace, which is no change of the rail's.
    let report = compared(&tower(1, 80, 100, (0.35, 1.6)), &tower(2, 70, 300, (0.35, 1.0)));
    let rail = &report["rails"][0];
    assert_eq!(
        (&rail["name"], &rail["lines"][1]),
        (&"+5V".into(), &"LIFT".into())
    );
    assert_eq!(rail["slot_s"], Value::Null);
    assert_eq!(
        (
            rail["before"]["occasions"].as_u64(),
            rail["after"]["occasions"].as_u64()
        ),
        (Some(80), Some(70))
    );
    assert_eq!(rail["verdict"], "unchanged", "{rail}");
    let depth = &rail["depth"];
    assert_eq!(
        (&depth["verdict"], &depth["at_edges"]),
        (&"shallower".into(), &true.into())
    );
    let deepest = ["before", "after"].map(|side| depth[side]["deepest_v"].as_f64().unwrap_or(0.0));
    assert!(deepest[0] < 3.6 && (3.98..4.2).contains(&deepest[1]), "{depth}");
    let says = rail["says"].as_str().unwrap_or("");
    assert!(says.contains("less deep (rank test, p"), "{says}");
    let advice = report["advice"].as_str().unwrap_or("");
    assert!(advice.starts_with("Leave the change in."), "{advice}");
    // The other way round it is worse.
    let report = compared(&tower(2, 70, 300, (0.35, 1.0)), &tower(1, 80, 100, (0.35, 1.6)));
    assert_eq!(report["rails"][0]["depth"]["verdict"], "deeper");
    let advice = report["advice"].as_str().unwrap_or("");
    assert!(advice.starts_with("Undo the change"), "{advice}");
}

/// Of twenty pairs with nothing changed hardly one (5 % at most, here 2.5 %) may be told apart.
#[test]
fn depths_of_one_kind_are_not_told_apart() {
    let told = (0..20).filter(|seed| {
        let report = compared(
            &tower(100 + seed, 40, 100, (0.35, 1.6)),
            &tower(200 + seed, 30, 200, (0.35, 1.6)),
        );
        let depth = &report["rails"][0]["depth"];
        let says = report["rails"][0]["says"].as_str().unwrap_or("");
        let is_open = depth["verdict"] == "unclear";
        assert!(!is_open || says.contains("it may go anywhere from"), "{says}");
        // What is asked of p stands beside it.
        let is_asked =
            says.contains("; less than 0.025 is asked for, as how often and how deep are both tested)");
        assert_eq!(
            is_asked,
            depth["p_value"].as_f64().is_some_and(|p| p >= 0.025),
            "{says}"
        );
        !is_open
    });
    assert!(told.count() <= 3);
}
