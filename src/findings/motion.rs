//! Findings about motion: edge-dwell, short-sighted, off-bed, coarse-power.

use super::{Finding, Remedy, Severity, link};
use crate::placement::Along;
use crate::said::Said;
use crate::scan::estimate::Estimate;
use crate::scan::limits::PowerMode;
use crate::scan::lines::{Marking, ScanLines};
use crate::scan::motion;
use crate::scan::outline;
use crate::scan::program::{Cost, Program};
use crate::scan::raster::{RasterPath, Scan};
use crate::texts::text;
use crate::units::{duration, short};

/// All findings about the motion of `marking` along `path`, which comes to `cost`, and of its outline.
pub fn all(path: &RasterPath, marking: Marking<'_>, cost: &Cost) -> Vec<Finding> {
    [
        edge_dwell(path, marking, &cost.estimate),
        link::starved(path, marking, &cost.load),
        short_sighted(path, marking, &cost.estimate),
        off_bed(path, marking, &cost.estimate),
        coarse_power(path),
    ]
    .into_iter()
    .flatten()
    .collect()
}

/// The same path with another scan; `None` where the machine cannot do it.
pub(super) fn changed(path: &RasterPath, scan: Scan) -> Option<RasterPath> {
    Some(RasterPath::new(&path.limits, scan, path.rect, path.blank).ok()?.ordered_as(path))
}

/// Time, travel and reach of a path.
pub(super) fn estimate(path: &RasterPath, marking: Marking<'_>) -> Estimate {
    Estimate::new(&Program::of_raster(path.clone(), marking, Vec::new()))
}

/// So many times its dose spoils a mark: paint chars, and tones run together.
const SPOILT: f64 = 1.5;

/// The unit of what marks get, as an acceptance keeps it.
const OF_DOSE: &str = "% of the dose";

/// How many times their dose all marks together get, as the head is slow with the beam on: where the beam is switched at
/// rest, or the controller sees too few moves ahead. What the ends of lines get for want of a run-up is not in it.
fn dose(path: &RasterPath, estimate: &Estimate) -> f64 {
    let planned = estimate.powered_mm / path.scan.speed;
    if planned > 0.0 { estimate.powered_s / planned } else { 1.0 }
}

/// The dose of all marks as a sentence that follows another; nothing where they hardly get more than they should.
fn dose_said(dose: f64) -> String {
    if dose < 1.05 { String::new() } else { format!(" {}", text!("findings.dose", times = short(dose, 1))) }
}

/// Lower speeds to try, mm/s, each as a person sets it.
fn lower_speeds(speed: f64) -> impl Iterator<Item = f64> {
    let speeds = std::iter::successors(Some(speed), |v| Some(v * 0.85)).skip(1).take(20);
    speeds.map(|v| (v * 10.0).floor() / 10.0).filter(|v| *v >= 0.1)
}

/// A lower speed at which the marks of a path are not spoilt by what they get beyond their dose, mm/s.
pub fn sparing_speed(path: &RasterPath, marking: Marking<'_>) -> Option<f64> {
    let spares = |path: &RasterPath| dose(path, &estimate(path, marking)) < SPOILT;
    lower_speeds(path.scan.speed)
        .find(|&speed| changed(path, Scan { speed, ..path.scan }).is_some_and(|path| spares(&path)))
}

/// A remedy of a lower speed, to which a path was changed, with how long the burn then takes.
fn slower(path: &RasterPath, marking: Marking<'_>, speed: f64) -> Remedy {
    let time = duration(estimate(path, marking).times.total());
    let text = text!("findings.slower.lasting", speed = short(speed, 1), time);
    Remedy { text: text.into(), ..Remedy::slower(speed, 1) }
}

/// Extra dose over the first dot of a line, as a fraction.
fn first_dot(raster: &RasterPath) -> f64 {
    let run_up = f64::from(raster.run_up) / 1000.0;
    // Half a micrometre is rounding of the run-up, not a lack of it.
    let enough = run_up + 0.0005 >= motion::ramp_mm(raster.scan.speed, raster.axis().acceleration);
    if enough {
        return 0.0;
    }
    motion::edge_extra_dose(raster.scan.speed, raster.axis().acceleration, run_up, raster.pitch())
}

