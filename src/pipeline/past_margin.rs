//! Past the margin: what reaches there, and where or how large it would not.

use super::again::Source;
use super::bare_strip::fills;
use super::drawable::Drawable;
use super::layers::Layer;
use super::left_out::Beyond;
use super::outcome::Stages;
use super::shown::Shown;
use super::wanted::{laid, laid_at, outlined};
use crate::art::Art;
use crate::findings::{Finding, Remedy, art as of_art, margin};
use crate::job::Plan;
use crate::job::settle::Of;
use crate::placement::{Offset, Outline, Place, Placement};
use crate::said::Said;
use crate::texts::text;
use crate::units::{Mm, short};

/// Less is less than any dot: art that was made to fit is not past the margin for how its size was rounded.
const NOTHING_MM: f64 = 0.005;
/// A size that is less than this share of the one asked for is no remedy.
const LEAST_SHARE: f64 = 0.25;
/// Halvings of what is between a size or a place that fits and one that does not.
const TRIES: u32 = 12;
/// Of what has lost such a share of its ink, nothing is left.
const ALL: f64 = 0.995;

/// `past-margin` of all on the piece of which ink is left out there, by name; `None` where all keeps within. What only has empty
/// corners past the margin loses nothing, and a photo that fills its blank is meant to be cut.
pub(super) fn past_margin(plan: &Plan, source: Source<'_>, stages: &Stages) -> Option<Finding> {
    let each = &stages.left_out.each;
    let (told, remedies) = match source {
        Source::Shown(Shown::Art(art)) => {
            let (piece, placement) = (Drawable::of(plan), &stages.placement);
            let beyond = each.first().filter(|b| reaches(b, placement))?;
            if fills(&piece, art, (placement, beyond)) {
                return None;
            }
            (vec![(text!("pipeline.past-margin.art").to_string(), told(beyond))], remedies(&piece, art))
        }
        Source::Shown(Shown::Layers(layers)) => {
            let all = plan.layers.iter().zip(layers).zip(each);
            let all = all.filter(|((settled, _), _)| !settled.is_border_within(plan.blank.margin));
            let past = all.filter_map(|((settled, layer), beyond)| {
                let placement = layer.placed(plan, settled).ok()?;
                let of_plan = Drawable::of(plan);
                let piece = of_plan.of_layer(settled, layer.art.place);
                let meant = || fills(&piece, &layer.art.art, (&placement, beyond));
                (reaches(beyond, &placement) && !meant()).then(|| {
                    let remedy = nearer_layer(&piece, layer, settled.of);
                    ((layer.art.name.clone(), told(beyond)), remedy)
                })
            });
            past.unzip()
        }
        Source::Dots(_) => {
            let past = stages.placement.past_margin;
            let text = Said::from(text!("pipeline.past-margin.larger-blank"))
                .line(text!("pipeline.past-margin.larger-blank.option"))
                .and(text!("pipeline.past-margin.smaller-piece"));
            let told =
                (past.0 >= NOTHING_MM).then(|| (text!("pipeline.past-margin.dots").to_string(), Some(past)));
            (told.into_iter().collect(), vec![unsized_remedy(text)])
        }
    };
    let finding = margin::past_margin(&told)?;
    Some(remedies.into_iter().fold(finding, Finding::with))
}

fn reaches(beyond: &Beyond, placement: &Placement) -> bool {
    placement.past_margin.0 >= NOTHING_MM && beyond.past.0 >= NOTHING_MM
}

/// How far it reaches past the margin; `None`: all of it lies there.
pub(super) fn told(beyond: &Beyond) -> Option<Mm> {
    (beyond.share < ALL).then_some(beyond.past)
}

fn unsized_remedy(text: impl Into<Said>) -> Remedy {
    Remedy::new("size and place", 0.0, "", text)
}

