//! Islands: the order in which the stretches of lines are marked.
//!
//! A wide gap takes longer than a turn, even in a hurry. Where lines fall into stretches with wide gaps between them,
//! those that lie beside each other on neighbouring lines are marked one after the other, to and fro, before the head
//! goes on to the next island. Whole lines stay where that saves nothing.

use std::sync::Arc;

use super::estimate::Estimator;
use super::lines::{Marking, ScanLines};
use super::motion;
use super::raster::{RasterPath, Ways};
use crate::parallel;

/// A stretch of a line that is marked in one go.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Stretch {
    /// Row (or column) of the dots.
    pub line: u32,
    /// Its runs, counted by rising dot: the first, and the one behind the last.
    pub first: u32,
    pub end: u32,
    /// Towards rising dots.
    pub forward: bool,
}

/// A stretch and from where to where it lies, µm of the program by rising dot.
#[derive(Debug, Clone, Copy)]
struct Placed {
    stretch: Stretch,
    ends: (i32, i32),
}

/// Wide gaps are those that take so many times as long as a turn: the shorter ones make more islands.
const PRICES: [f64; 3] = [1.15, 1.7, 3.0];
/// What must be saved to leave whole lines, as a share of the time.
const WORTH: f64 = 0.01;
/// Lines without a mark that an island may bridge.
const BRIDGE: u32 = 4;
/// Lines that are looked at in one go.
const BAND: u32 = 64;
/// More islands are too many to look for the nearest: the time goes with their square.
const MOST: usize = 600;

/// The order that takes the least time; `None`: line by line.
pub(super) fn order(raster: &RasterPath, marking: Marking<'_>) -> Option<Arc<Vec<Stretch>>> {
    let hurry = raster.gaps.hurry.as_ref()?;
    let (v, a) = (raster.scan.speed, raster.axis().acceleration);
    let across = raster.limits.axes(raster.scan.along).1;
    let ways = f64::from(raster.run_up + raster.run_out) / 1000.0;
    let pitch = f64::from(raster.across(0).abs_diff(raster.across(1))) / 1000.0;
    let turn = ways / v + v / a + motion::rest_to_rest(pitch, across.rapid_speed, across.acceleration);
    let wide = |gap: u32| hurry.seconds(f64::from(gap));
    let looked_at = |number: u32, rows: &mut ScanLines<'_>| {
        let runs = rows.find(number);
        let (mut all, mut saved) = (if runs.is_empty() { 0.0 } else { turn }, 0.0);
        for pair in runs.windows(2) {
            let (gap, run) = (pair[0].to.abs_diff(pair[1].from), pair[1].from.abs_diff(pair[1].to));
            let seconds = if gap > 0 { wide(gap) } else { 0.0 };
            all += seconds + f64::from(run) / 1000.0 / v;
            saved += (seconds - PRICES[0] * turn).max(0.0);
        }
        (all, saved)
    };
    let bands = parallel::map(raster.lines.div_ceil(BAND) as usize, |band| {
        let mut rows = ScanLines::in_rows(raster, marking);
        let lines = band as u32 * BAND..((band as u32 + 1) * BAND).min(raster.lines);
        lines.map(|number| looked_at(number, &mut rows)).fold((0.0, 0.0), |a, b| (a.0 + b.0, a.1 + b.1))
    });
    let (all, saved) = bands.into_iter().fold((0.0, 0.0), |a, b| (a.0 + b.0, a.1 + b.1));
    if saved < WORTH * all {
        return None;
    }
    let mut rows = ScanLines::in_rows(raster, marking);
    let mut best = (seconds(raster, marking, None) * (1.0 - WORTH), None);
    for price in PRICES {
        let Some(order) = islands(raster, &mut rows, |gap| wide(gap) > price * turn).map(Arc::new) else {
            continue;
        };
        let time = seconds(raster, marking, Some(Arc::clone(&order)));
        if time < best.0 {
            best = (time, Some(order));
        }
    }
    best.1
}

