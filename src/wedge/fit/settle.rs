//! Settle: which of the fitted values the patches really tell, and what the others are taken as.

use nalgebra::DVector;

use super::exposures::ripple;
use super::fitted::ResponseFit;
use super::likely::likely;
use super::model::{
    ACROSS, ALL, ALONG, CHAR, CHAR_RISE, CHAR_RISE_SPREAD, CHARRED, CHARRED_SPREAD, HALF, HIGH, LOW, MARKED,
    Model, Point, RISE, S, Solved,
};
use super::toned::FINE;
use crate::mark::Response;
use crate::texts::text;
use crate::units::short;
use crate::wedge::measurement::Measurement;
use crate::wedge::spread::square;
use crate::wedge::target::Expected;

/// How far each parameter is off in photos of known truth besides what the points' scatter says, as fitted: what all
/// patches of a piece share (its light, the camera's tone curve, the lens's blur at fine lines, the thickness of the paint)
/// does not average out.
pub(super) const REPEATS: [f64; 9] = [0.015, 0.008, 0.02, 0.008, 0.03, 0.012, 0.04, 0.025, 0.02];

/// What char must change of a patch that is only partly charred for its exposure to be measured, L*: less than this the
/// camera does to dark or light tones as well.
const CHAR_SEEN: f64 = 1.0;
/// Where the strongest patch of the grids has less of the mark, what patches are off by together moves the values by more than
/// [`REPEATS`] says.
const FULL: f64 = 0.95;
/// A camera's curve that goes unseen on such a sheet, by how much it is steeper in the middle than the standard one (own judgement:
/// phones' own curves are up to twice as steep).
const UNSEEN: f64 = 0.1;
/// A full mark that is known to no better than this share of its contrast leaves the exposure of half a mark open: no patch
/// comes near it.
const MARK_OPEN: f64 = 0.25;

