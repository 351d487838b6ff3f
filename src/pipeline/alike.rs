//! Alike: what moves the head slower is advised with the power that leaves the burn as it is, and another power with the
//! speed that does.

use crate::findings::change::{Aim, Change, pitches, typed_pitches};
use crate::findings::{Finding, Remedy};
use crate::job::Plan;
use crate::said::Said;
use crate::texts::text;
use crate::units::{MmPerS, Watts, short};

const SPEED_FIRST: &str = "speed and power";
const POWER_FIRST: &str = "power and speed";
/// The key of a job that says the speed.
const SPEED: &str = "burn.speed";
/// The keys of a job that say how far apart dots are, along the lines and across them.
const PITCHES: [&str; 2] = ["dots.pitch", "dots.pitch_across"];
/// Where exposure hardly hangs on the speed, no other speed makes up for a power.
const LEAST_EXPONENT: f64 = 0.01;

/// A finding about the motion of `plan`, each of whose remedies that names a speed or a power says what the other one is
/// then to be, and how both are typed.
pub(super) fn told(plan: &Plan, mut finding: Finding) -> Finding {
    for remedy in &mut finding.remedies {
        remedy.change = match remedy.change {
            "speed" => SPEED_FIRST,
            "power" => POWER_FIRST,
            _ => continue,
        };
        let Some(Change::Alike { speed, power, pitch_kept }) = change(plan, remedy) else {
            remedy.verified = false;
            continue;
        };
        let percent = short(100.0 * power.0 / plan.process.rated_power.value.0, 2);
        let speed = short(speed.0, 3);
        let (other, typed) = match remedy.change {
            SPEED_FIRST => (format!("{percent}%"), format!("--speed {speed}mm/s --power {percent}%")),
            _ => (format!("{speed} mm/s"), format!("--power {percent}% --speed {speed}mm/s")),
        };
        remedy.sets = vec![
            (SPEED.to_string(), format!("{speed}mm/s")),
            ("burn.power".to_string(), format!("{percent}%")),
        ];
        let (to, pitch) = if pitch_kept {
            let pitch = format!("{}mm", short(plan.process.pitch_across.value.0, 7));
            remedy.sets.extend(PITCHES.map(|key| (key.to_string(), pitch.clone())));
            (text!("pipeline.alike.to-pitch-kept", other), format!(" --pitch {pitch}"))
        } else {
            (text!("pipeline.alike.to", other), String::new())
        };
        remedy.text.push(Said::from(to).line(format!(" ({typed}{pitch})")));
    }
    finding
}

/// Adds to a remedy that names a pitch what it sets, and how it is typed where the beam is switched more finely than the lines
/// lie apart: it is tried so, and a pitch alone would be typed for both ways.
pub(super) fn pitch_typed(plan: &Plan, remedy: &mut Remedy) {
    let process = &plan.process;
    let times = (process.pitch_across.value.0 / process.pitch_along.value.0).round();
    if remedy.change != "pitch" || !remedy.sets.is_empty() {
        return;
    }
    let mut both = [remedy.value; 2].map(|pitch| format!("{pitch}mm"));
    if times > 1.0 {
        remedy.text.push(Said::default().line(format!(" ({})", typed_pitches(remedy.value, times))));
        both = pitches(remedy.value, times);
    }
    remedy.sets = PITCHES.into_iter().map(String::from).zip(both).collect();
}

/// Adds to a remedy that names a power or a pitch alone the speed that it is tried at, where that is a start: whoever set only
/// the one would have another start filled in, which brings the exposure back.
pub(super) fn speed_typed(plan: &Plan, remedy: &mut Remedy) {
    let named = remedy.sets.iter().any(|(key, _)| key == SPEED);
    if named || !["power", "pitch"].contains(&remedy.change) || !plan.speed_is_a_start() {
        return;
    }
    let speed = format!("{}mm/s", short(plan.process.speed.value.0, 3));
    let kept = text!("pipeline.alike.speed-kept", speed);
    remedy.text.push(Said::from(kept).line(format!(" (--speed {speed})")));
    remedy.sets.push((SPEED.into(), speed));
}

/// Offers, of a finding that the controller sees too few moves ahead, to switch the beam at whole pitches where it switches more
/// finely: moves are then longer and the burn takes as long.
pub(super) fn whole_pitch(plan: &Plan, mut finding: Finding) -> Finding {
    if finding.name == "short-sighted" && plan.switched() != (1, 1) {
        let pitch = plan.process.pitch_across.value.0;
        let mut remedy = Change::WholePitch.remedy(pitch, Aim::Cooler).verified(true);
        let said = format!("{}mm", short(pitch, 7));
        remedy.text.push(Said::default().line(format!(" (--pitch {said})")));
        remedy.sets = PITCHES.map(|key| (key.to_string(), said.clone())).into();
        finding.remedies.insert(0, remedy);
    }
    finding
}

