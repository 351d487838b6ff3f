//! Steps: what to do at the bench, in order; only those that this coating and this surface need.

use super::report::StepFacts;
use crate::blank::Shape;
use crate::job::Plan;
use crate::job::coating::Work;
use crate::job::kit::Surface;
use crate::units::short;

/// A step.
pub fn step(title: &str, text: impl Into<String>) -> StepFacts {
    StepFacts { title: title.to_string(), text: text.into() }
}

/// The steps with a text.
fn needed(all: Vec<StepFacts>) -> impl Iterator<Item = StepFacts> {
    all.into_iter().filter(|s| !s.text.trim().is_empty())
}

/// From cleaning to a dry coat.
pub fn before(work: &Work, on: Surface) -> Vec<StepFacts> {
    let mut coat = work.apply.clone();
    if on == Surface::Glass && !coat.trim().is_empty() {
        coat += " Keep the other side clean: paint there casts a shadow.";
    }
    needed(vec![
        step("Clean", &work.clean),
        step("Mix", &work.mix),
        step("Coat", coat),
        step("Dry", &work.dry),
    ])
    .collect()
}

/// What to wear and to switch on.
pub fn protect() -> StepFacts {
    step(
        "Protect",
        "Put the eyewear on, close the enclosure, switch the extraction on, keep an extinguisher at hand.",
    )
}

/// From the marked to the finished piece.
pub fn after(work: &Work, on: Surface) -> Vec<StepFacts> {
    let mut finish = work.finish.trim().to_string();
    if on == Surface::Glass {
        finish = format!("{finish} Look at it before something dark.").trim().to_string();
    }
    needed(vec![step("Clean off", &work.wash_off), step("Finish", finish)]).collect()
}

/// How a round piece is laid; none for a flat one.
fn round(plan: &Plan, follow: &str) -> Option<String> {
    let mantle = plan.machine.turned?.mantle;
    let limits = plan.machine.limits();
    let (rotary, head) = (char::from(limits.x.letter), char::from(limits.y.letter));
    let foot = if head == 'X' { "to the left" } else { "towards you" };
    let tilt = if mantle.is_cone() {
        format!(
            ", and tilt the rotary by {}° so that the piece's highest line lies level",
            short(mantle.tilt(), 1)
        )
    } else {
        String::new()
    };
    Some(format!(
        "Set the piece in the rotary, its foot {foot}{tilt}. Turn it until the place for its seam lies under the head, and make that the zero of {rotary}. Run outline.nc and follow the {follow} around the art and along the seam: it must stay on the piece, {} mm inside its ends.",
        short(plan.blank.margin.0, 2)
    ))
}

/// All steps of a job.
pub fn of_job(plan: &Plan) -> Vec<StepFacts> {
    let work = &plan.coating.work;
    let p = &plan.process;
    let follow =
        if plan.machine.limits().pointer.is_some_and(|share| share > 0.0) { "pointer" } else { "head" };
    let margin = short(plan.blank.margin.0, 2);
    // A round blank has one circle walked; any other the art's box, and its own edge after it.
    let walk = match plan.blank.shape {
        Shape::Round { .. } => {
            format!(
                "along one circle: it must stay on the blank, {margin} mm inside its edge all the way round"
            )
        }
        _ => format!(
            "around the art, which must lie on the blank, {margin} mm or more inside its edge, and then along that edge"
        ),
    };
    let lay = round(plan, follow).unwrap_or_else(|| {
        let side = if plan.art.mirror { ", the coated side up" } else { "" };
        format!("Lay the blank in its jig{side}. Run outline.nc and follow the {follow} {walk}.")
    });
    let watts = p.power.value.0 * p.rated_power.value.0;
    let set = format!(
        "Set the power to {} % ({} W of {} W), the speed to {} mm/s ({} mm/min), {} pass{}. Focus on {}.",
        short(p.power.value.0 * 100.0, 1),
        short(watts, 2),
        short(p.rated_power.value.0, 2),
        short(p.speed.value.0, 2),
        short(p.speed.value.0 * 60.0, 1),
        p.passes.value,
        if p.passes.value == 1 { "" } else { "es" },
        match plan.machine.turned {
            Some(_) => "the highest line of the piece",
            None if work.apply.trim().is_empty() => "the surface of the blank",
            None => "the coating",
        }
    );
    let mut all = before(work, plan.surface);
    all.extend([
        step("Lay", lay),
        step("Set", set),
        protect(),
        step("Mark", "Run program.nc, and stay beside it until the head is back and the beam is off."),
    ]);
    all.extend(after(work, plan.surface));
    all
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::job::kit;

    fn titles(coating: &str, on: Surface) -> Vec<String> {
        let work = kit::coating(coating).unwrap().work;
        before(&work, on).into_iter().chain(after(&work, on)).map(|s| s.title).collect()
    }

    #[test]
    fn a_step_that_a_coating_does_not_need_is_left_out() {
        assert_eq!(titles("bare-slate", Surface::Slate), ["Clean", "Dry", "Clean off", "Finish"]);
        assert_eq!(titles("black-anodised-aluminium", Surface::Metal), ["Clean", "Clean off"]);
        let all = ["Clean", "Mix", "Coat", "Dry", "Clean off", "Finish"];
        assert_eq!(titles("poster-paint", Surface::Glass), all);
    }

    #[test]
    fn what_has_no_coat_is_focused_on_its_surface() {
        let set = |coating: &str| {
            let job = format!("coating = '{coating}'").parse().unwrap();
            let all = of_job(&Plan::of(&job).unwrap());
            all.into_iter().find(|s| s.title == "Set").unwrap().text
        };
        assert!(set("bare-slate").ends_with("Focus on the surface of the blank."));
        assert!(set("poster-paint").ends_with("Focus on the coating."));
    }

    #[test]
    fn the_walk_is_told_as_the_outline_goes() {
        let lay = |shape: &str| {
            let job = format!("blank.shape = '{shape}'\nblank.margin = '2.5mm'").parse().unwrap();
            let all = of_job(&Plan::of(&job).unwrap());
            all.into_iter().find(|s| s.title == "Lay").unwrap().text
        };
        assert!(lay("round:90mm").ends_with(
            "follow the head along one circle: it must stay on the blank, 2.5 mm inside its edge all the way round."
        ));
        assert!(lay("rect:90x60mm").ends_with("2.5 mm or more inside its edge, and then along that edge."));
    }

    #[test]
    fn what_belongs_to_glass_is_said_of_glass_alone() {
        for id in ["poster-paint", "blackboard-paint", "zinc-spray", "dry-film-moly"] {
            let work = kit::coating(id).unwrap().work;
            let said = |on| {
                let all = before(&work, on).into_iter().chain(after(&work, on));
                all.map(|s| s.text).collect::<Vec<_>>().join(" ")
            };
            assert!(said(Surface::Glass).contains("casts a shadow"), "{id}");
            for on in [Surface::Tile, Surface::Slate, Surface::Metal] {
                for word in ["glass", "shadow", "something dark"] {
                    assert!(!said(on).contains(word), "{id} on {on}: {word}");
                }
            }
        }
    }
}