/// Names what the points leave open; of the mark's own values it is then fixed, at the expected value where
/// the points do not speak against it, and the rest fitted again. `tones` are how much L* of each point grows under a camera's
/// curve that is steeper by one.
pub(super) fn settle(
    base: &Model<'_>,
    mut solved: Solved,
    expected: &Expected,
    s_free: bool,
    tones: &[f64],
) -> ResponseFit {
    let model = Model { char: solved.char, ..*base };
    // Before anything is held: what is held because it is not settled is open all the more.
    let likely = likely(&solved);
    let reached = model.response(&solved.all).rise_at(model.strongest(&solved.all));
    let moved = if reached < FULL { moved_together(&model, &solved, tones) } else { [0.0; REPEATS.len()] };
    let mut notes: [Option<String>; ALL] = Default::default();
    let mut free = base.free(s_free);
    if !s_free {
        notes[S] = Some(text!("wedge.open.speeds").into());
    }
    let unseen = solved.char.is_none() || model.char_seen(&solved.all) < CHAR_SEEN;
    if solved.char.is_some() {
        free.extend([CHARRED, CHAR, CHAR_RISE]);
        if unseen {
            notes[CHAR] =
                Some(text!("wedge.open.char.beyond", exposure = short(model.strongest(&solved.all), 1)));
            notes[CHAR_RISE] = Some(text!("wedge.open.char.partly").into());
        }
    } else {
        let why = text!("wedge.open.char.largest");
        for i in [CHARRED, CHAR, CHAR_RISE] {
            notes[i] = Some(why.into());
        }
    }
    // Look and steepness of char count as measured where the patches know them better by far than was known before.
    let limits = [0.25, 0.25, 0.6, 0.15, 0.5 * CHARRED_SPREAD, 0.25, 0.5 * CHAR_RISE_SPREAD, 0.15, 0.15];
    let fills = base.exposures.fills();
    for (i, shown) in
        [(ALONG, fills.iter().any(|f| f.shows_along())), (ACROSS, fills.iter().any(|f| f.shows_across()))]
    {
        if !shown || !free.contains(&i) {
            notes[i] = Some(text!("wedge.open.no-lines").into());
        } else if solved.error[i].is_nan() || libm::hypot(solved.error[i], moved[i]) > limits[i] {
            notes[i] = Some(text!("wedge.open.lines").into());
        }
    }
    let defaults = [
        libm::log(expected.y_marked),
        libm::log(expected.x_half.0),
        libm::log(expected.rise),
        expected.schwarzschild,
    ];
    let full = libm::exp(solved.all[MARKED]);
    let contrast = (full - model.response(&solved.all).y_unmarked).abs().max(1e-6);
    let open = solved.all[MARKED] >= HIGH[MARKED] - 1e-3
        || solved.error[MARKED].is_nan()
        || solved.error[MARKED] * full / contrast > MARK_OPEN;
    for i in [CHARRED, CHAR_RISE, S, RISE, CHAR, MARKED, HALF] {
        let settled = solved.error[i] <= limits[i];
        let at_limit = solved.all[i] <= LOW[i] + 1e-3 || solved.all[i] >= HIGH[i] - 1e-3;
        let held = i == HALF && notes[MARKED].is_some() && open;
        if !free.contains(&i) || (settled && !at_limit && !held) {
            continue;
        }
        if notes[i].is_none() {
            notes[i] = Some(if open && [MARKED, HALF].contains(&i) {
                text!("wedge.open.full-mark").into()
            } else {
                text!("wedge.open.patches").into()
            });
        }
        // What the scale calls a full mark may be no full one: to take it for one would move the exposures unseen.
        if i == MARKED && open {
            continue;
        }
        let Some(&usual) = defaults.get(i) else { continue };
        free.retain(|&j| j != i);
        let fixed_at = |v: f64| {
            let mut start = solved.all;
            start[i] = v;
            model.solve(start, &free)
        };
        let (usual, own) = (fixed_at(usual), fixed_at(solved.all[i]));
        // A rise of the cost by 4 is two standard deviations.
        let allowed = own.as_ref().map_or(f64::INFINITY, |o| o.cost + 4.0);
        match (usual, own) {
            (Some(f), _) if f.cost <= allowed => solved = f,
            (_, Some(f)) => solved = f,
            _ => {}
        }
    }
    let mut out = report(&model, &solved, &notes, &moved, expected);
    out.chars = chars(&model, &solved, &free);
    let above = model.strongest(&solved.all);
    // Patches that are charred through do not show where char begins.
    let char_above = (unseen && out.curve.x_char > above).then_some(above);
    ResponseFit { likely, char_above, ..out }
}

/// How far values are moved by what patches are off by together, as fitted: the beam's two widths by what fine patterns of one
/// kind are, half exposure, rise and exponent by a camera's curve that goes unseen (`tones`: how much L* of each point grows under
/// one that is steeper by one). That is far where no patch reaches a full mark, which is then carried on from those below.
fn moved_together(model: &Model<'_>, solved: &Solved, tones: &[f64]) -> [f64; REPEATS.len()] {
    let mut moved = [0.0; REPEATS.len()];
    let Some(covariance) = &solved.covariance else { return moved };
    let slopes = model.slopes(&solved.all, &solved.free);
    let n = model.points.len();
    let fine = |p: &&Point| !model.is_solid(p);
    let mut kinds: Vec<usize> = model.points.iter().filter(fine).map(|p| p.fill).collect();
    kinds.sort_unstable();
    kinds.dedup();
    let step = |off: &dyn Fn(usize) -> f64| {
        covariance * slopes.transpose() * DVector::from_fn(n, |i, _| off(i) / square(model.errors[i]))
    };
    let by_kind = |kind: &usize| step(&|i| if model.points[i].fill == *kind { FINE } else { 0.0 });
    let of_fine: Vec<DVector<f64>> = kinds.iter().map(by_kind).collect();
    let bent = step(&|i| UNSEEN * tones.get(i).copied().unwrap_or(0.0));
    for (k, &i) in solved.free.iter().enumerate() {
        match i {
            ALONG | ACROSS => moved[i] = of_fine.iter().map(|s| square(s[k])).sum::<f64>().sqrt(),
            HALF | RISE | S => moved[i] = bent[k].abs(),
            _ => {}
        }
    }
    moved
}

