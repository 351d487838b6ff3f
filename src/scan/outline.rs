//! The outline: a small program that walks what shows where the blank must lie, to check its position before the
//! burn: the circle at the margin of a round blank; the art's box and the edge of any other.
//!
//! The beam stays off unless the machine file gives a pointer power that is safe to look at from the side.
//! A marking diode is class 4 (above 500 mW, IEC 60825-1; check value S01): hazardous to the eye by direct,
//! specular and diffuse reflection. Its work power is never used to point.

use super::comments::{comments, of_rotary, said};
use super::contour::Contour;
use super::limits::Limits;
use super::program::Program;
use super::toolpath::Toolpath;
use crate::blank::{Blank, Shape};
use crate::placement::DotRect;
use crate::texts::text;

/// Chords stay this close to a round edge, mm; rounding to whole µm takes its share of the 0.05 mm promised.
const CHORD_ERROR: f64 = 0.045;

/// Speed of the walk unless the machine is slower, mm/s: slow enough to follow by eye (common practice).
pub const WALK_SPEED: f64 = 50.0;

/// The outline of art that lies in `rect` on `blank`. On a round blank a box says nothing, for its corners may lie in the
/// air: there it is the circle at the margin, within which all dots lie. Else two contours, the art's box and the edge.
pub fn program(limits: &Limits, rect: &DotRect, blank: &Blank, job: &str) -> Program<'static> {
    let mut lines = Vec::new();
    comments(&format!("outline of job: {job}"), &mut lines);
    comments(&said::blank(blank), &mut lines);
    lines.extend(of_rotary(limits));
    let level = limits.pointer.map_or(0, |p| (p * f64::from(limits.full_scale_s)).round() as u32);
    if level > 0 {
        let share = crate::units::short(100.0 * f64::from(level) / f64::from(limits.full_scale_s), 3);
        comments(
            &format!(
                "pointer power: S {level} of {}, {share} %, as the machine file says",
                limits.full_scale_s
            ),
            &mut lines,
        );
        comments("caution: wear the eyewear for this beam and do not look at the spot", &mut lines);
    } else {
        comments("pointer power: off. Follow the head, not a beam.", &mut lines);
        comments(
            "A marking diode is class 4: above 500 mW, IEC 60825-1. It harms the eye even by reflection, so \
             the outline shows no beam unless the machine file has a pointer power that is known to be safe.",
            &mut lines,
        );
    }
    let walk = |points: &[(f64, f64)]| Contour::new(limits, points, level, WALK_SPEED);
    let parts = match (blank.shape, blank.printable()) {
        (Shape::Round { .. }, Some(within)) => {
            let circle: Vec<(f64, f64)> =
                edge(&within).iter().map(|p| (p.0 + blank.margin.0, p.1 + blank.margin.0)).collect();
            vec![Toolpath::contour("circle at the margin", walk(&circle))]
        }
        _ => vec![
            Toolpath::contour(
                "art",
                walk(&if level > 0 { lit_box(rect, blank) } else { art_box(rect, blank) }),
            ),
            Toolpath::contour("edge of the blank", walk(&edge(&blank.shape))),
        ],
    };
    Program::new(limits, lines, parts)
}

/// What [`program`] walks on a blank of that shape, for lists of files.
pub fn about(shape: &Shape) -> &'static str {
    match shape {
        Shape::Round { .. } => text!("scan.outline.round"),
        Shape::Rect { .. } => text!("scan.outline.box"),
        Shape::Cylinder { .. } | Shape::Cone { .. } => text!("scan.outline.turned"),
    }
}

/// The art's box, closed; mm from the blank's lower left corner.
fn art_box(rect: &DotRect, blank: &Blank) -> Vec<(f64, f64)> {
    let [low, high] = rect.sides(&blank.shape);
    let top = blank.shape.height() - rect.top.0;
    let bottom = top - rect.height();
    vec![(low.0, bottom), (low.1, bottom), (high.1, top), (high.0, top), (low.0, bottom)]
}

/// The art's box where the beam may show it: what of it lies on the blank.
fn lit_box(rect: &DotRect, blank: &Blank) -> Vec<(f64, f64)> {
    let all = art_box(rect, blank);
    let (w, h) = (blank.shape.width(), blank.shape.height());
    if all.iter().all(|p| blank.shape.contains(p.0 - w / 2.0, h / 2.0 - p.1)) {
        return all;
    }
    // The blank's edge, cut off along one side of the box after the other (Sutherland and Hodgman 1974);
    // both are convex.
    let mut left = edge(&blank.shape);
    for side in all.windows(2) {
        let (a, b) = (side[0], side[1]);
        let inside = |p: (f64, f64)| (b.0 - a.0) * (p.1 - a.1) - (b.1 - a.1) * (p.0 - a.0);
        let mut kept = Vec::with_capacity(left.len() + 2);
        for pair in left.windows(2) {
            let (p, q) = (pair[0], pair[1]);
            let (dp, dq) = (inside(p), inside(q));
            if dp >= 0.0 {
                kept.push(p);
            }
            if (dp >= 0.0) != (dq >= 0.0) {
                let f = dp / (dp - dq);
                kept.push((p.0 + f * (q.0 - p.0), p.1 + f * (q.1 - p.1)));
            }
        }
        kept.extend(kept.first().copied());
        left = kept;
    }
    left
}

