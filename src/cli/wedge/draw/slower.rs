//! Slower: what to say of a wedge that link or controller cannot follow, with options under which they do.

use super::super::super::options::ProcessOptions;
use super::{DrawArgs, Drawn, plan_to_draw};
use crate::findings::{Finding, Remedy};
use crate::job::Plan;
use crate::said::Said;
use crate::texts::text;
use crate::units::{MmPerS, Share, short};
use crate::wedge::draw::BurntPart;
use crate::wedge::draw::followed::{Followed, followed};
use crate::wedge::target::{WedgeKind, kind_word};

/// How often a slower wedge is drawn to see whether it can be followed.
const TRIES: usize = 4;
/// No coarser pitch is offered than this share of the beam: the lines of solids would show.
const COARSEST: f64 = 0.85;

/// What is to be said of a drawn wedge; remedies are options that were tried.
pub(super) fn said(a: &DrawArgs, names: &ProcessOptions, plan: &Plan, drawn: &Drawn) -> Vec<Finding> {
    let found = followed(&drawn.drawing, &plan.machine.limits(), plan.blank);
    if found.findings.is_empty() {
        return Vec::new();
    }
    let tried: Vec<Remedy> =
        [slower(a, plan, drawn, &found), coarser(a, names, plan)].into_iter().flatten().collect();
    let with = |f: Finding| {
        let remedies = tried.iter().cloned().chain(f.remedies.iter().cloned()).collect();
        Finding { remedies, ..f }
    };
    found.findings.into_iter().map(with).collect()
}

/// A finding and what helps, in one text of the command line; the page has a button for each way.
pub(super) fn in_full(finding: &Finding) -> String {
    let ways: Vec<&str> = finding.remedies.iter().map(|r| r.text.on_line()).collect();
    match ways.is_empty() {
        true => finding.message.to_string(),
        false => {
            let ways = ways.join(text!("cli.slower.or"));
            text!("cli.slower.in-full", found = finding.message, ways)
        }
    }
}

/// Why a wedge is not written, and what to do.
pub(super) fn refusal(stop: &Finding) -> String {
    format!("{}: {} Nothing was written", stop.name, in_full(stop))
}

/// Parts and the speeds at which they are followed.
type Slower = [(usize, Option<f64>)];

/// The same wedge at lower speeds and, so that it is exposed as much, lower powers; as far as that is enough. Where nothing
/// mends all, at least what keeps it from being written is mended.
fn slower(a: &DrawArgs, plan: &Plan, drawn: &Drawn, found: &Followed) -> Option<Remedy> {
    let all = mended(a, plan, drawn, found, |found| &found.slower);
    all.or_else(|| mended(a, plan, drawn, found, |found| &found.stops))
}

/// The same, as long as there are such parts.
fn mended(
    a: &DrawArgs,
    plan: &Plan,
    drawn: &Drawn,
    found: &Followed,
    parts: fn(&Followed) -> &Slower,
) -> Option<Remedy> {
    if parts(found).is_empty() {
        return None;
    }
    let limits = plan.machine.limits();
    let mut asked = slowed(a, drawn, parts(found))?;
    for _ in 0..TRIES {
        let next = super::drawn(&asked, plan).ok()?;
        let found = followed(&next.drawing, &limits, plan.blank);
        if parts(&found).is_empty() {
            let fastest = next.drawing.parts.iter().map(|p| p.dial.speed.0).fold(0.0, f64::max);
            return Some(otherwise(a, &asked, fastest).verified(true));
        }
        asked = slowed(&asked, &next, parts(&found))?;
    }
    None
}

