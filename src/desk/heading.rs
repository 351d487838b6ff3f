//! Heading: whether the first line of a table that was brought names its columns, and which texts they fill.
//!
//! Names are pasted as they stand in a spreadsheet, with the line above them or without it. Where no column is one that the
//! texts ask for, a line that looks like a name is one: else the first person would have no piece, and nobody would know.

use serde_json::{Value, json};

use super::says::Says;
use super::texts::{filled, say};
use crate::blank::Shape;
use crate::job::Plan;
use crate::order::Table;
use crate::texts::in_english;
use crate::units::short;

/// A table as it is taken.
#[derive(Debug, Default)]
pub(super) struct Headed {
    /// Its text with another first line, where it was brought without one.
    pub text: Option<String>,
    /// What is to be said of how it was taken.
    pub says: Option<String>,
}

/// What is found above a column and seldom in it: in English, and in the language of the desk.
pub(super) struct Heads(Vec<String>);

impl Heads {
    /// Those of the texts.
    pub fn known() -> Heads {
        let own = say("heading.words");
        let english = in_english(|| say("heading.words"));
        Heads::of(&[&english, &own])
    }

    /// Those of lists with commas.
    fn of(lists: &[&str]) -> Heads {
        let all = lists.iter().flat_map(|list| list.split([',', '،', '、', '，']));
        Heads(all.map(|head| words(head).join(" ")).filter(|head| !head.is_empty()).collect())
    }

    /// Whether it is one of them, with all its words.
    pub fn have(&self, text: &str) -> bool {
        self.0.contains(&words(text).join(" "))
    }
}

/// The words of a text, in small letters.
fn words(text: &str) -> Vec<String> {
    let all = text.split(|l: char| !l.is_alphanumeric()).filter(|word| !word.is_empty());
    all.map(str::to_lowercase).collect()
}

/// Finds out how the first line of `table` is to be taken for a tray that asks for `asked`. A text that asks for a column by
/// another name than the table has may ask for that one then, which is said.
///
/// # Errors
/// Only where the table cannot be written anew.
pub(super) fn headed(table: &Table, asked: &mut Value) -> Result<Headed, Says> {
    let wanted = columns_of(&asked["piece"]);
    if table.columns.iter().any(|c| wanted.contains(c) || names(asked, c)) {
        return Ok(Headed::default());
    }
    if is_heading(table, &Heads::known()) {
        return Ok(Headed { text: None, says: renamed(table, &wanted, &mut asked["piece"]) });
    }
    let all = 0..table.columns.len();
    let called = |i: usize| match wanted.get(i) {
        Some(name) => name.clone(),
        None if i == 0 => say("heading.name"),
        None => filled("heading.column", &[("n", &(i + 1))]),
    };
    let columns: Vec<String> = all.map(called).collect();
    if columns.iter().enumerate().any(|(i, c)| columns[..i].contains(c)) {
        return Ok(Headed::default());
    }
    let first = table.columns.join(", ");
    let says = match wanted.as_slice() {
        [] => filled("heading.unlike", &[("first", &first)]),
        [one] => filled("heading.without", &[("first", &first), ("column", one)]),
        [one, ..] => filled("heading.without.any", &[("first", &first), ("column", one)]),
    };
    Ok(Headed { text: Some(written(&columns, table)?), says: Some(says) })
}

/// The table below another first line; its own is a row then.
fn written(columns: &[String], table: &Table) -> Result<String, Says> {
    let mut csv = csv::Writer::from_writer(Vec::new());
    csv.write_record(columns)?;
    csv.write_record(&table.columns)?;
    for row in &table.rows {
        csv.write_record(table.columns.iter().map(|c| row.written(c)))?;
    }
    let bytes = csv.into_inner().map_err(|e| Says::fault(&filled("fault.table", &[("why", &e)])))?;
    Ok(String::from_utf8_lossy(&bytes).into_owned())
}

