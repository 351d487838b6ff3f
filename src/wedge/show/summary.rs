//! Summary: what was read, in lines for the terminal and for the picture.

use crate::colour::lstar;
use crate::job::kit::spoken;
use crate::proof::canvas::wrapped;
use crate::texts::text;
use crate::units::short;
use crate::wedge::fit::wants_mark;
use crate::wedge::measurement::Measurement;
use crate::wedge::reading::{Mend, NoteAbout, Reading, ReadingNote};
use crate::wedge::target::{WedgeKind, kind_word};

fn known(k: &Measurement, decimals: usize, unit: &str) -> String {
    match k {
        Measurement::Measured { value, uncertainty } if *uncertainty > 0.0 => {
            format!("{value:.decimals$} ± {uncertainty:.decimals$}{unit}")
        }
        Measurement::Measured { value, .. } => format!("{value:.decimals$}{unit}"),
        Measurement::NotMeasured { .. } => text!("wedge.summary.not-measured").into(),
    }
}

/// A line of the summary.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SummaryLine {
    /// What it says; empty between parts.
    pub text: String,
    /// Whether it is a heading or the pick.
    pub strong: bool,
}

/// The reading in lines of at most `most` letters.
pub fn summary(r: &Reading, most: usize) -> Vec<SummaryLine> {
    lines(r, most).into_iter().map(|(text, strong)| SummaryLine { text, strong }).collect()
}

fn lines(r: &Reading, most: usize) -> Vec<(String, bool)> {
    let mut out: Vec<(String, bool)> = Vec::new();
    let head = |t: String, out: &mut Vec<(String, bool)>| {
        if !out.is_empty() {
            out.push((String::new(), false));
        }
        out.push((t, true));
    };
    head(text!("wedge.summary.title", wedge = r.wedge, kind = kind_word(&r.kind)), &mut out);
    out.push((text!("wedge.summary.of", coating = spoken(&r.coating), machine = spoken(&r.machine)), false));
    if !r.date.is_empty() {
        out.push((text!("wedge.summary.date", date = r.date), false));
    }
    if !r.doubts.is_empty() {
        head(text!("wedge.summary.do-not-use").into(), &mut out);
        for d in &r.doubts {
            wrap(most, &sentence(d), &mut out);
        }
        if wants_photo(r) {
            wrap(most, text!("wedge.summary.again"), &mut out);
        }
    }
    if let Some(p) = &r.pick {
        head(text!("wedge.summary.pick").into(), &mut out);
        let (patch, power, speed) = (&p.patch, short(p.power_percent, 1), short(p.speed_mm_s, 2));
        let setting = match p.passes {
            1 => text!("wedge.summary.setting", patch, power, speed),
            passes => text!("wedge.summary.setting.passes", patch, power, speed, passes),
        };
        out.push((setting, true));
        out.push((
            text!(
                "wedge.summary.pick.look",
                lightness = format_args!("{:.1}", p.lightness),
                grain = format_args!("{:.1}", p.grain)
            ),
            false,
        ));
        wrap(most, &p.why, &mut out);
        out.push((
            match p.latitude_percent.get() {
                Some(_) => text!("wedge.summary.latitude", share = known(&p.latitude_percent, 0, " %")),
                None => text!("wedge.summary.latitude.unknown").into(),
            },
            false,
        ));
    } else if [WedgeKind::Exposure, WedgeKind::Combined].iter().any(|k| r.kind == k.name()) {
        head(text!("wedge.summary.no-pick").into(), &mut out);
    }
    if let Some(f) = &r.response {
        head(text!("wedge.summary.response").into(), &mut out);
        let half_mark = match &f.x_half_j_mm2 {
            Measurement::NotMeasured { .. } => text!("wedge.summary.half-mark.unknown").to_string(),
            at => text!("wedge.summary.half-mark", exposure = known(at, 3, " J/mm²")),
        };
        out.push((half_mark, false));
        out.push((text!("wedge.summary.steepness", value = known(&f.rise, 2, "")), false));
        out.push((text!("wedge.summary.reciprocity", value = known(&f.schwarzschild, 3, "")), false));
        match &f.x_char_j_mm2 {
            // Why tells what it lies above.
            Measurement::NotMeasured { not_measured } => {
                wrap(most, &text!("wedge.summary.half-char.unknown", why = not_measured), &mut out);
            }
            at => {
                out.push((text!("wedge.summary.half-char", exposure = known(at, 2, " J/mm²")), false));
            }
        }
        if let Some(rms) = f.rms_l {
            out.push((text!("wedge.summary.misses", off = format_args!("{:.2}", rms)), false));
        }
    }
    if let Some(b) = &r.beam {
        head(text!("wedge.summary.beam").into(), &mut out);
        out.push((text!("wedge.summary.beam.along", value = known(&b.along_mm, 3, " mm")), false));
        out.push((text!("wedge.summary.beam.across", value = known(&b.across_mm, 3, " mm")), false));
    }
    for g in &r.dot_gain {
        let screen = &g.screen;
        let title = match wants_mark(screen) {
            true => text!("wedge.summary.gain.own", screen),
            false => text!("wedge.summary.gain", screen),
        };
        head(title, &mut out);
        for line in g.steps.chunks(5) {
            let steps: Vec<String> =
                line.iter().map(|s| format!("{:.0}→{:.0}%", 100.0 * s.coverage, 100.0 * s.mark)).collect();
            out.push((steps.join("  "), false));
        }
    }
    if !r.lags.is_empty() {
        head(text!("wedge.summary.lags").into(), &mut out);
        for l in &r.lags {
            out.push((
                format!("{}: {}, {}", l.name, known(&l.offset_mm, 3, " mm"), known(&l.lag_ms, 2, " ms")),
                false,
            ));
        }
    }
    head(text!("wedge.summary.notes").into(), &mut out);
    if r.patches.is_empty() {
        out.push((text!("wedge.summary.lag").into(), false));
    } else {
        wrap(most, &text!("wedge.summary.scale", scale = r.scale.note), &mut out);
    }
    for n in r.notes.iter().filter(|n| !matches!(n.about, NoteAbout::Doubt(_))) {
        wrap(most, &sentence(&n.says), &mut out);
    }
    if !r.patches.is_empty() {
        out.push((String::new(), false));
        out.push((
            text!("wedge.summary.bare", lightness = format_args!("{:.1}", lstar(r.scale.y_unmarked))),
            false,
        ));
    }
    head(text!("wedge.summary.next").into(), &mut out);
    wrap(most, &next(r), &mut out);
    out
}

