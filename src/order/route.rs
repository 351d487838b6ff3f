//! Route: the order in which pieces are marked, for the least travel between them.

/// A piece on the way: where the head comes to it and where it leaves it, mm of the tray.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stop {
    /// Where its first line begins.
    pub entry: (f64, f64),
    /// Where its last line ends.
    pub exit: (f64, f64),
}

impl Stop {
    /// A stop at a point, where it is not known what is marked around it.
    pub fn at(point: (f64, f64)) -> Stop {
        Stop { entry: point, exit: point }
    }
}

/// Up to so many stops all orders are weighed (Held and Karp, J. SIAM 10, 1962).
const EXACT: usize = 12;
/// The most rounds in which stops are moved.
const ROUNDS: usize = 60;

/// The order of the stops with the least travel, from the tray's corner and back to it. Exact for up to twelve; above, the
/// nearest next one, then single stops and short chains moved wherever that is shorter (or-opt: Or 1976, for distances that
/// depend on the direction).
pub fn route(stops: &[Stop]) -> Vec<usize> {
    match stops.len() {
        0 => Vec::new(),
        n if n <= EXACT => exact(stops),
        _ => improved(stops, nearest(stops)),
    }
}

/// The travel between pieces in this order, from the corner and back, mm.
pub fn travel(stops: &[Stop], order: &[usize]) -> f64 {
    let mut at = (0.0, 0.0);
    let mut sum = 0.0;
    for &i in order {
        sum += distance(at, stops[i].entry);
        at = stops[i].exit;
    }
    sum + distance(at, (0.0, 0.0))
}

fn distance(a: (f64, f64), b: (f64, f64)) -> f64 {
    libm::hypot(a.0 - b.0, a.1 - b.1)
}

fn exact(stops: &[Stop]) -> Vec<usize> {
    let n = stops.len();
    let all = 1usize << n;
    // The least travel that has visited a set of stops and ends at one of them, and the stop before.
    let mut least = vec![(f64::INFINITY, 0usize); all * n];
    for (i, stop) in stops.iter().enumerate() {
        least[(1 << i) * n + i] = (distance((0.0, 0.0), stop.entry), i);
    }
    for set in 1..all {
        for last in (0..n).filter(|i| set & (1 << i) != 0) {
            let so_far = least[set * n + last].0;
            for next in (0..n).filter(|i| set & (1 << i) == 0) {
                let to = so_far + distance(stops[last].exit, stops[next].entry);
                let at = (set | 1 << next) * n + next;
                if to < least[at].0 {
                    least[at] = (to, last);
                }
            }
        }
    }
    let whole = |i: &usize| least[(all - 1) * n + i].0 + distance(stops[*i].exit, (0.0, 0.0));
    let mut last = (0..n).min_by(|a, b| whole(a).total_cmp(&whole(b))).unwrap_or(0);
    let mut set = all - 1;
    let mut order = Vec::with_capacity(n);
    loop {
        order.push(last);
        let before = least[set * n + last].1;
        set &= !(1 << last);
        if set == 0 {
            break;
        }
        last = before;
    }
    order.reverse();
    order
}

fn nearest(stops: &[Stop]) -> Vec<usize> {
    let mut left: Vec<usize> = (0..stops.len()).collect();
    let mut order = Vec::with_capacity(stops.len());
    let mut at = (0.0, 0.0);
    while !left.is_empty() {
        let far = |&i: &usize| distance(at, stops[i].entry);
        let best = (0..left.len()).min_by(|&a, &b| far(&left[a]).total_cmp(&far(&left[b]))).unwrap_or(0);
        let next = left.remove(best);
        at = stops[next].exit;
        order.push(next);
    }
    order
}

/// Chains of up to three stops are moved to wherever the travel is shorter, until none is or it takes too long.
fn improved(stops: &[Stop], mut order: Vec<usize>) -> Vec<usize> {
    let start = Stop::at((0.0, 0.0));
    let of = |order: &[usize], i: Option<usize>| i.and_then(|i| order.get(i)).map_or(start, |&s| stops[s]);
    for _ in 0..ROUNDS {
        let mut better = false;
        for length in 1..=3usize {
            for from in 0..order.len().saturating_sub(length - 1) {
                let link = |order: &[usize], a: Option<usize>, b: Option<usize>| {
                    distance(of(order, a).exit, of(order, b).entry)
                };
                let (before, after) = (from.checked_sub(1), Some(from + length));
                let taken = link(&order, before, Some(from)) + link(&order, Some(from + length - 1), after)
                    - link(&order, before, after);
                let mut rest = order.clone();
                let chain: Vec<usize> = rest.drain(from..from + length).collect();
                let (head, tail) = (stops[chain[0]], stops[chain[length - 1]]);
                let cost = |to: usize| {
                    let (a, b) = (of(&rest, to.checked_sub(1)), of(&rest, Some(to)));
                    distance(a.exit, head.entry) + distance(tail.exit, b.entry) - distance(a.exit, b.entry)
                };
                let best = (0..=rest.len()).min_by(|&a, &b| cost(a).total_cmp(&cost(b))).unwrap_or(0);
                if cost(best) < taken - 1e-9 {
                    rest.splice(best..best, chain);
                    order = rest;
                    better = true;
                }
            }
        }
        if !better {
            break;
        }
    }
    order
}

#[cfg(test)]
mod tests {
    use super::*;

    fn stops(n: usize, seed: u64) -> Vec<Stop> {
        let mut state = seed;
        let mut next = || {
            state = state.wrapping_mul(6364136223846793005).wrapping_add(1442695040888963407);
            (state >> 33) as f64 / f64::from(1u32 << 31) * 300.0
        };
        (0..n).map(|_| Stop { entry: (next(), next()), exit: (next(), next()) }).collect()
    }

    /// All orders of up to 7 stops, one after the other.
    fn brute(stops: &[Stop], order: &mut Vec<usize>, best: &mut f64) {
        if order.len() == stops.len() {
            *best = best.min(travel(stops, order));
        }
        for i in 0..stops.len() {
            if !order.contains(&i) {
                order.push(i);
                brute(stops, order, best);
                order.pop();
            }
        }
    }

    #[test]
    fn up_to_twelve_no_order_is_shorter() {
        for seed in 0..20 {
            let all = stops(7, seed);
            let mut best = f64::INFINITY;
            brute(&all, &mut Vec::new(), &mut best);
            let order = route(&all);
            let mut sorted = order.clone();
            sorted.sort_unstable();
            assert_eq!(sorted, (0..7).collect::<Vec<_>>());
            assert!((travel(&all, &order) - best).abs() < 1e-9);
        }
    }

    #[test]
    fn for_more_the_moved_order_is_near_the_best() {
        for seed in 0..20 {
            let all = stops(12, 100 + seed);
            let (best, moved) = (exact(&all), improved(&all, nearest(&all)));
            let ratio = travel(&all, &moved) / travel(&all, &best);
            assert!(ratio < 1.25, "{seed}: {ratio}");
        }
        // A grid of tags is met row by row.
        let grid: Vec<Stop> = (0..40)
            .map(|i| {
                let at = (10.0 + f64::from(i % 5) * 65.0, 10.0 + f64::from(i / 5) * 35.0);
                Stop { entry: (at.0, at.1 + 25.0), exit: (at.0 + 50.0, at.1) }
            })
            .collect();
        let order = route(&grid);
        assert!(travel(&grid, &order) < travel(&grid, &(0..40).collect::<Vec<_>>()));
    }
}
