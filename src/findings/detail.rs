//! Finding `detail-below-beam`: strokes that do not show and gaps that close, because the beam is wider.

use super::{Finding, Remedy, Severity, spot};
use crate::blank::Blank;
use crate::mark::exposure::fine;
use crate::mark::{Blurred, Burn, Lost};
use crate::placement::DotRect;
use crate::plane::Dots;
use crate::said::Said;
use crate::texts::text;
use crate::units::{Mm, short};

/// Lost detail under this area (mm²) in all is not worth a word.
const LEAST_MM2: f64 = 0.05;
/// Less of one sort is told as nought, and is left out.
const NOUGHT_MM2: f64 = 0.005;
/// Fine strokes that run together are looked for in places of half a square millimetre: a single one may be chance.
const LEAST_TOGETHER_MM2: f64 = 0.6;

/// The least detail a burn can make with these pitches, from forecasts of lines and gaps of whole dots.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Finest {
    /// Width of the mark (half rise) of the narrowest stroke that marks.
    pub stroke: Mm,
    /// Narrowest gap in a solid that stays open at half the rise in its middle, as drawn.
    pub gap: Mm,
}

/// Strokes and gaps of one dot and more, along and across the lines, the worse of the two directions;
/// `None` where no width up to 40 dots marks or stays open.
pub fn finest(burn: &Burn, rect: &DotRect) -> Option<Finest> {
    const OVER: usize = 8;
    const SIDE: usize = 96;
    const MIDDLE: usize = SIDE / 2;
    let marks = |upright: bool, width: usize, gap: bool| -> Vec<bool> {
        let mut dots = Dots::off(SIDE, SIDE);
        for i in 0..SIDE {
            for j in 0..SIDE {
                let inside = (MIDDLE..MIDDLE + width).contains(&j);
                let (x, y) = if upright { (j, i) } else { (i, j) };
                dots.set(x, y, inside != gap);
            }
        }
        let (columns, rows) =
            if upright { (0..SIDE, MIDDLE..MIDDLE + 1) } else { (MIDDLE..MIDDLE + 1, 0..SIDE) };
        let exposure = fine(&dots, burn, columns, rows, OVER);
        let rise = |e: f32| burn.response.rise_at(f64::from(e) * burn.x_solid) >= 0.5;
        (0..SIDE * OVER)
            .map(|i| if upright { exposure.row(0)[i] } else { exposure.row(i)[0] })
            .map(rise)
            .collect()
    };
    // The lines at the plane's edge are left out: they are not the stroke's or the gap's.
    let inner =
        |v: &[bool], want: bool| v[8 * OVER..(SIDE - 8) * OVER].iter().filter(|&&m| m == want).count();
    let mut finest = Finest { stroke: Mm(0.0), gap: Mm(0.0) };
    for (upright, pitch) in [(true, rect.grid.along.0), (false, rect.grid.across.0)] {
        let stroke = (1..=40).map(|w| inner(&marks(upright, w, false), true)).find(|&n| n > 0)?;
        let gap = (1..=40).find(|&w| inner(&marks(upright, w, true), false) > 0)?;
        finest.stroke = Mm(finest.stroke.0.max(stroke as f64 / OVER as f64 * pitch));
        finest.gap = Mm(finest.gap.0.max(gap as f64 * pitch));
    }
    Some(finest)
}

/// What the forecast found of a drawing's detail.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Detail {
    /// Strokes that will not show and gaps that will close.
    pub lost: Option<Lost>,
    /// Fine lettering and hatching that will run together.
    pub blurred: Option<Blurred>,
    /// Whether it was looked for in a photo, where it may be rigging or a lattice as well as lettering.
    pub of_photo: bool,
}

