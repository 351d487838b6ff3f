//! Unsaid: which values of a job nobody asked for, and which of them somebody has changed since in its file.

use std::collections::BTreeMap;
use std::fmt;

use serde::de::{Error as _, MapAccess, SeqAccess, Visitor};
use serde::{Deserialize, Deserializer, Serialize, Serializer};

use super::asked::{Job, follows};
use super::words::FilledIn;
use crate::texts::text;

/// Values that were filled in because nobody asked for them, each with the CRC-32 of how the job's file has it, where that was
/// written: a value that is another by then was changed by hand.
#[derive(Debug, Clone, Default)]
pub struct Unsaid(BTreeMap<FilledIn, Option<u32>>);

impl Unsaid {
    /// What `job` does not ask for.
    pub fn of(job: &Job) -> Unsaid {
        Unsaid(FilledIn::ALL.into_iter().filter(|v| !job.asks_for(*v)).map(|v| (v, None)).collect())
    }

    /// The same less what `job` has.
    pub(super) fn less(mut self, job: &Job) -> Unsaid {
        self.0.retain(|value, _| !job.has(*value));
        self
    }

    /// The same with the checksums of the values in a job's `file`.
    pub(super) fn summed(&self, file: &toml::Table) -> Unsaid {
        Unsaid(self.0.keys().map(|value| (*value, checksum(file, *value))).collect())
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
        self.0.insert(value, None);
    }
}

/// The same are those of the same values, whether or not they have been in a file.
impl PartialEq for Unsaid {
    fn eq(&self, other: &Self) -> bool {
        self.0.keys().eq(other.0.keys())
    }
}

/// The checksum of a value as a job's file has it; nothing where it is not there.
fn checksum(file: &toml::Table, value: FilledIn) -> Option<u32> {
    let mut path = value.path().split('.');
    let first = file.get(path.next()?)?;
    let found = path.try_fold(first, |at, key| at.get(key))?;
    let mut crc = flate2::Crc::new();
    crc.update(found.to_string().as_bytes());
    Some(crc.sum())
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

    /// Where a job's file has it.
    fn path(self) -> &'static str {
        match self {
            FilledIn::Machine => "machine",
            FilledIn::Coating => "coating",
            FilledIn::Blank => "blank.shape",
            FilledIn::Surface => "blank.surface",
            FilledIn::Pitch => "dots.pitch",
            FilledIn::Power => "burn.power",
            FilledIn::Speed => "burn.speed",
            FilledIn::Passes => "burn.passes",
        }
    }
}

impl Job {
    /// Whether somebody asked for a value: it is there, and was not filled in.
    pub fn asks_for(&self, value: FilledIn) -> bool {
        self.has(value) && !self.unsaid.0.contains_key(&value)
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

    /// The job that was read from a `file`, in which what somebody changed there counts as asked for, as if it had been said
    /// anew for the job as it was written.
    pub(crate) fn with_edits(mut self, file: &toml::Table) -> Job {
        let changed = |(value, sum): (&FilledIn, &Option<u32>)| {
            let now = checksum(file, *value)?;
            sum.is_some_and(|sum| sum != now).then_some(*value)
        };
        let mut edited: Vec<FilledIn> = self.unsaid.0.iter().filter_map(changed).collect();
        let mut edits = Job::default();
        // The pitch across is there beside a pitch that was filled in: as large, or a few times.
        let (along, across) = (self.dots.pitch, self.dots.pitch_across);
        let across_alone = self.unsaid.0.get(&FilledIn::Pitch).is_some_and(Option::is_some)
            && !edited.contains(&FilledIn::Pitch)
            && across.is_some_and(|across| !follows(along, across));
        if across_alone {
            edits.dots.pitch_across = across;
            self.dots.pitch = None;
            edited.push(FilledIn::Pitch);
        }
        for value in &edited {
            match value {
                FilledIn::Machine => edits.machine = self.machine.take(),
                FilledIn::Coating => edits.coating = self.coating.take(),
                FilledIn::Blank => edits.blank.shape = self.blank.shape.take(),
                FilledIn::Surface => edits.blank.surface = self.blank.surface.take(),
                FilledIn::Pitch if across_alone => {}
                FilledIn::Pitch => {
                    edits.dots.pitch = self.dots.pitch.take();
                    edits.dots.pitch_across = self.dots.pitch_across.take().filter(|p| follows(along, *p));
                }
                FilledIn::Power => edits.burn.power = self.burn.power.take(),
                FilledIn::Speed => edits.burn.speed = self.burn.speed.take(),
                FilledIn::Passes => edits.burn.passes = self.burn.passes.take(),
            }
        }
        if edited.is_empty() { self } else { edits.over(self) }
    }
}

/// As a table of checksums where all are known, and as a list of names where they are not.
impl Serialize for Unsaid {
    fn serialize<S: Serializer>(&self, s: S) -> Result<S::Ok, S::Error> {
        let summed: Option<BTreeMap<FilledIn, String>> =
            self.0.iter().map(|(value, sum)| sum.map(|sum| (*value, format!("{sum:08x}")))).collect();
        match summed {
            Some(summed) => summed.serialize(s),
            None => s.collect_seq(self.0.keys()),
        }
    }
}

impl<'de> Deserialize<'de> for Unsaid {
    fn deserialize<D: Deserializer<'de>>(d: D) -> Result<Self, D::Error> {
        struct Either;
        impl<'de> Visitor<'de> for Either {
            type Value = Unsaid;

            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str(text!("job.unsaid.expected"))
            }