/// The change that such a remedy asks for; `None` where the machine or the coating has none, and for any other remedy.
///
/// Exposure goes with the power and with the speed to the power of −s, the reciprocity exponent. Both are rounded to what is easily set, towards less of it.
pub(super) fn change(plan: &Plan, remedy: &Remedy) -> Option<Change> {
    let process = &plan.process;
    let (s, rated) = (process.reciprocity.value.0, process.rated_power.value.0);
    let (v, percent) = (process.speed.value.0, 100.0 * process.power.value.0);
    let (speed, percent) = match remedy.change {
        SPEED_FIRST => {
            let alike = percent * libm::pow(remedy.value / v, s);
            (remedy.value, (alike * 10.0 + 1e-6).floor() / 10.0)
        }
        POWER_FIRST if s > LEAST_EXPONENT => {
            let alike = v * libm::pow(remedy.value / percent, 1.0 / s);
            ((alike * 100.0 - 1e-6).ceil() / 100.0, (remedy.value * 100.0).round() / 100.0)
        }
        _ => return None,
    };
    if percent <= 0.0 {
        return None;
    }
    let alike = |pitch_kept| Change::Alike {
        speed: MmPerS(speed),
        power: Watts(rated * percent / 100.0),
        pitch_kept,
    };
    // At a lower speed the beam may be let switch more finely, which brings back what the speed was to clear.
    let grid = plan.with(alike(false)).ok()?.grid;
    let whole = plan.grid.along == plan.grid.across;
    Some(alike(whole && grid != plan.grid))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::findings::Severity;
    use crate::job::Job;
    use crate::units::Mm;

    fn plan(job: &str) -> Plan {
        Plan::of(&job.parse::<Job>().unwrap()).unwrap()
    }

    fn one(plan: &Plan, remedy: Remedy) -> Remedy {
        let f = told(plan, Finding::new("short-sighted", Severity::Caution, "").with(remedy));
        f.remedies.into_iter().next().unwrap()
    }

    #[test]
    fn a_lower_speed_comes_with_the_power_that_burns_alike() {
        let plan = plan("burn = { speed = '20mm/s', power = '80%' }\ndots = { pitch = '0.0875mm' }");
        let r = one(&plan, Remedy::slower(10.0, 1));
        assert_eq!((r.change, r.speed()), ("speed and power", Some(10.0)));
        let Some(Change::Alike { speed, power, pitch_kept }) = change(&plan, &r) else { panic!("{r:?}") };
        assert_eq!((speed, pitch_kept), (MmPerS(10.0), false));
        let with = plan.with(change(&plan, &r).unwrap()).unwrap();
        let exposures = [&plan, &with].map(|p| p.burn.x_solid);
        assert!(exposures[1] <= exposures[0] && exposures[1] > 0.995 * exposures[0], "{exposures:?}");
        let percent = short(100.0 * power.0 / plan.process.rated_power.value.0, 2);
        let said = format!(
            "speed of 10 mm/s, with the power lowered alike to {percent}% (--speed 10mm/s --power {percent}%)"
        );
        assert_eq!(r.text, said);
        let page = format!("speed of 10 mm/s, with the power lowered alike to {percent}%");
        assert_eq!(r.text.on_page(), page);
        let sets = [("burn.speed", "10mm/s".to_string()), ("burn.power", format!("{percent}%"))];
        assert_eq!(r.sets, sets.map(|(key, value)| (key.to_string(), value)));
    }

    #[test]
    fn a_power_comes_with_the_speed_that_burns_alike() {
        let plan = plan("burn = { speed = '20mm/s', power = '80%' }");
        let text = "power of 85%, with the speed changed alike".to_string();
        let r = one(&plan, Remedy::new("power", 85.0, "%", text).verified(true));
        assert_eq!((r.change, r.speed()), ("power and speed", None));
        let Some(Change::Alike { speed, .. }) = change(&plan, &r) else { panic!("{r:?}") };
        assert!(speed.0 > 21.0 && speed.0 < 23.0, "{speed}");
        let speed = short(speed.0, 3);
        assert!(
            r.text.ends_with(&format!("alike to {speed} mm/s (--power 85% --speed {speed}mm/s)")),
            "{}",
            r.text
        );
        let with = plan.with(change(&plan, &r).unwrap()).unwrap();
        assert!((with.burn.x_solid / plan.burn.x_solid - 1.0).abs() < 0.002);
    }

    #[test]
    fn whole_pitches_are_offered_where_the_beam_is_switched_more_finely() {
        let halved = plan("burn = { power = '90%' }");
        let short_sighted =
            || Finding::new("short-sighted", Severity::Caution, "").with(Remedy::slower(10.0, 1));
        let found = whole_pitch(&halved, short_sighted());
        let first = &found.remedies[0];
        assert!(first.verified && first.text.ends_with(" (--pitch 0.0875mm)"), "{first:?}");
        assert!(!first.text.on_page().contains("--"), "{first:?}");
        assert_eq!(first.sets, PITCHES.map(|key| (key.to_string(), "0.0875mm".to_string())));
        let whole = halved.with(Change::WholePitch).unwrap();
        assert_eq!((whole.switched(), whole.grid.along), ((1, 1), Mm(0.0875)));
        assert_eq!(whole.grid.across, halved.grid.across);
        assert_eq!(whole_pitch(&whole, short_sighted()).remedies.len(), 1);
        assert_eq!(whole_pitch(&halved, Finding::new("off-bed", Severity::Stop, "")).remedies, []);
    }

    #[test]
    fn a_pitch_is_typed_as_it_was_tried() {
        let halved = plan("burn = { power = '90%' }");
        assert_eq!(halved.switched(), (2, 1));
        let with = halved.with(Change::Pitch(Mm(0.1))).unwrap();
        let wider = || with_text("pitch", 0.1, "widen the pitch to 0.1mm (254 dpi)");
        let mut r = wider();
        pitch_typed(&halved, &mut r);
        assert_eq!(r.text, "widen the pitch to 0.1mm (254 dpi) (--pitch 0.05mm --pitch-across 0.1mm)");
        assert_eq!(r.text.on_page(), "widen the pitch to 0.1mm (254 dpi)");
        let typed = plan(
            "burn = { power = '90%', speed = '12.5mm/s' }\ndots = { pitch = '0.05mm', pitch_across = '0.1mm' }",
        );
        assert_eq!(typed.grid, with.grid);
        let once = r.text.clone();
        pitch_typed(&halved, &mut r);
        assert_eq!(r.text, once);
        // Where a pitch is that of both ways, it is typed as it is.
        let mut r = wider();
        pitch_typed(&plan("dots = { pitch = '0.0875mm' }"), &mut r);
        assert_eq!(r.text, "widen the pitch to 0.1mm (254 dpi)");
        assert_eq!(r.sets, PITCHES.map(|key| (key.to_string(), "0.1mm".to_string())));
    }

    #[test]
    fn a_speed_that_nobody_asked_for_is_named_as_it_was_tried() {
        // Another power or pitch alone has another start filled in, as exposed as the first.
        let wide = "dots = { pitch = '0.12mm' }";
        let start = plan(wide);
        let lower =
            || Remedy::new("power", 80.0, "%", "lower the power to 80% (4W)").set("burn.power", "80%");
        let mut r = lower();
        speed_typed(&start, &mut r);
        assert_eq!(r.text, "lower the power to 80% (4W), and keep the speed of 8.5mm/s (--speed 8.5mm/s)");
        assert_eq!(r.text.on_page(), "lower the power to 80% (4W), and keep the speed of 8.5mm/s");
        let tried = start.with(Change::Power(Watts(4.0))).unwrap();
        let set = |burn: &str| plan(&format!("{wide}\nburn = {burn}"));
        let typed = set("{ power = '80%', speed = '8.5mm/s' }");
        assert_eq!(r.sets[1..], [("burn.speed".to_string(), "8.5mm/s".to_string())]);
        assert_eq!(typed.burn.x_solid, tried.burn.x_solid);
        assert!(set("{ power = '80%' }").burn.x_solid > 1.05 * tried.burn.x_solid);
        let mut r = Remedy::new("pitch", 0.1, "mm", "widen");
        speed_typed(&start, &mut r);
        assert_eq!(r.sets.len(), 1, "{r:?}");
        // What was asked for stays without a word, and so does what sets the speed itself.
        for (plan, mut r) in [(set("{ speed = '9mm/s' }"), lower()), (start, Remedy::slower(9.0, 1))] {
            let before = r.clone();
            speed_typed(&plan, &mut r);
            assert_eq!(r, before);
        }
    }

    fn with_text(change: &'static str, value: f64, text: &str) -> Remedy {
        Remedy::new(change, value, "mm", text).verified(true)
    }

    #[test]
    fn the_pitch_is_kept_where_another_speed_would_settle_another() {
        // At its start the kit's diode is slow enough for two places in a line pitch, at its top speed it is not.
        let quick = plan("burn = { speed = '100mm/s', power = '90%' }");
        let slow = quick.with(Change::Speed(MmPerS(12.5))).unwrap();
        assert!(quick.grid.along == quick.grid.across && slow.grid.along.0 < 0.6 * quick.grid.along.0);
        let r = one(&quick, Remedy::slower(12.5, 1));
        assert!(
            r.text.contains("and the pitch kept (") && r.text.ends_with("--pitch 0.0875mm)"),
            "{}",
            r.text
        );
        assert!(r.text.on_page().ends_with("and the pitch kept"), "{r:?}");
        assert_eq!(r.sets[2..], PITCHES.map(|key| (key.to_string(), "0.0875mm".to_string())));
        let with = quick.with(change(&quick, &r).unwrap()).unwrap();
        assert_eq!(with.grid, quick.grid);
        // What was asked for stays without a word.
        let asked = plan("burn = { speed = '100mm/s', power = '90%' }\ndots = { pitch = '0.0875mm' }");
        assert!(!one(&asked, Remedy::slower(12.5, 1)).text.contains("--pitch"));
    }
}
