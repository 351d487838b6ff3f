//! Acceptances: findings of severity stop that a person lets pass. One that is kept in a job file belongs to
//! the art and to the figure that it was given for, so that it does not pass what nobody has looked at.

use std::fmt;

use serde::de::{MapAccess, Visitor, value::MapAccessDeserializer};
use serde::{Deserialize, Deserializer, Serialize, Serializer};

use super::error::PlanError;
use crate::findings::{Finding, Harm, STOPS};
use crate::texts::text;

/// How much larger than accepted a figure may be and still pass: 1 %. That is for another version's rounding;
/// the same job on the same art has the same figure.
pub const TOLERANCE: f64 = 0.01;

/// A finding of severity stop that may pass.
#[derive(Debug, Clone, PartialEq)]
pub struct Acceptance {
    /// The finding's name.
    pub name: String,
    /// What it was given for.
    pub given: Given,
}

/// What an acceptance was given for.
#[derive(Debug, Clone, PartialEq)]
pub enum Given {
    /// For the job at hand, by the person who is there.
    Now,
    /// For this art and no worse than this, some time before.
    Then {
        /// CRC-32 of the art's file.
        art_crc32: u32,
        /// The finding's figure; `None` where it has none.
        figure: Option<Harm>,
    },
    /// For nobody knows what: a plain name, as older job files have it.
    Unknown,
}

/// What has become of a finding that stops.
#[derive(Debug, Clone, PartialEq)]
pub enum Held {
    /// It may pass; so is the acceptance kept.
    Passed(Acceptance),
    /// It was accepted once, but that does not hold here: the sentence says why, without its full stop.
    Lapsed(String),
    /// Nobody accepted it.
    Stopped,
}

impl Held {
    /// Whether the finding may pass.
    pub fn passes(&self) -> bool {
        matches!(self, Held::Passed(_))
    }

    /// The acceptance as it is kept, where it holds.
    pub fn kept(self) -> Option<Acceptance> {
        if let Held::Passed(kept) = self { Some(kept) } else { None }
    }

    /// Why an acceptance does not hold, where one was given.
    pub fn lapsed(self) -> Option<String> {
        if let Held::Lapsed(why) = self { Some(why) } else { None }
    }
}

impl Acceptance {
    /// An acceptance for the job at hand, whatever its figure.
    pub fn now(name: impl Into<String>) -> Acceptance {
        Acceptance { name: name.into(), given: Given::Now }
    }
}

/// Those of `first`, and those of `second` for findings that `first` does not name.
pub(super) fn merged(
    first: Option<Vec<Acceptance>>,
    second: Option<Vec<Acceptance>>,
) -> Option<Vec<Acceptance>> {
    let (Some(mut all), Some(more)) = (first.clone(), &second) else { return first.or(second) };
    all.extend(more.iter().filter(|m| first.iter().flatten().all(|f| f.name != m.name)).cloned());
    Some(all)
}

/// Refuses names that no finding of severity stop has.
pub(super) fn check(accept: &[Acceptance]) -> Result<(), PlanError> {
    match accept.iter().find(|a| !STOPS.contains(&a.name.as_str())) {
        None => Ok(()),
        Some(a) => Err(PlanError::unknown("finding", &a.name, STOPS)),
    }
}

/// What becomes of a finding of severity stop under these acceptances, for art of this CRC-32.
pub(super) fn judge(accept: &[Acceptance], finding: &Finding, art_crc32: Option<u32>) -> Held {
    let name = finding.name;
    let Some(found) = accept.iter().find(|a| a.name == name) else { return Held::Stopped };
    match &found.given {
        Given::Now => Held::Passed(match art_crc32 {
            Some(art_crc32) => {
                let figure = finding.harm.as_ref().map(Harm::rounded);
                Acceptance { name: name.to_string(), given: Given::Then { art_crc32, figure } }
            }
            None => found.clone(),
        }),
        Given::Then { art_crc32: then, .. } if art_crc32 != Some(*then) => {
            Held::Lapsed(text!("job.accepted.other-art", name))
        }
        Given::Then { figure, .. } => match (figure, &finding.harm) {
            (Some(then), Some(now)) if now.worse_than(then, TOLERANCE) => {
                Held::Lapsed(text!("job.accepted.worse", name, then, now = now.rounded()))
            }
            (None, Some(now)) => Held::Lapsed(text!("job.accepted.no-figure", name, now = now.rounded())),
            _ => Held::Passed(found.clone()),
        },
        Given::Unknown => Held::Lapsed(text!("job.accepted.no-art", name)),
    }
}

/// An acceptance as a job file has it.
#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct Entry {
    name: String,
    art_crc32: u32,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    figure: Option<Harm>,
}

impl Serialize for Acceptance {
    fn serialize<S: Serializer>(&self, s: S) -> Result<S::Ok, S::Error> {
        match &self.given {
            Given::Then { art_crc32, figure } => {
                Entry { name: self.name.clone(), art_crc32: *art_crc32, figure: figure.clone() }.serialize(s)
            }
            Given::Now | Given::Unknown => s.serialize_str(&self.name),
        }
    }
}

impl<'de> Deserialize<'de> for Acceptance {
    fn deserialize<D: Deserializer<'de>>(d: D) -> Result<Self, D::Error> {
        d.deserialize_any(Either)
    }
}

/// A table, or a plain name.
struct Either;

impl<'de> Visitor<'de> for Either {
    type Value = Acceptance;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(text!("job.accepted.expected"))
    }

    fn visit_str<E>(self, name: &str) -> Result<Acceptance, E> {
        Ok(Acceptance { name: name.to_string(), given: Given::Unknown })
    }

    fn visit_map<A: MapAccess<'de>>(self, map: A) -> Result<Acceptance, A::Error> {
        let Entry { name, art_crc32, figure } = Entry::deserialize(MapAccessDeserializer::new(map))?;
        Ok(Acceptance { name, given: Given::Then { art_crc32, figure } })
    }
}

#[cfg(test)]
mod tests;
