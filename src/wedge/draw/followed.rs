//! Followed: what link, controller and switch cannot follow of a wedge's program, part by part, as a job's is asked.

use super::drawing::Drawing;
use super::parts::BurntPart;
use super::program::{limits_of, scan};
use crate::blank::Blank;
use crate::findings::{Finding, Remedy, Severity, link, motion};
use crate::progress::Silent;
use crate::scan::limits::Limits;
use crate::scan::lines::Marking;
use crate::scan::program::Program;
use crate::scan::raster::RasterPath;
use crate::texts::text;

/// What is to be said of a wedge's program.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Followed {
    /// One finding of a name, told of the part where it is worst; its remedies are those that no option of the wedge is.
    pub findings: Vec<Finding>,
    /// The parts of which something is said, and the speed at which nothing is; none where no speed was found.
    pub slower: Vec<(usize, Option<f64>)>,
    /// The same of the parts for which the wedge must not be burnt, and a speed at which it may be.
    pub stops: Vec<(usize, Option<f64>)>,
}

/// What is said of a part, and a speed at which it is no stop.
struct OfPart {
    part: usize,
    finding: Finding,
    sparing: Option<f64>,
}

/// Asks each part what `prepare` would say of it: what a wedge marks while the head stalls or slows measures nothing.
pub fn followed(drawing: &Drawing, limits: &Limits, blank: Blank) -> Followed {
    let limits = limits_of(drawing, limits);
    let parts = drawing.parts.iter().enumerate();
    let all: Vec<OfPart> = parts.flat_map(|(i, part)| of_part((i, part), &limits, blank)).collect();
    let mut followed = Followed::default();
    for name in ["link-starved", "short-sighted", "edge-dwell"] {
        let own: Vec<&OfPart> = all.iter().filter(|of| of.finding.name == name).collect();
        followed.findings.extend(worst(drawing, &own));
    }
    followed.slower = slowest(all.iter().map(|of| (of.part, speed(&of.finding))));
    let stops = all.iter().filter(|of| of.finding.severity == Severity::Stop);
    followed.stops = slowest(stops.map(|of| (of.part, of.sparing)));
    followed
}

/// The least speed of each part; none where it has none for one of its findings. Those of a part follow each other.
fn slowest(speeds: impl Iterator<Item = (usize, Option<f64>)>) -> Vec<(usize, Option<f64>)> {
    let mut all: Vec<(usize, Option<f64>)> = Vec::new();
    for (part, speed) in speeds {
        match all.last_mut().filter(|(last, _)| *last == part) {
            Some((_, least)) => *least = least.zip(speed).map(|(a, b)| a.min(b)),
            None => all.push((part, speed)),
        }
    }
    all
}

fn of_part((i, part): (usize, &BurntPart), limits: &Limits, blank: Blank) -> Vec<OfPart> {
    let marking = Marking::Dots(&part.dots);
    let Ok(path) = RasterPath::new(limits, scan(part), part.rect, blank) else { return Vec::new() };
    let path = path.ordered(marking);
    let Ok(cost) = Program::of_raster(path.clone(), marking, Vec::new()).measure(&Silent) else {
        return Vec::new();
    };
    let found = [
        motion::edge_dwell(&path, marking, &cost.estimate),
        link::starved(&path, marking, &cost.load),
        motion::short_sighted(&path, marking, &cost.estimate),
    ];
    let said = found.into_iter().flatten().filter(|f| f.severity > Severity::Note);
    said.map(|mut finding| {
        let starves = finding.name == "link-starved";
        // Finder marks and labels that burn more are still found and read: they measure no burn.
        if part.is_sign() && !starves {
            finding.severity = finding.severity.min(Severity::Caution);
        }
        let sparing = match finding.severity {
            Severity::Stop if starves => speed(&finding),
            Severity::Stop => motion::sparing_speed(&path, marking),
            _ => None,
        };
        OfPart { part: i, finding, sparing }
    })
    .collect()
}

/// The speed at which a finding was gone.
fn speed(finding: &Finding) -> Option<f64> {
    finding.remedies.iter().filter(|r| r.verified).find_map(Remedy::speed)
}

