//! Past the margin: what reaches there, and how large it may be where it lies.

use super::again::Source;
use super::outcome::Stages;
use super::shown::Shown;
use super::wanted::{laid, outlined};
use crate::art::Art;
use crate::findings::{Finding, Remedy, art as of_art};
use crate::job::Plan;
use crate::placement::Place;
use crate::units::{Mm, short};

/// Less is less than any dot: art that was made to fit is not past the margin for how its size was rounded.
const NOTHING_MM: f64 = 0.005;
/// A size that is less than this share of the one asked for is no remedy.
const LEAST_SHARE: f64 = 0.25;
/// Halvings of what is between a size that fits and one that does not.
const TRIES: u32 = 12;

/// `past-margin` of what lies on the piece; `None` where it keeps within.
pub(super) fn past_margin(plan: &Plan, source: Source<'_>, stages: &Stages) -> Option<Finding> {
    let past = stages.placement.past_margin;
    if past.0 < NOTHING_MM {
        return None;
    }
    let (what, remedies) = match source {
        Source::Shown(Shown::Art(art)) => ("the art".to_string(), smaller(plan, art)),
        Source::Shown(Shown::Layers(layers)) => {
            let all = plan.layers.iter().zip(layers);
            let reaches =
                all.filter(|(s, _)| !s.is_border_within(plan.blank.margin)).filter_map(|(settled, layer)| {
                    Some((layer.placed(plan, settled).ok()?.past_margin.0, &layer.art.name))
                });
            let furthest = reaches.max_by(|a, b| a.0.total_cmp(&b.0));
            (
                furthest.map_or("a layer".into(), |f| f.1.clone()),
                vec![unsized_remedy("make it smaller, or lay it nearer to the middle")],
            )
        }
        Source::Dots(_) => {
            let text = "name a larger blank with --blank, or make the dots for a smaller piece";
            ("what the dots show".into(), vec![unsized_remedy(text)])
        }
    };
    let finding = of_art::past_margin(&what, past);
    Some(remedies.into_iter().fold(finding, Finding::with))
}

fn unsized_remedy(text: &str) -> Remedy {
    Remedy { change: "size and place", value: 0.0, unit: "", text: text.into(), verified: false }
}

/// Sizes at which the art keeps within the margin, each tried.
fn smaller(plan: &Plan, art: &Art) -> Vec<Remedy> {
    let moved = "lay it nearer to the middle of the blank, or make it smaller";
    let Ok((outline, _)) = outlined(plan, art) else { return vec![unsized_remedy(moved)] };
    let width_of = |place: Place| {
        let p = laid(plan, &outline, place).ok()?;
        (p.past_margin.0 < NOTHING_MM).then_some(p.wished_width.0)
    };
    let Ok(now) = laid(plan, &outline, plan.art.place) else { return vec![unsized_remedy(moved)] };
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
    let tried = |change: &'static str, value: f64, text: String| Remedy {
        change,
        value,
        unit: "mm",
        text,
        verified: true,
    };
    let sized = sized.map(|w| tried("size", w, format!("make it {} mm wide or smaller", short(w, 1))));
    let or = if sized.is_some() { "or " } else { "" };
    let inside =
        width_of(Place::Inside).filter(|w| *w >= LEAST_SHARE * width && plan.art.place != Place::Inside).map(
            |w| tried("place", w, format!("{or}use --place inside, which makes it {} mm wide", short(w, 1))),
        );
    let all: Vec<Remedy> = sized.into_iter().chain(inside).collect();
    if all.is_empty() { vec![unsized_remedy(moved)] } else { all }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::art;
    use crate::job::Job;
    use crate::pipeline;
    use crate::progress::Silent;

    const SQUARE: &[u8] =
        br#"<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 8 8"><rect width="8" height="8"/></svg>"#;

    fn found(blank: &str, more: &str) -> Option<Finding> {
        let job: Job =
            format!("blank = {{ shape = 'rect:30x20mm', margin = '2mm'{blank} }}\n{more}").parse().unwrap();
        let plan = Plan::of(&job).unwrap();
        let art = art::open(SQUARE, "'square.svg'").unwrap();
        let outcome = pipeline::run(&plan, &art, "square.svg", &Silent).unwrap();
        outcome.findings.into_iter().find(|f| f.name == "past-margin")
    }

    #[test]
    fn each_remedy_keeps_within_the_margin_when_it_is_followed() {
        let f = found(", place = '12x12mm'", "art = { at = '9mm,0mm' }").unwrap();
        assert!(f.message.starts_with("the art reaches"), "{f:?}");
        let sized = f.remedies.iter().find(|r| r.change == "size").unwrap();
        // 13 mm to the printable edge, 9 mm of them taken: 4 mm either side.
        assert!((sized.value - 8.0).abs() < 0.11 && sized.verified, "{sized:?}");
        let w = sized.value;
        assert_eq!(found(&format!(", place = '{w}x{w}mm'"), "art = { at = '9mm,0mm' }"), None);
        let inside = f.remedies.iter().find(|r| r.change == "place").unwrap();
        assert!(inside.verified, "{inside:?}");
        assert_eq!(found(", place = 'inside'", "art = { at = '9mm,0mm' }"), None);
    }

    #[test]
    fn art_that_hangs_off_the_blank_is_to_be_moved_not_to_be_shrunk_to_nothing() {
        let f = found(", place = '12x12mm'", "art = { at = '12.9mm,0mm' }").unwrap();
        assert!(f.remedies.iter().all(|r| !r.verified && r.text.contains("nearer to the middle")), "{f:?}");
    }
}
