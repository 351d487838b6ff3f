//! Versions: a handful of ways to make the same piece that differ in what matters, for a person to choose by looking.
//!
//! They are drawn from small copies of the art and by a quick screen, which is near enough to tell them apart; what is
//! chosen is then carried through as it stands in its job.

use serde_json::{Map, Value, json};

use super::texts::{filled, say};
use crate::art::Kind;
use crate::art::reading::Decision;
use crate::job::Plan;
use crate::job::words::FilledIn;
use crate::placement::Place;
use crate::proof::words::automatic_briefly;
use crate::tone::automatic::Automatic;
use crate::units::short;

/// How far one version is from the next in lightness and contrast, percent: plain to see, and none of them spoiled.
const STEP: f64 = 25.0;
/// A second reading that is less likely than this is no version of its own.
const UNLIKELY: f64 = 0.02;
/// How many motor steps lie between the lines of the finer version, as a share of those of the job.
const FINER: f64 = 0.8;

/// A version before it is made.
#[derive(Debug, Clone)]
pub(super) struct Way {
    /// What it is called.
    pub line: String,
    /// What it is good for.
    pub why: String,
    /// What it changes of the job: keys and their new values; null takes one out.
    pub change: Map<String, Value>,
    /// Whether its tones are to be those of the job as it is.
    pub same_picture: bool,
    /// Whether it stands behind all that are read as the program decided.
    pub doubtful: bool,
}

impl Way {
    /// Whether it is the same picture in tones of its own.
    pub fn other_tones(&self) -> bool {
        self.same_picture && self.change.keys().any(|key| key.starts_with("tone."))
    }
}

/// One by the key of its texts: what it is called, and below it what it is good for.
fn way(key: &str, change: Value) -> Way {
    reasoned(key, say(&format!("{key}.why")), change)
}

/// The same with a reason of its own.
fn reasoned(key: &str, why: String, change: Value) -> Way {
    let change = if let Value::Object(change) = change { change } else { Map::new() };
    Way { line: say(key), why, change, same_picture: true, doubtful: false }
}

/// The versions of a piece: the job as it is first; `fills` says whether art that fills the blank is larger than art that fits.
pub(super) fn ways(plan: &Plan, asked: &Value, reading: &Decision, fills: bool) -> Vec<Way> {
    let kind = reading.kind;
    let mut all = vec![reasoned("version.as-is", read_as(kind, asked, None), json!({}))];
    let other = reading.other.filter(|_| 1.0 - reading.sure > UNLIKELY);
    let nudged = |key: &str, by: f64| {
        let now = asked["tone"][key].as_str().map_or(0.0, |t| t.trim_end_matches('%').parse().unwrap_or(0.0));
        let to: f64 = (now + by).clamp(-100.0, 100.0);
        let value = if to == 0.0 { Value::Null } else { Value::String(format!("{}%", short(to, 0))) };
        json!({ format!("tone.{key}"): value })
    };
    if kind == Kind::Photo {
        all.push(way("version.lighter", nudged("brighten", STEP)));
        all.push(way("version.darker", nudged("brighten", -STEP)));
        all.push(way("version.harder", nudged("contrast", STEP)));
        all.push(way("version.flatter", nudged("contrast", -STEP)));
    }
    if let Some(other) = other {
        let change = json!({ "art.read_as": other.to_string() });
        let doubtful = reading.sure >= crate::art::reading::UNSURE;
        let read = way(&format!("version.read.{other}"), change);
        all.push(Way { same_picture: false, doubtful, ..read });
    }
    // Words and borders alone have no ground of their own: what is exchanged is the art's.
    if kind.is_drawn() && plan.job.art.file.is_some() {
        let inverted = asked["tone"]["invert"].as_bool().unwrap_or(false);
        let change = if inverted { Value::Null } else { Value::Bool(true) };
        let exchanged = way("version.exchanged", json!({ "tone.invert": change }));
        all.push(Way { same_picture: false, doubtful: true, ..exchanged });
    }
    if kind.is_drawn() {
        all.push(way("version.solids", json!({ "dots.screen": "threshold" })));
    }
    if quicker(plan) {
        all.push(way("version.quicker", json!({ "burn.power": "100%", "burn.speed": null })));
    }
    if kind == Kind::Photo && plan.dots.screen.name != "clustered" {
        let change = json!({ "dots.screen": "clustered", "dots.pitch": null, "dots.pitch_across": null });
        all.push(way("version.clusters", change));
    }
    if fills && plan.art.place == Place::Inside && kind == Kind::Photo {
        let filled = way("version.fills", json!({ "blank.place": "cover" }));
        all.push(Way { same_picture: false, doubtful: true, ..filled });
    } else if kind.is_drawn()
        && let Some((pitch, now)) = finer(plan)
    {
        let change = json!({ "dots.pitch": format!("{pitch}mm"), "dots.pitch_across": null });
        let why = filled("version.finer.why", &[("pitch", &pitch), ("now", &short(now, 4))]);
        all.push(reasoned("version.finer", why, change));
    }
    all.truncate(MOST);
    all
}

