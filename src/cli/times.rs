//! Times: the same piece in less and less burn time, as a curve with a close-up of each, for a person to choose by looking.

use super::failure::Failure;
use crate::job::Plan;
use crate::pipeline::{LADDER, Pace, WORTH_A_RUNG, asking_for};
use crate::proof::canvas::{Picture, draw, escape};
use crate::proof::legend::PAPER;
use crate::proof::plot::{Field, Plot, PlotAxis};
use crate::proof::reduce::reduced;
use crate::units::{duration, short};

/// One of the burn times.
#[derive(Debug, Clone)]
pub struct TimePoint {
    /// Its time, s, and that as a share of the longest.
    pub seconds: f64,
    pub share: f64,
    /// Its likeness, dB.
    pub likeness: f64,
    /// Whether its lines show from near.
    pub lines_show: bool,
    /// A place of it, large.
    pub close_up: Option<Picture>,
}

impl TimePoint {
    /// What to say to prepare for it: the share that it keeps within.
    pub fn option(&self) -> String {
        format!("--time {}", asking_for(self.share))
    }

    /// What it is called on the sheet.
    pub fn name(&self) -> String {
        let show = if self.lines_show { " (lines show)" } else { "" };
        format!("{}: {}{show}", duration(self.seconds), self.option())
    }
}

/// Burn times as windows of a piece tell, held against the time, s, and the likeness, dB, that it has at its own pace.
pub fn told(times: &[Pace], own: &Pace, as_it_is: (f64, f64)) -> Vec<TimePoint> {
    let Some(now) = times.iter().find(|t| t.barred == own.barred) else { return Vec::new() };
    let point = |t: &Pace| {
        let (seconds, likeness) = t.beside(now, as_it_is);
        TimePoint { seconds, share: t.time, likeness, lines_show: t.lines_show(), close_up: None }
    };
    times.iter().map(point).collect()
}

/// Refuses a plan whose lines cannot be spared.
pub fn possible(plan: &Plan) -> Result<(), Failure> {
    if !plan.dots.screen.searches {
        return Err(Failure::input(format!(
            "{} makes dots line by line and cannot spare any; --times takes the screens auto and fitted",
            plan.dots.screen.name
        )));
    }
    Ok(())
}

/// Refuses a piece whose burn times, in s from dots on all lines on, are all one: there is nothing to choose from.
pub fn differ(seconds: &[f64]) -> Result<(), Failure> {
    let Some(&all_lines) = seconds.first() else { return Ok(()) };
    if seconds.iter().any(|&s| s < WORTH_A_RUNG * all_lines) {
        return Ok(());
    }
    Err(Failure::input(format!(
        "no line can be spared here: the burn takes {} with dots on all lines, and there is no quicker burn of it; leave --times out",
        duration(all_lines)
    )))
}

const CLOSE_UP: usize = 230;
const GAP: usize = 20;
/// Where the list begins: below the curve.
const BELOW: usize = 430;

fn width(points: usize) -> usize {
    GAP + points.max(LADDER.len()) * (CLOSE_UP + GAP)
}

