//! Written: what a person asked for, as the page has it (JSON) and as it is kept (TOML): the same sections and keys.

use std::path::Path;

use serde::Serialize;
use serde::de::DeserializeOwned;
use serde_json::{Map, Value};

use super::home::Home;
use super::says::Says;
use super::texts::filled;
use crate::job::asked::Reference;
use crate::job::words::DotGain;
use crate::job::{Brief, Job, file_name};
use crate::order::Order;

const PIECE: &str = "# A job of Dotwright's desk: what was asked for; all else is settled anew each time.\n\
                     # The command line has it too: dotwright prepare --job job.toml --out FOLDER\n\n";
const TRAY: &str = "# An order of Dotwright's desk.\n# The command line has it too: dotwright tray order.toml --out FOLDER\n\n";

/// A job's text, once it is sure that it can be settled; `before` is what was asked before, to find the key at fault.
///
/// # Errors
/// What is no job, reaches out of the home, or cannot be settled; with the key, where it can be told.
pub(super) fn piece(
    home: &Home,
    folder: &Path,
    asked: &Value,
    before: Option<&Value>,
) -> Result<String, Says> {
    let job: Job = parsed(asked)?;
    if let Err(says) = settles(home, folder, job.clone()) {
        return Err(match before.and_then(|before| at_fault(home, folder, asked, before)) {
            Some(key) => says.with("key", key),
            None => says,
        });
    }
    text(PIECE, &job)
}

/// An order's text.
///
/// # Errors
/// As [`piece`].
pub(super) fn tray(home: &Home, folder: &Path, asked: &Value) -> Result<String, Says> {
    let order: Order = parsed(asked)?;
    let mut job = order.piece.clone();
    job.seen_beside(folder);
    // Names in a table are looked at when it is carried through: they stand for no file yet.
    let plain = |file: &Option<String>| file.as_ref().is_some_and(|f| f.contains('{'));
    if plain(&job.art.file) {
        job.art.file = None;
    }
    job.layers.iter_mut().filter(|l| plain(&l.file)).for_each(|l| l.file = None);
    inside(home, &job)?;
    for named in [&order.table, &order.tray.outlines].into_iter().flatten() {
        home.within(&Order::beside(&folder.join("order.toml"), named))?;
    }
    blank_inside(home, folder, order.blank.as_deref())?;
    text(TRAY, &order)
}

fn text(head: &str, value: &impl Serialize) -> Result<String, Says> {
    let body =
        toml::to_string_pretty(value).map_err(|e| Says::fault(&filled("fault.job", &[("why", &e)])))?;
    Ok(format!("{head}{body}"))
}

/// What was asked, as JSON.
///
/// # Errors
/// Only when memory runs out.
pub(super) fn asked(value: &impl Serialize) -> Result<Value, Says> {
    Ok(serde_json::to_value(value)?)
}

fn parsed<T: DeserializeOwned>(asked: &Value) -> Result<T, Says> {
    serde_json::from_value(asked.clone()).map_err(|e| {
        let says = Says::unusable(format!("{e}."));
        match unreadable::<T>(asked, "", &wrap) {
            Some(key) => says.with("key", key),
            None => says,
        }
    })
}

/// A value in the tables of its key: `a.b`.
fn wrap(key: &str, value: &Value) -> Value {
    key.rsplit('.')
        .fold(value.clone(), |inner, part| Value::Object(Map::from_iter([(part.to_string(), inner)])))
}

/// The first key whose value alone is refused.
fn unreadable<T: DeserializeOwned>(
    value: &Value,
    key: &str,
    wrap: &dyn Fn(&str, &Value) -> Value,
) -> Option<String> {
    let Value::Object(all) = value else {
        let alone = serde_json::from_value::<T>(wrap(key, value));
        return (!key.is_empty() && alone.is_err()).then(|| key.to_string());
    };
    all.iter().find_map(|(name, inner)| {
        let key = if key.is_empty() { name.clone() } else { format!("{key}.{name}") };
        unreadable::<T>(inner, &key, wrap)
    })
}

/// The key of what is new that, put back, lets the job be settled.
fn at_fault(home: &Home, folder: &Path, asked: &Value, before: &Value) -> Option<String> {
    let mut keys = Vec::new();
    changes(asked, before, "", &mut keys);
    keys.into_iter().take(12).find(|key| {
        let mut back = asked.clone();
        put_back(&mut back, before, key);
        parsed::<Job>(&back).is_ok_and(|job| settles(home, folder, job).is_ok())
    })
}

/// The keys, of one table or of a table in it, that differ.
fn changes(now: &Value, before: &Value, key: &str, found: &mut Vec<String>) {
    let Value::Object(all) = now else {
        if now != before {
            found.push(key.to_string());
        }
        return;
    };
    for (name, inner) in all {
        let key = if key.is_empty() { name.clone() } else { format!("{key}.{name}") };
        changes(inner, before.get(name).unwrap_or(&Value::Null), &key, found);
    }
}