/// `edge-dwell`: the run-up is shorter than `v²/(2a)`, so the head is slow at the edge and marks it more; a stop where every
/// run has such edges and that spoils the marks.
pub fn edge_dwell(raster: &RasterPath, marking: Marking<'_>, estimate: &Estimate) -> Option<Finding> {
    let (v, a) = (raster.scan.speed, raster.axis().acceleration);
    let (extra, run_up) = (first_dot(raster), f64::from(raster.run_up) / 1000.0);
    if extra < 0.005 || estimate.lines == 0 {
        return None;
    }
    let ramp = motion::ramp_mm(v, a);
    let scaled = raster.limits.power_mode == PowerMode::SpeedScaled;
    let dose = if raster.limits.power_in_motion || scaled { 1.0 } else { dose(raster, estimate) };
    let severity = match extra {
        _ if scaled => Severity::Note,
        _ if dose >= SPOILT => Severity::Stop,
        e if e >= 0.05 => Severity::Caution,
        _ => Severity::Note,
    };
    let at_edge = motion::speed_at(run_up, 1e9, v, a);
    let more = short(extra * 100.0, 0);
    let effect = if scaled {
        text!("findings.edge-dwell.scaled", more)
    } else {
        text!("findings.edge-dwell.constant", more, length = short(ramp - run_up, 3))
    };
    let (way, speed, start) = (short(ramp, 3), short(v, 2), short(at_edge, 2));
    let message = if raster.limits.power_in_motion {
        let run_up = short(run_up, 3);
        text!("findings.edge-dwell.run-up-short", run_up, way, speed, start, effect)
    } else {
        text!("findings.edge-dwell.at-rest", way, speed, start, effect)
    };
    let mut finding =
        Finding::new("edge-dwell", severity, message + &dose_said(dose)).measuring(dose * 100.0, OF_DOSE);
    if raster.limits.power_in_motion {
        let mm = (raster.limits.run_up(raster.scan.along, v) * 100.0).ceil() / 100.0;
        if let Some(c) = changed(raster, Scan { run_up: Some(mm), ..raster.scan }) {
            let grown = estimate.extents.map(|e| {
                let more = mm - run_up;
                match raster.scan.along {
                    Along::X => [e[0] - more, e[1], e[2] + more, e[3]],
                    Along::Y => [e[0], e[1] - more, e[2], e[3] + more],
                }
            });
            let fits = grown.is_none_or(|e| raster.limits.off_bed(Some(&raster.blank), e) == 0.0);
            finding = finding.with(
                Remedy::new("run-up", mm, "mm", text!("findings.edge-dwell.run-up", run_up = short(mm, 2)))
                    .set("scan.run_up", format!("{}mm", short(mm, 4)))
                    .verified(first_dot(&c) == 0.0 && fits),
            );
        }
    }
    let speed = if raster.limits.power_in_motion {
        motion::speed_for_run_up(run_up, raster.limits.settle.min(run_up / 2.0), a)
    } else {
        // From a stop the first dot always gets more; 5 % is let pass.
        let over = raster.pitch();
        slowest_with(v, |speed| motion::edge_extra_dose(speed, a, 0.0, over) < 0.05)
    };
    let speed = (speed * 10.0).floor() / 10.0;
    if speed >= 0.1
        && let Some(c) = changed(raster, Scan { speed, run_up: Some(run_up), ..raster.scan })
    {
        finding = finding.with(slower(&c, marking, speed).verified(first_dot(&c) < 0.05));
    }
    Some(finding)
}

/// The highest speed up to `high` for which `good` holds (it holds below some speed), mm/s.
fn slowest_with(high: f64, good: impl Fn(f64) -> bool) -> f64 {
    let (mut low, mut high) = (0.0, high);
    for _ in 0..50 {
        let mid = 0.5 * (low + high);
        if good(mid) { low = mid } else { high = mid }
    }
    low
}

