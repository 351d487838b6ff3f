//! Bare strips: what a photo that is large enough to fill its blank leaves bare where it lies. What of it is cut off there was
//! meant to be.

use super::again::Source;
use super::drawable::Drawable;
use super::left_out::Beyond;
use super::past_margin::told;
use super::shown::Shown;
use super::wanted::{laid_at, outlined};
use crate::art::Art;
use crate::blank::Blank;
use crate::findings::{Finding, Remedy, margin};
use crate::job::Plan;
use crate::job::settle::Of;
use crate::placement::{Offset, Outline, Place, Placement, Spot};
use crate::said::Said;
use crate::texts::text;
use crate::units::{Mm, short};

/// A narrower strip nobody sees; and a size that is short of the blank's by no more was only rounded.
const UNSEEN_MM: f64 = 0.2;
/// A corner of a picture that is nearer to that of its outline is not transparent.
const NEAR: f64 = 0.01;

/// Whether a picture is a photo that would fill its blank less the margin, if it lay in the middle, and lies there in part.
pub(super) fn fills(piece: &Drawable<'_>, art: &Art, (placement, beyond): (&Placement, &Beyond)) -> bool {
    beyond.photo
        && told(beyond).is_some()
        && covers(&piece.blank, placement)
        && outlined(piece, art).is_ok_and(|(outline, _)| is_whole(&outline))
}

fn covers(blank: &Blank, placement: &Placement) -> bool {
    blank.printable().filter(|_| blank.shape.turned().is_none()).is_some_and(|printable| {
        placement.wished_width.0 >= printable.width() - UNSEEN_MM
            && placement.wished_height.0 >= printable.height() - UNSEEN_MM
    })
}

/// Whether nothing of it is transparent up to its corners.
fn is_whole(outline: &Outline) -> bool {
    let near = |corner: (f64, f64)| {
        outline.hull.iter().any(|p| (p.0 - corner.0).abs().max((p.1 - corner.1).abs()) < NEAR)
    };
    [(0.0, 0.0), (1.0, 0.0), (1.0, 1.0), (0.0, 1.0)].into_iter().all(near)
}

/// The strips that are left bare of a blank less its margin: where, and how wide at most.
fn strips(blank: &Blank, placement: &Placement) -> Vec<(&'static str, Mm)> {
    let Some(printable) = blank.printable() else { return Vec::new() };
    let (right, down) = placement.middle(&blank.shape);
    let (width, height) = (printable.width(), printable.height());
    let x = (width - placement.wished_width.0) / 2.0;
    let y = (height - placement.wished_height.0) / 2.0;
    let all = [
        (text!("pipeline.bare-strip.top"), (y + down).min(height)),
        (text!("pipeline.bare-strip.bottom"), (y - down).min(height)),
        (text!("pipeline.bare-strip.left"), (x + right).min(width)),
        (text!("pipeline.bare-strip.right"), (x - right).min(width)),
    ];
    all.into_iter().filter(|(_, wide)| *wide >= UNSEEN_MM).map(|(side, wide)| (side, Mm(wide))).collect()
}

/// `bare-strip` of the first photo that fills its blank but for a strip.
pub(super) fn bare_strip(
    plan: &Plan,
    source: Source<'_>,
    each: &[Beyond],
    laid: &Placement,
) -> Option<Finding> {
    let piece = Drawable::of(plan);
    let found = |piece: &Drawable<'_>, art: &Art, (placement, beyond): (&Placement, &Beyond), of: Of| {
        let strips = strips(&piece.blank, placement);
        if strips.is_empty() || !fills(piece, art, (placement, beyond)) {
            return None;
        }
        let finding = margin::bare_strip(&strips)?;
        Some(remedies(piece, art, placement, of).into_iter().fold(finding, Finding::with))
    };
    match source {
        Source::Shown(Shown::Art(art)) => found(&piece, art, (laid, each.first()?), Of::Art),
        Source::Shown(Shown::Layers(layers)) => {
            let mut photos = plan.layers.iter().zip(layers).zip(each).filter(|(_, beyond)| beyond.photo);
            photos.find_map(|((settled, layer), beyond)| {
                let placement = layer.placed(plan, settled).ok()?;
                let piece = piece.of_layer(settled, layer.art.place);
                found(&piece, &layer.art.art, (&placement, beyond), settled.of)
            })
        }
        Source::Dots(_) => None,
    }
}

