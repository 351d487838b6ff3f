//! Spread: how far values lie apart, plainly and robustly.

/// A number times itself: rounded alike on every machine, as the standard library's powers need not be.
pub fn square(x: f64) -> f64 {
    x * x
}

/// Standard deviation, with n − 1.
pub fn deviation(values: &[f64]) -> f64 {
    let n = values.len() as f64;
    if n < 2.0 {
        return 0.0;
    }
    let mean = values.iter().sum::<f64>() / n;
    (values.iter().map(|v| square(v - mean)).sum::<f64>() / (n - 1.0)).sqrt()
}

/// The median of the sizes of residuals, as the standard deviation that a normal distribution of that median has
/// (times 1.4826; Huber and Ronchetti, Robust Statistics, 2nd edition): a few stray ones do not move it. 0 for none.
pub fn robust_size(rest: impl Iterator<Item = f64>) -> f64 {
    let mut sizes: Vec<f64> = rest.map(f64::abs).collect();
    sizes.sort_by(f64::total_cmp);
    1.4826 * sizes.get(sizes.len() / 2).copied().unwrap_or(0.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn both_give_the_standard_deviation_and_one_is_not_moved_by_a_stray_value() {
        // 1..=5: the sum of squares about 3 is 10, over 4 is 2.5.
        assert!((deviation(&[1.0, 2.0, 3.0, 4.0, 5.0]) - 2.5f64.sqrt()).abs() < 1e-12);
        assert_eq!((deviation(&[7.0]), robust_size(std::iter::empty())), (0.0, 0.0));
        // The quartile of a normal distribution lies at 0.67449 of its deviation.
        let stray = [-0.674_49, 0.674_49, 0.674_49, -0.2, 900.0];
        assert!((robust_size(stray.into_iter()) - 1.0).abs() < 1e-4);
    }
}
