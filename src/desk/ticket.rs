//! Ticket: what was decided, how long it takes, what was found, and the changes that mend it.

use serde::Serialize;
use serde_json::{Value, json};

use super::exact::{Exact, likeness};
use super::says::Says;
use super::texts::say;
use super::values;
use crate::findings::{Finding, Remedy, Severity};
use crate::job::acceptance::{Acceptance, Given};
use crate::job::{Plan, Standing};
use crate::outputs::{Case, FILES};
use crate::placement::Placement;
use crate::proof::facts::decibels;
use crate::proof::report::{Known, Report};
use crate::units::short;

/// The ticket of a run.
///
/// # Errors
/// Only when memory runs out.
pub(super) fn ticket(exact: &Exact) -> Result<Value, Says> {
    let (piece, report) = (&exact.piece, &exact.outcome.report);
    let plan = &piece.plan;
    let (p, d, process) = (&report.placement, &report.dots, &report.process);
    let art = art(exact);
    let stopped: Vec<&str> = exact.outcome.stops(plan).map(|f| f.name).collect();
    let settings = settings(report);
    let findings = exact.outcome.findings.iter().map(|f| finding(exact, f, stopped.contains(&f.name)));
    Ok(json!({
        "revision": piece.revision,
        "job": piece.name.text(),
        "decided": decided(report)?,
        "notes": report.notes.iter().map(|n| n.says.on_page()).collect::<Vec<_>>(),
        "cautions": report.cautions,
        "steps": report.steps,
        "burn": report.times.as_ref().map(|t| json!({
            "seconds": t.total_s, "marks_s": t.beam_on_s, "gaps_s": t.gaps_s, "turns_s": t.turn_s,
            "runups_s": t.run_up_s - t.turn_s, "approach_s": t.approach_s, "dwells_s": t.dwell_s, "bound_s": t.bound_s,
        })),
        "process": {
            "measured": process.standing == Standing::Measured,
            "partly": process.standing != Standing::Measured && measures_a_part(plan, &settings),
            "line": values::of(&process.coating, &process.machine),
            "power": format!("{}%", short(process.power_share.value * 100.0, 2)),
            "speed": format!("{}mm/s", short(process.speed_mm_per_s.value, 3)),
            "passes": process.passes.value,
        },
        "findings": findings.collect::<Result<Vec<_>, Says>>()?,
        "stopped": stopped,
        "size_mm": [p.true_width_mm, p.true_height_mm],
        "blank": { "shape": report.blank.shape, "width_mm": report.blank.width_mm, "height_mm": report.blank.height_mm,
            "margin_mm": report.blank.margin_mm, "surface": report.blank.surface },
        "read_as": report.art.read_as,
        "read_as_sure": report.art.read_as_sure_share,
        "screen": d.screen,
        "place": seen(art.as_ref().unwrap_or(&exact.outcome.stages.placement)),
        "dots": { "across": d.columns, "along": d.rows, "columns": d.columns, "rows": d.rows,
            "pitch_mm": d.pitch_across_mm, "switch_mm": d.pitch_along_mm, "why": d.pitch_why },
        "art_box": art.as_ref().map(boxed),
        "layer_boxes": piece.layer_boxes(),
        "settings": settings,
        "layers": plan.layers.len(),
        "files": files(exact),
    }))
}

/// What was decided, a sentence each: as the command line says it, and what can be decided otherwise as the page does.
fn decided(report: &Report) -> Result<Vec<String>, Says> {
    let mut text = Vec::new();
    crate::cli::terminal::settled(&mut text, report, false)?;
    let settled = String::from_utf8_lossy(&text).lines().map(str::to_string).collect::<Vec<_>>();
    let told = report.notes.iter().filter(|n| n.about.is_told()).map(|n| n.says.on_page().to_string());
    Ok(settled.into_iter().chain(told).collect())
}

/// Where the art lies; `None` where there are layers alone.
fn art(exact: &Exact) -> Option<Placement> {
    match exact.piece.art() {
        Some(_) => Some(exact.outcome.stages.placement),
        None => exact.piece.art_among_layers(),
    }
}

/// Where as much of it lies as is on the blank: mm from the blank's upper left corner.
fn seen(placement: &Placement) -> Value {
    let rect = &placement.rect;
    json!({ "x_mm": rect.left.0, "y_mm": rect.top.0, "width_mm": rect.width(), "height_mm": rect.height() })
}

