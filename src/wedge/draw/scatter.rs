//! Scatter: the order of powers and speeds over a sheet in which neither grows with the place.
//!
//! Light falls off, a brush leaves more paint on one side: what slopes over the sheet would pass for what speed or power does,
//! were they in rising order. Labels name each column and row, so that any order can be read.

use crate::wedge::spread::square;

/// The values in an order that has as little as may be in common with a slope, a bow and an S over their places: exchanges of
/// two, the best first, until none is left that makes it less. The same values always come in the same order.
pub(super) fn scattered<T: Copy>(values: &[T]) -> Vec<T> {
    let n = values.len();
    let mut order: Vec<usize> = (0..n).step_by(2).chain((1..n).step_by(2)).collect();
    let mut least = likeness(&order);
    loop {
        let mut best = None;
        for i in 0..n {
            for j in i + 1..n {
                order.swap(i, j);
                let like = likeness(&order);
                if like < least - 1e-9 {
                    (least, best) = (like, Some((i, j)));
                }
                order.swap(i, j);
            }
        }
        match best {
            Some((i, j)) => order.swap(i, j),
            None => return order.into_iter().filter_map(|i| values.get(i).copied()).collect(),
        }
    }
}

/// How much an order has in common with the first three powers of the place, each as a squared correlation; the slope, which
/// is what light and paint have most of, counts four times.
fn likeness(order: &[usize]) -> f64 {
    let middle = (order.len().max(1) - 1) as f64 / 2.0;
    let centred = |v: &dyn Fn(usize) -> f64| {
        let mean = (0..order.len()).map(v).sum::<f64>() / order.len().max(1) as f64;
        (0..order.len()).map(|i| v(i) - mean).collect::<Vec<f64>>()
    };
    let ranks = centred(&|i| order.get(i).map_or(0.0, |&r| r as f64));
    let shared = |power: i32| {
        let places = centred(&|i| libm::pow(i as f64 - middle, f64::from(power)));
        let dot = |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(a, b)| a * b).sum::<f64>();
        square(dot(&places, &ranks)) / (dot(&places, &places) * dot(&ranks, &ranks)).max(1e-9)
    };
    4.0 * shared(1) + shared(2) + shared(3)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_slopes_over_the_sheet_is_no_slope_over_the_values() {
        for n in 4..=20 {
            let all: Vec<usize> = (0..n).collect();
            let order = scattered(&all);
            let mut sorted = order.clone();
            sorted.sort_unstable();
            assert_eq!(sorted, all);
            assert!(
                likeness(&order) < if n < 6 { 0.35 } else { 0.05 },
                "{n}: {order:?} {}",
                likeness(&order)
            );
        }
        assert_eq!(scattered(&[7, 9]).len(), 2);
        assert_eq!(scattered::<u8>(&[]), Vec::<u8>::new());
    }
}
