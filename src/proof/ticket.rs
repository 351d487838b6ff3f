//! `ticket.html`: the page that lies on the workbench.

use minijinja::value::Serde;
use minijinja::{Value, context};

use super::canvas::{Picture, ProofError, escape};
use super::page::{data_uri, fill, sentence};
use super::plot::{Field, Plot, PlotAxis};
use super::reduce::reduced;
use super::report::{Footing, Report, Standing, TimeFacts, class, sign};
use super::sheet::{Sheet, Stated, severity};
use super::words;
use crate::findings::{Finding, Severity};
use crate::job::Known;
use crate::job::kit::spoken;
use crate::parallel;
use crate::texts::text;
use crate::units::{duration, short};

/// Longest side of the density on the page, pixels. Reduced here, because a viewer that shrinks fine dots by its own
/// means shows moiré that the piece will not have.
const DENSITY_SIDE: usize = 780;

/// The pictures of a ticket.
#[derive(Debug, Clone, Copy)]
pub struct Pictures<'a> {
    /// The forecast of the whole piece, without legend.
    pub proof: &'a Picture,
    /// Where the dots lie how densely.
    pub density: &'a Picture,
    /// A place at high magnification.
    pub loupe: Option<&'a Picture>,
}

/// The ticket as one self-contained page: no script, no font and no picture from elsewhere. A job with findings of severity stop
/// that are `open`, by name, has no scan program and is not to be burnt; the others of that severity were accepted.
///
/// # Errors
/// When a picture has no pixels.
pub fn ticket(report: &Report, open: &[&str], pictures: &Pictures) -> Result<String, ProofError> {
    let stopped = !open.is_empty();
    let gain: Vec<(f64, f64)> =
        report.gain_curve.iter().map(|p| (100.0 * p.coverage_share, 100.0 * p.mark_share)).collect();
    let plot = (!gain.is_empty()).then(|| gain_plot(&gain));
    let mut findings = report.findings.clone();
    findings.sort_by_key(|f| std::cmp::Reverse(f.severity));
    let (p, blank) = (&report.process, &report.blank);
    let sheet = Sheet {
        kind: text!("proof.ticket.kind"),
        title: report.art.name.clone(),
        about: text!(
            "proof.ticket.about",
            art = sentence_start(words::read_as(&report.art.read_as)),
            surface = blank.surface,
            shape = blank.shape,
            margin = short(blank.margin_mm, 2),
            coating = spoken(&p.coating),
            machine = spoken(&p.machine)
        ),
        standing: (
            p.standing,
            match p.footing() {
                Footing::Measured => text!("proof.standing.measured"),
                Footing::InPart => text!("proof.ticket.standing.in-part"),
                Footing::Assumed => text!("proof.ticket.standing.assumed"),
            },
        ),
        stopped: stopped.then_some(text!("proof.ticket.stopped")),
        shown: report.placement.shown.as_deref(),
        settings: settings(report),
        picture: pictures.proof,
        picture_title: text!("proof.ticket.picture"),
        caption: caption(report, &findings),
        steps: if stopped { &[] } else { &report.steps },
        cautions: &report.cautions,
        beside: [false, true].map(|brief| findings.iter().map(|f| paragraphs(f, brief)).collect()),
    };
    let shown: Vec<Value> = findings
        .iter()
        .map(|f| {
            let (mark, class, word) = severity(f.severity);
            let accepted = f.severity == Severity::Stop && !open.contains(&f.name);
            context! { mark, word, class, accepted, f => Value::from(Serde(f)) }
        })
        .collect();
    let standing = |s: Standing| context! { word => s.to_string(), class => class(s), sign => sign(s) };
    // Each reduces and encodes a picture.
    let (values, density) = parallel::both(|| sheet.values(), || uri(pictures.density, DENSITY_SIDE));
    let values = context! {
        sheet => values?,
        r => Value::from(Serde(report)),
        read_as => words::read_as(&report.art.read_as),
        density => density?,
        loupe => pictures.loupe.map(|p| uri(p, usize::MAX)).transpose()?,
        plot,
        findings => shown,
        bound => report.times.as_ref().map(|t| duration(t.bound_s)),
        likeness => likeness(report),
        hours => report.times.as_ref().map(hours),
        legend => [Standing::Measured, Standing::Given, Standing::Assumed].map(standing),
        process => process(report),
    };
    fill("ticket.html", include_str!("ticket.html"), values)
}