/// Where the whole of what is placed so lies, of which the blank may show a part. What lacks less than a dot on
/// either side is shown whole: its size is that of its dots here as everywhere.
pub(super) fn boxed(placement: &Placement) -> Value {
    let (rect, seen) = (&placement.rect, &placement.window);
    let whole = |start: f64, side: f64, (first, share): (f64, f64), dot: f64| {
        let all = side / share;
        if all - side < 2.0 * dot { (start, side) } else { (start - first * all, all) }
    };
    let (x, width) = whole(rect.left.0, rect.width(), (seen.left, seen.width()), rect.grid.along.0);
    let (y, height) = whole(rect.top.0, rect.height(), (seen.top, seen.height()), rect.grid.across.0);
    json!({
        "x_mm": x,
        "y_mm": y,
        "width_mm": width,
        "height_mm": height,
        // As it is asked for, so that it stays as large where it is moved.
        "place": format!("{}x{}mm", short(placement.wished_width.0, 3), short(placement.wished_height.0, 3)),
    })
}

/// Whether anything that was measured is used: a process of another machine is named and counts for nothing.
fn measures_a_part(plan: &Plan, settings: &[Value]) -> bool {
    // The lag and the curve of the tones shape the burn and are none of the values that are listed.
    let held = plan.held.as_ref().is_some_and(|p| p.lag_ms.is_some() || !p.tone_curve.is_empty());
    held || settings.iter().any(|s| s["standing"] == json!(Standing::Measured))
}

/// Each value that decides how the burn looks, and how it is known.
fn settings(report: &Report) -> Vec<Value> {
    fn one<T: Serialize>(key: &str, known: &Known<T>, unit: &str, times: f64) -> Value {
        let value = serde_json::to_value(&known.value).unwrap_or_default();
        let value = value.as_f64().map_or(value, |v| Value::from(short(v * times, 4)));
        let shown = value.as_str().map_or_else(|| value.to_string(), str::to_string);
        let value = if unit.is_empty() { shown } else { format!("{shown} {unit}") };
        json!({ "name": values::heading(key), "value": value, "standing": known.standing, "source": known.source })
    }
    let p = &report.process;
    let white = say("value.white");
    let mut all = vec![
        one("power", &p.power_share, "%", 100.0),
        one("speed", &p.speed_mm_per_s, "mm/s", 1.0),
        one("passes", &p.passes, "", 1.0),
        one("rated_power", &p.rated_power_w, "W", 1.0),
        one("beam_along", &p.beam_along_mm, "mm", 1.0),
        one("beam_across", &p.beam_across_mm, "mm", 1.0),
        one("x_half", &p.x_half_j_per_mm2, "J/mm²", 1.0),
        one("rise", &p.rise, "", 1.0),
        one("schwarzschild", &p.schwarzschild, "", 1.0),
        one("unmarked", &p.y_unmarked, &white, 100.0),
        one("marked", &p.y_marked, &white, 100.0),
    ];
    if let Some(char_at) = &p.x_char_j_per_mm2 {
        all.push(one("x_char", char_at, "J/mm²", 1.0));
    }
    all
}

fn finding(exact: &Exact, f: &Finding, stops: bool) -> Result<Value, Says> {
    let plan = &exact.piece.plan;
    let high = plan.blank.shape.height();
    let remedies: Vec<Value> = f.remedies.iter().flat_map(ways).map(remedy).collect();
    // What is accepted is accepted for this art and for no more than this.
    let accept = match (f.severity, plan.art_file.as_ref()) {
        (Severity::Stop, Some(art)) if stops => {
            let figure = f.harm.as_ref().map(|h| h.rounded());
            let given = Given::Then { art_crc32: art.crc32, figure };
            Some(json!({ "name": f.name, "entry": Acceptance { name: f.name.to_string(), given } }))
        }
        _ => None,
    };
    Ok(json!({
        "id": f.name,
        "level": level(f.severity),
        "says": f.message.on_page(),
        "accepted": f.severity == Severity::Stop && !stops,
        "area_mm2": f.area_mm2,
        "at": f.at_mm.map(|(x, y)| json!({ "x_mm": x, "y_mm": high - y })),
        "remedies": remedies,
        "accept": accept,
    }))
}

/// How serious a finding is, in the page's word.
pub(super) fn level(severity: Severity) -> &'static str {
    match severity {
        Severity::Note => "note",
        Severity::Caution => "warn",
        Severity::Stop => "stop",
    }
}

/// What a person can tap: the answers of a remedy that asks a question, or the remedy itself.
pub(super) fn ways(r: &Remedy) -> &[Remedy] {
    if r.answers.is_empty() { std::slice::from_ref(r) } else { &r.answers }
}

