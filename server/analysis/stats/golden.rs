//! Checks of the whole folder against `tests/data/statistics.json`: values from mpmath, SciPy and statsmodels,
//! made by `tests/data/statistics.py`; each group there names its library and its published source.

use serde_json::Value;

use super::*;

/// Relative difference of every check: ten digits.
const DIGITS: f64 = 1e-10;

fn cases(group: &str) -> Vec<(Vec<Value>, Value)> {
    let text = include_str!("../../../tests/data/statistics.json");
    let all: Value = serde_json::from_str(text).unwrap();
    let cases = all["groups"][group]["cases"].as_array().unwrap();
    assert!(cases.len() >= 6, "{group}");
    cases
        .iter()
        .map(|c| (c["inputs"].as_array().unwrap().clone(), c["outputs"].clone()))
        .collect()
}

fn counts(inputs: &[Value]) -> Vec<u64> {
    inputs.iter().map(|v| v.as_u64().unwrap()).collect()
}

#[track_caller]
fn same(got: f64, want: &Value, what: &dyn std::fmt::Debug) {
    let want = want.as_f64().unwrap();
    let near = (got - want).abs() <= DIGITS * want.abs().max(f64::MIN_POSITIVE);
    assert!(near, "{what:?}: {got:e} for {want:e}");
}

/// Ten digits of the probability itself: the logarithm within 1e-10, or as many digits of it where it is so
/// large that the probability has underflowed.
#[track_caller]
fn same_ln(got: f64, want: &Value, what: &dyn std::fmt::Debug) {
    let want = want.as_f64().unwrap();
    // Near p = 1 the logarithm is 1 − p: then it is the other tail that must have its digits.
    let bound = DIGITS * want.abs().clamp(1e-300, 1.0).max(want.abs() / 700.0);
    assert!((got - want).abs() <= bound, "{what:?}: ln {got:e} for {want:e}");
}

#[test]
fn binomial_tails_have_ten_digits() {
    for (inputs, out) in cases("binomial_tails") {
        let (k, n, p) = (
            inputs[0].as_u64().unwrap(),
            inputs[1].as_u64().unwrap(),
            inputs[2].as_f64().unwrap(),
        );
        same_ln(
            tails::ln_binomial_upper(k, n, p),
            &out["ln_upper"],
            &("upper", &inputs),
        );
        same_ln(
            tails::ln_binomial_lower(k, n, p),
            &out["ln_lower"],
            &("lower", &inputs),
        );
    }
    // Handbook figure: P(X ≥ 39 | 90, 0.00345) = 3.7327162583823e-71.
    assert!((tails::binomial_upper(39, 90, 0.00345) / 3.732_716_258_382_3e-71 - 1.0).abs() < DIGITS);
    assert_eq!(tails::binomial_upper(0, 5, 0.3), 1.0);
    assert_eq!(tails::binomial_upper(6, 5, 0.3), 0.0);
    assert_eq!(
        (tails::binomial_upper(1, 5, 0.0), tails::binomial_upper(5, 5, 1.0)),
        (0.0, 1.0)
    );
    assert_eq!(tails::binomial_lower(5, 5, 0.3), 1.0);
    assert_eq!(tails::ln_binomial_point(2, 5, 0.0), f64::NEG_INFINITY);
}

#[test]
fn poisson_tails_have_ten_digits() {
    for (inputs, out) in cases("poisson_tails") {
        let (k, mean) = (inputs[0].as_u64().unwrap(), inputs[1].as_f64().unwrap());
        same_ln(
            tails::ln_poisson_upper(k, mean),
            &out["ln_upper"],
            &("upper", &inputs),
        );
        same_ln(
            tails::ln_poisson_lower(k, mean),
            &out["ln_lower"],
            &("lower", &inputs),
        );
    }
}

#[test]
fn incomplete_beta_of_real_arguments() {
    for (inputs, out) in cases("beta_lower") {
        let v: Vec<f64> = inputs.iter().map(|v| v.as_f64().unwrap()).collect();
        let lower = beta::ln_tails(v[0], v[1], v[2], 1.0 - v[2]).lower.exp();
        same(lower, &out["lower"], &inputs);
        let (x, y) = beta::beta_quantile(v[0], v[1], lower.ln(), (-lower).ln_1p());
        assert!(
            (x / v[2] - 1.0).abs() < 1e-9 && (x + y - 1.0).abs() < 1e-15,
            "{inputs:?} {x}"
        );
    }
}

