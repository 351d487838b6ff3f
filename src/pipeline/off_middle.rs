//! Off the middle: art that an empty page around what is drawn keeps off to one side.

use super::AS_STATED;
use super::drawable::Drawable;
use super::read::crop_to;
use super::shown::Shown;
use super::wanted::{laid, outlined};
use crate::art::{Art, View};
use crate::findings::{Finding, art as of_art};
use crate::job::Plan;
use crate::job::settle::{Of, Shows};
use crate::job::words::Crop;
use crate::placement::{Offset, Outline, Place};

/// What lies off the middle by less than this share of its own longer side may be meant so, as a flag that blows out of a
/// ring (own judgement).
const SEEN: f64 = 0.1;

/// `off-middle` of the art, or of the one picture among layers: several may be drawn on one page each, to meet on the piece.
pub(super) fn off_middle(plan: &Plan, shown: Shown<'_>) -> Option<Finding> {
    let piece = Drawable::of(plan);
    match shown {
        Shown::Art(art) => of_picture(&piece, art, Of::Art),
        Shown::Layers(layers) => {
            let all = plan.layers.iter().zip(layers);
            let mut pictures = all.filter(|(settled, _)| matches!(settled.shows, Shows::File(_)));
            let (settled, layer) = pictures.next()?;
            if pictures.next().is_some() {
                return None;
            }
            of_picture(&piece.of_layer(settled, layer.art.place), &layer.art.art, settled.of)
        }
    }
}

/// The same of one picture. Where a crop or a place was asked for, or its page is made for the blank or the size, it lies as
/// it is meant to.
fn of_picture(piece: &Drawable<'_>, art: &Art, of: Of) -> Option<Finding> {
    let moved = piece.art.spot.is_some_and(|spot| spot.at != Offset::default());
    if piece.art.crop != Crop::WHOLE || piece.art.place == Place::Cover || moved {
        return None;
    }
    let (outline, view) = outlined(piece, art).ok()?;
    let now = laid(piece, &outline, piece.art.place).ok()?;
    let (width, height) = (now.wished_width.0, now.wished_height.0);
    if drawn_for(piece, art, &view, (width, height)) {
        return None;
    }
    let [left, top, right, bottom] = sides(&outline);
    let (across, down) = (right - left, bottom - top);
    let off = libm::hypot(((left + right) / 2.0 - 0.5) * width, ((top + bottom) / 2.0 - 0.5) * height);
    if off < SEEN * (across * width).max(down * height) || !(across > 0.0 && down > 0.0) {
        return None;
    }
    let alone = Outline {
        aspect: outline.aspect * across / down,
        hull: outline.hull.iter().map(|(x, y)| ((x - left) / across, (y - top) / down)).collect(),
    };
    let larger = laid(piece, &alone, piece.art.place).ok()?.wished_width.0 / (across * width);
    let drawn = crop_to([left, top, right, bottom], &view);
    Some(of_art::off_middle(off, larger, [drawn.left, drawn.top, drawn.right, drawn.bottom], of))
}

/// Whether the page, which becomes so large (mm), is of the blank's proportions, or of the very size that it states.
fn drawn_for(piece: &Drawable<'_>, art: &Art, view: &View, (width, height): (f64, f64)) -> bool {
    let near = |a: f64, b: f64| (a / b - 1.0).abs() <= AS_STATED;
    let stated = match art {
        Art::Vector(drawing) => drawing.stated_mm(),
        Art::Raster(_) => None,
    };
    let stated = stated.map(|(w, h)| if view.turn.swaps() { (h, w) } else { (w, h) });
    let blank = &piece.blank.shape;
    let for_blank = piece.art.place == Place::Inside && near(width / height, blank.width() / blank.height());
    for_blank || stated.is_some_and(|(w, h)| near(width, w) && near(height, h))
}