/// A remedy with the keys of the job that it sets and their new values; null for what is done elsewhere.
pub(super) fn remedy(r: &Remedy) -> Value {
    let sets: Value = r.sets.iter().map(|(key, value)| (key.as_str(), typed(value))).collect();
    let change = if r.sets.is_empty() { Value::Null } else { sets };
    json!({ "line": r.text.on_page(), "checked": r.verified, "change": change })
}

/// A value of a job's key: true and false are no words there.
fn typed(value: &str) -> Value {
    match value {
        "true" => Value::Bool(true),
        "false" => Value::Bool(false),
        text => json!(text),
    }
}

/// The files that are written, by their names.
fn files(exact: &Exact) -> Vec<Value> {
    let case = Case { plan: &exact.piece.plan, outcome: &exact.outcome, loupe_at: None };
    let all = FILES.iter().filter(|file| file.is_of(&case));
    all.map(|file| json!({ "name": file.name, "about": file.about(case.plan).on_page() })).collect()
}

/// Likeness of a run, which takes longer than all the rest of its ticket.
pub(super) fn likeness_told(exact: &Exact) -> Value {
    let told = likeness(exact).and_then(|(planned, expected)| {
        Some(json!({ "planned_db": tenth(planned)?, "expected_db": tenth(expected) }))
    });
    told.unwrap_or_default()
}

/// To a tenth, of the hundredths that the report holds: the figure that stands on the saved ticket too.
fn tenth(db: f64) -> Option<f64> {
    short(decibels(db)?, 1).parse().ok()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::art::reading::Decision;
    use crate::art::{Kind, Window};
    use crate::findings::art as of_art;
    use crate::job::settle::Of;
    use crate::placement::{DotRect, Grid};
    use crate::units::Mm;

    #[test]
    fn a_remedy_sets_its_own_keys_and_a_question_has_an_answer_each() {
        let told = |f: Finding| -> Vec<Value> { f.remedies.iter().flat_map(ways).map(remedy).collect() };
        let reading = Decision { kind: Kind::Photo, sure: 0.6, other: Some(Kind::Drawing), why: "so".into() };
        let answers = told(of_art::layer_unsure(&reading, Kind::Drawing, Of::Layer(1)));
        let drawing = json!({ "line": "read it as a drawing", "checked": false, "change": { "layer.1.read_as": "drawing" } });
        assert_eq!((answers.len(), &answers[0]), (2, &drawing));
        let alone = Some(of_art::Alone { most: [0.1, 0.1, 0.8, 0.8], kept: None });
        let around = of_art::Around { share: 0.5, alone, what: of_art::Beyond::LeftBare };
        let crop = told(of_art::around(&around, true, Of::Layer(0)).unwrap());
        assert_eq!(crop[0]["change"], json!({ "layer.0.crop": "11%,11%,78%,78%" }));
        let inverted = told(of_art::tonal_drawing(Of::Art));
        assert_eq!(inverted[0]["change"], json!({ "tone.invert": true }));
        assert_eq!(told(of_art::flowed_text())[0]["change"], Value::Null);
    }

    #[test]
    fn a_likeness_is_told_as_the_saved_ticket_tells_it() {
        assert_eq!(
            [35.748, 35.25, 33.44, f64::INFINITY].map(tenth),
            [Some(35.8), Some(35.2), Some(33.4), None]
        );
    }

    #[test]
    fn what_lacks_less_than_a_dot_is_as_large_as_its_dots() {
        let grid = Grid { along: Mm(0.05), across: Mm(0.1) };
        let rect = DotRect { left: Mm(2.0), top: Mm(3.0), columns: 1000, rows: 259, grid };
        let lies = |bottom: f64| {
            let window = Window { left: 0.0, top: 0.0, right: 1.0, bottom };
            let wished = (Mm(50.0), Mm(25.9 / bottom));
            boxed(&Placement {
                wished_width: wished.0,
                wished_height: wished.1,
                rect,
                window,
                past_margin: Mm(0.0),
            })
        };
        let high = |lies: &Value| lies["height_mm"].as_f64().unwrap();
        assert!((high(&lies(25.9 / 25.98)) - 25.9).abs() < 1e-9);
        // As it was asked for it stays.
        assert_eq!(lies(25.9 / 25.98)["place"], json!("50x25.98mm"));
        assert!((high(&lies(0.5)) - 51.8).abs() < 1e-9);
    }
}