/// `detail-below-beam`: what the forecast under `burn` found to be lost of a drawing; a note only where it is part of a
/// photo.
pub fn detail_below_beam(detail: &Detail, burn: &Burn, rect: &DotRect, blank: &Blank) -> Option<Finding> {
    let cell = rect.grid.cell_mm2();
    let of_lost = |count: fn(&Lost) -> u64| detail.lost.as_ref().map_or(0.0, |l| count(l) as f64 * cell);
    let (strokes, gaps) = (of_lost(|l| l.strokes), of_lost(|l| l.gaps));
    let run_together = detail.blurred.map_or(0.0, |b| b.cells as f64 * cell);
    if strokes + gaps < LEAST_MM2 && run_together < LEAST_TOGETHER_MM2 {
        return None;
    }
    // The larger of the two is where to look first.
    let worst = match (detail.lost, detail.blurred) {
        (Some(lost), Some(blurred)) => {
            if run_together > strokes + gaps {
                blurred.worst
            } else {
                lost.worst
            }
        }
        (lost, blurred) => lost.map(|l| l.worst).or(blurred.map(|b| b.worst))?,
    };
    let at = rect.centre(blank, worst.0, worst.1);
    let area = short(run_together, 2);
    let together = if detail.of_photo {
        text!("findings.detail-below-beam.photo", area)
    } else {
        text!("findings.detail-below-beam.together", area)
    };
    let what = [
        (strokes, text!("findings.detail-below-beam.strokes", area = short(strokes, 2))),
        (gaps, text!("findings.detail-below-beam.gaps", area = short(gaps, 2))),
        (run_together, together),
    ]
    .into_iter()
    .filter(|(area, _)| *area >= NOUGHT_MM2)
    .map(|(_, text)| text)
    .collect::<Vec<_>>()
    .join(text!("findings.detail-below-beam.and"));
    let mut finding = Finding::new(
        "detail-below-beam",
        if detail.of_photo { Severity::Note } else { Severity::Caution },
        text!("findings.detail-below-beam", what, place = spot(at)),
    );
    finding.area_mm2 = Some(strokes + gaps + run_together);
    finding.at_mm = Some(at);
    if run_together > 0.0 {
        let (along, across) = burn.profiles();
        let beam = (along.diameter() * rect.grid.along.0).max(across.diameter() * rect.grid.across.0);
        let text = if detail.of_photo {
            Said::from(text!("findings.detail-below-beam.photo.larger"))
                .line(text!("findings.detail-below-beam.photo.larger.line"))
        } else {
            text!("findings.detail-below-beam.together.wider", width = at_least(Mm(beam))).into()
        };
        finding = finding.with(Remedy::new("gap", beam, "mm", text));
    }
    if let Some(finest) = finest(burn, rect).filter(|_| strokes + gaps > 0.0) {
        let remedy = |change, value: Mm, text: String| Remedy::new(change, value.0, "mm", text);
        if strokes >= NOUGHT_MM2 {
            let least = Mm(finest.stroke.0.max(rect.grid.along.0.max(rect.grid.across.0)));
            let text = text!("findings.detail-below-beam.strokes.wider", width = at_least(least));
            finding = finding.with(remedy("stroke", least, text));
        }
        if gaps >= NOUGHT_MM2 {
            let text = text!("findings.detail-below-beam.gaps.wider", width = at_least(finest.gap));
            finding = finding.with(remedy("gap", finest.gap, text));
        }
    }
    Some(finding)
}