/// The curve at each look that char may have, the other parameters fitted anew, with its share of the posterior
/// probability (profile likelihood with what is known beforehand).
fn chars(model: &Model<'_>, solved: &Solved, free: &[usize]) -> Vec<(f64, Response)> {
    const STEP: f64 = 0.15;
    if solved.char.is_none() {
        return Vec::new();
    }
    let others: Vec<usize> = free.iter().copied().filter(|&i| i != CHARRED).collect();
    let mut all = vec![(solved.cost, model.response(&solved.all))];
    for way in [-STEP, STEP] {
        let mut at = solved.all;
        // Three standard deviations of what is known beforehand: beyond, nothing is likely.
        for _ in 0..(3.0 * CHARRED_SPREAD / STEP) as usize {
            at[CHARRED] += way;
            let Some(next) = model.solve(at, &others) else { break };
            if next.cost > solved.cost + 12.0 {
                break;
            }
            at = next.all;
            all.push((next.cost, model.response(&at)));
        }
    }
    let least = all.iter().map(|a| a.0).fold(f64::INFINITY, f64::min);
    let weights: Vec<f64> = all.iter().map(|a| libm::exp(-0.5 * (a.0 - least))).collect();
    let sum: f64 = weights.iter().sum();
    all.into_iter().zip(weights).map(|((_, r), w)| (w / sum, r)).collect()
}

fn report(
    model: &Model<'_>,
    solved: &Solved,
    notes: &[Option<String>; ALL],
    moved: &[f64; REPEATS.len()],
    expected: &Expected,
) -> ResponseFit {
    let curve = model.response(&solved.all);
    let known = |i: usize, log: bool| match &notes[i] {
        Some(why) => Measurement::not(why.clone()),
        None => {
            let v = if log { libm::exp(solved.all[i]) } else { solved.all[i] };
            let shared = REPEATS.get(i).copied().unwrap_or(0.0).max(moved.get(i).copied().unwrap_or(0.0));
            let error = libm::hypot(solved.error[i], shared);
            Measurement::value(v, if log { v * error } else { error })
        }
    };
    let fitted = model.lightnesses(&solved.all);
    let beam = model.beam_of(&solved.all);
    // The pitch of the sheet that is read: its solids come first.
    let pitch = model.exposures.fills().first().map_or(1.0, |f| f.pitch[1]);
    let squares: f64 = fitted.iter().zip(model.points).map(|(f, p)| square(f - p.lightness)).sum();
    let or = |i: usize, fitted: f64, usual: f64| if notes[i].is_some() { usual } else { fitted };
    ResponseFit {
        y_marked: known(MARKED, true),
        y_char: known(CHARRED, true),
        x_half: known(HALF, true),
        rise: known(RISE, true),
        x_char: known(CHAR, true),
        char_above: None,
        char_rise: known(CHAR_RISE, true),
        schwarzschild: known(S, false),
        rms: (squares / model.points.len().max(1) as f64).sqrt(),
        patches: model.points.len(),
        fitted,
        ripple: ripple(beam[1] / pitch),
        beam,
        beam_along: known(ALONG, true),
        beam_across: known(ACROSS, true),
        chars: Vec::new(),
        likely: Vec::new(),
        light: vec![0.0; model.points.len()],
        veil: None,
        limited: None,
        toned: None,
        uneven: 0.0,
        flat_miss: None,
        strays: None,
        response: Response {
            y_unmarked: curve.y_unmarked,
            y_marked: or(MARKED, curve.y_marked, expected.y_marked),
            y_char: or(CHARRED, curve.y_char, expected.y_char),
            x_half: or(HALF, curve.x_half, expected.x_half.0),
            rise: or(RISE, curve.rise, expected.rise),
            // Without char to be seen, as much later than the mark as is usual.
            x_char: or(
                CHAR,
                curve.x_char,
                expected.x_char.0 * or(HALF, curve.x_half, expected.x_half.0) / expected.x_half.0,
            ),
            char_rise: or(CHAR_RISE, curve.char_rise, expected.char_rise),
            schwarzschild: or(S, curve.schwarzschild, expected.schwarzschild),
            v0: curve.v0,
        },
        curve,
    }
}
