//! The wedge of a job: how it is asked for, so that it measures this machine and coating and not the usual ones.

use super::Plan;
use crate::blank::{Blank, Shape};
use crate::findings::machine::WedgeOf;
use crate::job::kit::{self, KitBlank, Sort};
use crate::job::{Coating, Machine};
use crate::texts::text;
use crate::units::Mm;
use crate::wedge::draw;

impl Plan {
    /// The wedge that measures this job's process. A file of the maker's own is named only as such: a job holds all of it, and
    /// says the same where it is run again.
    pub(crate) fn wedge(&self) -> WedgeOf {
        // No wedge runs along a cone; what is asked for is a flat piece. None fits a blank that is too small; what is asked for
        // is a larger one.
        let is_cone = self.blank.shape.turned().is_some_and(|mantle| mantle.is_cone());
        let is_small = !is_cone && !self.holds_a_wedge();
        let in_kit = if is_cone || is_small {
            kit_blank(|id, _| id == kit::DEFAULT_BLANK)
        } else {
            kit_blank(|_, b| self.is_on(b))
        };
        let blank = match &in_kit {
            Some((id, _)) => Some(id.to_string()).filter(|id| id != kit::DEFAULT_BLANK),
            None => Some(self.blank.shape.to_string()),
        };
        let usual = in_kit.and_then(|(_, b)| b.coatings.into_iter().next());
        let usual = usual.unwrap_or_else(|| kit::DEFAULT_COATING.to_string());
        let coating = coating_named(&self.coating).unwrap_or_else(|| "COATING.toml".into());
        let machine = machine_named(&self.machine).unwrap_or_else(|| "MACHINE.toml".into());
        let named = [
            ("blank", blank),
            ("coating", Some(coating).filter(|id| *id != usual)),
            ("machine", Some(machine).filter(|id| id != kit::DEFAULT_MACHINE)),
        ];
        let options: String =
            named.into_iter().filter_map(|(option, name)| Some(format!(" --{option} {}", name?))).collect();
        WedgeOf {
            on: match (is_cone, is_small) {
                (true, _) => text!("job.wedge.on-flat"),
                (_, true) => text!("job.wedge.on-larger"),
                _ => text!("job.wedge.on-spare"),
            },
            drawn_by: format!("dotwright wedge draw{options} --out DIR"),
        }
    }

    /// Whether the blank, or the strip of a cylinder that a photo shows, has room for a wedge.
    fn holds_a_wedge(&self) -> bool {
        let Some(turned) = self.machine.turned else { return draw::holds_a_wedge(&self.blank) };
        let (width, height) = (Mm(turned.mantle.height.0), Mm(draw::strip(turned.girth())));
        let shape = Shape::Rect { width, height, radius: Mm(0.0) };
        height.0 >= draw::LEAST_STRIP && draw::holds_a_wedge(&Blank { shape, ..self.blank })
    }

    /// Whether a blank of the kit is the one that this job is for; a margin of one's own makes it no other.
    fn is_on(&self, b: &KitBlank) -> bool {
        b.shape == self.blank.shape && b.surface == self.surface && b.coatings == self.coatings
    }
}

fn kit_blank(is: impl Fn(&str, &KitBlank) -> bool) -> Option<(&'static str, KitBlank)> {
    let blanks = kit::ENTRIES.iter().filter(|e| e.sort == Sort::Blank);
    blanks.filter_map(|e| Some((e.id, kit::blank(e.id).ok()?))).find(|(id, b)| is(id, b))
}

fn coating_named(coating: &Coating) -> Option<String> {
    let in_kit = kit::coating_called(&coating.name).ok().flatten().filter(|(_, c)| c == coating);
    in_kit.map(|(id, _)| id.to_string())
}

