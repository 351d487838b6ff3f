//! Objections: what `prepare` would say against the lines of a way to make the piece.

use crate::findings::change::typed_pitches;
use crate::findings::{Finding, Severity};
use crate::job::Plan;
use crate::pipeline;
use crate::placement::{Grid, Placement};
use crate::units::{MM_PER_INCH, Mm, short};

/// What `prepare` would say against the lines of a plan.
#[derive(Debug, Clone)]
pub struct Objections {
    found: Vec<Finding>,
    pitch: Mm,
}

/// Dots whose pitches differ by less than this share look alike (own judgement).
const ALIKE: f64 = 0.01;

impl Objections {
    /// Those against the lines of `plan`, whose art lies so.
    pub fn of(plan: &Plan, placement: &Placement) -> Objections {
        let found = pipeline::of_the_lines(plan, placement);
        let found = found.into_iter().filter(|f| f.severity >= Severity::Caution).collect();
        Objections { found, pitch: plan.process.setting().pitch_across }
    }

    /// A line pitch beside the one that was asked for against which nothing is to be said: it was only rounded.
    fn beside(&self) -> Option<Mm> {
        let [only] = self.found.as_slice() else { return None };
        let to = only.remedies.first().filter(|r| only.name == "step-beat" && r.verified)?.value;
        ((to / self.pitch.0 - 1.0).abs() < ALIKE).then_some(Mm(to))
    }

    /// Whether they weigh against recommending it.
    pub fn weigh(&self) -> bool {
        !self.found.is_empty() && self.beside().is_none()
    }

    /// Their names, as a row tells them.
    pub fn names(&self) -> Vec<&'static str> {
        self.found.iter().map(|f| f.name).collect()
    }

    /// What was found.
    pub fn found(&self) -> &[Finding] {
        &self.found
    }

    /// What to say of them beside a recommendation; nothing where there are none.
    pub fn said(&self) -> String {
        let one = |f: &Finding| {
            let way = f.remedies.first().map_or(String::new(), |r| format!("; {}", r.text));
            format!(" But 'prepare' warns of {}: {}{way}.", f.name, f.message)
        };
        match self.beside() {
            // What is to be said for these dots then has the mended pitch.
            Some(beside) => {
                let dpi = |pitch: Mm| short(MM_PER_INCH / pitch.0, 1);
                format!(
                    " Of motor steps {} dpi is no whole number a line, {} dpi is one.",
                    dpi(self.pitch),
                    dpi(beside)
                )
            }
            None => self.found.iter().map(one).collect(),
        }
    }

    /// What to say to `prepare` for dots that lie as in `grid`, on whole motor steps where they nearly do.
    pub fn typed(&self, plan: &Plan, grid: Grid) -> String {
        let (along, across) = plan.process.lines.swap((grid.along.0, grid.across.0));
        typed_pitches(self.beside().map_or(across, |p| p.0), across / along)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::findings::machine::step_beat;

    fn of(dpi: f64) -> Objections {
        let pitch = Mm(25.4 / dpi);
        Objections { found: step_beat(pitch, 80.0, Mm(85.0)).into_iter().collect(), pitch }
    }

    #[test]
    fn a_density_between_motor_steps_weighs_against_it_and_one_that_was_rounded_is_mended() {
        let odd = of(363.0);
        assert!(odd.weigh() && odd.said().contains("warns of step-beat: the pitch of"), "{}", odd.said());
        assert_eq!(odd.names(), ["step-beat"]);
        let rounded = of(290.0);
        assert!(!rounded.weigh() && rounded.names() == ["step-beat"]);
        assert_eq!(rounded.said(), " Of motor steps 290 dpi is no whole number a line, 290.3 dpi is one.");
        assert!((rounded.beside().unwrap().0 - 0.0875).abs() < 1e-12);
        let whole = of(254.0);
        assert!(!whole.weigh() && whole.names().is_empty() && whole.said().is_empty());
    }
}