/// What was made of the piece as it is: how it is read, and what was done to its tones.
pub(super) fn read_as(kind: Kind, asked: &Value, automatic: Option<&Automatic>) -> String {
    let set = asked["tone"].as_object().is_some_and(|tone| !tone.is_empty());
    match (kind, automatic) {
        (Kind::Paper, _) => say("version.as-is.paper"),
        (Kind::Photo, Some(done)) => filled("version.as-is.photo", &[("done", &automatic_briefly(done))]),
        (Kind::Photo, None) if set => say("version.as-is.photo.set"),
        (Kind::Photo, None) => say("version.as-is.photo.plain"),
        (Kind::Drawing, _) if set => say("version.as-is.drawing.set"),
        (Kind::Drawing, _) => say("version.as-is.drawing.plain"),
    }
}

/// The most versions of a sheet.
pub(super) const MOST: usize = 8;

/// Whether the head can be faster at full power: where neither was asked for or measured, the speed follows the power.
fn quicker(plan: &Plan) -> bool {
    let free = !plan.job.asks_for(FilledIn::Power) && !plan.job.asks_for(FilledIn::Speed);
    free && plan.held.as_ref().is_none_or(|m| m.best.is_none()) && plan.process.power.value.0 < 0.98
}

/// The pitch of a fifth fewer motor steps, mm, in words, and that of the job.
fn finer(plan: &Plan) -> Option<(String, f64)> {
    let now = plan.process.pitch_across.value;
    let steps = plan.machine.axes(plan.process.lines).1.steps_per_mm;
    let count = (now.0 * steps).round();
    let fewer = (count * FINER).floor();
    (fewer >= 1.0 && fewer < count).then(|| (short(fewer / steps, 5), now.0))
}