/// Places and sizes at which the art keeps within the margin, each tried.
fn remedies(piece: &Drawable<'_>, art: &Art) -> Vec<Remedy> {
    let moved = text!("pipeline.past-margin.move-or-smaller");
    let Ok((outline, _)) = outlined(piece, art) else { return vec![unsized_remedy(moved)] };
    let width_of = |place: Place| {
        let p = laid(piece, &outline, place).ok()?;
        (p.past_margin.0 < NOTHING_MM).then_some(p.wished_width.0)
    };
    let Ok(now) = laid(piece, &outline, piece.art.place) else { return vec![unsized_remedy(moved)] };
    let (width, height) = (now.wished_width.0, now.wished_height.0);
    let at = |share: f64| Place::Box { width: Mm(width * share), height: Mm(height * share) };
    let (mut fits, mut reaches) = (None, 1.0);
    let mut share = LEAST_SHARE;
    for _ in 0..TRIES {
        match width_of(at(share)) {
            Some(_) => fits = Some(share),
            None => reaches = share,
        }
        let Some(fits) = fits else { break };
        share = 0.5 * (fits + reaches);
    }
    // Down to tenths of a millimetre, as it is said; tried once more so.
    let sized =
        fits.map(|share| (width * share * 10.0).floor() / 10.0).filter(|w| width_of(at(w / width)).is_some());
    // What fits elsewhere may be larger than what was asked for, which is no remedy.
    let inside = width_of(Place::Inside)
        .filter(|w| (LEAST_SHARE * width..=width).contains(w) && piece.art.place != Place::Inside);
    let mut all: Vec<Remedy> = Vec::new();
    let mut add = |remedy: Remedy| {
        let or = if all.is_empty() { "" } else { text!("pipeline.past-margin.or") };
        all.push(Remedy { text: Said::from(or).and(remedy.text), verified: true, ..remedy });
    };
    if let Some((at, by)) = nearer(piece, &outline, &now) {
        let text = Said::from(text!("pipeline.past-margin.move-by", distance = short(by, 1)))
            .line(text!("pipeline.past-margin.move-by.option", at));
        add(Remedy::new("at", by, "mm", text).set(Of::Art.key("at"), at.to_string()));
    }
    if let Some(w) = sized {
        let text = text!("pipeline.past-margin.size", width = short(w, 1));
        add(of_art::sized(w, text, height / width, Of::Art));
    }
    if let Some(w) = inside {
        let text =
            Said::two(text!("pipeline.past-margin.inside.option"), text!("pipeline.past-margin.inside"))
                .and(text!("pipeline.past-margin.inside.width", width = short(w, 1)));
        add(Remedy::new("place", w, "mm", text).set(Of::Art.key("place"), "inside"));
    }
    if all.is_empty() { vec![unsized_remedy(moved)] } else { all }
}

/// Where a layer keeps within the margin. Whether it then meets another is not tried.
fn nearer_layer(piece: &Drawable<'_>, layer: &Layer, of: Of) -> Remedy {
    let name = &layer.art.name;
    let found = outlined(piece, &layer.art.art).ok().and_then(|(outline, _)| {
        let now = laid(piece, &outline, piece.art.place).ok()?;
        nearer(piece, &outline, &now)
    });
    let text = match found {
        Some((at, _)) => Said::from(text!("pipeline.past-margin.move-layer", name))
            .line(format!(" ({})", of.typed("at", &at.to_string())))
            .and(text!("pipeline.past-margin.move-layer.or-smaller")),
        None => text!("pipeline.past-margin.smaller-layer", name).into(),
    };
    unsized_remedy(text)
}

