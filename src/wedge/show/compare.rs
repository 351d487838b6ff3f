//! Compare: readings of several coatings or machines side by side.

use serde::Serialize;

use crate::wedge::measurement::Measurement;
use crate::wedge::reading::Reading;

/// One reading's line in the comparison.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Compared {
    /// Coating.
    pub coating: String,
    /// Machine.
    pub machine: String,
    /// Wedge id and date.
    pub wedge: String,
    /// See `wedge`.
    pub date: String,
    /// Whether its lightness is absolute.
    pub absolute: bool,
    /// Lightness of the picked patch, L*.
    pub lightness: Measurement,
    /// Contrast of the picked patch against the bare coating, L*.
    pub contrast: Measurement,
    /// Power of the pick, percent.
    pub power_percent: Measurement,
    /// Speed of the pick, mm/s.
    pub speed_mm_s: Measurement,
    /// Minutes for a square of 85 mm at the pick, turns left out.
    pub minutes_for_85_mm: Measurement,
    /// Grain of the pick, L*.
    pub grain: Measurement,
    /// How far power may rise before char reaches 5 %, percent.
    pub latitude_percent: Measurement,
    /// What speaks against the reading, each a sentence: with any of these it is not to be used.
    pub doubts: Vec<String>,
}

/// The lines, the whitest (or blackest) mark first: by contrast against the bare coating; last those that are not to be used.
pub fn compare(readings: &[Reading]) -> Vec<Compared> {
    let mut lines: Vec<Compared> = readings.iter().map(line).collect();
    let key = |l: &Compared| l.contrast.get().unwrap_or(f64::NEG_INFINITY);
    lines.sort_by(|a, b| {
        a.doubts.is_empty().cmp(&b.doubts.is_empty()).reverse().then(key(b).total_cmp(&key(a)))
    });
    lines
}

fn line(r: &Reading) -> Compared {
    let not = || {
        Measurement::not(if r.kind == "exposure" {
            "no patch was picked"
        } else {
            "this is no exposure wedge"
        })
    };
    let of = |f: &dyn Fn(&crate::wedge::reading::PickReading) -> f64| {
        r.pick.as_ref().map_or_else(not, |p| Measurement::value(f(p), 0.0))
    };
    let error = r.pick.as_ref().and_then(|p| r.patches.iter().find(|q| q.name == p.patch)).map_or(0.0, |q| {
        if let Measurement::Measured { uncertainty, .. } = q.lightness { uncertainty } else { 0.0 }
    });
    let bare = crate::colour::lstar(r.scale.y_unmarked);
    let with_error = |known: Measurement| match known {
        Measurement::Measured { value, .. } => Measurement::value(value, error),
        other => other,
    };
    Compared {
        coating: r.coating.clone(),
        machine: r.machine.clone(),
        wedge: r.wedge.clone(),
        date: r.date.clone(),
        absolute: r.scale.absolute,
        lightness: with_error(of(&|p| p.lightness)),
        contrast: with_error(of(&|p| (p.lightness - bare).abs())),
        power_percent: of(&|p| p.power_percent),
        speed_mm_s: of(&|p| p.speed_mm_s),
        minutes_for_85_mm: of(&|p| p.seconds_for_85_mm / 60.0),
        grain: of(&|p| p.grain),
        latitude_percent: r.pick.as_ref().map_or_else(not, |p| p.latitude_percent.clone()),
        doubts: r.doubts.clone(),
    }
}

/// The comparison as a table for the terminal.
pub fn table(lines: &[Compared]) -> String {
    let cell = |k: &Measurement, decimals: usize| {
        k.get().map_or("not measured".to_string(), |v| format!("{v:.decimals$}"))
    };
    let head = [
        "coating",
        "machine",
        "wedge",
        "date",
        "L*",
        "contrast",
        "power %",
        "mm/s",
        "min for 85 mm",
        "grain",
        "latitude %",
    ];
    let mut rows: Vec<Vec<String>> = vec![head.iter().map(ToString::to_string).collect()];
    for l in lines {
        rows.push(vec![
            l.coating.clone(),
            l.machine.clone(),
            l.wedge.clone(),
            l.date.clone(),
            format!("{}{}", cell(&l.lightness, 1), if l.absolute { "" } else { " rel." }),
            cell(&l.contrast, 1),
            cell(&l.power_percent, 1),
            cell(&l.speed_mm_s, 2),
            cell(&l.minutes_for_85_mm, 1),
            cell(&l.grain, 2),
            cell(&l.latitude_percent, 0),
        ]);
    }
    let widths: Vec<usize> = (0..head.len())
        .map(|c| rows.iter().filter_map(|r| r.get(c)).map(|t| t.chars().count()).max().unwrap_or(0))
        .collect();
    let mut out = String::new();
    for r in &rows {
        let line: Vec<String> = r.iter().zip(&widths).map(|(t, w)| format!("{t:<w$}")).collect();
        out.push_str(line.join("  ").trim_end());
        out.push('\n');
    }
    for l in lines {
        if let Some(doubt) = l.doubts.first() {
            out.push_str(&format!("DO NOT USE {}: {doubt}\n", l.wedge));
        }
    }
    if lines.iter().any(|l| !l.absolute) {
        out.push_str("rel.: relative lightness; compare it only with readings of the same coating, or give a white reference\n");
    }
    out
}