/// `short-sighted`: the controller does not see far enough ahead to hold the speed where moves are short; a stop where that
/// spoils the marks.
pub fn short_sighted(raster: &RasterPath, marking: Marking<'_>, estimate: &Estimate) -> Option<Finding> {
    let ahead = raster.limits.plans_ahead.filter(|_| estimate.slowed > 0)?;
    let v = raster.scan.speed;
    let scaled = raster.limits.power_mode == PowerMode::SpeedScaled;
    let effect = if scaled {
        text!("findings.short-sighted.scaled")
    } else {
        text!("findings.short-sighted.constant")
    };
    let places = match estimate.slowed {
        1 => text!("findings.short-sighted.places.one").to_string(),
        count => text!("findings.short-sighted.places.many", count),
    };
    let (speed, way) = (short(v, 2), short(motion::ramp_mm(v, raster.axis().acceleration), 2));
    let message = match ahead {
        1 => text!("findings.short-sighted.one", speed, way, places, effect),
        moves => text!("findings.short-sighted.many", moves, speed, way, places, effect),
    };
    let dose = if scaled { 1.0 } else { dose(raster, estimate) };
    let severity = match dose {
        _ if scaled => Severity::Note,
        times if times >= SPOILT => Severity::Stop,
        _ => Severity::Caution,
    };
    let finding =
        Finding::new("short-sighted", severity, message + &dose_said(dose)).measuring(dose * 100.0, OF_DOSE);
    let fitting = |speed: f64| {
        let path = changed(raster, Scan { speed, ..raster.scan })?;
        let mut lines = ScanLines::new(&path, marking);
        // The first mark that is slowed decides.
        let fits = std::iter::from_fn(|| lines.next_line().map(|l| l.slowed.runs)).all(|runs| runs == 0);
        fits.then(|| slower(&path, marking, speed))
    };
    Some(match lower_speeds(v).find_map(fitting) {
        Some(remedy) => finding.with(remedy),
        None => finding,
    })
}

/// Where all moves of a job end: left, bottom, right, top, mm of the program. The marks with their
/// run-ups, the way back to the program's zero, and the outline.
fn reach(path: &RasterPath, estimate: &Estimate) -> [f64; 4] {
    let walk = Estimate::new(&outline::program(&path.limits, &path.rect, &path.blank, "")).reach;
    let e = estimate.reach;
    [e[0].min(walk[0]), e[1].min(walk[1]), e[2].max(walk[2]), e[3].max(walk[3])]
}

/// `off-bed`: a move of the program or of its outline leaves the machine's bed.
pub fn off_bed(path: &RasterPath, marking: Marking<'_>, estimate: &Estimate) -> Option<Finding> {
    let over = |p: &RasterPath, reach: [f64; 4]| p.limits.off_bed(Some(&p.blank), reach);
    let fits = |p: &RasterPath| over(p, reach(p, &self::estimate(p, marking))) == 0.0;
    let all = reach(path, estimate);
    let most = over(path, all);
    if most <= 0.0 {
        return None;
    }
    let limits = &path.limits;
    let lines = estimate.extents.map_or(0.0, |e| over(path, e));
    let (bed, mm) = (limits.bed(), short(most, 2));
    let assumed = if limits.on_bed.is_none() { text!("findings.off-bed.assumed") } else { "" };
    // The part that reaches furthest: the ways of a program and of its outline both end at zero.
    let message = if lines >= most {
        text!("findings.off-bed.lines", bed, mm, assumed)
    } else if over(path, [0.0; 4]) >= most {
        text!("findings.off-bed.zero", bed, mm, assumed)
    } else {
        text!("findings.off-bed.outline", bed, mm, assumed)
    };
    let mut finding = Finding::new("off-bed", Severity::Stop, message).measuring(most, "mm");
    if let Some(at) = limits.on_bed {
        let (a, b) = (limits.to_blank((all[0], all[1])), limits.to_blank((all[2], all[3])));
        let place = |at: f64, low: f64, high: f64, bed: f64| {
            (high - low <= bed).then(|| (at.max(-low).min(bed - high) * 100.0).round() / 100.0)
        };
        let x = place(at.0, a.0.min(b.0), a.0.max(b.0), limits.x.travel);
        let y = place(at.1, a.1.min(b.1), a.1.max(b.1), limits.y.travel);
        if let (Some(x), Some(y)) = (x, y) {
            let mut moved = path.clone();
            moved.limits.on_bed = Some((x, y));
            let text = text!("findings.off-bed.place", x = short(x, 2), y = short(y, 2));
            finding = finding.with(
                Remedy::new("place on the bed", libm::hypot(x - at.0, y - at.1), "mm", text)
                    .verified(over(&moved, all) < 0.011),
            );
        }
    }
    let acceleration = path.axis().acceleration;
    let room = f64::from(path.run_up) / 1000.0 - lines;
    let settle = limits.settle.min(room.max(0.0));
    let speed = (motion::speed_for_run_up(room, settle, acceleration) * 10.0).floor() / 10.0;
    let slower = Scan { speed, run_up: None, ..path.scan };
    if lines > 0.0
        && speed >= 0.1
        && let Some(c) = changed(path, slower)
        && fits(&c)
    {
        let text = text!("findings.off-bed.slower", speed);
        finding = finding.with(Remedy::new("speed", speed, "mm/s", text).verified(true));
    }
    let along = path.scan.along.turned();
    if let Some(c) = changed(path, Scan { along, ..path.scan })
        && fits(&c)
    {
        let axis = if along == Along::X { "x" } else { "y" };
        let text = Said::from(text!("findings.lines-along", axis)).line(format!(": --axis {axis}"));
        finding = finding.with(
            Remedy::new("lines along", 90.0, "deg", text)
                .set("scan.axis", axis)
                // Pitches that differ along and across change places with the lines: other dots.
                .verified(path.rect.grid.along == path.rect.grid.across),
        );
    }
    Some(finding)
}