/// The finding of the part that has it worst, with how many have it.
fn worst(drawing: &Drawing, own: &[&OfPart]) -> Option<Finding> {
    let harm = |f: &Finding| f.harm.as_ref().map_or(0.0, |h| h.value);
    let pace = |i: usize| drawing.parts.get(i).map_or(0.0, |p| p.dial.speed.0);
    let worst = own.iter().max_by(|a, b| {
        let by_severity = a.finding.severity.cmp(&b.finding.severity);
        let by_harm = by_severity.then(harm(&a.finding).total_cmp(&harm(&b.finding)));
        by_harm.then(pace(a.part).total_cmp(&pace(b.part))).then(b.part.cmp(&a.part))
    })?;
    let worst = &worst.finding;
    let of = |sort: fn(&BurntPart) -> bool| {
        own.iter().filter(|of| drawing.parts.get(of.part).is_some_and(sort)).count()
    };
    let patches = match of(BurntPart::is_patch) {
        0 => None,
        1 => Some(text!("wedge.followed.patch").to_string()),
        n => Some(text!("wedge.followed.patches", n)),
    };
    let combs = match of(|p| !p.is_sign() && !p.is_patch()) {
        0 => None,
        1 => Some(text!("wedge.followed.comb").to_string()),
        n => Some(text!("wedge.followed.combs", n)),
    };
    let signs = (of(|p| p.is_sign()) > 0).then(|| text!("wedge.followed.signs").to_string());
    let places: Vec<String> = [patches, combs, signs].into_iter().flatten().collect();
    let places = text!("wedge.followed.places", places = places.join(", "));
    let message = worst.message.clone().and(" ").and(places);
    let elsewhere = worst.remedies.iter().filter(|r| ["link", "controller"].contains(&r.change));
    Some(Finding { message, remedies: elsewhere.cloned().collect(), ..worst.clone() })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::mark::Beam;
    use crate::mark::response::tests::POSTER_PAINT;
    use crate::placement::Grid;
    use crate::units::{Mm, MmPerS, Share, Watts};
    use crate::wedge::draw::{Request, draw};
    use crate::wedge::target::{Dial, WedgeKind};

    /// Two by two patches on a tag.
    fn wedge() -> (Drawing, Blank) {
        let request = Request {
            kind: WedgeKind::Exposure,
            blank: Blank { shape: "rect:60x40mm".parse().unwrap(), margin: Mm(1.0) },
            machine: "bench diode".into(),
            coating: "harbour white".into(),
            rated_power: Watts(5.0),
            beam: Beam { along: Mm(0.12), across: Mm(0.12) },
            beam_measured: false,
            grid: Grid { along: Mm(0.1), across: Mm(0.1) },
            powers: vec![Share(0.4), Share(0.8)],
            speeds: vec![MmPerS(8.0), MmPerS(24.0)],
            chosen: Dial { power: Share(0.9), speed: MmPerS(10.0), passes: 1 },
            marks_power: None,
            marks_speed: None,
            response: POSTER_PAINT,
            response_measured: false,
            screens: vec!["threshold".into()],
            coverages: vec![Share(0.5), Share(1.0)],
            combs: 3,
            patch: Mm(4.0),
        };
        (draw(&request).unwrap(), request.blank)
    }

    #[test]
    fn a_machine_that_follows_has_nothing_said_of_it() {
        let (drawing, blank) = wedge();
        assert_eq!(followed(&drawing, &Limits::default(), blank), Followed::default());
        let sees = Limits { plans_ahead: Some(15), ..Limits::default() };
        assert_eq!(followed(&drawing, &sees, blank), Followed::default());
    }

    #[test]
    fn a_slow_link_and_a_short_sight_are_told_with_the_speeds_that_they_follow() {
        let (drawing, blank) = wedge();
        let slow = Limits { link_bytes_per_s: Some(120.0), ..Limits::default() };
        let found = followed(&drawing, &slow, blank);
        let f = &found.findings[0];
        assert_eq!((f.name, f.severity), ("link-starved", Severity::Stop));
        assert!(
            f.message.contains("carries 120 bytes/s") && f.message.contains("of the wedge."),
            "{}",
            f.message
        );
        assert!(f.remedies.iter().all(|r| r.change == "link") && !f.remedies.is_empty(), "{f:?}");
        assert!(!found.slower.is_empty());
        for (i, speed) in &found.slower {
            assert!(speed.is_none_or(|v| v < drawing.parts[*i].dial.speed.0), "{speed:?}");
        }
        let at_rest = Limits { power_in_motion: false, ..Limits::default() };
        let found = followed(&drawing, &at_rest, blank);
        let f = found.findings.iter().find(|f| f.name == "edge-dwell").unwrap();
        assert_eq!(f.severity, Severity::Caution);
        assert!(
            f.message.contains("switches the beam at rest") && f.message.contains("patches"),
            "{}",
            f.message
        );
    }

    #[test]
    fn patches_that_get_too_much_are_a_stop_with_a_speed_that_spares_them() {
        let (drawing, blank) = wedge();
        let mut at_rest = Limits { power_in_motion: false, ..Limits::default() };
        (at_rest.x.acceleration, at_rest.y.acceleration) = (100.0, 100.0);
        let found = followed(&drawing, &at_rest, blank);
        let f = found.findings.iter().find(|f| f.name == "edge-dwell").unwrap();
        // Lines of 4 mm from rest to rest at 24 mm/s: v²/(aL), 1.44, times the dose beyond it.
        assert_eq!(f.severity, Severity::Stop);
        assert!(f.message.contains("All marks together would get 2.4 times their dose."), "{}", f.message);
        assert!(!found.stops.is_empty() && found.stops.len() < found.slower.len());
        for (i, speed) in &found.stops {
            // Half the dose beyond it: v² is aL/2, 200.
            let part = &drawing.parts[*i];
            assert!(part.is_patch() && speed.is_some_and(|v| (11.0..14.2).contains(&v)), "{speed:?}");
        }
    }
}
