//! Steps: what to do at the bench, in order; only those that this coating and this surface need.

use super::report::StepFacts;
use crate::blank::Shape;
use crate::job::Plan;
use crate::job::coating::Work;
use crate::job::kit::{Surface, spoken};
use crate::texts::text;
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
    let mut coat = spoken(&work.apply).to_string();
    if on == Surface::Glass && !coat.trim().is_empty() {
        coat = format!("{coat} {}", text!("proof.steps.clean-side"));
    }
    needed(vec![
        step(text!("proof.step.clean"), spoken(&work.clean)),
        step(text!("proof.step.mix"), spoken(&work.mix)),
        step(text!("proof.step.coat"), coat),
        step(text!("proof.step.dry"), spoken(&work.dry)),
    ])
    .collect()
}

/// What to wear and to switch on.
pub fn protect() -> StepFacts {
    step(text!("proof.step.protect"), text!("proof.steps.protect"))
}

/// From the marked to the finished piece.
pub fn after(work: &Work, on: Surface) -> Vec<StepFacts> {
    let mut finish = spoken(&work.finish).trim().to_string();
    if on == Surface::Glass {
        finish = format!("{finish} {}", text!("proof.steps.before-dark")).trim().to_string();
    }
    needed(vec![
        step(text!("proof.step.clean-off"), spoken(&work.wash_off)),
        step(text!("proof.step.finish"), finish),
    ])
    .collect()
}

/// `1 pass`, `3 passes`.
pub(crate) fn passes(count: u32) -> String {
    if count == 1 { text!("proof.passes.one", count) } else { text!("proof.passes.many", count) }
}

/// How a round piece is laid; none for a flat one.
fn round(plan: &Plan, follow: &str) -> Option<String> {
    let mantle = plan.machine.turned?.mantle;
    let limits = plan.machine.limits();
    let (rotary, head) = (char::from(limits.x.letter), char::from(limits.y.letter));
    let foot =
        if head == 'X' { text!("proof.steps.foot-left") } else { text!("proof.steps.foot-towards-you") };
    let margin = short(plan.blank.margin.0, 2);
    Some(match mantle.is_cone() {
        true => {
            let tilt = short(mantle.tilt(), 1);
            text!("proof.steps.lay.cone", foot, tilt, rotary, follow, margin)
        }
        false => text!("proof.steps.lay.cylinder", foot, rotary, follow, margin),
    })
}

/// How a flat blank is laid.
fn flat(plan: &Plan, follow: &str) -> String {
    let margin = short(plan.blank.margin.0, 2);
    // A round blank has one circle walked; any other the art's box, and its own edge after it.
    let walk = match plan.blank.shape {
        Shape::Round { .. } => text!("proof.steps.walk.round", margin),
        _ => text!("proof.steps.walk.box", margin),
    };
    match plan.art.mirror {
        true => text!("proof.steps.lay.mirrored", follow, walk),
        false => text!("proof.steps.lay.flat", follow, walk),
    }
}

/// All steps of a job.
pub fn of_job(plan: &Plan) -> Vec<StepFacts> {
    let work = &plan.coating.work;
    let p = &plan.process;
    let pointer = plan.machine.limits().pointer.is_some_and(|share| share > 0.0);
    let follow = if pointer { text!("proof.steps.pointer") } else { text!("proof.steps.head") };
    let lay = round(plan, follow).unwrap_or_else(|| flat(plan, follow));
    let watts = p.power.value.0 * p.rated_power.value.0;
    let focus = match plan.machine.turned {
        Some(_) => text!("proof.steps.focus.round"),
        None if work.apply.trim().is_empty() => text!("proof.steps.focus.bare"),
        None => text!("proof.steps.focus.coating"),
    };
    let set = text!(
        "proof.steps.set",
        power = short(p.power.value.0 * 100.0, 1),
        watts = short(watts, 2),
        rated = short(p.rated_power.value.0, 2),
        speed = short(p.speed.value.0, 2),
        speed_per_minute = short(p.speed.value.0 * 60.0, 1),
        passes = passes(p.passes.value),
        focus,
    );
    let mut all = before(work, plan.surface);
    all.extend([
        step(text!("proof.step.lay"), lay),
        step(text!("proof.step.set"), set),
        protect(),
        step(text!("proof.step.mark"), text!("proof.steps.mark")),
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