/// How far moves leave the bed as these findings say, mm; 0 where none says so.
pub fn overhang(findings: &[Finding]) -> f64 {
    let off_bed = findings.iter().filter(|f| f.name == "off-bed").filter_map(|f| f.harm.as_ref());
    off_bed.fold(0.0, |most, harm| f64::max(most, harm.value))
}

/// A power that rounding changes by more is worth a word.
const POWER_ERROR: f64 = 0.01;
/// A power that rounding changes by more spoils the burn.
const POWER_SPOILT: f64 = 0.1;

/// `coarse-power`: the machine's S words are so few that the power of a dot is not the one asked for.
pub fn coarse_power(path: &RasterPath) -> Option<Finding> {
    let error = path.power_error();
    if error.abs() <= POWER_ERROR {
        return None;
    }
    let full = f64::from(path.limits.full_scale_s);
    let percent = |share: f64| short(share * 100.0, 2);
    let (power, becomes, off) =
        (percent(path.scan.power), percent(f64::from(path.level) / full), percent(error.abs()));
    let message = if error > 0.0 {
        text!("findings.coarse-power.more", full, power, level = path.level, becomes, off)
    } else {
        text!("findings.coarse-power.less", full, power, level = path.level, becomes, off)
    };
    let severity = if error.abs() > POWER_SPOILT { Severity::Stop } else { Severity::Caution };
    let mut finding =
        Finding::new("coarse-power", severity, message).measuring(error.abs() * 100.0, "% of the power");
    let power = f64::from(path.level) / full;
    if let Some(c) = changed(path, Scan { power, ..path.scan }) {
        let text = text!("findings.coarse-power.power", power = percent(power));
        finding = finding.with(
            Remedy::new("power", power * 100.0, "%", text).verified(c.power_error().abs() <= POWER_ERROR),
        );
    }
    Some(finding)
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;
    use crate::blank::Blank;
    use crate::placement::{DotRect, Grid};
    use crate::plane::{Dots, Tone};
    use crate::progress::Silent;
    use crate::scan::limits::Limits;
    use crate::units::Mm;

    pub(in crate::findings) fn solid(columns: usize, rows: usize) -> Dots {
        Dots::from_packed(columns, rows, vec![0xFF; columns.div_ceil(8) * rows])
    }

    pub(in crate::findings) fn path(limits: &Limits, scan: Scan, dots: &Dots) -> RasterPath {
        let blank = Blank { shape: "rect:90x60mm".parse().unwrap(), margin: Mm(1.0) };
        let grid = Grid { along: Mm(0.1), across: Mm(0.1) };
        let rect = DotRect { left: Mm(2.0), top: Mm(2.0), columns: dots.width(), rows: dots.height(), grid };
        RasterPath::new(limits, scan, rect, blank).unwrap()
    }

    pub(in crate::findings) fn find(limits: &Limits, scan: Scan, dots: &Dots) -> Vec<Finding> {
        let raster = path(limits, scan, dots);
        let marking = Marking::Dots(dots);
        let cost = Program::of_raster(raster.clone(), marking, Vec::new()).measure(&Silent).unwrap();
        all(&raster, marking, &cost)
    }

    #[test]
    fn a_good_job_has_nothing_to_say() {
        assert_eq!(find(&Limits::default(), Scan::new(12.5, 0.9), &solid(800, 20)), []);
    }

    #[test]
    fn a_short_run_up_burns_the_edge_by_a_stated_dose() {
        let scan = Scan { run_up: Some(2.5), ..Scan::new(100.0, 0.9) };
        let f = &find(&Limits::default(), scan, &solid(800, 20))[0];
        // v²/(2a) = 10 mm; after 2.5 mm the head does √(2·500·2.5) = 50 mm/s: twice the dose at the edge,
        // 98 % more over the first 0.1 mm: ((√2600 − √2500)/500)·100/0.1 − 1.
        assert_eq!((f.name, f.severity), ("edge-dwell", Severity::Caution));
        assert!(f.message.contains("98 % more") && f.message.contains("50 mm/s"), "{}", f.message);
        assert!(f.remedies.iter().all(|r| r.verified) && f.remedies.len() == 2, "{f:?}");
        // 0.1 mm to settle: 10.1 mm, or √(2·500·2.4) = 48.99 mm/s.
        assert_eq!((f.remedies[0].value, f.remedies[1].value), (10.1, 48.9));
        let scaled = Limits { power_mode: PowerMode::SpeedScaled, ..Limits::default() };
        assert_eq!(find(&scaled, scan, &solid(800, 20))[0].severity, Severity::Note);
    }

    #[test]
    fn a_controller_that_switches_at_rest_is_told_so() {
        let limits = Limits { power_in_motion: false, ..Limits::default() };
        let found = find(&limits, Scan::new(30.0, 0.9), &solid(80, 4));
        let f = found.iter().find(|f| f.name == "edge-dwell").unwrap();
        assert!(f.message.contains("switches the beam at rest"), "{}", f.message);
        assert!(f.remedies[0].verified && f.remedies[0].value < 10.0, "{f:?}");
    }

    #[test]
    fn a_short_way_to_a_low_speed_is_told_in_micrometres() {
        let limits = Limits { power_in_motion: false, ..Limits::default() };
        // v²/(2a) = 0.002 mm; of a dot of 0.1 mm that is 2 %, and nothing at a fifth of the speed.
        let found = find(&limits, Scan::new(1.4, 0.9), &solid(80, 4));
        let f = found.iter().find(|f| f.name == "edge-dwell").unwrap();
        assert!(
            f.message.contains("without the 0.002 mm that") && f.message.contains("over 0.002 mm"),
            "{f:?}"
        );
        assert_eq!(find(&limits, Scan::new(0.3, 0.9), &solid(80, 4)), []);
    }

    /// Every other dot of four lines.
    fn single_dots() -> Dots {
        let mut d = Dots::off(80, 4);
        (0..320).filter(|i| i % 2 == 0).for_each(|i| d.set(i % 80, i / 80, true));
        d
    }

    #[test]
    fn dots_that_are_switched_at_rest_get_several_times_their_dose_and_are_a_stop() {
        let at_rest = Limits { power_in_motion: false, ..Limits::default() };
        let found = |limits: &Limits, speed| {
            let all = find(limits, Scan::new(speed, 0.9), &single_dots());
            all.into_iter().find(|f| f.name == "edge-dwell").unwrap()
        };
        let f = found(&at_rest, 12.5);
        // From rest to rest over 0.1 mm: 2 √(0.1/500) s instead of 0.008 s.
        assert!(f.severity == Severity::Stop && crate::findings::STOPS.contains(&f.name), "{f:?}");
        assert!(f.message.ends_with(" All marks together would get 3.5 times their dose."), "{}", f.message);
        assert_eq!(f.harm.as_ref().map(|h| h.rounded().to_string()).as_deref(), Some("353.6 % of the dose"));
        let slower = &f.remedies[0];
        assert!(slower.verified && slower.text.contains("(the burn then takes "), "{slower:?}");
        assert_eq!(found(&at_rest, slower.value).severity, Severity::Note);
        // A faster one at which they are not spoilt, though their edges are.
        let raster = path(&at_rest, Scan::new(12.5, 0.9), &single_dots());
        let sparing = sparing_speed(&raster, Marking::Dots(&single_dots())).unwrap();
        assert!(sparing > slower.value && sparing < 12.5, "{sparing}");
        assert_eq!(found(&at_rest, sparing).severity, Severity::Caution);
        let scaled = Limits { power_mode: PowerMode::SpeedScaled, ..at_rest };
        let f = found(&scaled, 12.5);
        assert!(f.severity == Severity::Note && !f.message.contains("All marks"), "{f:?}");
    }

    #[test]
    fn what_is_marked_at_little_power_counts_for_as_little() {
        // Four lines, each of a stretch of 10 mm and of single dots along another 10 mm, which are slow.
        let severity = |limits: &Limits, (speed, name): (f64, &str), (stretch, dots): (f32, f32)| {
            let of = |x: usize| if x < 100 { stretch } else { dots * (x % 2) as f32 };
            let tone = Tone::from_vec(200, 4, (0..800).map(|i| of(i % 200)).collect());
            let marking = Marking::Grey { tone: &tone, levels: &[0, 20, 900] };
            let raster = path(limits, Scan::new(speed, 0.9), &solid(200, 4));
            let cost = Program::of_raster(raster.clone(), marking, Vec::new()).measure(&Silent).unwrap();
            let all = all(&raster, marking, &cost);
            all.into_iter().find(|f| f.name == name).map(|f| f.severity)
        };
        let at_rest = Limits { power_in_motion: false, ..Limits::default() };
        let blind = Limits { plans_ahead: Some(1), link_bytes_per_s: None, ..Limits::default() };
        for (limits, case) in [(&at_rest, (12.5, "edge-dwell")), (&blind, (60.0, "short-sighted"))] {
            assert_eq!(severity(limits, case, (1.0, 0.5)), Some(Severity::Caution), "{case:?}");
            assert_eq!(severity(limits, case, (0.5, 1.0)), Some(Severity::Stop), "{case:?}");
        }
    }

    #[test]
    fn leaving_the_bed_is_a_stop_with_places_and_speeds_that_fit() {
        let mut limits = Limits { on_bed: Some((2.0, 5.0)), ..Limits::default() };
        (limits.x.travel, limits.y.travel) = (120.0, 100.0);
        let f = &find(&limits, Scan::new(100.0, 0.9), &solid(800, 20))[0];
        // Run-up 10.1 mm, art 2 mm from the blank's left, blank 2 mm from the bed's: 6.1 mm too far.
        assert_eq!((f.name, f.severity), ("off-bed", Severity::Stop));
        assert!(f.message.contains("by 6.1 mm"), "{}", f.message);
        let names: Vec<_> = f.remedies.iter().map(|r| (r.change, r.verified)).collect();
        assert_eq!(names[0], ("place on the bed", true));
        assert!(f.remedies[0].text.contains("8.1, 5 mm"), "{}", f.remedies[0].text);
        assert!(names.contains(&("speed", true)), "{names:?}");
    }

    #[test]
    fn the_way_back_to_zero_and_the_outline_must_stay_on_the_bed_too() {
        // Zero 30 mm left of the blank, which lies 20 mm from the bed's left edge.
        let mut limits = Limits { on_bed: Some((20.0, 20.0)), ..Limits::default() };
        limits.x.zero = -30.0;
        let f = &find(&limits, Scan::new(12.5, 0.9), &solid(800, 20))[0];
        assert_eq!((f.name, f.severity), ("off-bed", Severity::Stop));
        assert_eq!(f.message, "The way back to the program's zero leaves the bed of 400 x 400 mm by 10 mm.");
        let moved = &f.remedies[0];
        assert!(moved.verified && moved.text.contains("30, 20 mm"), "{f:?}");
        // The blank of 90 mm hangs over the bed's right edge by 4 mm; the art of 20 mm does not.
        let limits = Limits { on_bed: Some((314.0, 20.0)), ..Limits::default() };
        let f = &find(&limits, Scan::new(12.5, 0.9), &solid(200, 20))[0];
        assert_eq!(f.message, "The outline leaves the bed of 400 x 400 mm by 4 mm.");
        assert!(f.remedies[0].verified && f.remedies[0].text.contains("310, 20 mm"), "{f:?}");
    }

    #[test]
    fn what_reaches_furthest_beyond_the_bed_is_told_and_held_to() {
        // The blank hangs over the bed's right edge by 30 mm, the lines with their run-ups by 16.1 mm.
        let limits = Limits { on_bed: Some((340.0, 20.0)), ..Limits::default() };
        let found = find(&limits, Scan::new(100.0, 0.9), &solid(640, 20));
        let f = found.iter().find(|f| f.name == "off-bed").unwrap();
        assert_eq!(f.message, "The outline leaves the bed of 400 x 400 mm by 30 mm.");
        assert!((overhang(&found) - 30.0).abs() < 1e-9, "{f:?}");
        // With the art at the right edge the lines reach further than the blank.
        let found = find(&limits, Scan::new(100.0, 0.9), &solid(800, 20));
        let f = found.iter().find(|f| f.name == "off-bed").unwrap();
        assert_eq!(f.message, "The lines with their run-ups leave the bed of 400 x 400 mm by 32.1 mm.");
        assert_eq!(overhang(&[]), 0.0);
    }

    #[test]
    fn few_steps_of_power_are_told_before_they_burn() {
        let coarse = |full_scale_s| Limits { full_scale_s, ..Limits::default() };
        assert_eq!(find(&coarse(1000), Scan::new(12.5, 0.9), &solid(80, 4)), []);
        assert_eq!(find(&coarse(10), Scan::new(12.5, 0.9), &solid(80, 4)), []);
        let f = &find(&coarse(1), Scan::new(12.5, 0.8), &solid(80, 4))[0];
        assert_eq!((f.name, f.severity), ("coarse-power", Severity::Stop));
        assert!(f.message.contains("S 1, which is 100%: 25% more"), "{}", f.message);
        let f = &find(&coarse(20), Scan::new(12.5, 0.93), &solid(80, 4))[0];
        assert_eq!(f.severity, Severity::Caution);
        assert!(f.message.contains("S 19, which is 95%: 2.15% more"), "{}", f.message);
        assert!(f.remedies[0].verified && f.remedies[0].value == 95.0, "{f:?}");
    }

    #[test]
    fn a_controller_that_sees_too_few_moves_is_told_of_with_a_speed_that_it_holds() {
        let d = single_dots();
        let limits = |ahead| Limits { plans_ahead: Some(ahead), link_bytes_per_s: None, ..Limits::default() };
        assert_eq!(find(&limits(15), Scan::new(12.5, 0.9), &d), []);
        // From 60 mm/s the head needs 3.6 mm to stop; 15 moves are 1.5 mm.
        let f = &find(&limits(15), Scan::new(60.0, 0.9), &d)[0];
        assert_eq!((f.name, f.severity), ("short-sighted", Severity::Caution));
        assert!(f.message.contains("15 moves ahead") && f.message.contains("3.6 mm"), "{}", f.message);
        assert!(f.message.contains("places so many moves are shorter"), "{}", f.message);
        let blind = &find(&limits(1), Scan::new(60.0, 0.9), &d)[0];
        let said = &blind.message;
        assert!(
            said.contains("plans 1 move ahead") && said.contains("places that move is shorter"),
            "{said}"
        );
        // Hardly faster than √(2·500·0.1) = 10 mm/s.
        assert_eq!(blind.severity, Severity::Stop);
        assert!(said.ends_with(" All marks together would get 5.4 times their dose."), "{said}");
        assert!(f.remedies[0].text.contains("(the burn then takes "), "{f:?}");
        let speed = f.remedies[0].value;
        assert!((30.0..38.0).contains(&speed), "{f:?}");
        assert_eq!(find(&limits(15), Scan::new(speed, 0.9), &d), []);
        assert_eq!(find(&limits(200), Scan::new(60.0, 0.9), &d), []);
        // A controller of which nothing is known is not judged.
        let unknown = Limits { plans_ahead: None, ..limits(15) };
        assert_eq!(find(&unknown, Scan::new(60.0, 0.9), &d), []);
    }
}