/// Left, upper, right and lower end of an outline.
fn sides(outline: &Outline) -> [f64; 4] {
    outline.hull.iter().fold([1.0, 1.0, 0.0, 0.0], |[l, t, r, b], &(x, y)| {
        [f64::min(l, x), f64::min(t, y), f64::max(r, x), f64::max(b, y)]
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::art;
    use crate::pipeline;

    /// A lighthouse's name at the upper left of an office page.
    const PAGE: &str = r#"<svg xmlns="http://www.w3.org/2000/svg" width="210mm" height="297mm" viewBox="0 0 210 297"><rect x="20" y="25" width="60" height="30"/></svg>"#;

    fn found_of(drawing: &str, job: &str) -> Option<Finding> {
        let plan = Plan::of(&job.parse().unwrap()).unwrap();
        let art = art::open(drawing.as_bytes(), "'drawing.svg'").unwrap();
        off_middle(&plan, Shown::Art(&art))
    }

    fn found(more: &str) -> Option<Finding> {
        found_of(PAGE, &format!("blank = {{ shape = 'round:90mm', margin = '2.5mm' }}\n{more}"))
    }

    #[test]
    fn a_name_at_one_side_of_its_page_is_told_with_the_crop_that_lays_it_in_the_middle() {
        let f = found("").unwrap();
        let crop = &f.remedies[0].sets[0].1;
        assert_eq!(f.remedies[0].sets[0].0, "art.crop");
        let is_drawn = |crop: &str| {
            let w = crop.parse::<Crop>().unwrap().window();
            let drawn = [20.0 / 210.0, 25.0 / 297.0, 80.0 / 210.0, 55.0 / 297.0];
            let found = [w.left, w.top, w.right, w.bottom];
            found.iter().zip(drawn).all(|(a, b)| (a - b).abs() < 0.003)
        };
        assert!(is_drawn(crop), "{crop}");
        assert!(f.message.contains("times as large"), "{}", f.message);
        assert_eq!(found(&format!("art = {{ crop = '{crop}' }}")), None);
        // Turned and mirrored, the same part of the page is drawn.
        let turned = found("art = { turn = 90, mirror = true }").unwrap();
        assert!(is_drawn(&turned.remedies[0].sets[0].1), "{turned:?}");
    }

    #[test]
    fn what_is_meant_to_lie_so_is_not_told() {
        assert_eq!(found("art = { at = '5mm,0mm' }"), None);
        assert_eq!(found_of(PAGE, "blank = { shape = 'rect:210x297mm' }"), None);
        assert_eq!(found_of(PAGE, "blank = { shape = 'rect:400x400mm', place = '210x297mm' }"), None);
        assert_eq!(found_of(PAGE, "blank = { shape = 'round:90mm', place = 'cover' }"), None);
        let boxed = found_of(PAGE, "blank = { shape = 'round:90mm', place = '40x40mm' }").unwrap();
        assert!(boxed.remedies[0].text.contains("--crop "), "{boxed:?}");
    }

    #[test]
    fn what_fills_its_page_or_lies_in_the_middle_of_it_is_not_told() {
        let drawing = |body: &str| {
            let svg =
                format!("<svg xmlns='http://www.w3.org/2000/svg' width='210' height='297'>{body}</svg>");
            found_of(&svg, "blank = { shape = 'round:90mm' }")
        };
        assert_eq!(
            drawing("<rect width='210' height='297' fill='white'/><rect width='30' height='30'/>"),
            None
        );
        assert_eq!(drawing("<rect x='75' y='133' width='60' height='30'/>"), None);
        assert_eq!(drawing("<circle cx='108' cy='146' r='80'/>"), None);
        assert!(drawing("<circle cx='108' cy='106' r='80'/>").is_some());
    }

    #[test]
    fn the_one_picture_among_layers_is_told_and_several_on_one_page_are_not() {
        let found = |more: &str| {
            let layer = "[[layer]]\nfile = 'name.svg'\nplace = '40x40mm'\n";
            let job = format!("blank = {{ shape = 'round:90mm' }}\n{layer}{more}");
            let plan = Plan::of(&job.parse().unwrap()).unwrap();
            let files = plan.layers.iter().filter(|l| matches!(l.shows, Shows::File(_))).count();
            let arts = (0..files)
                .map(|_| ("name.svg".to_string(), art::open(PAGE.as_bytes(), "'name.svg'").unwrap()));
            let layers = pipeline::layers(&plan, arts.collect(), &art::Opening::default(), None).unwrap();
            off_middle(&plan, Shown::Layers(&layers))
        };
        let f = found("[[layer]]\nborder = '0.5mm'\n").unwrap();
        assert_eq!(f.remedies[0].sets[0].0, "layer.0.crop");
        assert_eq!(found("[[layer]]\nfile = 'name.svg'\nplace = '40x40mm'\n"), None);
    }
}