/// A place and a size at which it leaves nothing bare, each tried.
fn remedies(piece: &Drawable<'_>, art: &Art, now: &Placement, of: Of) -> Vec<Remedy> {
    let (Ok((outline, _)), Some(printable)) = (outlined(piece, art), piece.blank.printable()) else {
        return Vec::new();
    };
    let spot = piece.art.spot.unwrap_or_default();
    let whole = |place: Place, spot: Spot| {
        let laid = laid_at(piece, &outline, place, Some(spot));
        laid.is_ok_and(|p| covers(&piece.blank, &p) && strips(&piece.blank, &p).is_empty())
    };
    let mut all = Vec::new();
    let back = Spot { at: Offset::default(), ..spot };
    if whole(piece.art.place, back) {
        let at = back.at.to_string();
        let text = Said::from(text!("pipeline.bare-strip.back")).line(format!(": {}", of.typed("at", &at)));
        all.push(Remedy::new("at", 0.0, "mm", text).set(of.key("at"), at).verified(true));
    }
    let (right, down) = now.middle(&piece.blank.shape);
    let (width, height) = (now.wished_width.0, now.wished_height.0);
    let times = ((printable.width() + 2.0 * right.abs()) / width)
        .max((printable.height() + 2.0 * down.abs()) / height);
    // Up to whole tenths of a millimetre; of each side as much, lest the other be short.
    let up = |mm: f64| (mm * 10.0 - 1e-6).ceil() / 10.0;
    let (w, h) = (up(width * times), up(height * times));
    if whole(Place::Box { width: Mm(w), height: Mm(h) }, spot) {
        let size = format!("{}x{}mm", short(w, 1), short(h, 1));
        let width = short(w, 1);
        let text = match all.is_empty() {
            true => text!("pipeline.bare-strip.size", width),
            false => text!("pipeline.bare-strip.or-size", width),
        };
        let text = Said::from(text).line(format!(": {}", of.typed("place", &size)));
        all.push(Remedy::new("size", w, "mm", text).set(of.key("place"), size).verified(true));
    }
    all
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::art;
    use crate::pipeline;
    use crate::progress::Silent;

    /// What is found of a photo of 3 by 2 on a round blank.
    fn found(place: &str, art: &str) -> Vec<Finding> {
        let pixels = image::GrayImage::from_fn(240, 160, |x, y| {
            let wave = (f64::from(x) / 17.0).sin() + (f64::from(y) / 23.0).cos();
            image::Luma([(128.0 + 50.0 * wave) as u8])
        });
        let mut png = std::io::Cursor::new(Vec::new());
        pixels.write_to(&mut png, image::ImageFormat::Png).unwrap();
        let job = format!(
            "blank = {{ shape = 'round:34mm', margin = '2mm', place = '{place}' }}\nart = {{ read_as = 'photo'{art} }}\n\
             dots = {{ screen = 'bayer' }}\n"
        );
        let plan = Plan::of(&job.parse().unwrap()).unwrap();
        let art = art::open(png.get_ref(), "'view.png'").unwrap();
        pipeline::run(&plan, &art, "view.png", &Silent).unwrap().findings
    }

    fn named<'a>(all: &'a [Finding], name: &str) -> Option<&'a Finding> {
        all.iter().find(|f| f.name == name)
    }

    #[test]
    fn a_photo_that_fills_its_blank_is_told_of_the_strip_that_it_leaves_bare() {
        for place in ["45x30mm", "cover"] {
            let all = found(place, ", at = '0mm,4.7mm'");
            let f = named(&all, "bare-strip").unwrap();
            assert!(f.message.ends_with("up to 4.7 mm stay bare at the bottom"), "{f:?}");
            assert!(named(&all, "past-margin").is_none(), "{all:?}");
            let sets: Vec<_> = f.remedies.iter().map(|r| (r.sets[0].0.as_str(), r.verified)).collect();
            assert_eq!(sets, [("art.at", true), ("blank.place", true)]);
            let larger = &f.remedies[1].sets[0].1;
            assert!(named(&found(larger, ", at = '0mm,4.7mm'"), "bare-strip").is_none(), "{larger}");
        }
        // Along its longer side it has room; and in the middle what is cut off is what was asked for.
        for at in [", at = '5mm,0mm'", ""] {
            let all = found("45x30mm", at);
            assert!(named(&all, "bare-strip").is_none() && named(&all, "past-margin").is_none(), "{all:?}");
        }
        // Wholly past the margin it does not fill it either, and a smaller one nowhere.
        let all = found("45x30mm", ", at = '0mm,40mm'");
        assert!(named(&all, "past-margin").unwrap().message.contains("wholly"), "{all:?}");
        assert!(named(&all, "bare-strip").is_none(), "{all:?}");
        let all = found("36x24mm", ", at = '0mm,4.7mm'");
        assert!(named(&all, "bare-strip").is_none() && named(&all, "past-margin").is_some(), "{all:?}");
    }
}