/// Whether anything that is asked for names a column: a file of the art, the count of copies.
pub(super) fn names(asked: &Value, column: &str) -> bool {
    asked["copies"] == column || asked.to_string().contains(&format!("{{{column}}}"))
}

/// The columns that the texts of a piece ask for, each once, in their order.
pub(super) fn columns_of(piece: &Value) -> Vec<String> {
    let mut all: Vec<String> = Vec::new();
    for text in piece["layer"].as_array().into_iter().flatten().filter_map(|l| l["text"].as_str()) {
        // Doubled braces are braces themselves.
        let plain = text.replace("{{", "").replace("}}", "");
        for name in plain.split('{').skip(1).filter_map(|part| Some(part.split_once('}')?.0.trim())) {
            if !name.is_empty() && !all.iter().any(|known| known == name) {
                all.push(name.to_string());
            }
        }
    }
    all
}

/// What stands in a column.
fn cells<'a>(table: &'a Table, column: &'a String) -> impl Iterator<Item = &'a String> {
    table.rows.iter().filter_map(move |row| row.cells.get(column)).filter(|text| !text.is_empty())
}

/// Whether the first line looks as if it named the columns.
pub(super) fn is_heading(table: &Table, known: &Heads) -> bool {
    let heads = &table.columns;
    // "Team" above "Team Gull" is no heading but a short name.
    let told = |c: &String| {
        let own = words(c);
        let seldom = |w: &String| !cells(table, c).any(|t| words(t).contains(w));
        own.iter().any(|w| known.have(w) && seldom(w)) || (known.have(c) && own.iter().all(seldom))
    };
    if heads.iter().any(told) {
        return true;
    }
    let small = |text: &str| text.chars().next().is_some_and(char::is_lowercase);
    if heads.iter().all(|c| small(c) && cells(table, c).all(|t| !small(t))) {
        return true;
    }
    // Words above numbers.
    let numbered = |text: &str| text.chars().any(|c| c.is_ascii_digit());
    heads.len() > 1
        && heads
            .iter()
            .any(|c| !numbered(c) && cells(table, c).next().is_some() && cells(table, c).all(|t| numbered(t)))
}

/// Lets the texts ask for the column that is there, where they ask for one alone, and says so.
fn renamed(table: &Table, wanted: &[String], piece: &mut Value) -> Option<String> {
    let [asked] = wanted else { return None };
    let layers = piece.get_mut("layer")?.as_array_mut()?;
    let alike = table.columns.iter().find(|c| c.eq_ignore_ascii_case(asked));
    let column = alike.or(table.columns.first())?;
    let (old, new) = (format!("{{{asked}}}"), format!("{{{column}}}"));
    let mut changed = false;
    for layer in layers {
        if let Some(text) = layer["text"].as_str().filter(|t| t.contains(&old)) {
            layer["text"] = text.replace(&old, &new).into();
            changed = true;
        }
    }
    let told = || filled("heading.renamed", &[("asked", asked), ("column", column), ("new", &new)]);
    changed.then(told)
}

/// What a name along the rim of a round blank keeps free of the margin, mm: room for a border and a gap to it.
const CLEAR: f64 = 1.8;