/// The same wedge with its dots further apart.
fn coarser(a: &DrawArgs, names: &ProcessOptions, plan: &Plan) -> Option<Remedy> {
    let p = &plan.process;
    let steps_per_mm = plan.machine.limits().y.steps_per_mm;
    let steps = (COARSEST * p.beam.value.across.0 * steps_per_mm).floor();
    let typed = short(steps / steps_per_mm, 4);
    let pitch: f64 = typed.parse().ok()?;
    if pitch < 1.01 * p.pitch_across.value.0 {
        return None;
    }
    let asked = DrawArgs { pitch: format!("{typed}mm").parse().ok(), density: None, ..a.clone() };
    let (plan, _) = plan_to_draw(&asked, names).ok()?;
    let drawn = super::drawn(&asked, &plan).ok()?;
    let limits = plan.machine.limits();
    followed(&drawn.drawing, &limits, plan.blank).findings.is_empty().then(|| {
        let line = text!("cli.slower.options", options = format!("--pitch {typed}mm"));
        let text = Said::two(line, text!("cli.slower.pitch", pitch = typed));
        Remedy::new("pitch", pitch, "mm", text).set("pitch", format!("{typed}mm")).verified(true)
    })
}

/// What a part hangs on.
enum Group {
    /// Finder marks and labels.
    Marks,
    /// The one setting of tones.
    Tones,
    /// The range of speeds.
    Range,
}

fn group(part: &BurntPart, drawn: &Drawn) -> Group {
    let chosen = drawn.request.chosen.speed.0;
    let tones = matches!(drawn.request.kind, WedgeKind::Tone | WedgeKind::Combined);
    if part.is_sign() {
        Group::Marks
    } else if tones && part.is_patch() && (part.dial.speed.0 / chosen - 1.0).abs() < 1e-3 {
        Group::Tones
    } else {
        Group::Range
    }
}

/// The options of a wedge whose parts are as slow as those that cannot be followed have to be; `None` where no option
/// makes them so.
fn slowed(a: &DrawArgs, drawn: &Drawn, parts: &Slower) -> Option<DrawArgs> {
    let request = &drawn.request;
    let (mut marks, mut tones, mut range) = (f64::INFINITY, f64::INFINITY, f64::INFINITY);
    let of = |i: usize| drawn.drawing.parts.get(i).map(|part| (part, group(part, drawn)));
    // A combined wedge whose tones cannot be followed becomes one of exposure, which has no combs.
    let alone = request.kind == WedgeKind::Combined
        && parts.iter().any(|(i, _)| matches!(of(*i), Some((_, Group::Tones))));
    for (i, speed) in parts {
        let (part, group) = of(*i)?;
        if alone && !part.is_patch() && !part.is_sign() {
            continue;
        }
        let least = match group {
            Group::Marks => &mut marks,
            Group::Tones => &mut tones,
            Group::Range => &mut range,
        };
        *least = least.min((*speed)?);
    }
    // Exposed alike, power goes with the speed to the power of s.
    let weaker = |power: f64, share: f64| power * libm::pow(share, request.response.schwarzschild);
    let percent = |power: f64| short(100.0 * power, 1);
    let mut asked = a.clone();
    if marks.is_finite() {
        let speed = tidy(marks)?;
        let of = drawn.drawing.wedge.fiducials;
        asked.marks_speed = Some(MmPerS(speed));
        // As it is typed.
        asked.marks_power = match a.marks_power {
            Some(_) => format!("{}%", percent(weaker(of.power.0, speed / of.speed.0))).parse::<Share>().ok(),
            None => None,
        };
    }
    if tones.is_finite() && request.kind == WedgeKind::Combined {
        // Its tones are burnt at the setting of the next job, which no option of the wedge is.
        asked.kind = Some(WedgeKind::Exposure.name().into());
    } else if tones.is_finite() {
        let speed = tidy(tones)?;
        let power = weaker(request.chosen.power.0, speed / request.chosen.speed.0);
        if power < 0.01 {
            return None;
        }
        asked.speed = Some(format!("{}mm/s", short(speed, 2)));
        asked.power = Some(format!("{}%", percent(power)));
    }
    if range.is_finite() {
        let ends = |values: &[f64]| {
            values.iter().fold((f64::INFINITY, 0.0f64), |(low, high), v| (low.min(*v), high.max(*v)))
        };
        let speeds = ends(&request.speeds.iter().map(|s| s.0).collect::<Vec<f64>>());
        let powers = ends(&request.powers.iter().map(|p| p.0).collect::<Vec<f64>>());
        let share = range / speeds.1;
        let (low, high) = (tidy(speeds.0 * share)?, tidy(range)?);
        let (weak, strong) = (weaker(powers.0, share), weaker(powers.1, share));
        // The least that a wedge is drawn at.
        if low < 0.5 || weak < 0.01 {
            return None;
        }
        asked.speed = Some(format!("{}mm/s", from_to(short(low, 2), short(high, 2))));
        asked.power = Some(format!("{}%", from_to(percent(weak), percent(strong))));
    }
    Some(asked)
}

