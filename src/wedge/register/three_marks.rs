//! Three marks: a perspective from three finder marks and their sizes, where the fourth is hidden or spoilt.

use super::candidate::{MarkCandidate, scale_spread};
use super::homography::Homography;
use crate::wedge::target::Wedge;

/// The best perspective from any three marks of one polarity, with how far it is from a plain view (the
/// smaller, the better); `None` where no three lie as marks of the sheet could.
pub(super) fn consistent(all: &[MarkCandidate], wedge: &Wedge) -> Option<(f64, Homography)> {
    let height = wedge.blank.height();
    let model: Vec<(f64, f64)> = wedge.marks.iter().map(|m| (m.centre[0], height - m.centre[1])).collect();
    if model.len() != 4 {
        return None;
    }
    // The commonest size among all is that of the marks; a photo full of ring-like things is cut short.
    let mut seen: Vec<&MarkCandidate> = all.iter().collect();
    seen.sort_by(|a, b| b.diameter.total_cmp(&a.diameter));
    seen.truncate(16);
    let mut best: Option<(f64, Homography)> = None;
    for missing in 0..4 {
        let kept: Vec<usize> = (0..4).filter(|i| *i != missing).collect();
        for a in &seen {
            for b in &seen {
                for c in &seen {
                    let set = [*a, *b, *c];
                    if std::ptr::eq(*a, *b) || std::ptr::eq(*b, *c) || std::ptr::eq(*a, *c) {
                        continue;
                    }
                    let fits =
                        set.iter().zip(&kept).all(|(s, &i)| s.odd == (i == 0) && s.lighter == a.lighter);
                    if !fits {
                        continue;
                    }
                    let from: Vec<(f64, f64)> = kept.iter().filter_map(|&i| model.get(i).copied()).collect();
                    let Some((score, map)) = judge(&set, &from, &kept, wedge) else { continue };
                    if best.as_ref().is_none_or(|(s, _)| score < *s) {
                        best = Some((score, map));
                    }
                }
            }
        }
    }
    best
}

/// The perspective of three marks, and how far it is from a view straight from above: the stretch of one
/// direction against the other in the middle (a tilt of 25 degrees gives 0.1) and the change of scale from
/// corner to corner.
fn judge(
    set: &[&MarkCandidate; 3],
    from: &[(f64, f64)],
    kept: &[usize],
    wedge: &Wedge,
) -> Option<(f64, Homography)> {
    let to = set.map(|c| c.at);
    let sizes: Vec<f64> = set
        .iter()
        .zip(kept)
        .filter_map(|(c, &i)| wedge.marks.get(i).map(|m| c.diameter / m.diameter.0))
        .collect();
    let map = Homography::from_three(from, &to, &sizes)?;
    let middle = (wedge.blank.width() / 2.0, wedge.blank.height() / 2.0);
    let d = 0.5;
    let (o, x, y) =
        (map.map(middle)?, map.map((middle.0 + d, middle.1))?, map.map((middle.0, middle.1 + d))?);
    let (a, b, c, e) = (x.0 - o.0, y.0 - o.0, x.1 - o.1, y.1 - o.1);
    let det = a * e - b * c;
    if det <= 0.0 {
        return None;
    }
    // The ratio of the singular values of a 2 by 2 matrix from its norm and determinant.
    let half = (a * a + b * b + c * c + e * e) / (2.0 * det);
    let stretch = libm::log(half + (half * half - 1.0).max(0.0).sqrt());
    let spread = libm::log(scale_spread(&map, wedge)?);
    (stretch < 0.25 && spread < 0.7).then_some((stretch + 0.3 * spread, map))
}
