//! Holding: what of a process file holds on a machine with a coating, told by their names and the laser's power.

use super::ProcessFile;
use crate::job::kit::{self, Sort};
use crate::units::Watts;

impl ProcessFile {
    /// Whether it was measured on another machine or with another coating than these, by their names; one that names neither
    /// holds wherever it is used.
    pub fn is_of_others(&self, machine: &str, coating: &str) -> bool {
        self.of_other_machine(machine) || other(&self.coating, coating, coating_of_kit)
    }

    /// Whether it was measured on another machine than this, by its name.
    pub fn of_other_machine(&self, machine: &str) -> bool {
        other(&self.machine, machine, machine_of_kit)
    }

    /// The rated power of the laser that it was measured with, where that is another: a machine whose laser was changed may keep
    /// its name. One that does not say its power holds for any.
    pub fn of_other_laser(&self, power: Watts) -> Option<Watts> {
        self.rated_power.filter(|rated| (rated.0 / power.0 - 1.0).abs() > 0.01)
    }

    /// Whether it was measured on another machine or with another laser: nothing of it holds, whatever is marked.
    pub fn is_of_another_bench(&self, machine: &str, power: Watts) -> bool {
        self.of_other_machine(machine) || self.of_other_laser(power).is_some()
    }

    /// Whether it has anything of the machine's own: the beam's width or its lag.
    pub fn has_beam(&self) -> bool {
        self.beam_along.is_some() || self.beam_across.is_some() || self.lag_ms.is_some()
    }

    /// As much of it as holds on this machine, with a laser of this rated power, and with this coating: beam and lag are the
    /// machine's, whatever it marks; all else belongs to both.
    pub fn holding(&self, machine: &str, power: Watts, coating: &str) -> ProcessFile {
        let nothing = self.is_of_another_bench(machine, power);
        if !nothing && !self.is_of_others(machine, coating) {
            return self.clone();
        }
        let names = ProcessFile {
            wedge: self.wedge.clone(),
            date: self.date.clone(),
            machine: self.machine.clone(),
            coating: self.coating.clone(),
            rated_power: self.rated_power,
            doubt: self.doubt.clone(),
            doubt_of: self.doubt_of.clone(),
            ..ProcessFile::default()
        };
        if nothing {
            return names;
        }
        ProcessFile {
            beam_along: self.beam_along.clone(),
            beam_across: self.beam_across.clone(),
            lag_ms: self.lag_ms.clone(),
            ..names
        }
    }
}

/// Whether a name was said and is another one; the kit's word for a thing (`diode-5w`) is as good as its name (`diode 5 W`).
fn other(said: &str, name: &str, of_kit: impl Fn(&str) -> Option<String>) -> bool {
    let plain = |text: &str| -> String {
        text.chars().filter(|c| c.is_alphanumeric()).flat_map(char::to_lowercase).collect()
    };
    !said.is_empty() && plain(said) != plain(name) && of_kit(said).as_deref() != Some(name)
}

fn machine_of_kit(word: &str) -> Option<String> {
    kit::entry(Sort::Machine, word).and_then(|_| kit::machine(word).ok()).map(|m| m.name)
}

fn coating_of_kit(word: &str) -> Option<String> {
    kit::entry(Sort::Coating, word).and_then(|_| kit::coating(word).ok()).map(|c| c.name)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn measured() -> ProcessFile {
        let text = "wedge = 'W1'\nmachine = 'diode 5 W'\ncoating = 'poster paint'\n\
                    beam_across = { value = '0.11mm', sigma = 0.002 }\nx_half = { value = '2J/mm2', sigma = 0.02 }\n\
                    lag_ms = { value = 0.4 }\n";
        toml::from_str(text).unwrap()
    }

    #[test]
    fn of_another_coating_the_beam_holds_and_of_another_machine_nothing() {
        let all = measured();
        assert_eq!(all.holding("diode 5 W", Watts(5.0), "poster paint"), all);
        let coating = all.holding("diode 5 W", Watts(5.0), "zinc spray");
        assert!(coating.beam_across.is_some() && coating.lag_ms.is_some() && coating.x_half.is_none());
        let machine = all.holding("diode 10 W", Watts(5.0), "poster paint");
        assert!(machine.beam_across.is_none() && machine.lag_ms.is_none() && machine.x_half.is_none());
        assert_eq!((machine.wedge.as_str(), machine.machine.as_str()), ("W1", "diode 5 W"));
        // The kit's words for them are as good as their names.
        for (machine, coating) in [("diode-5w", "poster-paint"), ("Diode 5W", "Poster Paint")] {
            let same = ProcessFile { machine: machine.into(), coating: coating.into(), ..all.clone() };
            assert_eq!(same.holding("diode 5 W", Watts(5.0), "poster paint"), same);
        }
        let zinc = ProcessFile { coating: "zinc-spray".into(), ..all.clone() };
        assert!(!zinc.is_of_others("diode 5 W", &kit::coating("zinc-spray").unwrap().name));
        // What was written by hand names neither.
        let hand = ProcessFile { machine: String::new(), coating: String::new(), ..all };
        assert_eq!(hand.holding("diode 10 W", Watts(5.0), "zinc spray"), hand);
    }

    #[test]
    fn of_another_laser_under_the_same_name_nothing_holds() {
        let five = ProcessFile { rated_power: Some(Watts(5.0)), ..measured() };
        let held = |watts| five.holding("diode 5 W", Watts(watts), "poster paint");
        assert_eq!(held(5.0), five);
        assert!(
            held(10.0).x_half.is_none() && held(10.0).beam_across.is_none() && held(10.0).lag_ms.is_none()
        );
        // What was written before powers were says nothing of them.
        assert_eq!(measured().holding("diode 5 W", Watts(10.0), "poster paint"), measured());
    }
}