fn from_to(from: String, to: String) -> String {
    if from == to { to } else { format!("{from}..{to}") }
}

/// A speed that is easily set, no faster than asked; none where it is next to nothing.
fn tidy(speed: f64) -> Option<f64> {
    let steps = if speed >= 2.0 { 10.0 } else { 100.0 };
    Some((speed * steps + 1e-9).floor() / steps).filter(|v| *v >= 0.1)
}

/// How to draw the wedge with what is asked `now` otherwise than it was: then none of it is faster than `fastest`, mm/s.
fn otherwise(a: &DrawArgs, now: &DrawArgs, fastest: f64) -> Remedy {
    let speed = |v: Option<MmPerS>| v.map(|v| v.to_string());
    let power = |v: Option<Share>| v.map(|v| v.to_string());
    let all = [
        ("kind", a.kind.clone(), now.kind.clone()),
        ("speed", a.speed.clone(), now.speed.clone()),
        ("power", a.power.clone(), now.power.clone()),
        ("marks-speed", speed(a.marks_speed), speed(now.marks_speed)),
        ("marks-power", power(a.marks_power), power(now.marks_power)),
    ];
    let changed = all.into_iter().filter(|(_, before, after)| before != after);
    let changed: Vec<(&str, String)> = changed.filter_map(|(name, _, after)| Some((name, after?))).collect();
    let typed: Vec<String> = changed.iter().map(|(name, value)| format!("--{name} {value}")).collect();
    let line = text!("cli.slower.options", options = typed.join(" "));
    let text = Said::two(line, without_options(&changed));
    let remedy = Remedy::new("speed", fastest, "mm/s", text);
    changed.into_iter().fold(remedy, |remedy, (name, value)| remedy.set(name, value))
}

/// The same in words that name no option.
fn without_options(changed: &[(&str, String)]) -> String {
    let (mut kind, mut with) = (None, Vec::new());
    for (name, value) in changed {
        match *name {
            "kind" => kind = Some(value),
            "speed" => with.push(text!("cli.slower.speed", value)),
            "power" => with.push(text!("cli.slower.power", value)),
            _ => with.push(text!("cli.slower.marks", value)),
        }
    }
    let settings = with.join(text!("cli.wedge.and"));
    match (kind, with.is_empty()) {
        (None, true) => text!("cli.slower.again").to_string(),
        (None, false) => text!("cli.slower.with", settings),
        (Some(kind), true) => text!("cli.slower.alone", kind = kind_word(kind)),
        (Some(kind), false) => text!("cli.slower.alone.with", kind = kind_word(kind), settings),
    }
}

#[cfg(test)]
mod tests {
    use super::super::*;
    use super::*;
    use crate::job::Machine;
    use crate::job::kit;

    fn args(typed: &[&str]) -> DrawArgs {
        #[derive(clap::Parser)]
        struct Options {
            #[command(flatten)]
            draw: DrawArgs,
        }
        let line = ["wedge", "--out=wedge"].iter().chain(typed);
        <Options as clap::Parser>::try_parse_from(line).map(|o| o.draw).unwrap()
    }

