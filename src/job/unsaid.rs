//! Unsaid: which values of a job nobody asked for.

use std::collections::BTreeSet;

use serde::{Deserialize, Serialize};

use super::asked::Job;
use super::words::FilledIn;

/// Values that were filled in because nobody asked for them.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Unsaid(BTreeSet<FilledIn>);

impl Unsaid {
    /// What `job` does not ask for.
    pub fn of(job: &Job) -> Unsaid {
        Unsaid(FilledIn::ALL.into_iter().filter(|value| !job.asks_for(*value)).collect())
    }

    /// The same less what `job` has.
    pub(super) fn less(mut self, job: &Job) -> Unsaid {
        self.0.retain(|value| !job.has(*value));
        self
    }

    /// Whether all was asked for.
    pub fn is_empty(&self) -> bool {
        self.0.is_empty()
    }

    /// From now on the value counts as asked for.
    pub fn ask(&mut self, value: FilledIn) {
        self.0.remove(&value);
    }

    /// From now on the value counts as filled in.
    pub fn fill(&mut self, value: FilledIn) {
        self.0.insert(value);
    }
}

impl FilledIn {
    const ALL: [FilledIn; 8] = [
        FilledIn::Machine,
        FilledIn::Coating,
        FilledIn::Blank,
        FilledIn::Surface,
        FilledIn::Pitch,
        FilledIn::Power,
        FilledIn::Speed,
        FilledIn::Passes,
    ];
}

impl Job {
    /// Whether somebody asked for a value: it is there, and was not filled in.
    pub fn asks_for(&self, value: FilledIn) -> bool {
        self.has(value) && !self.unsaid.0.contains(&value)
    }

    /// Whether a value is there, asked for or filled in.
    fn has(&self, value: FilledIn) -> bool {
        match value {
            FilledIn::Machine => self.machine.is_some(),
            FilledIn::Coating => self.coating.is_some(),
            FilledIn::Blank => self.blank.shape.is_some(),
            FilledIn::Surface => self.blank.surface.is_some(),
            FilledIn::Pitch => self.dots.pitch.is_some(),
            FilledIn::Power => self.burn.power.is_some(),
            FilledIn::Speed => self.burn.speed.is_some(),
            FilledIn::Passes => self.burn.passes.is_some(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn job(text: &str) -> Job {
        text.parse().unwrap()
    }

    #[test]
    fn a_value_is_asked_for_where_it_is_there_and_was_not_filled_in() {
        let given = job("unsaid = ['power']\nburn = { power = '80%', speed = '12mm/s' }");
        assert!(!given.asks_for(FilledIn::Power), "filled in");
        assert!(given.asks_for(FilledIn::Speed), "asked for");
        assert!(!given.asks_for(FilledIn::Pitch), "absent");
        let mut unsaid = Unsaid::of(&given);
        unsaid.ask(FilledIn::Power);
        unsaid.fill(FilledIn::Speed);
        let now = Job { unsaid, ..given };
        assert!(now.asks_for(FilledIn::Power) && !now.asks_for(FilledIn::Speed));
    }

    #[test]
    fn all_that_an_empty_job_leaves_open_is_named_in_its_file() {
        let empty = Job::default();
        let text = Job { unsaid: Unsaid::of(&empty), ..empty }.to_toml().unwrap();
        let list = text.split_once("unsaid = [").unwrap().1.split_once(']').unwrap().0;
        let names: Vec<&str> = list.split(',').map(|n| n.trim().trim_matches('"')).collect();
        let all = ["machine", "coating", "blank", "surface", "pitch", "power", "speed", "passes"];
        // Over several lines, the last name has a comma too.
        assert_eq!(names.strip_suffix(&[""]).unwrap_or(&names), all, "{text}");
    }

    #[test]
    fn a_wrong_name_is_refused_with_the_right_ones() {
        let wrong = "unsaid = ['powr']".parse::<Job>().unwrap_err().to_string();
        let said = "line 1: 'powr' is no value that unsaid can name; choose machine, coating, blank, surface, pitch, power, speed, passes";
        assert!(wrong.contains(said), "{wrong}");
    }
}
