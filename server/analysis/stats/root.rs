//! Newton's method kept inside a shrinking bracket.

/// Root of a rising function of one number between `low` and `high`, from `start`; `miss_and_slope` gives the value and the
/// derivative. A step that would leave the bracket halves it instead. At most 200 steps; ends when a step is below 1e-15 of
/// the root's size (or absolutely, near zero).
pub(super) fn rising_root(
    start: f64,
    (mut low, mut high): (f64, f64),
    miss_and_slope: impl Fn(f64) -> (f64, f64),
) -> f64 {
    let mut t = start;
    for _ in 0..200 {
        let (miss, slope) = miss_and_slope(t);
        if miss == 0.0 {
            break;
        }
        if miss > 0.0 {
            high = t
        } else {
            low = t
        }
        let newton = t - miss / slope;
        let next = if newton > low && newton < high {
            newton
        } else {
            0.5 * (low + high)
        };
        let is_there = (next - t).abs() <= 1e-15 * (1.0 + t.abs());
        t = next;
        if is_there {
            break;
        }
    }
    t
}
