//! Sentences of the ticket and of the scan program's comments: surfaces, settings and cautions.

use crate::job::kit::{Surface, spoken};
use crate::job::process::ToneCurve;
use crate::job::{Coating, Machine, Plan};
use crate::note::{About, Note};
use crate::said::Said;
use crate::scan::comments::said;
use crate::texts::text;
use crate::tone::automatic::Automatic;
use crate::units::{duration, short};

/// A surface in words.
pub fn surface(surface: Surface) -> &'static str {
    match surface {
        Surface::Glass => text!("proof.surface.glass"),
        Surface::Tile => text!("proof.surface.tile"),
        Surface::Slate => text!("proof.surface.slate"),
        Surface::Metal => text!("proof.surface.metal"),
    }
}

/// The settings, as a scan program states them.
pub fn settings(plan: &Plan) -> Vec<String> {
    let p = &plan.process;
    vec![
        format!("{} on {}", plan.coating.name, plan.machine.name),
        format!("{}, {}", said::power(p.power.value, p.rated_power.value), p.power.standing),
        format!("speed {}, {}", p.speed.value, p.speed.standing),
    ]
}

/// What art was read as, in words.
pub(crate) fn read_as(kind: &str) -> &str {
    match kind {
        "photo" => text!("proof.read-as.photo"),
        "drawing" => text!("proof.read-as.drawing"),
        "paper" => text!("proof.read-as.paper"),
        "dots" => text!("proof.read-as.dots"),
        _ => kind,
    }
}

/// Why art was read as it was, where a person said so.
pub fn as_asked() -> &'static str {
    text!("proof.as-asked")
}

/// What to say of a drawing that states its own size, mm, and becomes `times` as large because it is to fill its blank.
pub fn scaled((width, height): (f64, f64), times: f64) -> Note {
    let (width, height) = (short(width, 2), short(height, 2));
    let larger = times > 1.0;
    let times = short(times, 2);
    // As large as fits is smaller only where its own size does not fit.
    Note::fact(if larger {
        Said::two(
            text!("proof.scaled.line", width, height, times),
            text!("proof.scaled.page", width, height, times),
        )
    } else {
        text!("proof.scaled.smaller", width, height, times).into()
    })
}

/// What to say of tones that are made by power.
pub fn by_power() -> &'static str {
    text!("proof.by-power")
}

/// What to say of a burn that was made to take less time: it `lasts` so many seconds, which is the share `time` of what
/// it would with dots on all lines (1 where no line can be spared), and looks `lost_db` less like what is wanted. `asked` is the share that was asked for;
/// `None`: none was, and what is said of all lines is an estimate. `lines_show`: dots lie so much on every second line that
/// it shows. Where nobody asked and nothing is lost there is nothing to decide.
pub fn pace(lasts: f64, (time, lost_db): (f64, f64), asked: Option<f64>, lines_show: bool) -> Note {
    let (lost, share) = (short(lost_db, 1), short(100.0 * time, 0));
    let whole = duration(lasts / time.max(1e-3));
    let lasts = duration(lasts);
    let better = match lost_db < 0.05 {
        true => text!("proof.pace.no-better").to_string(),
        false => text!("proof.pace.better", lost),
    };
    match asked {
        None => {
            let about = if lost_db < 0.05 { About::Fact } else { About::Choice };
            let says =
                with_option(ALL_LINES, |option| text!("proof.pace.sparing", lasts, option, whole, better));
            Note::new(about, says)
        }
        Some(_) if time >= 1.0 => Note::fact(text!("proof.pace.none-spared", lasts)),
        Some(asked) => {
            let least = if time > asked { text!("proof.pace.least") } else { "" };
            let show = if lines_show { text!("proof.pace.lines-show") } else { "" };
            Note::choice(
                with_option(ALL_LINES, |option| {
                    text!("proof.pace.asked", lasts, share, whole, option, better)
                })
                .and(format!("{least}{show}")),
            )
        }
    }
}

/// A sentence with an option in it, which the page leaves out.
fn with_option(option: &str, sentence: impl Fn(&str) -> String) -> Said {
    Said::two(sentence(option), sentence(""))
}

/// How dots on all lines are asked for.
const ALL_LINES: &str = " (--time 100%)";

/// What to say of a measured tone curve that does not hold at the job's setting.
pub fn curve_elsewhere(curve: &ToneCurve) -> String {
    let screen = &curve.screen;
    match &curve.setting {
        Some(s) => {
            text!("proof.curve.elsewhere.at", screen, power = s.power, speed = s.speed, pitch = s.pitch)
        }
        None => text!("proof.curve.elsewhere", screen),
    }
}

/// What to say of levels that were found or given: the lightness that became black and the one that became white.
pub fn levels((black, white): (f64, f64)) -> String {
    text!("proof.levels", black = short(black, 1), white = short(white, 1))
}

