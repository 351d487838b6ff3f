//! Sentences of the ticket and of the scan program's comments: surfaces, settings and cautions.

use crate::job::kit::Surface;
use crate::job::process::ToneCurve;
use crate::job::{Coating, Machine, Plan};
use crate::note::Note;
use crate::said::Said;
use crate::tone::automatic::Automatic;
use crate::units::{duration, short};

/// A surface in words.
pub fn surface(surface: Surface) -> &'static str {
    match surface {
        Surface::Glass => "clear glass before a dark backdrop",
        Surface::Tile => "glazed tile",
        Surface::Slate => "slate",
        Surface::Metal => "metal",
    }
}

/// The settings, as a scan program states them.
pub fn settings(plan: &Plan) -> Vec<String> {
    let p = &plan.process;
    vec![
        format!("{} on {}", plan.coating.name, plan.machine.name),
        format!("power {} of {}, {}", p.power.value, p.rated_power.value, p.power.standing),
        format!("speed {}, {}", p.speed.value, p.speed.standing),
    ]
}

/// Why art was read as it was, where a person said so.
pub const AS_ASKED: &str = "as asked";

/// What to say of tones that are made by power.
pub const BY_POWER: &str =
    "tones are made by power: the forecast shows each place's own exposure, without the beam's spread";

/// What to say of a burn that was made to take less time: it `lasts` so many seconds, which is the share `time` of what
/// it would with dots on all lines (1 where no line can be spared), and looks `lost_db` less like what is wanted. `asked` is the share that was asked for;
/// `None`: none was, and what is said of all lines is an estimate. `lines_show`: dots lie so much on every second line that
/// it shows.
pub fn pace(lasts: f64, (time, lost_db): (f64, f64), asked: Option<f64>, lines_show: bool) -> Note {
    let (lost, share) = (short(lost_db, 1), short(100.0 * time, 0));
    let whole = duration(lasts / time.max(1e-3));
    let lasts = duration(lasts);
    let better = if lost_db < 0.05 { "no better".into() } else { format!("{lost} dB better") };
    match asked {
        None => Note::choice(
            Said::from(format!(
                "Burns in {lasts}: where little is marked, dots are on every second line only; on all lines"
            ))
            .line(ALL_LINES)
            .and(format!(" it would take longer and look {better}")),
        ),
        Some(_) if time >= 1.0 => Note::fact(format!(
            "Burns in {lasts}: no line can be spared here, so dots lie on all lines and there is no quicker burn of it"
        )),
        Some(asked) => {
            let least = if time > asked { "; there is no quicker burn of it" } else { "" };
            let show =
                if lines_show { "; every second line is so empty that the lines show from near" } else { "" };
            Note::choice(
                Said::from(format!("Burns in {lasts}, {share} % of the {whole} that dots on all lines"))
                    .line(ALL_LINES)
                    .and(format!(" take and look {better}{least}{show}")),
            )
        }
    }
}

/// How dots on all lines are asked for.
const ALL_LINES: &str = " (--time 100%)";

/// What to say of a measured tone curve that does not hold at the job's setting.
pub fn curve_elsewhere(curve: &ToneCurve) -> String {
    let at = curve
        .setting
        .as_ref()
        .map_or(String::new(), |s| format!(" ({} at {}, lines {} apart)", s.power, s.speed, s.pitch));
    format!(
        "the tone curve of {} was measured at another setting{at}; dot gain is forecast instead",
        curve.screen
    )
}

/// What to say of levels that were found or given: the lightness that became black and the one that became white.
pub fn levels((black, white): (f64, f64)) -> String {
    format!("lightness L* {} became black and {} white", short(black, 1), short(white, 1))
}

/// What to say of automatic levels.
pub fn automatic(done: &Automatic) -> Note {
    let whole = |l: f64| short(l, 0);
    let mut said = Vec::new();
    let (black, white) = (whole(done.black), whole(done.white));
    if let Some(lacks) = lacks(done) {
        said.push(format!(
            "the photo {lacks}: its lightness from L* {black} to {white} was spread from black to white"
        ));
    }
    if lifts(done) {
        said.push("the subject lies in shadow before a light ground: its shadows were lifted".to_string());
    }
    if done.smooth > 0.1 {
        said.push("noise was smoothed".to_string());
    }
    if done.detail > 0.02 {
        said.push(format!("detail was strengthened by {}%", whole(done.detail * 100.0)));
    }
    Note::choice(Said::from(said.join(", ")).line(" (--levels off leaves the tones alone)"))
}