/// The range of another wedge to draw first, as it is typed, where this sheet holds no setting that marks as it should.
pub fn other_range(r: &Reading) -> Option<&str> {
    r.notes.iter().find_map(|n| match &n.about {
        NoteAbout::Beyond(range) => Some(&**range),
        NoteAbout::MayDo(range) if r.pick.is_none() => Some(&**range),
        _ => None,
    })
}

/// The range of another wedge, as it is typed, that may hold a better setting than the pick, which can be used until then.
pub fn better_range(r: &Reading) -> Option<&str> {
    r.notes.iter().find_map(|n| match &n.about {
        NoteAbout::Strongest(range) if other_range(r).is_none() => Some(&**range),
        _ => None,
    })
}

/// What takes away what speaks against the reading, the first first.
fn mends(r: &Reading) -> Vec<Mend> {
    let mend = |n: &ReadingNote| match n.about {
        NoteAbout::Doubt(mend) => Some(mend),
        _ => None,
    };
    r.notes.iter().filter_map(mend).collect()
}

/// Whether another photo may take away what speaks against the reading.
pub fn wants_photo(r: &Reading) -> bool {
    let mends = mends(r);
    match mends.first() {
        None => !r.doubts.is_empty(),
        Some(Mend::Photo) => true,
        Some(Mend::Coat) => mends.contains(&Mend::Photo),
        Some(Mend::Power | Mend::Speed | Mend::Controller | Mend::Sheets) => false,
    }
}

/// What to do about what speaks against the reading: the first of it, which may be the cause of the others.
fn mended(r: &Reading) -> &'static str {
    match mends(r).first() {
        Some(Mend::Power) => text!("wedge.next.power"),
        Some(Mend::Speed) => text!("wedge.next.speed"),
        Some(Mend::Controller) => text!("wedge.next.controller"),
        Some(Mend::Sheets) => text!("wedge.next.sheets"),
        // Where patches lie off the curve as well, it may be light or machine.
        Some(Mend::Coat) if wants_photo(r) => text!("wedge.next.mend"),
        Some(Mend::Coat) => text!("wedge.next.coat"),
        Some(Mend::Photo) | None => text!("wedge.next.again"),
    }
}

/// One sentence that a maker can act on.
fn next(r: &Reading) -> String {
    if !r.doubts.is_empty() {
        return mended(r).into();
    }
    let range = other_range(r);
    match (&r.pick, r.lags.is_empty()) {
        (Some(_), _) if range.is_some() => text!("wedge.next.beyond", range = range.unwrap_or_default()),
        (Some(p), _) => {
            let (power, speed) = (short(p.power_percent, 1), short(p.speed_mm_s, 2));
            match better_range(r) {
                Some(range) => text!("wedge.next.better", power, speed, range),
                None => text!("wedge.next.pick", power, speed),
            }
        }
        (None, _) if r.response.is_some() && r.kind != WedgeKind::Tone.name() => match range {
            Some(range) => text!("wedge.next.range", range),
            None => text!("wedge.next.mend").into(),
        },
        (None, false) => text!("wedge.next.timing").into(),
        _ => text!("wedge.next.tone").into(),
    }
}