/// The blank's edge as a closed line of chords; mm from the blank's lower left corner.
pub fn edge(shape: &Shape) -> Vec<(f64, f64)> {
    let (w, h) = (shape.width(), shape.height());
    let r = match *shape {
        Shape::Round { diameter } => diameter.0 / 2.0,
        Shape::Rect { radius, .. } => radius.0,
        Shape::Cylinder { .. } => 0.0,
        // Round its ends and up its seam, the line of which is a straight one whatever the girth.
        Shape::Cone { .. } => {
            let at =
                |down: f64| shape.span(down).map_or((w / 2.0, w / 2.0), |(l, r)| (w / 2.0 + l, w / 2.0 + r));
            let (foot, top) = (at(h / 2.0), at(-h / 2.0));
            return vec![(foot.0, 0.0), (foot.1, 0.0), (top.1, h), (top.0, h), (foot.0, 0.0)];
        }
    };
    // A chord over the angle t stays within r (1 − cos(t/2)) of its arc.
    let quarter = if r > 0.0 {
        let half = libm::acos(1.0 - (CHORD_ERROR / r).min(0.5));
        (std::f64::consts::FRAC_PI_2 / (2.0 * half)).ceil().max(1.0) as usize
    } else {
        0
    };
    let mut path = Vec::with_capacity(4 * quarter + 5);
    let centres = [(w - r, r), (w - r, h - r), (r, h - r), (r, r)];
    for (i, (cx, cy)) in centres.into_iter().enumerate() {
        for k in 0..=quarter {
            let turn = i as f64 - 1.0 + if quarter > 0 { k as f64 / quarter as f64 } else { 0.0 };
            let (sin, cos) = libm::sincos(turn * std::f64::consts::FRAC_PI_2);
            path.push((cx + r * cos, cy + r * sin));
        }
    }
    path.push(path[0]);
    path
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::placement::Grid;
    use crate::progress::Silent;
    use crate::scan::axis::Axis;
    use crate::scan::limits::BeamLag;
    use crate::scan::replay::{Ground, ReplayOptions, replay};
    use crate::units::Mm;

    fn outline(limits: &Limits, shape: &str) -> (String, Blank) {
        let blank = Blank { shape: shape.parse().unwrap(), margin: Mm(2.5) };
        let grid = Grid { along: Mm(0.1), across: Mm(0.1) };
        let rect = DotRect { left: Mm(10.0), top: Mm(20.0), columns: 300, rows: 200, grid };
        let mut out = Vec::new();
        let program = program(limits, &rect, &blank, "Lighthouse (large)");
        let cost = program.write(&mut out, &Silent).unwrap();
        assert_eq!(cost.bytes, out.len() as u64);
        (String::from_utf8(out).unwrap(), blank)
    }

    #[test]
    fn it_walks_as_many_ways_as_it_is_said_to() {
        for (shape, walks, said) in [
            ("round:90mm", 1, "one circle"),
            ("rect:90x60mm", 2, "box and the blank's edge"),
            ("cylinder:73x100mm", 2, "seam"),
        ] {
            let blank = Blank { shape: shape.parse().unwrap(), margin: Mm(2.5) };
            let grid = Grid { along: Mm(0.1), across: Mm(0.1) };
            let rect = DotRect { left: Mm(10.0), top: Mm(20.0), columns: 300, rows: 200, grid };
            assert_eq!(
                program(&Limits::default(), &rect, &blank, "Lighthouse").parts.len(),
                walks,
                "{shape}"
            );
            assert!(about(&blank.shape).contains(said), "{shape}");
        }
    }

    #[test]
    fn the_beam_stays_off_unless_the_machine_has_a_pointer_power() {
        // check value S01 (laser-class summaries of IEC 60825-1): above 500 mW is class 4.
        let limits = Limits::default();
        let (text, _) = outline(&limits, "round:90mm");
        assert!(text.contains("500 mW") && text.contains("class 4"));
        assert!(!text.contains("M3") && !text.contains("M4"));
        let r = replay(text.as_bytes(), &ReplayOptions::new(&limits)).unwrap().report;
        assert_eq!((r.burning_mm, r.power_left_on, r.not_in_standard_count), (0.0, false, 0));
        let low = Limits { pointer: Some(0.001), ..Limits::default() };
        let (text, _) = outline(&low, "round:90mm");
        let r = replay(text.as_bytes(), &ReplayOptions::new(&low)).unwrap().report;
        assert_eq!((r.highest_s, r.beam_on_in_rapid.count, r.power_left_on), (1.0, 0, false));
        // Once round the circle 2.5 mm inside the edge, and nowhere else.
        assert!((r.burning_mm - std::f64::consts::PI * 85.0).abs() < 0.5, "{}", r.burning_mm);
        assert_eq!(r.beam_on_outside_blank.count, 0);
    }

    #[test]
    fn a_pointer_shows_of_the_arts_box_what_lies_on_the_blank() {
        // A late beam moves no contour: it stays on until the head rests.
        let limits = Limits { pointer: Some(0.004), lag: BeamLag::Seconds(0.0025), ..Limits::default() };
        for (shape, columns, rows, left, top) in [
            ("rect:40x40mm:r19mm", 360, 360, 2.0, 2.0),
            ("rect:40x40mm:r19mm", 400, 100, 0.0, 15.0),
            ("rect:40x30mm:r10mm", 400, 300, 0.0, 0.0),
            ("rect:40x30mm", 500, 100, -5.0, 10.0),
        ] {
            let blank = Blank { shape: shape.parse().unwrap(), margin: Mm(0.0) };
            let grid = Grid { along: Mm(0.1), across: Mm(0.1) };
            let rect = DotRect { left: Mm(left), top: Mm(top), columns, rows, grid };
            let mut out = Vec::new();
            let program = program(&limits, &rect, &blank, "x");
            program.write(&mut out, &Silent).unwrap();
            let options =
                ReplayOptions { ground: Some(Ground { rect, blank }), ..ReplayOptions::of(&program) };
            let r = replay(&out[..], &options).unwrap().report;
            assert_eq!(r.beam_on_outside_blank.count, 0, "{shape} {columns}");
            let r = replay(&out[..], &ReplayOptions::new(&limits)).unwrap().report;
            assert_eq!(r.beam_on_outside_blank.count, 0, "{shape} {columns}");
            let edge: f64 =
                edge(&blank.shape).windows(2).map(|p| (p[0].0 - p[1].0).hypot(p[0].1 - p[1].1)).sum();
            assert!(r.burning_mm > edge + 40.0, "{shape} {columns}: {}", r.burning_mm);
        }
    }

    #[test]
    fn the_box_of_art_on_a_cone_runs_straight_up_it_where_the_marks_end() {
        let shape: Shape = "cone:60x78x120mm".parse().unwrap();
        let blank = Blank { shape, margin: Mm(2.5) };
        let round = Axis {
            turns: shape.turned(),
            units_per_mm: 360.0 / (78.0 * std::f64::consts::PI),
            ..Axis::new(b'A')
        };
        let grid = Grid { along: Mm(0.04375), across: Mm(0.0875) };
        // Where the replays of two programs found marks, of art that covers the piece and of one 60 x 40 mm; and art that
        // closes at the seam.
        for (left, top, columns, rows, marks) in [
            (3.8284, 2.506, 5426, 1318, (4.53, 355.66)),
            (91.1971, 40.1748, 1432, 457, (130.13, 229.95)),
            (0.0, 2.506, 5601, 1318, (0.0, 360.0)),
        ] {
            let rect = DotRect { left: Mm(left), top: Mm(top), columns, rows, grid };
            for pointer in [None, Some(0.001)] {
                let limits = Limits { x: round, y: Axis::new(b'X'), pointer, ..Limits::default() };
                let mut out = Vec::new();
                program(&limits, &rect, &blank, "x").write(&mut out, &Silent).unwrap();
                let text = String::from_utf8(out).unwrap();
                let art = text.split("(art)").nth(1).unwrap().split("(edge").next().unwrap();
                let turn = |line: &str| {
                    let word = line.split_once('A')?.1;
                    word.split(|c: char| c.is_ascii_uppercase()).next()?.parse::<f64>().ok()
                };
                let mut turns: Vec<f64> = art.lines().filter_map(turn).collect();
                turns.sort_by(f64::total_cmp);
                turns.dedup_by(|next, last| *next - *last < 0.01);
                assert_eq!(turns.len(), 2, "{left}: {turns:?}");
                let off = (turns[0] - marks.0).abs().max((turns[1] - marks.1).abs());
                assert!(off < 0.5, "{left}: {turns:?}");
            }
        }
    }

    #[test]
    fn chords_stay_within_0_05_mm_of_the_edge() {
        for text in ["round:90mm", "round:2mm", "rect:100x100mm:r8mm", "rect:30x20mm:r10mm", "rect:100x60mm"]
        {
            let shape: Shape = text.parse().unwrap();
            let path = edge(&shape);
            assert_eq!(path.first(), path.last());
            let (inner, outer) = (shape.inset(0.0505), shape.inset(-0.001).unwrap());
            for pair in path.windows(2) {
                for k in 0..=8 {
                    let f = f64::from(k) / 8.0;
                    let x = pair[0].0 + f * (pair[1].0 - pair[0].0) - shape.width() / 2.0;
                    let y = pair[0].1 + f * (pair[1].1 - pair[0].1) - shape.height() / 2.0;
                    assert!(outer.contains(x, y) && !inner.unwrap().contains(x, y), "{text}: {x} {y}");
                }
            }
        }
    }
}