/// Likeness against time, and below it what to say for each, with a place of it where there is one.
pub fn picture(title: &str, standing: &str, points: &[TimePoint]) -> Result<Picture, Failure> {
    let width = width(points.len());
    let minutes = |p: &TimePoint| p.seconds / 60.0;
    let ends = |of: &dyn Fn(&TimePoint) -> f64| {
        points.iter().map(of).fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| (l.min(v), h.max(v)))
    };
    let ((first, last), (low, high)) = (ends(&minutes), ends(&|p| p.likeness));
    let room = (0.1 * (last - first)).max(0.02 * last).max(1e-3);
    let plot = Plot {
        field: Field { left: 90.0, top: 84.0, width: width as f64 - 130.0, height: 270.0, text: 13.0 },
        x: PlotAxis::linear("time of the burn, min", (first - room).max(0.0), last + room),
        y: PlotAxis::linear("likeness as the eye sees it, dB", (low - 0.3).floor(), (high + 0.3).ceil()),
    };
    let mut svg = format!(
        r#"<text x="{GAP}" y="34" font-size="20" font-weight="bold">{}</text><text x="{GAP}" y="60" font-size="14">{}</text><g font-size="13">{}"#,
        escape(title),
        escape(standing),
        plot.axes()
    );
    let line: Vec<(f64, f64)> = points.iter().map(|p| (minutes(p), p.likeness)).collect();
    svg += &plot.line(&line, "black", "");
    for (i, point) in points.iter().enumerate() {
        let (x, y) = plot.at(minutes(point), point.likeness);
        let left = GAP + i * (CLOSE_UP + GAP);
        svg += &format!(
            r#"<circle cx="{x:.1}" cy="{y:.1}" r="5"/><text x="{:.1}" y="{:.1}" font-weight="bold">{}</text>"#,
            x + 8.0,
            y - 8.0,
            i + 1
        );
        for (row, text) in [
            format!(
                "{}: {}{}",
                i + 1,
                duration(point.seconds),
                if point.lines_show { ", lines show" } else { "" }
            ),
            format!("{} dB, {}", short(point.likeness, 1), point.option()),
        ]
        .iter()
        .enumerate()
        {
            let weight = if row == 0 { "bold" } else { "normal" };
            svg += &format!(
                r#"<text x="{left}" y="{}" font-weight="{weight}">{}</text>"#,
                BELOW + 18 * row,
                escape(text)
            );
        }
    }
    let top = BELOW + 34;
    let close_ups = if points.iter().any(|p| p.close_up.is_some()) { CLOSE_UP + GAP } else { 0 };
    let mut all = draw(width, top + close_ups, PAPER, &(svg + "</g>"))?;
    for (i, point) in points.iter().enumerate() {
        if let Some(close_up) = &point.close_up {
            all.lay(&reduced(close_up, CLOSE_UP)?, GAP + i * (CLOSE_UP + GAP), top);
        }
    }
    Ok(all)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn point(seconds: f64, likeness: f64) -> TimePoint {
        let close_up = Some(Picture::filled(300, 300, [9, 9, 9]));
        TimePoint { seconds, share: seconds / 4000.0, likeness, lines_show: false, close_up }
    }

    #[test]
    fn what_to_say_keeps_within_the_share() {
        assert_eq!(point(2900.4, 40.0).option(), "--time 72.6%");
        assert_eq!(point(4000.0, 40.0).name(), "1 h 7 min: --time 100%");
    }

    #[test]
    fn times_that_are_all_one_are_no_choice() {
        assert!(differ(&[199.0, 198.9, 190.0]).is_ok() && differ(&[]).is_ok());
        let said = differ(&[199.0, 199.0, 198.9, 199.0, 199.0]).unwrap_err().sentence;
        assert!(said.starts_with("no line can be spared here: the burn takes 3 min 19 s with"), "{said}");
    }

    #[test]
    fn what_windows_tell_is_held_against_the_burn_as_it_is() {
        let pace = |barred, time, lost_db| Pace { barred, time, lost_db, asked: None };
        let times = [pace(0.0, 1.0, 0.0), pace(0.5, 0.9, 0.1), pace(0.9, 0.75, 0.4)];
        let points = told(&times, &times[1], (1800.0, 41.0));
        let all: Vec<_> = points.iter().map(|p| (p.seconds.round(), (p.likeness * 10.0).round())).collect();
        assert_eq!(all, [(2000.0, 411.0), (1800.0, 410.0), (1500.0, 407.0)]);
        assert_eq!(points[2].option(), "--time 75%");
        assert_eq!(points.iter().map(|p| p.lines_show).collect::<Vec<_>>(), [false, false, true]);
        assert_eq!(points[2].name(), "25 min 0 s: --time 75% (lines show)");
        assert!(told(&times, &pace(0.3, 1.0, 0.0), (1800.0, 41.0)).is_empty(), "none is as it is");
        let all = picture("a harbour", "estimates", &points).unwrap();
        assert!(all.height < BELOW + 60, "there are no close-ups");
    }

    #[test]
    fn the_curve_has_its_points_and_their_close_ups() {
        let points: Vec<TimePoint> =
            (0..5).map(|i| point(4000.0 - 300.0 * f64::from(i), 41.0 - 0.5 * f64::from(i))).collect();
        let all = picture("a harbour", "assumed", &points).unwrap();
        assert_eq!(all.width, width(5));
        let inside = |i: usize| all.get(GAP + i * (CLOSE_UP + GAP) + 50, BELOW + 34 + 50);
        assert!((0..5).all(|i| inside(i) == [9, 9, 9]));
        let dark = all.rgb.chunks_exact(3).take(all.width * 400).filter(|p| p[0] < 60).count();
        assert!(dark > 3000, "lettering and curve are drawn: {dark}");
        // All alike is no reason to fail.
        assert!(picture("flat", "", &[point(60.0, 40.0), point(60.0, 40.0)]).is_ok());
    }
}
