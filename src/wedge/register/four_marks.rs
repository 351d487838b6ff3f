//! Four marks: the perspective of one odd and three ordinary finder marks that lie as those of the wedge.

use super::candidate::{MarkCandidate, scale_spread};
use super::homography::Homography;
use crate::wedge::target::Wedge;

/// One odd and three ordinary marks of one polarity whose places and sizes agree with the sheet.
pub(super) fn consistent(all: &[MarkCandidate], wedge: &Wedge) -> Option<Homography> {
    let height = wedge.blank.height();
    let model: Vec<(f64, f64)> = wedge.marks.iter().map(|m| (m.centre[0], height - m.centre[1])).collect();
    if model.len() != 4 {
        return None;
    }
    let mut best: Option<(f64, Homography)> = None;
    for odd in all.iter().filter(|c| c.odd) {
        let mut rings: Vec<&MarkCandidate> = all
            .iter()
            .filter(|c| {
                !c.odd && c.lighter == odd.lighter && (0.5..=2.0).contains(&(c.diameter / odd.diameter))
            })
            .collect();
        // A wedge has three; a photo full of ring-like things is cut short, nearest in size first.
        rings.sort_by(|a, b| {
            libm::log(a.diameter / odd.diameter).abs().total_cmp(&libm::log(b.diameter / odd.diameter).abs())
        });
        rings.truncate(14);
        for i in 0..rings.len() {
            for j in i + 1..rings.len() {
                for k in j + 1..rings.len() {
                    let set = [*odd, *rings[i], *rings[j], *rings[k]];
                    let Some((score, map)) = judge(set, &model, wedge) else { continue };
                    if best.as_ref().is_none_or(|(s, _)| score < *s) {
                        best = Some((score, map));
                    }
                }
            }
        }
    }
    best.map(|(_, map)| map)
}

/// Orders a set clockwise from the odd mark and scores how far its sizes are from what the perspective says.
fn judge(mut set: [MarkCandidate; 4], model: &[(f64, f64)], wedge: &Wedge) -> Option<(f64, Homography)> {
    let (cx, cy) = set.iter().fold((0.0, 0.0), |(a, b), c| (a + c.at.0 / 4.0, b + c.at.1 / 4.0));
    let angle = |c: &MarkCandidate| libm::atan2(c.at.1 - cy, c.at.0 - cx);
    let start = angle(&set[0]);
    let turn = |c: &MarkCandidate| (angle(c) - start).rem_euclid(std::f64::consts::TAU);
    set[1..].sort_by(|a, b| turn(a).total_cmp(&turn(b)));
    let to: Vec<(f64, f64)> = set.iter().map(|c| c.at).collect();
    let map = Homography::fit(model, &to)?;
    let mut worst: f64 = 0.0;
    for ((c, m), mark) in set.iter().zip(model).zip(&wedge.marks) {
        let want = map.scale(*m)? * mark.diameter.0;
        worst = worst.max(libm::log(c.diameter / want).abs());
    }
    // Convex and not folded: the scale must be alike over the whole blank.
    let spread = scale_spread(&map, wedge)?;
    (worst < 0.22 && spread < 2.5).then_some((worst, map))
}