fn machine_named(machine: &Machine) -> Option<String> {
    let same = |m: Machine| {
        // What a job adds to the machine file: the piece that is turned, and the lag that was measured.
        let mut m = Machine { turned: machine.turned, ..m };
        m.motion.lag_ms = machine.motion.lag_ms;
        m == *machine
    };
    let mut machines = kit::ENTRIES.iter().filter(|e| e.sort == Sort::Machine);
    let in_kit = machines.find(|e| kit::machine(e.id).is_ok_and(same));
    in_kit.map(|e| e.id.to_string())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::job::Job;
    use crate::job::asked::{BlankJob, Reference};

    fn on_kit_blank(id: &str) -> Job {
        let b = kit::blank(id).unwrap();
        let blank = BlankJob {
            shape: Some(b.shape),
            margin: Some(b.margin),
            surface: Some(b.surface),
            coatings: Some(b.coatings),
            ..BlankJob::default()
        };
        Job { blank, ..Job::default() }
    }

    fn said(job: &Job) -> String {
        let w = Plan::of(job).unwrap().wedge();
        let options =
            w.drawn_by.strip_prefix("dotwright wedge draw").and_then(|s| s.strip_suffix(" --out DIR"));
        format!("{}:{}", w.on, options.unwrap())
    }

    #[test]
    fn a_wedge_is_asked_for_with_what_is_not_usual() {
        assert_eq!(said(&Job::default()), "a spare blank:");
        for id in ["glass-tile-100", "glass-coaster-90", "metal-tag-60", "steel-tag-60", "slate-coaster-100"]
        {
            let want = if id == kit::DEFAULT_BLANK { String::new() } else { format!(" --blank {id}") };
            assert_eq!(said(&on_kit_blank(id)), format!("a spare blank:{want}"));
        }
        let zinc = Some(Reference::Name("zinc-spray".into()));
        let large = Some(Reference::Name("diode-10w".into()));
        let job = Job { coating: zinc, machine: large, ..on_kit_blank("glass-coaster-90") };
        assert_eq!(
            said(&job),
            "a spare blank: --blank glass-coaster-90 --coating zinc-spray --machine diode-10w"
        );
        let job: Job = "coating = 'bare-slate'\nblank = { shape = 'rect:20x15mm' }".parse().unwrap();
        assert_eq!(said(&job), "a larger piece with the same coating: --coating bare-slate");
        let job: Job = "coating = 'bare-slate'\nblank = { shape = 'rect:60x40mm' }".parse().unwrap();
        assert_eq!(said(&job), "a spare blank: --blank rect:60x40mm --coating bare-slate");
    }

    #[test]
    fn files_of_ones_own_are_named_as_such() {
        let mut machine = kit::machine("diode-5w").unwrap();
        machine.motion.lag_ms = 0.2;
        let with = |machine| Job { machine: Some(Reference::Whole(Box::new(machine))), ..Job::default() };
        assert_eq!(said(&with(machine.clone())), "a spare blank:");
        machine.program.full_scale_s = 255.0;
        assert_eq!(said(&with(machine.clone())), "a spare blank: --machine MACHINE.toml");
        machine.rotary = Some(toml::from_str(ROTARY).unwrap());
        let on = |shape: &str| {
            let mut job = with(machine.clone());
            job.blank.shape = Some(shape.parse().unwrap());
            said(&job)
        };
        assert_eq!(
            on("cylinder:73x100mm"),
            "a spare blank: --blank cylinder:73x100mm --machine MACHINE.toml"
        );
        assert_eq!(on("cone:60x78x120mm"), "a flat piece with the same coating: --machine MACHINE.toml");
        let mut coating = kit::coating("poster-paint").unwrap();
        coating.name = "harbour black".into();
        let job = Job { coating: Some(Reference::Whole(Box::new(coating))), ..Job::default() };
        assert_eq!(said(&job), "a spare blank: --coating COATING.toml");
    }

    const ROTARY: &str =
        "letter = 'A'\ndegrees_per_unit = 1\nsteps_per_turn = 6400\nunits_per_s = 90\nunits_per_s2 = 400";
}