/// A job as asked with a change. What was filled in counts as asked for once it is changed.
pub(super) fn changed(asked: &Value, change: &Map<String, Value>) -> Value {
    let mut all = asked.clone();
    for (key, value) in change {
        let mut at = &mut all;
        let mut parts = key.split('.').peekable();
        while let Some(part) = parts.next() {
            if !at.is_object() {
                *at = json!({});
            }
            let Value::Object(table) = at else { break };
            if parts.peek().is_some() {
                at = table.entry(part).or_insert_with(|| json!({}));
            } else if value.is_null() {
                table.remove(part);
                break;
            } else {
                table.insert(part.to_string(), value.clone());
                break;
            }
        }
        let named = key.rsplit('.').next().unwrap_or(key);
        match all.get_mut("unsaid").filter(|_| !value.is_null()) {
            Some(Value::Array(unsaid)) => unsaid.retain(|one| one != named),
            Some(Value::Object(unsaid)) => drop(unsaid.remove(named)),
            _ => {}
        }
    }
    all
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::job::Job;

    fn reading(kind: Kind, sure: f64, other: Option<Kind>) -> Decision {
        Decision { kind, sure, other, why: String::new() }
    }

    #[test]
    fn versions_differ_and_each_is_a_job() {
        let asked =
            json!({ "art": { "file": "lighthouse.svg" }, "tone": { "brighten": "90%", "contrast": "25%" } });
        let job: Job = serde_json::from_value(asked.clone()).unwrap();
        let plan = Plan::of(&job).unwrap();
        for of in [
            reading(Kind::Photo, 0.99, Some(Kind::Drawing)),
            reading(Kind::Photo, 0.6, Some(Kind::Paper)),
            reading(Kind::Drawing, 1.0, None),
            reading(Kind::Paper, 0.7, Some(Kind::Photo)),
        ] {
            let all = ways(&plan, &asked, &of, true);
            assert!((5..=MOST).contains(&all.len()), "{of:?}: {}", all.len());
            let mut seen = Vec::new();
            for w in &all {
                let job: Job = serde_json::from_value(changed(&asked, &w.change)).unwrap();
                let text = Plan::of(&job).unwrap().job.to_toml().unwrap();
                assert!(!seen.contains(&text), "{} is another version once more", w.line);
                seen.push(text);
                assert!(
                    w.line.len() < 30
                        && !w.line.contains("version.")
                        && w.why.ends_with('.')
                        && w.why.len() < 100,
                    "{w:?}"
                );
            }
        }
        let photo = ways(&plan, &asked, &reading(Kind::Photo, 1.0, None), true);
        assert_eq!(photo[1].change["tone.brighten"], "100%");
        assert_eq!(changed(&asked, &photo[4].change)["tone"], json!({ "brighten": "90%" }));
    }

    #[test]
    fn what_was_done_to_its_tones_is_not_called_nothing() {
        assert_eq!(read_as(Kind::Photo, &json!({}), None), "Read as a photo; nothing is changed.");
        let set = json!({ "tone": { "brighten": "25%" } });
        assert_eq!(read_as(Kind::Photo, &set, None), "Read as a photo; its tones are as they were set.");
        let paper = "Read as a drawing on paper; the paper's shadows are taken away.";
        assert_eq!(read_as(Kind::Paper, &json!({}), None), paper);
    }

    #[test]
    fn what_fits_as_large_as_it_fills_has_no_version_that_fills() {
        let asked = json!({ "art": { "file": "harbour.jpg" } });
        let job: Job = serde_json::from_value(asked.clone()).unwrap();
        let plan = Plan::of(&job).unwrap();
        let fills = |fills: bool| {
            let all = ways(&plan, &asked, &reading(Kind::Photo, 1.0, None), fills);
            all.iter().any(|w| w.change.contains_key("blank.place"))
        };
        assert!(fills(true) && !fills(false));
    }

    #[test]
    fn what_a_version_changes_counts_as_asked_for() {
        let change =
            Map::from_iter([("burn.power".into(), json!("100%")), ("burn.speed".into(), Value::Null)]);
        let listed = json!({ "unsaid": ["power", "pitch"], "burn": { "power": "80%", "speed": "9mm/s" } });
        let with = changed(&listed, &change);
        assert_eq!(with, json!({ "unsaid": ["pitch"], "burn": { "power": "100%" } }));
        let summed = json!({ "unsaid": { "power": "01234567" } });
        assert_eq!(changed(&summed, &change)["unsaid"], json!({}));
    }

    #[test]
    fn words_alone_have_no_ground_to_exchange() {
        let asked = json!({ "layer": [{ "text": "PIER FOUR" }] });
        let job: Job = serde_json::from_value(asked.clone()).unwrap();
        let all = ways(&Plan::of(&job).unwrap(), &asked, &reading(Kind::Drawing, 1.0, None), true);
        assert!(all.len() > 1 && all.iter().all(|w| !w.change.contains_key("tone.invert")), "{all:?}");
    }
}