/// Letters the first column, where nothing asks for one of the table. A text that is there already stays as it is. On a round
/// blank the name runs along the rim: at its edge there is no room for a straight one.
pub(super) fn lettered(plan: &Plan, asked: &mut Value, table: &Table) {
    let Some(column) = table.columns.first() else { return };
    if !columns_of(&asked["piece"]).is_empty() || table.columns.iter().any(|c| names(asked, c)) {
        return;
    }
    let piece = &mut asked["piece"];
    let mut layer = json!({ "text": format!("{{{column}}}") });
    let others = piece["layer"].as_array().map_or(&[][..], Vec::as_slice);
    if piece["art"]["file"].is_string() || !others.is_empty() {
        let low = |l: &Value| l["anchor"] == "bottom" || l["arc_mm"].as_f64().is_some_and(|r| r < 0.0);
        let at_top = others.iter().any(low);
        let shape = plan.blank.shape;
        let (w, h) = match shape {
            Shape::Round { diameter } => {
                let (length, high) = (0.8 * diameter.0, 0.075 * diameter.0);
                let rim = 0.48 * diameter.0 - plan.blank.margin.0 - CLEAR;
                // Letters stand on the arc: those along the upper edge reach outwards from it, the others inwards.
                let radius = if at_top { rim - high } else { rim }.max(1.0);
                layer["arc_mm"] = json!((radius * if at_top { 10.0 } else { -10.0 }).round() / 10.0);
                (length, high)
            }
            Shape::Rect { .. } | Shape::Cylinder { .. } | Shape::Cone { .. } => {
                layer["anchor"] = if at_top { "top" } else { "bottom" }.into();
                (0.6 * shape.width(), 0.1 * shape.height())
            }
        };
        layer["place"] = format!("{}x{}mm", short(w, 1), short(h, 1)).into();
        layer["clear"] = "0.5mm".into();
    }
    match &mut piece["layer"] {
        Value::Array(layers) => layers.push(layer),
        none => *none = json!([layer]),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::art::Opening;
    use crate::pipeline::{self, Shown};
    use crate::progress::Silent;

    fn taken(text: &str, layers: Value) -> (Headed, Value) {
        let mut asked = json!({ "piece": { "layer": layers } });
        let headed = headed(&Table::parse(text).unwrap(), &mut asked).unwrap();
        (headed, asked["piece"]["layer"].clone())
    }

    #[test]
    fn names_without_a_heading_lose_nobody() {
        for (text, layers, columns) in [
            ("Ada Gull\nBo Tern\nCleo Heron\n", json!([{ "text": "{name}" }]), vec!["name"]),
            ("Ada Gull\nBo Tern\n", json!([{ "text": "HARBOUR MUSEUM" }]), vec!["name"]),
            ("Team Gull\nTeam Tern\n", Value::Null, vec!["name"]),
            (
                "Ada Gull\t1987\nBo Tern\t1990\n",
                json!([{ "text": "{who} since {since}" }]),
                vec!["who", "since"],
            ),
            ("Ada Gull\tKeeper\nBo Tern\tCook\n", json!([{ "text": "{name}" }]), vec!["name", "column 2"]),
        ] {
            let (headed, after) = taken(text, layers.clone());
            let table = Table::parse(&headed.text.unwrap()).unwrap();
            assert_eq!(table.columns, columns, "{text}");
            assert_eq!(
                (table.rows.len(), table.rows[0].cells[columns[0]].as_str()),
                (text.lines().count(), text.split(['\t', '\n']).next().unwrap())
            );
            assert!(headed.says.unwrap().contains("The first line, “"), "{text}");
            assert_eq!(after, layers, "{text}: the maker's texts are as they were");
        }
    }

    #[test]
    fn a_value_whose_look_is_unknown_stays_so_below_another_heading() {
        let table = Table::parse("Ada Gull\t#DATE? 2015-05-03\nBo Tern\t#DATE? 2016-05-03\n").unwrap();
        let mut asked = json!({ "piece": { "layer": [{ "text": "{who} since {since}" }] } });
        let text = headed(&table, &mut asked).unwrap().text.unwrap();
        let row = Table::parse(&text).unwrap().rows.pop().unwrap();
        assert_eq!((row.cells["since"].as_str(), row.fill("{since}").is_err()), ("2016-05-03", true));
    }

    #[test]
    fn a_heading_stays_one_and_a_text_that_asks_for_another_column_says_so() {
        let (headed, layers) = taken("name\nAda Gull\n", json!([{ "text": "{name}" }]));
        assert!(headed.text.is_none() && headed.says.is_none() && layers[0]["text"] == "{name}");
        let (headed, layers) =
            taken("Member\tYear\nAda\t1\nBo\t2\n", json!([{ "text": "Dear {name}" }, { "text": "PIER" }]));
        assert!(headed.text.is_none() && layers == json!([{ "text": "Dear {Member}" }, { "text": "PIER" }]));
        assert!(headed.says.unwrap().contains("“Member”"));
        for text in
            ["boat\nGull\nTern\n", "Wharf\tPier\nGull\t4\nTern\t7\n", "Full name\nAda Gull\nBo Tern\n"]
        {
            let (headed, _) = taken(text, Value::Null);
            assert!(headed.text.is_none() && headed.says.is_none(), "{text}: {headed:?}");
        }
    }

    #[test]
    fn a_translated_desk_knows_the_headings_of_its_own_language_as_well() {
        let known = Heads::of(&[&say("heading.words"), "Mitglied, Nom de famille، الاسم"]);
        let is = |text: &str, known: &Heads| is_heading(&Table::parse(text).unwrap(), known);
        for head in ["Mitglied", "NOM DE FAMILLE", "الاسم", "Das Mitglied:", "Member"] {
            let table = format!("{head}\nAda Gull\nBo Tern\n");
            assert!(is(&table, &known), "{head}");
            assert_eq!(is(&table, &Heads::known()), head == "Member", "{head}");
        }
        // One word of several is not enough, nor is one that stands in the cells too.
        assert!(!is("Jean de Vries\nAda Gull\n", &known) && !is("Mitglied Gull\nMitglied Tern\n", &known));
        assert!(!Heads::of(&["", " , "]).have(""));
    }

    #[test]
    fn a_column_is_lettered_beside_what_stands_there() {
        let plan = Plan::of(&crate::job::Job::default()).unwrap();
        let table = Table::parse("name\nAda Gull\n").unwrap();
        let after = |layers: Value| {
            let mut asked = json!({ "piece": { "layer": layers } });
            lettered(&plan, &mut asked, &table);
            asked["piece"]["layer"].clone()
        };
        let fixed = json!([{ "text": "HARBOUR MUSEUM" }]);
        let both = after(fixed.clone());
        assert!(
            both[0] == fixed[0] && both[1]["text"] == "{name}" && both[1]["anchor"] == "bottom",
            "{both}"
        );
        assert_eq!(after(json!([{ "text": "PIER", "anchor": "bottom" }]))[1]["anchor"], "top");
        assert_eq!(after(Value::Null), json!([{ "text": "{name}" }]));
        for asking in ["{name}", "{titel}"] {
            assert_eq!(after(json!([{ "text": asking }])), json!([{ "text": asking }]));
        }
    }

    #[test]
    fn a_name_keeps_within_a_round_blank() {
        let table = Table::parse("name\nAnna Bright\n").unwrap();
        for (blank, fixed) in [
            ("round:90mm", json!({ "text": "PIER", "place": "30x5mm" })),
            ("round:90mm", json!({ "text": "PIER", "place": "60x6mm", "arc_mm": -38.0 })),
            ("round:30mm", json!({ "text": "PIER", "place": "10x2mm" })),
            ("round:30mm", json!({ "text": "PIER", "place": "10x2mm", "anchor": "bottom" })),
        ] {
            let mut piece = json!({
                "blank": { "shape": blank, "margin": "2.5mm" }, "dots": { "screen": "bayer" }, "layer": [fixed],
            });
            let plan = |piece: &Value| Plan::of(&serde_json::from_value(piece.clone()).unwrap()).unwrap();
            let mut asked = json!({ "piece": piece });
            lettered(&plan(&piece), &mut asked, &table);
            piece = asked["piece"].take();
            for name in ["Ågÿ", "Maximiliana Wolkenstein-Hohenfels"] {
                piece["layer"][1]["text"] = name.into();
                let plan = plan(&piece);
                let arts = pipeline::layers(&plan, Vec::new(), &Opening::default(), None).unwrap();
                let outcome = pipeline::run_shown(&plan, Shown::Layers(&arts), "it", &Silent).unwrap();
                let past = |f: &&crate::findings::Finding| ["past-margin", "cut"].contains(&f.name);
                assert_eq!(outcome.findings.iter().find(past), None, "{name} on {piece}");
            }
        }
    }
}