#[test]
fn intervals_of_rates_are_those_from_outside() {
    for (inputs, out) in cases("clopper_pearson") {
        let c = counts(&inputs);
        let (low, high) = intervals::clopper_pearson(c[0], c[1], 0.95);
        same(low, &out["low"], &inputs);
        same(high, &out["high"], &inputs);
        same(
            intervals::clopper_pearson_upper(c[0], c[1], 0.95),
            &out["one_sided_upper"],
            &inputs,
        );
    }
    for (inputs, out) in cases("none_in_n") {
        let bound = intervals::clopper_pearson_upper(0, counts(&inputs)[0], 0.95);
        same(bound, &out["exact_upper"], &inputs);
    }
    assert_eq!(intervals::clopper_pearson(0, 0, 0.95), (0.0, 1.0));
}

#[test]
fn median_by_order_statistics() {
    for (inputs, out) in cases("median_interval") {
        let n = counts(&inputs)[0] as usize;
        let (low, high) = intervals::median_interval(n, 0.95).unwrap();
        same((low + 1) as f64, &out["low"], &inputs);
        same((high + 1) as f64, &out["high"], &inputs);
    }
    assert_eq!(intervals::median_interval(5, 0.95), None);
    assert_eq!(
        intervals::median_of_sorted(&[1.0, 2.0, 4.0]),
        Some((2.0, 1.0, 4.0))
    );
    assert_eq!(intervals::median_of_sorted(&[]), None);
}

#[test]
fn fisher_from_the_tea_tasting_to_a_hundred_million() {
    for (inputs, out) in cases("fisher") {
        let c = counts(&inputs);
        let got = fisher::fisher(c[0], c[1], c[2], c[3]);
        same_ln(got.ln_less, &out["ln_less"], &("less", &inputs));
        same_ln(got.ln_greater, &out["ln_greater"], &("greater", &inputs));
        same_ln(got.ln_two_sided, &out["ln_two_sided"], &("two-sided", &inputs));
    }
    let tea = fisher::fisher(3, 4, 1, 4);
    assert!((tea.greater() - 17.0 / 70.0).abs() < 1e-14 && (tea.two_sided() - 34.0 / 70.0).abs() < 1e-14);
}

#[test]
fn ratio_by_the_score_method() {
    for (inputs, out) in cases("miettinen_nurminen") {
        let c = counts(&inputs);
        let got = ratio::miettinen_nurminen(c[0], c[1], c[2], c[3], 0.95);
        same(got.low, &out["low"], &inputs);
        match got.high {
            Some(high) => same(high, &out["high"], &inputs),
            None => assert!(out["high"].is_null()),
        }
    }
    assert_eq!(ratio::miettinen_nurminen(0, 10, 0, 10, 0.95).high, None);
}

#[test]
fn q_values_of_the_1995_paper() {
    for (inputs, out) in cases("benjamini_hochberg") {
        let p: Vec<f64> = inputs.iter().map(|v| v.as_f64().unwrap()).collect();
        let q = multiple::benjamini_hochberg(&p, 0);
        let want = out["q"].as_array().unwrap();
        assert_eq!(q.len(), want.len());
        for (got, want) in q.iter().zip(want) {
            same(*got, want, &inputs);
        }
    }
    // Tests that were tried and not listed count: one p of ten tests is Bonferroni's.
    assert!((multiple::benjamini_hochberg(&[0.001], 10)[0] - 0.01).abs() < 1e-15);
}

#[test]
fn how_many_opportunities_it_takes() {
    for (inputs, out) in cases("clean_opportunities") {
        let n = power::clean_opportunities(inputs[0].as_f64().unwrap(), inputs[1].as_f64().unwrap());
        same(n.unwrap() as f64, &out["n"], &inputs);
    }
    // The answer is the first that settles it: one fewer does not.
    for (a, n1, b) in [(3, 40, 0), (14, 46, 0), (5, 30, 1), (1, 3, 0)] {
        let n = power::clean_to_settle(a, n1, b, 0.05, 1 << 40).unwrap();
        assert!(fisher::fisher(a, n1, b, n).two_sided() < 0.05);
        assert!(fisher::fisher(a, n1, b, n - 1).two_sided() >= 0.05);
    }
    assert_eq!(power::clean_to_settle(0, 40, 0, 0.05, 1 << 40), None);
}