/// The same in a few words about the photo.
pub fn automatic_briefly(done: &Automatic) -> String {
    let spread = lacks(done).map(|lacks| format!("it {lacks}: its tones are spread"));
    let lifted = lifts(done).then(|| "its shadows are lifted".to_string());
    let said: Vec<String> = spread.into_iter().chain(lifted).collect();
    if said.is_empty() { "its detail is strengthened".to_string() } else { said.join(", ") }
}

/// What a photo lacked whose tones were spread.
fn lacks(done: &Automatic) -> Option<&'static str> {
    let dark = done.black < 15.0 && done.white < 70.0;
    (done.white - done.black < 98.0).then_some(if dark { "is dark" } else { "has little contrast" })
}

/// Whether shadows were lifted by more than a trace.
fn lifts(done: &Automatic) -> bool {
    done.lift > 0.02
}

/// From which side a mirrored piece is seen.
pub fn mirrored(on: Surface) -> String {
    match on {
        Surface::Glass => "Mirrored: mark the back of the glass. The finished piece is looked at through the glass, from its other side; the forecast shows the marked side.".into(),
        other => format!("Mirrored: seen from the marked side it reads backwards, and {other} cannot be looked at from the other side. Prepare it again without --mirror unless that is wanted."),
    }
}

/// The usual cautions, and those of this laser, coating and surface.
///
/// Sources: laser classes of IEC 60825-1 (a continuous source above 0.5 W is class 4), eyewear by
/// wavelength (EN 207), hydrogen chloride from heated PVC, metal fume fever from zinc; the rest is
/// common practice.
pub fn cautions(machine: &Machine, coating: &Coating, on: Surface) -> Vec<String> {
    let laser = &machine.laser;
    let mut all = vec![
        format!(
            "This laser ({} W, {} nm) can blind by its beam, by reflections and by scattered light, burn skin and start a fire. Wear eyewear made for {} nm, and never look at the spot, not even through it.",
            short(laser.power.0, 2),
            laser.wavelength_nm,
            laser.wavelength_nm
        ),
        "Keep the enclosure closed while the beam may be on.".to_string(),
        "Never leave a burn alone; keep an extinguisher at hand.".to_string(),
        "Run the extraction: every coating gives off fumes.".to_string(),
        "Never mark PVC or vinyl: it gives off hydrogen chloride. What you do not know, do not mark."
            .to_string(),
    ];
    match on {
        Surface::Glass => all.extend([
            "Glass lets the beam through and mirrors part of it: lay it on something matt and dark that does not burn."
                .to_string(),
            "Hot glass may crack: let it cool down before water touches it.".to_string(),
        ]),
        Surface::Metal | Surface::Tile => {
            all.push("Shiny surfaces mirror the beam: the enclosure must be closed all round.".to_string());
        }
        Surface::Slate => {}
    }
    all.extend(coating.work.cautions.iter().cloned());
    all.push(
        "The manual of your laser, the rules of your place and trained people come before this page."
            .to_string(),
    );
    all
}

/// The cautions of several pieces, each once; they end as those of the first do, with what comes before all of them.
pub fn together<'a>(of: impl IntoIterator<Item = &'a [String]>) -> Vec<String> {
    let mut all: Vec<String> = Vec::new();
    let mut end = None;
    for one in of {
        let Some((last, others)) = one.split_last() else { continue };
        let end: &String = end.get_or_insert(last.clone());
        for caution in others.iter().chain((last != end).then_some(last)) {
            if !all.contains(caution) {
                all.push(caution.clone());
            }
        }
    }
    all.extend(end);
    all
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_pace_is_said_with_what_it_costs() {
        let pace = |lasts, costs, asked, show| pace(lasts, costs, asked, show).says;
        assert_eq!(
            pace(600.0, (1.0, 0.0), Some(0.7), false),
            "Burns in 10 min 0 s: no line can be spared here, so dots lie on all lines and there is no quicker burn of it"
        );
        let found = pace(3420.0, (0.75, 0.02), None, false);
        assert!(found.starts_with("Burns in 57 min 0 s: "), "{found}");
        assert!(found.ends_with("(--time 100%) it would take longer and look no better"), "{found}");
        let page = "dots are on every second line only; on all lines it would take longer and look no better";
        assert!(found.on_page().ends_with(page), "{found:?}");
        assert!(pace(3420.0, (0.75, 0.26), None, false).ends_with("look 0.3 dB better"));
        let asked = pace(3600.0, (0.6, 1.24), Some(0.6), false);
        assert_eq!(
            asked,
            "Burns in 1 h 0 min, 60 % of the 1 h 40 min that dots on all lines (--time 100%) take and look 1.2 dB better"
        );
        let least = pace(3600.0, (0.6, 1.24), Some(0.4), true);
        assert!(least.ends_with(
            "; there is no quicker burn of it; every second line is so empty that the lines show from near"
        ));
    }
}