/// What the likeness says, where there is one.
fn likeness(report: &Report) -> Option<String> {
    report.forecast.as_ref()?.likeness_planned_db?;
    let percent = |share: f64| short(share * 100.0, 1);
    let (d, p) = (&report.dots, &report.process);
    let expect = if d.unsure_beam_share.max(d.unsure_exposure_share) < 1e-3 {
        text!("proof.expect.known").to_string()
    } else {
        let measured = |s: Standing| s == Standing::Measured;
        let beam = measured(p.beam_along_mm.standing) && measured(p.beam_across_mm.standing);
        let (beam_off, exposure_off) = (percent(d.unsure_beam_share), percent(d.unsure_exposure_share));
        match (beam, measured(p.x_half_j_per_mm2.standing)) {
            (true, true) => text!("proof.expect.measured", beam_off, exposure_off),
            (true, false) => text!("proof.expect.beam-measured", beam_off, exposure_off),
            (false, true) => text!("proof.expect.exposure-measured", beam_off, exposure_off),
            (false, false) => text!("proof.expect.assumed", beam_off, exposure_off),
        }
    };
    Some(text!("proof.likeness", expect))
}

/// With a capital.
fn sentence_start(text: &str) -> String {
    sentence(text).trim_end_matches('.').to_string()
}

/// What to know of the picture of the piece.
fn caption(report: &Report, findings: &[Finding]) -> String {
    let p = &report.placement;
    let mm = |v: f64| short(v, 2);
    let piece = match report.round {
        Some(_) => text!("proof.caption.round"),
        None => text!("proof.caption.flat"),
    };
    let (width, height) = (mm(p.true_width_mm), mm(p.true_height_mm));
    let (left, top) = (mm(p.left_mm), mm(p.top_mm));
    let place = match report.art.layers > 1 {
        true => text!("proof.caption.all", width, height, left, top),
        false => text!("proof.caption.art", width, height, left, top),
    };
    let mut words = format!("{piece} {place}");
    if report.forecast.as_ref().is_some_and(|f| f.over_burn_mm2 > 0.0) {
        words = format!("{words} {}", text!("proof.caption.over-burnt"));
    }
    if findings.iter().any(|f| f.severity > Severity::Note && f.at_mm.is_some()) {
        words = format!("{words} {}", text!("proof.caption.ring"));
    }
    words
}

/// Letters of the paragraphs of a finding on the page; `brief` as the page prints it where room is scarce.
fn paragraphs(f: &Finding, brief: bool) -> Vec<usize> {
    let message = f.message.chars().count() + f.name.len() + 12;
    let remedies = match (brief, f.severity) {
        (true, Severity::Note) => 0,
        (true, _) => 1,
        (false, _) => usize::MAX,
    };
    // The word whether a remedy was checked has its own line now and then.
    let remedies = f.remedies.iter().take(remedies).map(|r| r.text.chars().count() + 26);
    std::iter::once(message).chain(remedies).collect()
}