/// The least way towards the middle, as an offset and its length, after which art of a size of its own keeps within the margin;
/// `None` where it is too large for any place.
fn nearer(piece: &Drawable<'_>, outline: &Outline, now: &Placement) -> Option<(Offset, f64)> {
    if !matches!(piece.art.place, Place::Box { .. }) {
        return None;
    }
    let spot = piece.art.spot.unwrap_or_default();
    let (right, down) = now.middle(&piece.blank.shape);
    // Whole tenths of a millimetre.
    let tenths = |mm: f64| (mm.abs() * 10.0 - 1e-6).ceil().max(0.0) / 10.0 * mm.signum();
    let exact = |mm: f64| (mm * 1000.0).round() / 1000.0;
    let moved = |(dx, dy): (f64, f64)| {
        let mut spot = spot;
        spot.at.right = Mm(exact(spot.at.right.0 + tenths(dx)));
        spot.at.up = Mm(exact(spot.at.up.0 + tenths(dy)));
        let p = laid_at(piece, outline, piece.art.place, Some(spot)).ok()?;
        (p.past_margin.0 < NOTHING_MM).then_some((spot.at, libm::hypot(tenths(dx), tenths(dy))))
    };
    let ways = [(-right, 0.0), (0.0, down), (-right, down)];
    let found = ways.into_iter().filter(|(dx, dy)| dx.abs().max(dy.abs()) > 0.05).filter_map(|(dx, dy)| {
        let (mut least, mut too_little) = (moved((dx, dy))?, 0.0);
        let mut share = 0.5;
        let mut fits = 1.0;
        for _ in 0..TRIES {
            match moved((dx * share, dy * share)) {
                Some(at) => (least, fits) = (at, share),
                None => too_little = share,
            }
            share = 0.5 * (fits + too_little);
        }
        Some(least)
    });
    found.min_by(|a, b| a.1.total_cmp(&b.1))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::art;
    use crate::pipeline;
    use crate::progress::Silent;

    const SQUARE: &[u8] =
        br#"<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 8 8"><rect width="8" height="8"/></svg>"#;
    /// A disc on a white page: its corners are empty, but not transparent.
    const DISC: &[u8] = br#"<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 8 8"><rect width="8" height="8" fill="white"/><circle cx="4" cy="4" r="3.9"/></svg>"#;

    fn found_of(drawing: &[u8], job: &str) -> Option<Finding> {
        let plan = Plan::of(&job.parse().unwrap()).unwrap();
        let art = art::open(drawing, "'drawing.svg'").unwrap();
        let outcome = pipeline::run(&plan, &art, "drawing.svg", &Silent).unwrap();
        outcome.findings.into_iter().find(|f| f.name == "past-margin")
    }

    fn found(blank: &str, more: &str) -> Option<Finding> {
        found_of(SQUARE, &format!("blank = {{ shape = 'rect:30x20mm', margin = '2mm'{blank} }}\n{more}"))
    }

    #[test]
    fn each_remedy_keeps_within_the_margin_when_it_is_followed() {
        let f = found(", place = '12x12mm'", "art = { at = '9mm,0mm' }").unwrap();
        assert!(f.message.starts_with("the art reaches 2"), "{f:?}");
        let sized = f.remedies.iter().find(|r| r.change == "size").unwrap();
        // 13 mm to the printable edge, 9 mm of them taken: 4 mm either side.
        assert!((sized.value - 8.0).abs() < 0.11 && sized.verified, "{sized:?}");
        let w = sized.value;
        assert_eq!(found(&format!(", place = '{w}x{w}mm'"), "art = { at = '9mm,0mm' }"), None);
        let moved = f.remedies.iter().find(|r| r.change == "at").unwrap();
        let at = moved.text.split_once("--at ").unwrap().1;
        assert_eq!(moved.sets, [("art.at".to_string(), at.to_string())]);
        assert!(at == "7mm,0mm" && moved.verified, "{moved:?}");
        assert_eq!(found(", place = '12x12mm'", &format!("art = {{ at = '{at}' }}")), None);
    }

    #[test]
    fn art_that_hangs_off_the_blank_is_to_be_moved_not_to_be_shrunk_to_nothing() {
        let f = found(", place = '12x12mm'", "art = { at = '12.9mm,0mm' }").unwrap();
        let texts: Vec<&str> = f.remedies.iter().map(|r| &*r.text).collect();
        assert_eq!(texts, ["move it 5.9 mm nearer to the middle, with --at 7mm,0mm"]);
        assert_eq!(f.remedies[0].text.on_page(), "move it 5.9 mm nearer to the middle");
        let all = found(", place = '12x12mm'", "art = { at = '40mm,0mm' }").unwrap();
        assert!(all.message.starts_with("the art lies wholly past the margin"), "{all:?}");
    }

    #[test]
    fn every_layer_past_the_margin_is_named() {
        let job = "blank = { shape = 'rect:30x20mm', margin = '2mm' }\n[[layer]]\ntext = 'Anna'\nplace = '12x6mm'\nat = '9mm,0mm'\n\
                   [[layer]]\ntext = 'Bo'\nplace = '10x6mm'\nat = '0mm,40mm'\n[[layer]]\ntext = 'Cy'\nplace = '8x4mm'\n";
        let plan = Plan::of(&job.parse().unwrap()).unwrap();
        let arts = pipeline::layers(&plan, Vec::new(), &art::Opening::default(), None).unwrap();
        let outcome = pipeline::run_shown(&plan, Shown::Layers(&arts), "it", &Silent).unwrap();
        let found: Vec<_> = outcome.findings.iter().filter(|f| f.name == "past-margin").collect();
        let [one] = found.as_slice() else { panic!("{found:?}") };
        assert!(
            one.message.starts_with(
                "'Bo' lies wholly past the margin of the blank: nothing of it is marked; 'Anna' reaches "
            ),
            "{one:?}"
        );
        assert!(!one.message.contains("'Cy'"), "{one:?}");
        let texts: Vec<&str> = one.remedies.iter().map(|r| &*r.text).collect();
        assert!(texts[0].starts_with("move 'Anna' nearer to the middle (at = '"), "{texts:?}");
        assert_eq!(one.remedies[0].text.on_page(), "move 'Anna' nearer to the middle, or make it smaller");
        assert_eq!(texts.len(), 2);
    }

    #[test]
    fn empty_corners_past_the_margin_are_nothing_lost_and_nothing_larger_is_offered() {
        let job = |at: &str| {
            format!(
                "blank = {{ shape = 'round:90mm', margin = '2.5mm', place = '25x25mm' }}\nart = {{ anchor = 'bottom'{at} }}"
            )
        };
        assert_eq!(found_of(DISC, &job("")), None);
        let f = found_of(SQUARE, &job("")).unwrap();
        assert!(f.remedies.iter().any(|r| r.change == "at" && r.verified), "{f:?}");
        assert!(f.remedies.iter().all(|r| r.change == "at" || r.value <= 25.0), "{f:?}");
    }
}
