//! A supply's instrument: volts of a rail that dips, and of a line that hardly moves.

/// "+5V tower" dips every 10 ms; STEP moves twice, which is too little to join it by.
pub fn dipping() -> String {
    let mut supply = "Time (ms),+5V tower (V),STEP (V)\n".to_owned();
    for at in 0..4000 {
        let dip = if at % 500 > 490 { 4.1 } else { 5.0 };
        let step = if (1000..1010).contains(&at) { 4.0 } else { 0.2 };
        let noise = 0.004 * f64::from(at % 7);
        supply.push_str(&format!(
            "{:.3},{:.3},{:.2}\n",
            f64::from(at) * 0.02,
            dip + noise,
            step + noise
        ));
    }
    supply
}