/// How long it takes in an order, s.
fn seconds(raster: &RasterPath, marking: Marking<'_>, order: Option<Arc<Vec<Stretch>>>) -> f64 {
    let mut lines = ScanLines::in_order(raster, marking, order);
    let mut estimator = Estimator::new(&raster.limits);
    while let Some(line) = lines.next_line() {
        estimator.line(raster, &line);
    }
    estimator.finish().times.total()
}

/// Islands one after the other, each from its end that is nearest; `None` where they are too many.
fn islands(
    raster: &RasterPath,
    rows: &mut ScanLines<'_>,
    is_wide: impl Fn(u32) -> bool,
) -> Option<Vec<Stretch>> {
    let mut islands: Vec<Vec<Placed>> = Vec::new();
    // Islands that may go on, from left to right.
    let mut open: Vec<usize> = Vec::new();
    for line in 0..raster.lines {
        let runs = rows.find(line);
        let mut here: Vec<usize> = Vec::new();
        let (mut first, mut next) = (0, 0);
        for end in 1..=runs.len() {
            if end < runs.len() && !is_wide(runs[end - 1].to.abs_diff(runs[end].from)) {
                continue;
            }
            let (from, to) = (runs[first].from, runs[end - 1].to);
            let ends = (from.min(to), from.max(to));
            let stretch = Stretch { line, first: first as u32, end: end as u32, forward: true };
            let placed = Placed { stretch, ends: (from, to) };
            first = end;
            // The first open island, in the order of the stretches, that lies beside it.
            let beside = (next..open.len()).find(|&k| {
                islands[open[k]].last().is_some_and(|p| {
                    let (low, high) = (p.ends.0.min(p.ends.1), p.ends.0.max(p.ends.1));
                    low <= ends.1 && high >= ends.0
                })
            });
            match beside {
                Some(k) => {
                    islands[open[k]].push(placed);
                    here.push(open[k]);
                    next = k + 1;
                }
                None => {
                    here.push(islands.len());
                    islands.push(vec![placed]);
                }
            }
        }
        if islands.len() > MOST {
            return None;
        }
        // An island whose line has a gap here may still go on a few lines further.
        let stays = |k: &usize| islands[*k].last().is_some_and(|p| line - p.stretch.line < BRIDGE);
        let left: Vec<usize> = open.iter().copied().filter(|k| !here.contains(k) && stays(k)).collect();
        here.extend(left);
        let middle = |k: &usize| islands[*k].last().map(|p| i64::from(p.ends.0) + i64::from(p.ends.1));
        let sign = if raster.grows() { 1 } else { -1 };
        here.sort_by_key(|k| middle(k).map(|m| sign * m));
        open = here;
    }
    Some(joined(raster, islands))
}

