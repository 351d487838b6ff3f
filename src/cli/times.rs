//! Times: the same piece in less and less burn time, as a curve with a close-up of each, for a person to choose by looking.

use super::failure::Failure;
use crate::job::Plan;
use crate::placement::Along;
use crate::proof::canvas::{Picture, Rgb, draw, escape};
use crate::proof::plot::{Field, Plot, PlotAxis};
use crate::proof::reduce::reduced;
use crate::screen::barred::MOST;
use crate::units::{duration, short};

/// How much of each is kept free of dots: on no line, then on every second one up to these shares of what the others can
/// mark.
pub const BARRED: [f32; 5] = [0.0, 0.5, 0.75, 0.9, MOST];

/// One of them.
#[derive(Debug, Clone)]
pub struct Point {
    /// Its time, s, and that as a share of the longest.
    pub seconds: f64,
    pub share: f64,
    /// Its likeness, dB.
    pub likeness: f64,
    /// A place of it, large.
    pub close_up: Option<Picture>,
}

impl Point {
    /// What to say to prepare for it: the share in whole percent that it keeps within.
    pub fn option(&self) -> String {
        format!("--time {}%", (100.0 * self.share - 1e-6).ceil().clamp(1.0, 100.0))
    }

    /// What it is called on the sheet.
    pub fn name(&self) -> String {
        format!("{}: {}", duration(self.seconds), self.option())
    }
}

/// Refuses a plan whose lines cannot be spared.
pub fn possible(plan: &Plan) -> Result<(), Failure> {
    if !plan.dots.screen.searches {
        return Err(Failure::input(format!(
            "{} makes dots line by line and cannot spare any; --times takes the screens auto and fitted",
            plan.dots.screen.name
        )));
    }
    if plan.scan.lines != Along::X {
        return Err(Failure::input("lines are spared along x only; leave --axis y out with --times"));
    }
    Ok(())
}

const PAPER: Rgb = [255, 255, 255];
const CLOSE_UP: usize = 230;
const GAP: usize = 20;
const WIDTH: usize = GAP + BARRED.len() * (CLOSE_UP + GAP);
/// Where the close-ups begin: below the curve.
const BELOW: usize = 430;

/// Likeness against time, and below it a place of each.
pub fn picture(title: &str, standing: &str, points: &[Point]) -> Result<Picture, Failure> {
    let minutes = |p: &Point| p.seconds / 60.0;
    let ends = |of: &dyn Fn(&Point) -> f64| {
        points.iter().map(of).fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| (l.min(v), h.max(v)))
    };
    let ((first, last), (low, high)) = (ends(&minutes), ends(&|p| p.likeness));
    let room = (0.1 * (last - first)).max(0.02 * last).max(1e-3);
    let plot = Plot {
        field: Field { left: 90.0, top: 84.0, width: WIDTH as f64 - 130.0, height: 270.0, text: 13.0 },
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
            format!("{}: {}", i + 1, duration(point.seconds)),
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
    let mut all = draw(WIDTH, top + CLOSE_UP + GAP, PAPER, &(svg + "</g>"))?;
    for (i, point) in points.iter().enumerate() {
        if let Some(close_up) = &point.close_up {
            all.lay(&reduced(close_up, CLOSE_UP), GAP + i * (CLOSE_UP + GAP), top);
        }
    }
    Ok(all)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn point(seconds: f64, likeness: f64) -> Point {
        let close_up = Some(Picture::filled(300, 300, [9, 9, 9]));
        Point { seconds, share: seconds / 4000.0, likeness, close_up }
    }

    #[test]
    fn what_to_say_keeps_within_the_share() {
        assert_eq!(point(2900.4, 40.0).option(), "--time 73%");
        assert_eq!(point(4000.0, 40.0).name(), "1 h 7 min: --time 100%");
    }

    #[test]
    fn the_curve_has_its_points_and_their_close_ups() {
        let points: Vec<Point> =
            (0..5).map(|i| point(4000.0 - 300.0 * f64::from(i), 41.0 - 0.5 * f64::from(i))).collect();
        let all = picture("a harbour", "assumed", &points).unwrap();
        assert_eq!(all.width, WIDTH);
        let inside = |i: usize| all.get(GAP + i * (CLOSE_UP + GAP) + 50, BELOW + 34 + 50);
        assert!((0..5).all(|i| inside(i) == [9, 9, 9]));
        let dark = all.rgb.chunks_exact(3).take(WIDTH * 400).filter(|p| p[0] < 60).count();
        assert!(dark > 3000, "lettering and curve are drawn: {dark}");
        // All alike is no reason to fail.
        assert!(picture("flat", "", &[point(60.0, 40.0), point(60.0, 40.0)]).is_ok());
    }
}