/// The dot-gain curve, percent either way, as an SVG element that scales with the page.
fn gain_plot(gain: &[(f64, f64)]) -> String {
    let quarters = [0.0, 25.0, 50.0, 75.0, 100.0];
    let axis = |title: &str| PlotAxis::linear(title, 0.0, 100.0).with_ticks(&quarters);
    let field = Field { left: 64.0, top: 12.0, width: 260.0, height: 260.0, text: 12.0 };
    let plot = Plot { field, x: axis(text!("proof.plot.dots")), y: axis(text!("proof.plot.marked")) };
    let mut body = plot.axes() + &plot.line(&[(0.0, 0.0), (100.0, 100.0)], "currentColor", "3 4");
    body += &plot.line(gain, "currentColor", "");
    // The label sits beside the middle of its curve, on paper so that lines do not cross it.
    if let Some(&(c, m)) = gain.get(gain.len() / 2) {
        let (x, y) = plot.at(c, m);
        body += &format!(
            r#"<text x="{:.1}" y="{:.1}" paint-order="stroke" stroke="white" stroke-width="4">{}</text>"#,
            x + 9.0,
            y + 14.0,
            escape(text!("proof.plot.curve"))
        );
    }
    format!(
        r#"<svg class="plot" viewBox="0 0 {} {}" role="img" aria-label="{}" font-size="12" fill="currentColor">{body}</svg>"#,
        field.left + field.width + 20.0,
        field.top + field.height + 48.0,
        escape(&text!("proof.plot.says", marked = plot.y.title, dots = plot.x.title))
    )
}

/// The picture, at most `side` pixels long, as a data URI.
fn uri(picture: &Picture, side: usize) -> Result<String, ProofError> {
    let png = reduced(picture, side)?.to_png(None).map_err(|e| ProofError::Page(e.to_string()))?;
    Ok(data_uri(&png))
}

/// One value with its words, for a table.
fn line<T>(name: &str, text: String, known: &Known<T>) -> Value {
    let standing = known.standing;
    context! { name, text, word => standing.to_string(), class => class(standing), sign => sign(standing), source => known.source.clone() }
}

/// How long header and footer let the head rest, where they do.
fn dwell(t: &TimeFacts) -> Option<f64> {
    t.dwell_s.filter(|&s| s > 0.0)
}

/// Where the time goes, in words for a table.
fn hours(t: &TimeFacts) -> Vec<(&'static str, String)> {
    let mut all = vec![
        (text!("proof.time.marks-on"), duration(t.beam_on_s)),
        (text!("proof.time.gaps-between"), duration(t.gaps_s)),
        (text!("proof.time.run-ups"), duration(t.run_up_s - t.turn_s)),
        (text!("proof.time.turns"), duration(t.turn_s)),
        (text!("proof.time.approach"), duration(t.approach_s)),
    ];
    all.extend(dwell(t).map(|s| (text!("proof.time.waits-in"), duration(s))));
    all.push((text!("proof.time.all"), duration(t.total_s)));
    all
}

/// What is set on the machine, in large figures.
fn settings(report: &Report) -> Vec<Stated> {
    let mut all = burn_settings(report);
    if let Some(t) = &report.times {
        let (marks, gaps) = (duration(t.beam_on_s), duration(t.gaps_s));
        let run_ups = duration(t.run_up_s);
        let parts = match dwell(t) {
            Some(waits) => text!("proof.time.with-waits", marks, gaps, run_ups, waits = duration(waits)),
            None => text!("proof.time.parts", marks, gaps, run_ups),
        };
        all.push(Stated::new(text!("proof.setting.time"), duration(t.total_s), parts));
    }
    all
}

/// What is set for a burn, less its time.
pub(super) fn burn_settings(report: &Report) -> Vec<Stated> {
    let p = &report.process;
    let watts = p.power_share.value * p.rated_power_w.value;
    let speed = p.speed_mm_per_s.value;
    let standing = |k: &Known<f64>| Some(k.standing);
    vec![
        Stated {
            standing: standing(&p.power_share),
            ..Stated::new(
                text!("proof.setting.power"),
                format!("{} %", short(p.power_share.value * 100.0, 1)),
                text!(
                    "proof.setting.power.watts",
                    watts = short(watts, 2),
                    rated = short(p.rated_power_w.value, 2)
                ),
            )
        },
        Stated {
            standing: standing(&p.speed_mm_per_s),
            ..Stated::new(
                text!("proof.setting.speed"),
                format!("{} mm/s", short(speed, 2)),
                format!("{} mm/min", short(speed * 60.0, 1)),
            )
        },
        Stated::new(
            text!("proof.setting.passes"),
            p.passes.value.to_string(),
            text!("proof.setting.passes.over").into(),
        ),
        line_pitch(report),
    ]
}