/// A note as a sentence.
fn sentence(note: &str) -> String {
    let first: String = note.chars().next().map_or(String::new(), |c| c.to_uppercase().collect());
    format!("{first}{}.", note.chars().skip(1).collect::<String>())
}

fn wrap(most: usize, sentence: &str, out: &mut Vec<(String, bool)>) {
    out.extend(wrapped(sentence, most).into_iter().map(|line| (line, false)));
}

#[cfg(test)]
pub(crate) mod tests {
    use super::*;

    pub(crate) fn reading() -> Reading {
        serde_json::from_value(serde_json::json!({
            "wedge": "W1", "kind": "exposure", "machine": "diode 10 W", "coating": "poster paint", "date": "",
            "marks_lighter": true, "scale": { "absolute": false, "note": "", "y_unmarked": 0.04 },
            "photo": {
                "size": [4, 3], "pixels_per_mm": 10.0, "blur_mm": 0.1, "marks_px": [],
                "homography": [1.0, 0.0, 0.0, 0.0, 1.0, 0.0, 0.0, 0.0, 1.0], "light_ratio": 1.0
            },
            "patches": [], "response": null, "dot_gain": [], "beam": null, "lags": [], "notes": [],
            "pick": {
                "patch": "E4", "power_percent": 65.0, "speed_mm_s": 9.9, "passes": 1, "lightness": 84.5,
                "grain": 0.2, "why": "", "latitude_percent": { "not_measured": "" }, "seconds_for_85_mm": 800.0
            }
        }))
        .unwrap()
    }

    #[test]
    fn another_photo_is_asked_for_only_where_it_helps() {
        let doubted = |mends: &[Mend]| {
            let notes = mends.iter().map(|mend| ReadingNote::doubt(*mend, "it is doubted")).collect();
            let doubts = vec!["it is doubted".to_string(); mends.len()];
            Reading { doubts, notes, ..reading() }
        };
        let said = |mends: &[Mend]| next(&doubted(mends));
        assert!(said(&[Mend::Photo]).starts_with("Take the photo again"));
        assert!(said(&[Mend::Photo, Mend::Speed]).starts_with("Take the photo again"));
        assert!(said(&[Mend::Power, Mend::Photo]).contains("full_scale_s"));
        assert!(said(&[Mend::Speed]).contains("slower speeds"));
        assert!(said(&[Mend::Coat]).contains("more evenly"));
        assert!(said(&[Mend::Controller]).contains("really gives"));
        assert!(said(&[Mend::Sheets]).contains("burn the wedge again on the same coating"));
        assert!(said(&[Mend::Coat, Mend::Photo]).starts_with("Mend what"));
        let again = |mends: &[Mend]| {
            summary(&doubted(mends), 400).iter().any(|line| line.text.starts_with("Take another photo"))
        };
        assert!(again(&[Mend::Photo]) && again(&[Mend::Coat, Mend::Photo]));
        assert!(!again(&[Mend::Controller]) && !again(&[Mend::Sheets]));
        assert!(!again(&[Mend::Power, Mend::Photo]) && !again(&[Mend::Speed]) && !again(&[Mend::Coat]));
        // One that was written and read back tells no more than that it is doubted.
        assert!(wants_photo(&Reading { doubts: vec!["it is doubted".into()], ..reading() }));
    }

    #[test]
    fn a_pick_at_the_end_of_the_range_can_be_used_and_one_short_of_a_full_mark_waits() {
        let mut reading = reading();
        let note = |about| vec![ReadingNote::range(about, "it is the last", "--speed 5..15mm/s".into())];
        let plain = "Give process.toml to the next job with --process: it then marks at 65% and 9.9 mm/s.";
        assert_eq!(next(&reading), plain);
        reading.notes = note(NoteAbout::Strongest);
        assert_eq!(
            next(&reading),
            format!("{plain} A slower setting may be better: another wedge with --speed 5..15mm/s tells.")
        );
        assert_eq!((other_range(&reading), better_range(&reading)), (None, Some("--speed 5..15mm/s")));
        reading.notes.extend(note(NoteAbout::Beyond));
        let first = "Draw another wedge with --speed 5..15mm/s: the best setting may lie beyond this one.";
        assert_eq!(next(&reading), first);
        assert_eq!((other_range(&reading), better_range(&reading)), (Some("--speed 5..15mm/s"), None));
    }
}