    /// What is said of a wedge on a machine that is otherwise than the kit's.
    fn told(typed: &[&str], change: fn(&mut Machine)) -> Vec<Finding> {
        let mut machine = kit::machine("diode-5w").unwrap();
        change(&mut machine);
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("mine.toml");
        let text = toml::to_string(&machine).unwrap();
        std::fs::write(&file, text).unwrap();
        let mine = format!("--machine={}", file.display());
        let all: Vec<&str> = typed.iter().copied().chain([mine.as_str()]).collect();
        let a = args(&all);
        let names = ProcessOptions { machine: a.machine.clone(), ..ProcessOptions::default() };
        let (plan, _) = plan_to_draw(&a, &names).unwrap();
        let d = drawn(&a, &plan).unwrap();
        said(&a, &names, &plan, &d)
    }

    /// A small wedge, so that it is soon drawn.
    const SMALL: &[&str] = &["--kind=exposure", "--blank=rect:60x40mm", "--steps=2x2"];

    #[test]
    fn of_a_machine_that_follows_nothing_is_said() {
        assert_eq!(told(SMALL, |_| {}), []);
    }

    #[test]
    fn a_starved_link_is_a_stop_whose_options_were_tried() {
        let found = told(SMALL, |m| m.program.link_bytes_per_s = 120.0);
        let stop = found.iter().find(|f| f.severity == Severity::Stop).unwrap();
        assert_eq!(stop.name, "link-starved");
        let why = refusal(stop);
        assert!(why.contains("Nothing was written") && why.contains("a link of"), "{why}");
        let slower = stop.remedies.iter().find(|r| r.change == "speed").unwrap();
        assert!(slower.text.starts_with("draw it with --") && slower.verified, "{slower:?}");
        // Each way is a button of the page, which sends what the command line is told to type.
        let ways = stop.remedies.iter().filter(|r| !r.sets.is_empty());
        for way in ways.clone() {
            let typed: Vec<String> =
                way.sets.iter().map(|(name, value)| format!("--{name} {value}")).collect();
            assert_eq!(way.text.on_line(), format!("draw it with {}", typed.join(" ")));
            assert!(way.text.on_page().starts_with("draw ") && !way.text.on_page().contains("--"), "{way:?}");
        }
        assert!(ways.count() > 0, "{stop:?}");
    }

    #[test]
    fn a_page_names_no_options() {
        let speed = ("speed", "2..6mm/s".to_string());
        let power = ("power", "40..90%".to_string());
        let kind = ("kind", "exposure".to_string());
        let marks = ("marks-speed", "5mm/s".to_string());
        assert_eq!(without_options(&[speed.clone(), power]), "draw it with speed 2..6mm/s and power 40..90%");
        assert_eq!(without_options(&[kind, speed]), "draw one of exposure alone with speed 2..6mm/s");
        assert_eq!(without_options(&[marks]), "draw it with finder marks and labels at 5mm/s");
    }

    #[test]
    fn a_slow_machine_is_timed_at_speeds_that_it_has() {
        let slow = ["--kind=timing", "--blank=rect:60x40mm"];
        assert_eq!(told(&slow, |m| m.motion.top_speed = MmPerS(3.0)), []);
    }

    #[test]
    fn a_beam_that_is_switched_at_rest_is_told_of() {
        let found = told(SMALL, |m| m.program.s_inside_moves = false);
        assert!(found.iter().any(|f| f.name == "edge-dwell"), "{found:?}");
    }

    #[test]
    fn tones_that_are_switched_at_rest_stop_a_wedge_and_settings_alone_are_offered() {
        let found =
            told(&["--kind=combined", "--blank=rect:100x100mm"], |m| m.program.s_inside_moves = false);
        let stop = found.iter().find(|f| f.severity == Severity::Stop).unwrap();
        assert_eq!(stop.name, "edge-dwell");
        assert!(stop.message.contains("times their dose"), "{}", stop.message);
        let way = stop.remedies.iter().find(|r| r.change == "speed").unwrap();
        // Patches of a few millimetres are lines long enough: none of them need be slower.
        assert!(way.verified && way.sets == [("kind".into(), "exposure".into())], "{way:?}");
    }
}