/// How far the lines lie apart; round a piece, in steps of the rotary too.
fn line_pitch(report: &Report) -> Stated {
    let dots = &report.dots;
    let turned = report.round.as_ref().and_then(|r| Some((r, r.steps_a_line?, r.degrees_a_line?)));
    let finer = (dots.pitch_along_mm < 0.99 * dots.pitch_across_mm)
        .then(|| text!("proof.setting.switched", pitch = short(dots.pitch_along_mm, 4)));
    let more = match turned {
        Some((r, steps, degrees)) => {
            let turn = text!("proof.setting.turn", steps, degrees = short(degrees, 3), letter = r.letter);
            match finer {
                Some(finer) => format!("{turn}; {finer}"),
                None => turn,
            }
        }
        None => finer.unwrap_or_else(|| format!("{} dpi", short(dots.density_dpi, 1))),
    };
    Stated::new(text!("proof.setting.pitch"), format!("{} mm", short(dots.pitch_across_mm, 4)), more)
}

/// All values that decide the look of the burn.
fn process(report: &Report) -> Vec<Value> {
    let p = &report.process;
    let unit = |k: &Known<f64>, decimals: usize, unit: &str| format!("{} {unit}", short(k.value, decimals));
    let mut all = vec![
        line(text!("proof.process.rated-power"), unit(&p.rated_power_w, 2, "W"), &p.rated_power_w),
        line(text!("proof.process.beam-along"), unit(&p.beam_along_mm, 4, "mm"), &p.beam_along_mm),
        line(text!("proof.process.beam-across"), unit(&p.beam_across_mm, 4, "mm"), &p.beam_across_mm),
        line(
            text!("proof.process.power"),
            format!("{} %", short(p.power_share.value * 100.0, 1)),
            &p.power_share,
        ),
        line(text!("proof.process.speed"), unit(&p.speed_mm_per_s, 3, "mm/s"), &p.speed_mm_per_s),
        line(text!("proof.process.passes"), p.passes.value.to_string(), &p.passes),
        line(text!("proof.process.unmarked"), short(p.y_unmarked.value, 3), &p.y_unmarked),
        line(text!("proof.process.marked"), short(p.y_marked.value, 3), &p.y_marked),
        line(text!("proof.process.charred"), short(p.y_char.value, 3), &p.y_char),
        line(text!("proof.process.x-half"), unit(&p.x_half_j_per_mm2, 3, "J/mm²"), &p.x_half_j_per_mm2),
        line(text!("proof.process.rise"), short(p.rise.value, 2), &p.rise),
    ];
    if let Some(x) = &p.x_char_j_per_mm2 {
        all.push(line(text!("proof.process.x-char"), unit(x, 3, "J/mm²"), x));
        all.push(line(text!("proof.process.char-rise"), short(p.char_rise.value, 2), &p.char_rise));
    }
    all.push(line(text!("proof.process.reciprocity"), short(p.schwarzschild.value, 2), &p.schwarzschild));
    if let Some(w) = &p.wavelength_nm {
        all.insert(0, line(text!("proof.process.wavelength"), unit(w, 0, "nm"), w));
    }
    all
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::proof::made::{keep, report};

    /// A picture from the other tests where they were kept, else one pixel.
    fn shown(name: &str) -> Picture {
        let kept = std::env::var_os("DOTWRIGHT_LOOK").map(|f| std::path::Path::new(&f).join(name));
        match kept.and_then(|f| image::open(f).ok()) {
            Some(p) => {
                let p = p.to_rgb8();
                Picture { width: p.width() as usize, height: p.height() as usize, rgb: p.into_raw() }
            }
            None => Picture::filled(1, 1, [9; 3]),
        }
    }

    fn page(r: &Report) -> String {
        drawn(r, &[])
    }

    fn drawn(r: &Report, open: &[&str]) -> String {
        let (proof, density, loupe) = (shown("proof-glass.png"), shown("density.png"), shown("loupe.png"));
        ticket(r, open, &Pictures { proof: &proof, density: &density, loupe: Some(&loupe) }).unwrap()
    }

    #[test]
    fn a_ticket_says_what_to_set_and_what_is_only_assumed() {
        let html = page(&report());
        keep("ticket.html", html.as_bytes());
        for text in [
            "90 %",
            "4.5 W of 5 W",
            "12.5 mm/s",
            "750 mm/min",
            "0.0836 mm",
            "304 dpi",
            "84.97 × 84.97 mm",
            "2 h 21 min",
            "Set the power to 78 %",
            "Clean the blank",
            "assumed",
            "measured",
            "Stop",
            "Caution",
            "1\u{202f}017",
            "39.9 %",
        ] {
            // A slash is escaped in text as well as in attributes.
            assert!(html.contains(&text.replace('/', "&#x2f;")), "the ticket does not say {text}");
        }
    }

    #[test]
    fn a_stopped_job_says_do_not_burn_and_has_no_steps() {
        let mut r = report();
        let burnt = page(&r);
        assert!(!burnt.contains("DO NOT BURN") && burnt.contains("<h2>Steps"), "a stop that was accepted");
        r.program = None;
        let stopped = drawn(&r, &["over-burn"]);
        assert!(stopped.contains("<strong>DO NOT BURN") && !stopped.contains("<h2>Steps"));
        assert!(stopped.contains("Set the power to 78 %"), "what would mend it stays");
        assert!(!stopped.contains("Accepted for this job"));
        // What was accepted says so beside what still stops.
        let off_bed = Finding::new("off-bed", Severity::Stop, "The lines leave the bed");
        r.findings.push(off_bed);
        let both = drawn(&r, &["over-burn"]);
        assert!(both.contains("DO NOT BURN") && both.matches("Accepted for this job").count() == 1);
        assert_eq!(page(&r).matches("Accepted for this job").count(), 2);
    }

    #[test]
    fn mirrored_work_says_from_which_side_it_is_seen() {
        let mut r = report();
        r.placement.shown = Some(crate::proof::words::mirrored(crate::blank::Surface::Glass));
        assert!(page(&r).contains("looked at through the glass"));
        r.placement.shown = None;
        assert!(!page(&r).contains("class=\"shown\""));
        assert!(crate::proof::words::mirrored(crate::blank::Surface::Slate).contains("reads backwards"));
    }

    #[test]
    fn a_picture_with_texts_is_measured_as_all_that_is_marked() {
        let mut r = report();
        assert!(page(&r).contains("The art is 84.97 × 84.97 mm"));
        r.art.layers = 2;
        assert!(page(&r).contains("All that is marked is 84.97 × 84.97 mm"));
    }

    #[test]
    fn a_ticket_needs_nothing_from_elsewhere() {
        let html = page(&report());
        for forbidden in ["<script", "http:", "https:", "<link", "@import", "url(", "src=\"/", "javascript:"]
        {
            assert!(!html.contains(forbidden), "{forbidden}");
        }
        let sources = html.matches("src=\"").count();
        assert_eq!((sources, html.matches("src=\"data:image/png;base64,").count()), (3, 3));
    }

    #[test]
    fn a_hostile_file_name_stays_text() {
        let mut r = report();
        r.art.name = "<img src=x onerror=alert(1)>.png".into();
        r.findings[0].message = "</style><script>".into();
        let html = page(&r);
        assert!(!html.contains("<img src=x") && !html.contains("<script"));
    }

    #[test]
    fn a_ticket_without_the_optional_parts_is_whole_too() {
        let mut r = report();
        (r.forecast, r.times, r.program, r.art.width_px) = (None, None, None, None);
        (r.process.x_char_j_per_mm2, r.process.wavelength_nm) = (None, None);
        r.gain_curve.clear();
        r.findings.clear();
        r.notes.clear();
        let dot = Picture::filled(1, 1, [9; 3]);
        let html = ticket(&r, &[], &Pictures { proof: &dot, density: &dot, loupe: None }).unwrap();
        assert!(html.contains("</html>") && !html.contains("Time<"));
        assert!(html.contains("Nothing stands against") && !html.contains("DO NOT BURN"));
    }
}