            fn visit_seq<A: SeqAccess<'de>>(self, mut seq: A) -> Result<Unsaid, A::Error> {
                let mut all = BTreeMap::new();
                while let Some(value) = seq.next_element()? {
                    all.insert(value, None);
                }
                Ok(Unsaid(all))
            }

            fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<Unsaid, A::Error> {
                let mut all = BTreeMap::new();
                while let Some((value, sum)) = map.next_entry::<FilledIn, String>()? {
                    let read = u32::from_str_radix(&sum, 16);
                    let wrong = |_| A::Error::custom(text!("job.unsaid.checksum", value, sum));
                    all.insert(value, Some(read.map_err(wrong)?));
                }
                Ok(Unsaid(all))
            }
        }
        d.deserialize_any(Either)
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

    /// A job's file with all values filled in.
    fn file() -> String {
        crate::job::Plan::of(&Job::default()).unwrap().job.to_toml().unwrap()
    }

    /// What is read from a file.
    fn read(text: &str) -> Job {
        job(text).with_edits(&text.parse().unwrap())
    }

    #[test]
    fn all_that_an_empty_job_leaves_open_is_named_in_its_file() {
        let text = file();
        let list = text.split_once("[unsaid]\n").unwrap().1.split_once("\n\n").unwrap().0;
        let names: Vec<&str> = list.lines().map(|line| line.split_once(" = ").unwrap().0).collect();
        let all = ["machine", "coating", "blank", "surface", "pitch", "power", "speed", "passes"];
        assert_eq!(names, all, "{text}");
        let again = read(&text);
        assert!(FilledIn::ALL.into_iter().all(|value| !again.asks_for(value)), "{:?}", again.unsaid);
    }

    #[test]
    fn what_was_changed_by_hand_is_asked_for_and_what_follows_is_filled_in_anew() {
        let text = file();
        let (unsaid, rest) = text.split_once("[art]").unwrap();
        let changed = |key: &str, value: &str| {
            let line = rest.lines().find(|line| line.starts_with(&format!("{key} = "))).unwrap();
            read(&format!("{unsaid}[art]{}", rest.replacen(line, &format!("{key} = '{value}'"), 1)))
        };
        let speed = changed("speed", "20mm/s");
        assert!(speed.asks_for(FilledIn::Speed) && !speed.asks_for(FilledIn::Power));
        assert_eq!(speed.burn.speed.unwrap().0, 20.0);
        let slate = changed("surface", "slate");
        assert!(slate.asks_for(FilledIn::Surface) && slate.coating.is_none() && slate.burn.power.is_none());
        // The coating tells what the blank is made of, where nobody said it.
        let other = job("coating = 'bare-slate'").over(read(&text));
        assert!(other.blank.surface.is_none() && other.blank.coatings.is_none(), "{:?}", other.blank);
        let kept = job("coating = 'poster-paint'").over(slate.clone());
        assert_eq!(kept.blank.surface, slate.blank.surface);
        let across = changed("pitch_across", "0.1mm");
        assert!(across.dots.pitch.is_none() && across.dots.pitch_across.unwrap().mm() == 0.1);
        let along = changed("pitch", "0.123mm");
        assert!(along.asks_for(FilledIn::Pitch) && along.dots.pitch_across.is_none());
        // Files of old name what was filled in, and nothing tells whether it was changed.
        let old = job("unsaid = ['speed']\nburn = { speed = '20mm/s' }");
        assert_eq!(old.clone().with_edits(&"burn = { speed = '20mm/s' }".parse().unwrap()), old);
    }

    #[test]
    fn a_wrong_name_is_refused_with_the_right_ones() {
        let wrong = "unsaid = ['powr']".parse::<Job>().unwrap_err().to_string();
        let said = "line 1: 'powr' is no value that unsaid can name; choose machine, coating, blank, surface, pitch, power, speed, passes";
        assert!(wrong.contains(said), "{wrong}");
        let table = "[unsaid]\npower = '12345678'\npowr = '1'".parse::<Job>().unwrap_err().to_string();
        assert!(table.contains("'powr' is no value that unsaid can name"), "{table}");
        let sum = "[unsaid]\npower = 'x'".parse::<Job>().unwrap_err().to_string();
        assert!(sum.contains("the checksum of power is 'x'; leave the line out"), "{sum}");
    }
}