/// From island to island, the nearest end first.
fn joined(raster: &RasterPath, mut islands: Vec<Vec<Placed>>) -> Vec<Stretch> {
    let both = raster.scan.ways == Ways::Both;
    let along = |p: &Placed, forward: bool, start: bool| if forward == start { p.ends.0 } else { p.ends.1 };
    let place = |p: &Placed, forward: bool, start: bool| {
        (f64::from(along(p, forward, start)), f64::from(raster.across(p.stretch.line)))
    };
    let mut at: Option<(f64, f64)> = None;
    let mut order = Vec::new();
    while !islands.is_empty() {
        let mut nearest = (f64::INFINITY, 0, false, true);
        for (i, island) in islands.iter().enumerate() {
            let (Some(top), Some(bottom)) = (island.first(), island.last()) else { continue };
            for (reversed, begin) in [(false, top), (true, bottom)] {
                for forward in [true, false] {
                    if forward != (raster.scan.ways != Ways::Back) && !both {
                        continue;
                    }
                    let (x, y) = place(begin, forward, true);
                    let far = at.map_or(0.0, |(ax, ay)| (ax - x) * (ax - x) + (ay - y) * (ay - y));
                    if far < nearest.0 {
                        nearest = (far, i, reversed, forward);
                    }
                }
            }
        }
        let (_, i, reversed, mut forward) = nearest;
        let mut island = islands.remove(i);
        if reversed {
            island.reverse();
        }
        for p in &island {
            order.push(Stretch { forward, ..p.stretch });
            at = Some(place(p, forward, false));
            forward ^= both;
        }
    }
    order
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::blank::Blank;
    use crate::placement::{Along, DotRect, Grid};
    use crate::plane::Dots;
    use crate::scan::limits::Limits;
    use crate::scan::raster::Scan;
    use crate::units::Mm;

    fn raster(d: &Dots, scan: Scan, plans_ahead: Option<u32>) -> RasterPath {
        let blank = Blank { shape: "rect:90x90mm".parse().unwrap(), margin: Mm(1.0) };
        let grid = Grid { along: Mm(0.1), across: Mm(0.1) };
        let rect = DotRect { left: Mm(2.0), top: Mm(2.0), columns: d.width(), rows: d.height(), grid };
        RasterPath::new(&Limits { plans_ahead, ..Limits::default() }, scan, rect, blank).unwrap()
    }

    /// Two posts of 40 dots at either side, 60 mm apart, 100 lines high.
    fn posts() -> Dots {
        let mut d = Dots::off(700, 100);
        (0..100).for_each(|y| (0..40).chain(640..680).for_each(|x| d.set(x, y, true)));
        d
    }

    #[test]
    fn posts_far_apart_are_marked_one_after_the_other() {
        let d = posts();
        for ways in [Ways::Both, Ways::One, Ways::Back] {
            for along in [Along::X, Along::Y] {
                let raster = raster(&d, Scan { ways, along, ..Scan::new(12.5, 0.9) }, Some(15));
                let order = order(&raster, Marking::Dots(&d));
                if along == Along::Y {
                    assert_eq!(order, None, "columns have no gaps");
                    continue;
                }
                let order = order.unwrap();
                assert_eq!(order.len(), 200);
                let first = order[0].first;
                assert!(order[..100].iter().all(|s| s.first == first) && order[100].first != first);
                let turned = order.windows(2).filter(|w| w[0].forward != w[1].forward).count();
                assert_eq!(turned > 190, ways == Ways::Both, "{turned}");
                assert!(order.iter().all(|s| ways != Ways::Back || !s.forward));
                let took = |order| seconds(&raster, Marking::Dots(&d), order);
                let (slow, fast) = (took(None), took(Some(order)));
                assert!(fast < 0.75 * slow, "{fast} {slow}");
            }
        }
    }

    #[test]
    fn whole_lines_stay_where_nothing_is_known_of_the_controller_or_nothing_is_saved() {
        let d = posts();
        assert_eq!(order(&raster(&d, Scan::new(12.5, 0.9), None), Marking::Dots(&d)), None);
        let mut near = Dots::off(200, 100);
        (0..20_000).filter(|i| i * i % 7 < 3).for_each(|i| near.set(i % 200, i / 200, true));
        assert_eq!(order(&raster(&near, Scan::new(12.5, 0.9), Some(15)), Marking::Dots(&near)), None);
    }

    #[test]
    fn every_run_is_marked_once_whatever_the_shape() {
        // Slanted bars that part, meet and end.
        let mut d = Dots::off(800, 60);
        for y in 0..60usize {
            for x in 0..800usize {
                let bar =
                    (x + 2 * y) % 240 < 8 || x.abs_diff(3 * y + 100) < 5 && y % 9 < 7 || y == 30 && x < 300;
                d.set(x, y, bar);
            }
        }
        let raster = raster(&d, Scan::new(12.5, 0.9), Some(15));
        let mut rows = ScanLines::in_rows(&raster, Marking::Dots(&d));
        let order = islands(&raster, &mut rows, |gap| gap > 3000).unwrap();
        for line in 0..60 {
            let count = rows.find(line).len() as u32;
            let mut of_line: Vec<_> =
                order.iter().filter(|s| s.line == line).map(|s| (s.first, s.end)).collect();
            of_line.sort_unstable();
            let mut next = 0;
            for (first, end) in of_line {
                assert!(first == next && end > first);
                next = end;
            }
            assert_eq!(next, count);
        }
    }
}
