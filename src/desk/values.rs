//! Values: what a process holds of a machine and a coating, as the page calls it.

use serde_json::{Value, json};

use super::texts::{filled, say};
use crate::job::ProcessFile;
use crate::job::kit::spoken;

/// In the order in which they are told: key, unit where it is not kept with the value, whether it is a luminance.
const VALUES: &[(&str, &str, bool)] = &[
    ("x_half", "", false),
    ("rise", "", false),
    ("x_char", "", false),
    ("char_rise", "", false),
    ("schwarzschild", "", false),
    ("beam_along", "", false),
    ("beam_across", "", false),
    ("unmarked", "", true),
    ("marked", "", true),
    ("charred", "", true),
    ("lag_ms", "ms", false),
];

/// What a process is of.
pub(super) fn of(coating: &str, machine: &str) -> String {
    filled("process.of", &[("coating", &spoken(coating)), ("machine", &spoken(machine))])
}

/// What a value is called.
fn called(key: &str, luminance: bool) -> String {
    let name = say(&format!("value.{key}"));
    if luminance { filled("value.luminance", &[("value", &name)]) } else { name }
}

/// What a value is called at the beginning of a line.
pub(super) fn heading(key: &str) -> String {
    let name = called(key, false);
    let mut letters = name.chars();
    let first: String = letters.next().into_iter().flat_map(char::to_uppercase).collect();
    first + letters.as_str()
}

/// What was measured and what could not be, as the page shows it.
///
/// # Errors
/// Only when memory runs out.
pub(super) fn told(file: &ProcessFile) -> Result<Vec<Value>, serde_json::Error> {
    let all = serde_json::to_value(file)?;
    let mut values = Vec::new();
    for (key, unit, luminance) in VALUES {
        let (known, name) = (&all[key], called(key, *luminance));
        if known.is_object() {
            let value = &known["value"];
            // A value that is kept with its unit is shown so.
            let (value, unit) = match value.as_str() {
                Some(text) => split(text),
                None => (value.clone(), unit.to_string()),
            };
            values.push(json!({ "key": key, "name": name, "value": value, "unit": unit, "sigma": known["sigma"], "measured": true }));
        } else if let Some(why) = file.not_measured.get(*key) {
            values.push(json!({ "key": key, "name": name, "value": say("value.none"), "unit": "", "sigma": null, "measured": false, "why": why }));
        }
    }
    Ok(values)
}

/// A number and its unit.
fn split(text: &str) -> (Value, String) {
    let at = text.find(|c: char| !(c.is_ascii_digit() || ".-".contains(c))).unwrap_or(text.len());
    match text[..at].parse::<f64>() {
        Ok(number) => (json!(number), text[at..].trim().to_string()),
        Err(_) => (json!(text), String::new()),
    }
}

/// The names of the values that a process holds.
pub(super) fn measured(file: &ProcessFile) -> Vec<String> {
    let all = serde_json::to_value(file).unwrap_or_default();
    let held = VALUES.iter().filter(|(key, ..)| all[key].is_object());
    held.map(|(key, _, luminance)| called(key, *luminance)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn values_are_called_by_one_name_each() {
        let text = "x_half = { value = '2J/mm2', sigma = 0.1 }\nmarked = { value = 0.6 }\nlag_ms = { value = 0.2 }\n\
            [not_measured]\nrise = 'too few patches'\n";
        let file: ProcessFile = toml::from_str(text).unwrap();
        let told = told(&file).unwrap();
        let shown = |i: usize| ["name", "value", "unit"].map(|key| told[i][key].clone());
        assert_eq!(shown(0), [json!("exposure at half the mark"), json!(2.0), json!("J/mm2")]);
        assert_eq!(shown(1), [json!("steepness of the rise"), json!("not measured"), json!("")]);
        assert_eq!(shown(2), [json!("look of a full mark (luminance)"), json!(0.6), json!("")]);
        assert_eq!(shown(3), [json!("lag of the beam"), json!(0.2), json!("ms")]);
        let names = ["exposure at half the mark", "look of a full mark (luminance)", "lag of the beam"];
        assert_eq!((told.len(), measured(&file)), (4, names.map(str::to_string).to_vec()));
        assert_eq!(heading("marked"), "Look of a full mark");
        // A name without a text would show its key.
        assert!(VALUES.iter().all(|(key, _, luminance)| !called(key, *luminance).contains("value.")));
    }
}