fn put_back(now: &mut Value, before: &Value, key: &str) {
    let (first, rest) = key.split_once('.').map_or((key, None), |(a, b)| (a, Some(b)));
    let Value::Object(all) = now else { return };
    match (rest, before.get(first)) {
        (Some(rest), old) => {
            if let Some(inner) = all.get_mut(first) {
                put_back(inner, old.unwrap_or(&Value::Null), rest);
            }
        }
        (None, Some(old)) => drop(all.insert(first.to_string(), old.clone())),
        (None, None) => drop(all.remove(first)),
    }
}

/// Whether a job in a folder can be settled with what it names.
fn settles(home: &Home, folder: &Path, mut job: Job) -> Result<(), Says> {
    job.seen_beside(folder);
    inside(home, &job)?;
    Brief::read(job)?.settle()?;
    Ok(())
}

/// Refuses a job, seen from here, that names a file outside the home.
///
/// # Errors
/// Where it does.
pub(super) fn inside(home: &Home, job: &Job) -> Result<(), Says> {
    let within = |name: &str, key: &str| {
        home.within(&file_name::path(name)).map(drop).map_err(|says| says.with("key", key))
    };
    let files = job.layers.iter().filter_map(|l| l.file.as_deref()).map(|f| (f, "layer"));
    for (file, key) in job.art.file.as_deref().map(|f| (f, "art.file")).into_iter().chain(files) {
        within(file, key)?;
    }
    if let Some(fonts) = job.art.fonts.as_deref().filter(|f| *f != "system") {
        within(fonts, "art.fonts")?;
    }
    if let Some(DotGain::File(curve)) = &job.tone.dot_gain {
        within(curve, "tone.dot_gain")?;
    }
    // A name of the kit stands for no file; any other name is one.
    let kit = |name: &str| {
        !name.ends_with(".toml") && !name.contains(['/', '\\', ':']) && !Path::new(name).exists()
    };
    let names =
        [(name(&job.machine), "machine"), (name(&job.coating), "coating"), (name(&job.process), "process")];
    for (name, key) in names {
        if let Some(name) = name.filter(|n| key == "process" || !kit(n)) {
            within(name, key)?;
        }
    }
    for coating in job.blank.coatings.iter().flatten().filter(|c| !kit(c)) {
        within(coating, "blank.coatings")?;
    }
    Ok(())
}

/// The same of the blank that an order or a row of it names: an entry of the kit, a shape, or a file as seen from a folder.
///
/// # Errors
/// As [`inside`].
pub(super) fn blank_inside(home: &Home, folder: &Path, blank: Option<&str>) -> Result<(), Says> {
    let file = blank.filter(|b| b.ends_with(".toml") || b.contains(['/', '\\']));
    file.map_or(Ok(()), |file| home.within(&folder.join(file)).map(drop))
}

fn name<T>(reference: &Option<Reference<T>>) -> Option<&str> {
    match reference {
        Some(Reference::Name(name)) => Some(name),
        Some(Reference::Whole(_)) | None => None,
    }
}

#[cfg(test)]
mod tests {
    use axum::response::IntoResponse;
    use serde_json::json;

    use super::*;

    fn refused(asked: &Value, before: Option<&Value>) -> (u16, String) {
        let dir = tempfile::tempdir().unwrap();
        let home = Home::open(Some(dir.path())).unwrap();
        let folder = home.at(&["jobs", "a"]).unwrap();
        match piece(&home, &folder, asked, before) {
            Ok(text) => (200, text),
            Err(says) => (says.clone().into_response().status().as_u16(), format!("{says:?}")),
        }
    }

    #[test]
    fn what_was_asked_is_kept_as_it_was_typed() {
        let asked =
            json!({ "blank": { "shape": "round:90mm", "margin": "2.5mm" }, "dots": { "pitch": "0.1mm" } });
        let (status, text) = refused(&asked, None);
        assert!(status == 200 && text.contains("pitch = \"0.1mm\"") && text.starts_with("# A job"), "{text}");
        let back: Job = toml::from_str(&text).unwrap();
        let again = super::asked(&back).unwrap();
        assert_eq!(again["blank"], asked["blank"]);
    }

    #[test]
    fn a_refusal_names_its_key() {
        let good = json!({ "blank": { "shape": "round:90mm" }, "burn": { "power": "80%" } });
        for (asked, key) in [
            (json!({ "blank": { "shape": "round:90mm", "margin": "wide" } }), "blank.margin"),
            (json!({ "blank": { "shap": "round:90mm" } }), "blank.shap"),
            (json!({ "blank": { "shape": "round:90mm", "margin": "60mm" } }), "blank.margin"),
            (json!({ "blank": { "shape": "round:90mm" }, "dots": { "screen": "floyd" } }), "dots.screen"),
            (json!({ "coating": "posterpaint" }), "coating"),
            (json!({ "art": { "file": "../../../etc/passwd" } }), "art.file"),
            (json!({ "art": { "fonts": "/usr/share/fonts" } }), "art.fonts"),
            (json!({ "process": "../../../process.toml" }), "process"),
            (json!({ "machine": "/etc/machine.toml" }), "machine"),
            (json!({ "tone": { "dot_gain": "/etc/passwd" } }), "tone.dot_gain"),
        ] {
            let (status, said) = refused(&asked, Some(&good));
            assert!(status != 200 && said.contains(key), "{asked}: {status} {said}");
        }
    }
}
