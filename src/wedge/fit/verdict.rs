//! Verdict: whether an exposure wedge missed its range, and which way to move it.

use super::model::Point;
use crate::texts::text;

/// A sentence when all patches are under- or over-burnt; `None` when the range shows the coating's response.
/// `bare` is the lightness of the bare coating.
pub fn judge(points: &[Point], bare: f64, lighter: bool) -> Option<String> {
    if points.len() < 3 {
        return None;
    }
    let gain = |p: &Point| if lighter { p.lightness - bare } else { bare - p.lightness };
    let dose = |p: &Point| p.dose;
    let strongest = points.iter().max_by(|a, b| dose(a).total_cmp(&dose(b)))?;
    let weakest = points.iter().min_by(|a, b| dose(a).total_cmp(&dose(b)))?;
    let best = points.iter().max_by(|a, b| gain(a).total_cmp(&gain(b)))?;
    if gain(best) < 4.0 {
        return Some(text!(
            "wedge.verdict.under-burnt",
            dose = format_args!("{:.1}", strongest.dose),
            speed = format_args!("{:.1}", slowest(points))
        ));
    }
    // Over-burnt throughout: the mark only fades with dose, from its weakest patch on.
    let mut sorted: Vec<&Point> = points.iter().collect();
    sorted.sort_by(|a, b| dose(a).total_cmp(&dose(b)));
    let third = (sorted.len() / 3).max(1);
    let mean = |part: &[&Point]| part.iter().map(|p| gain(p)).sum::<f64>() / part.len() as f64;
    let (low, high) = (mean(&sorted[..third]), mean(&sorted[sorted.len() - third..]));
    let first = mean(&sorted[..third.min(2)]);
    let top = sorted.iter().map(|p| gain(p)).fold(0.0, f64::max);
    if lighter && first > top - 1.5 && low - high > 6.0 && rank_fall(&sorted, &gain) > 0.7 {
        return Some(text!(
            "wedge.verdict.over-burnt",
            dose = format_args!("{:.1}", weakest.dose),
            speed = format_args!("{:.1}", fastest(points))
        ));
    }
    None
}

fn slowest(points: &[Point]) -> f64 {
    points.iter().map(|p| p.speed).fold(f64::INFINITY, f64::min)
}

fn fastest(points: &[Point]) -> f64 {
    points.iter().map(|p| p.speed).fold(0.0, f64::max)
}

/// Share of pairs, in order of dose, whose gain falls (Kendall's count of discordant pairs).
fn rank_fall(sorted: &[&Point], gain: &impl Fn(&Point) -> f64) -> f64 {
    let (mut falls, mut all) = (0.0, 0.0);
    for (i, a) in sorted.iter().enumerate() {
        for b in &sorted[i + 1..] {
            all += 1.0;
            falls += f64::from(u8::from(gain(b) < gain(a)));
        }
    }
    if all > 0.0 { falls / all } else { 0.0 }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn points(look: impl Fn(f64) -> f64) -> Vec<Point> {
        (1..=16)
            .map(|i| {
                let dose = f64::from(i) * 0.5;
                Point {
                    dose,
                    speed: 30.0 / f64::from(i),
                    lightness: look(dose),
                    error: 0.3,
                    fill: 0,
                    sheet: 0,
                    place: [0.0, 0.0],
                    passes: 1.0,
                    charred: false,
                }
            })
            .collect()
    }

    #[test]
    fn a_wedge_that_shows_nothing_asks_for_more_dose() {
        let v = judge(&points(|d| 20.0 + 0.1 * d), 20.0, true).unwrap();
        assert!(v.contains("under-burnt") && v.contains("8.0 J/mm²") && v.contains("lower speeds"), "{v}");
    }

    #[test]
    fn a_wedge_that_only_fades_asks_for_less() {
        let v = judge(&points(|d| 80.0 - 5.0 * d), 20.0, true).unwrap();
        assert!(v.contains("over-burnt") && v.contains("higher speeds"), "{v}");
    }

    #[test]
    fn a_wedge_with_a_rise_is_let_through() {
        assert_eq!(judge(&points(|d| 20.0 + 60.0 / (1.0 + (3.0 / d).powi(6))), 20.0, true), None);
    }
}
