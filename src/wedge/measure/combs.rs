//! Combs: the lag of the beam behind the head, from combs marked in opposite directions.

use super::rectify::Flat;
use crate::texts::text;
use crate::wedge::measurement::Measurement;
use crate::wedge::reading::LagReading;
use crate::wedge::spread::deviation;
use crate::wedge::target::{Comb, Wedge};

/// Reads every comb of a timing wedge; `lighter` says that marks are lighter than the bare coating.
pub fn combs(flat: &Flat, wedge: &Wedge, lighter: bool) -> Vec<LagReading> {
    wedge.combs.iter().map(|c| one(flat, wedge, c, lighter)).collect()
}

fn one(flat: &Flat, wedge: &Wedge, comb: &Comb, lighter: bool) -> LagReading {
    let speed = comb.dial.speed.0;
    let right = shifts(flat, wedge, comb, comb.rows_right, comb.step_right, lighter);
    let left = shifts(flat, wedge, comb, comb.rows_left, comb.step_left, lighter);
    let nothing = |why: &str| LagReading {
        name: comb.name.clone(),
        speed_mm_s: speed,
        offset_mm: Measurement::not(why),
        lag_ms: Measurement::not(why),
        lines_up_at: None,
    };
    let least = 2 * comb.side / 2 + 1;
    if right.len() < least || left.len() < least {
        return nothing(text!("wedge.open.comb.faint"));
    }
    let mean = |v: &[f64]| v.iter().sum::<f64>() / v.len() as f64;
    let offset = mean(&right) - mean(&left);
    let of_mean = |v: &[f64]| deviation(v) / (v.len() as f64).sqrt();
    // What the lines share: photos of known lag were read to 0.001 to 0.008 mm.
    let error = libm::hypot(libm::hypot(of_mean(&right), of_mean(&left)), 0.004);
    if error > 0.05 {
        return nothing(text!("wedge.open.comb.disagree"));
    }
    let vernier = comb.step_left - comb.step_right;
    LagReading {
        name: comb.name.clone(),
        speed_mm_s: speed,
        offset_mm: Measurement::value(offset, error),
        lag_ms: Measurement::value(1000.0 * offset / (2.0 * speed), 1000.0 * error / (2.0 * speed)),
        lines_up_at: (vernier > 0.0).then(|| (offset / vernier).round() as i64),
    }
}

/// How far each line of a comb lies from its place on the sheet, mm; lines that cannot be seen left out.
fn shifts(flat: &Flat, wedge: &Wedge, comb: &Comb, rows: [f64; 2], step: f64, lighter: bool) -> Vec<f64> {
    let height = wedge.blank.height();
    let (top, bottom) = (height - rows[1], height - rows[0]);
    // The middle 60 % of the lines' length: the other comb's blur stays out.
    let (top, bottom) = (top + 0.2 * (bottom - top), bottom - 0.2 * (bottom - top));
    let width = comb.line_dots as f64 * wedge.pitch_along.0;
    let reach = step / 2.0;
    let mut out = Vec::new();
    for k in -(comb.side as i64)..=comb.side as i64 {
        let middle = comb.middle + k as f64 * step;
        let profile: Vec<(f64, f64)> = flat
            .columns(middle - reach, top, middle + reach, bottom)
            .into_iter()
            .map(|(x, m)| (x - middle, if lighter { m } else { -m }))
            .collect();
        if let Some(x) = peak(&profile, width) {
            out.push(x);
        }
    }
    out
}

/// Place of the one line in a profile: the centroid of what rises above half of its height.
fn peak(profile: &[(f64, f64)], width: f64) -> Option<f64> {
    let mut sorted: Vec<f64> = profile.iter().map(|p| p.1).collect();
    sorted.sort_by(f64::total_cmp);
    let n = sorted.len();
    if n < 8 {
        return None;
    }
    // The lines take up about a quarter of the step: the lower half is bare.
    let bare = sorted[n / 4];
    let noise = deviation(&sorted[..n / 2]).max(1e-6);
    let top = sorted[n - 1];
    if top - bare < 6.0 * noise {
        return None;
    }
    let level = bare + 0.4 * (top - bare);
    let best = profile.iter().max_by(|a, b| a.1.total_cmp(&b.1))?.0;
    let (mut sum, mut weight) = (0.0, 0.0);
    for (x, v) in profile {
        if *v > level && (x - best).abs() < 1.5 * width + 0.1 {
            sum += x * (v - level);
            weight += v - level;
        }
    }
    (weight > 0.0).then(|| sum / weight)
}