/// A least length in hundredths of a millimetre as people draw, and never less than it is.
fn at_least(least: Mm) -> String {
    short((least.0 * 100.0 - 1e-6).ceil() / 100.0, 2)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::blank::Shape;
    use crate::mark::{Forecast, LineWork, Wish, walk};
    use crate::placement::Grid;
    use crate::plane::Tone;
    use crate::progress::Silent;
    use crate::screen::{Options, threshold};

    const BLANK: Blank =
        Blank { shape: Shape::Rect { width: Mm(20.0), height: Mm(20.0), radius: Mm(0.0) }, margin: Mm(0.0) };

    /// 200 x 200 dots of 0.1 mm: ink where `ink(x, y)` says how much.
    fn drawing(ink: impl Fn(usize, usize) -> f32) -> Tone {
        Tone::from_vec(200, 200, (0..40_000).map(|i| ink(i % 200, i / 200)).collect())
    }

    fn found(tone: &Tone, beam: f64) -> Option<Finding> {
        let grid = Grid { along: Mm(0.1), across: Mm(0.1) };
        let rect = DotRect { left: Mm(0.0), top: Mm(0.0), columns: 200, rows: 200, grid };
        let burn = Burn::plain(beam, beam);
        let dots = threshold::threshold(tone, &Options::new(burn, 0.1, 0.1), &Silent);
        let ink = LineWork::new(tone, |_| 0..200).with_hairlines(tone, |_| 0..200);
        let wish = Wish { blocks: (1, 1), ink: Some(&ink) };
        let lost = walk(&Forecast::new(&burn), &dots, wish, &Silent).unwrap().lost;
        detail_below_beam(&Detail { lost, ..Detail::default() }, &burn, &rect, &BLANK)
    }

    #[test]
    fn a_least_length_is_never_said_smaller_than_it_is() {
        let said = [0.1164, 0.12, 0.1312].map(|l| at_least(Mm(l)));
        assert_eq!(said, ["0.12", "0.12", "0.14"]);
    }

    #[test]
    fn strokes_and_gaps_wider_than_the_beam_are_fine() {
        let bars = drawing(|x, _| if x % 12 < 6 { 1.0 } else { 0.0 });
        assert_eq!(found(&bars, 1.5), None);
        // Soft edges of large shapes are no detail.
        let soft = drawing(|x, _| {
            if x < 99 {
                1.0
            } else if x == 99 {
                0.3
            } else {
                0.0
            }
        });
        assert_eq!(found(&soft, 1.5), None);
    }

    #[test]
    fn a_hairline_thinner_than_a_dot_is_found_where_it_lies() {
        let hairline = drawing(|x, y| if x == 50 && (20..180).contains(&y) { 0.3 } else { 0.0 });
        let finding = found(&hairline, 1.5).unwrap();
        assert_eq!(finding.name, "detail-below-beam");
        assert!((finding.area_mm2.unwrap() - 1.6).abs() < 1e-9 && finding.message.contains("strokes"));
        let (x, y) = finding.at_mm.unwrap();
        assert!((x - 5.05).abs() < 1e-9 && (2.0..18.0).contains(&y));
    }

    #[test]
    fn a_line_so_thin_that_it_is_faint_is_found_and_a_faint_tint_is_not() {
        let at = |columns: std::ops::Range<usize>| {
            drawing(move |x, y| if columns.contains(&x) && (20..180).contains(&y) { 0.11 } else { 0.0 })
        };
        let finding = found(&at(50..51), 1.5).unwrap();
        assert!(finding.message.contains("strokes"), "{}", finding.message);
        assert!((finding.area_mm2.unwrap() - 1.6).abs() < 1e-9, "{finding:?}");
        assert_eq!(found(&at(50..90), 1.5), None);
    }

    #[test]
    fn a_sort_of_which_nothing_is_lost_is_not_told_of() {
        let grid = Grid { along: Mm(0.04), across: Mm(0.08) };
        let rect = DotRect { left: Mm(0.0), top: Mm(0.0), columns: 500, rows: 250, grid };
        let lost = Some(Lost { strokes: 1, gaps: 400, worst: (5, 5) });
        let f =
            detail_below_beam(&Detail { lost, ..Detail::default() }, &Burn::plain(1.5, 1.5), &rect, &BLANK);
        let f = f.unwrap();
        assert!(f.message.starts_with("1.28 mm² of gaps will close: "), "{}", f.message);
        assert!(f.remedies.iter().all(|r| r.change != "stroke"), "{f:?}");
    }

    #[test]
    fn lettering_of_a_photo_is_set_anew_where_there_is_a_command_line() {
        let grid = Grid { along: Mm(0.1), across: Mm(0.1) };
        let rect = DotRect { left: Mm(0.0), top: Mm(0.0), columns: 200, rows: 200, grid };
        let blurred = Some(Blurred { cells: 400, worst: (5, 5) });
        let detail = Detail { lost: None, blurred, of_photo: true };
        let f = detail_below_beam(&detail, &Burn::plain(1.5, 1.5), &rect, &BLANK).unwrap();
        let page = "where it is to be read, make the whole piece larger";
        let text = &f.remedies[0].text;
        assert_eq!((text.to_string(), text.on_page()), (format!("{page}, or set it anew with --text"), page));
    }

    #[test]
    fn a_gap_of_one_dot_closes_under_a_wide_beam_only() {
        for upright in [true, false] {
            let gap = drawing(|x, y| if (if upright { x } else { y }) == 100 { 0.0 } else { 1.0 });
            assert_eq!(found(&gap, 1.2), None);
            let finding = found(&gap, 4.0).unwrap();
            assert!(finding.message.contains("gaps will close"), "{}", finding.message);
            assert!(finding.remedies.iter().any(|r| r.change == "gap" && r.value > 0.1));
        }
    }

    #[test]
    fn the_finest_detail_grows_with_the_beam() {
        let grid = Grid { along: Mm(0.1), across: Mm(0.1) };
        let rect = DotRect { left: Mm(0.0), top: Mm(0.0), columns: 200, rows: 200, grid };
        let of = |beam: f64| finest(&Burn::plain(beam, beam), &rect).unwrap();
        let (narrow, wide) = (of(1.5), of(4.0));
        assert!(narrow.gap == Mm(0.1) && wide.gap.0 > 0.15, "{narrow:?} {wide:?}");
        // By hand: one line under a beam of 1.5 pitches has its peak at 0.399/0.375 = 1.064 and is half
        // marked (0.5) out to 0.375 sqrt(2 ln 2.128) = 0.461 pitches: 0.092 mm wide.
        assert!(narrow.stroke.0 > 0.08 && narrow.stroke.0 < 0.13, "{narrow:?}");
    }
}