/// What to say of automatic levels.
pub fn automatic(done: &Automatic) -> Note {
    let whole = |l: f64| short(l, 0);
    let mut said = Vec::new();
    let (black, white) = (whole(done.black), whole(done.white));
    match lacks(done) {
        Some(Lacks::Light) => said.push(text!("proof.automatic.dark", black, white)),
        Some(Lacks::Contrast) => said.push(text!("proof.automatic.flat", black, white)),
        Some(Lacks::Little) => said.push(text!("proof.automatic.little", black, white)),
        None => {}
    }
    if lifts(done) {
        said.push(text!("proof.automatic.lifted").to_string());
    }
    if done.smooth > 0.1 {
        said.push(text!("proof.automatic.smoothed").to_string());
    }
    if done.detail > 0.02 {
        said.push(text!("proof.automatic.detail", percent = whole(done.detail * 100.0)));
    }
    Note::choice(Said::from(said.join(", ")).line(" (--levels off leaves the tones alone)"))
}

/// The same in a few words about the photo.
pub fn automatic_briefly(done: &Automatic) -> String {
    let spread = lacks(done).map(|lacks| match lacks {
        Lacks::Light => text!("proof.briefly.dark"),
        Lacks::Contrast => text!("proof.briefly.flat"),
        Lacks::Little => text!("proof.briefly.little"),
    });
    let lifted = lifts(done).then(|| text!("proof.briefly.lifted"));
    let said: Vec<&str> = spread.into_iter().chain(lifted).collect();
    if said.is_empty() { text!("proof.briefly.detail").to_string() } else { said.join(", ") }
}

/// What a photo may lack.
enum Lacks {
    Light,
    Contrast,
    /// A little of either.
    Little,
}

/// A photo whose lightness spans less than this, L*, has little contrast (own judgement: most good ones span over 70).
const LITTLE_CONTRAST: f64 = 65.0;

/// What a photo lacked whose tones were spread.
fn lacks(done: &Automatic) -> Option<Lacks> {
    let span = done.white - done.black;
    (span < 98.0).then_some(match done.black < 15.0 && done.white < 70.0 {
        true => Lacks::Light,
        false if span < LITTLE_CONTRAST => Lacks::Contrast,
        false => Lacks::Little,
    })
}

/// Whether shadows were lifted by more than a trace.
fn lifts(done: &Automatic) -> bool {
    done.lift > 0.02
}

/// From which side a mirrored piece is seen.
pub fn mirrored(on: Surface) -> String {
    match on {
        Surface::Glass => text!("proof.mirrored.glass").to_string(),
        surface => text!("proof.mirrored.other", surface),
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
        text!("proof.caution.laser", power = short(laser.power.0, 2), wavelength = laser.wavelength_nm),
        text!("proof.caution.enclosure").to_string(),
        text!("proof.caution.alone").to_string(),
        text!("proof.caution.extraction").to_string(),
        text!("proof.caution.pvc").to_string(),
    ];
    match on {
        Surface::Glass => all.extend([
            text!("proof.caution.glass.mirrors").to_string(),
            text!("proof.caution.glass.hot").to_string(),
        ]),
        Surface::Metal | Surface::Tile => {
            all.push(text!("proof.caution.shiny").to_string());
        }
        Surface::Slate => {}
    }
    all.extend(coating.work.cautions.iter().map(|caution| spoken(caution).to_string()));
    all.push(text!("proof.caution.manual").to_string());
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

/// Where a program's zero lies, right of and above the lower left corner of a tray (mm).
pub fn zero_of_tray((right, up): (f64, f64)) -> String {
    if (right, up) == (0.0, 0.0) {
        return text!("proof.tray.zero.corner").into();
    }
    let across = match right < 0.0 {
        true => text!("proof.tray.zero.left", mm = short(-right, 2)),
        false => text!("proof.tray.zero.right", mm = short(right, 2)),
    };
    let upright = match up < 0.0 {
        true => text!("proof.tray.zero.below", mm = short(-up, 2)),
        false => text!("proof.tray.zero.above", mm = short(up, 2)),
    };
    text!("proof.tray.zero.away", across, upright)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_pace_is_said_with_what_it_costs() {
        let about = |lost_db| super::pace(3420.0, (0.75, lost_db), None, false).about;
        assert_eq!([0.02, 0.26].map(about), [About::Fact, About::Choice]);
        let pace = |lasts, costs, asked, show| pace(lasts, costs, asked, show).says;
        assert_eq!(
            pace(600.0, (1.0, 0.0), Some(0.7), false),
            "Burns in 10 min 0 s: no line can be spared here, so dots lie on all lines and there is no quicker burn of it"
        );
        let found = pace(3420.0, (0.75, 0.02), None, false);
        assert!(found.starts_with("Burns in 57 min 0 s: "), "{found}");
        assert!(
            found.ends_with("(--time 100%) it would take about 1 h 16 min and look no better"),
            "{found}"
        );
        let page = "dots are on every second line only; on all lines it would take about 1 h 16 min and look no better";
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
