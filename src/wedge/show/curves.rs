//! Curves: lightness against exposure with the fit, dot gain, and lag, as one SVG page.

use super::process::mean_lag;
use crate::colour::lstar;
use crate::job::kit::spoken;
use crate::proof::canvas::escape;
use crate::proof::plot::{COLOURS, Field, Plot, PlotAxis, VERMILION, legend, sign};
use crate::texts::text;
use crate::units::short;
use crate::wedge::evidence::Evidence;
use crate::wedge::fit::ResponseFit;
use crate::wedge::measurement::Measurement;
use crate::wedge::reading::Reading;
use crate::wedge::target::{Pattern, Wedge};

const FIELD: Field = Field { left: 90.0, top: 70.0, width: 760.0, height: 420.0, text: 14.0 };
/// Where the list of series begins.
const LEGEND: f64 = FIELD.left + FIELD.width + 30.0;
/// Ink of fitted lines.
const FITTED: &str = "#555";

/// The page for a reading. Empty wedges give a page that says so.
pub fn curves(evidence: &Evidence, wedge: &Wedge) -> String {
    let r = &evidence.reading;
    let body = if let Some(fit) = &evidence.fit {
        response(r, fit, wedge)
    } else if !r.dot_gain.is_empty() {
        gain(r)
    } else if !r.lags.is_empty() {
        lags(r)
    } else {
        format!(r#"<text x="{}" y="80">{}</text>"#, FIELD.left, escape(text!("wedge.curves.nothing")))
    };
    format!(
        r#"<svg xmlns="http://www.w3.org/2000/svg" width="1080" height="580" viewBox="0 0 1080 580" font-family="DejaVu Sans, sans-serif" font-size="14"><rect width="1080" height="580" fill="white"/>{body}</svg>"#
    )
}

fn title(text: &str) -> String {
    format!(r#"<text x="{}" y="36" font-size="20" font-weight="bold">{}</text>"#, FIELD.left, escape(text))
}

fn response(r: &Reading, fit: &ResponseFit, wedge: &Wedge) -> String {
    let c = &fit.curve;
    let x_of = |dose: f64, speed: f64| dose * (speed / c.v0.0).powf(1.0 - c.schwarzschild);
    // Fine patterns have no exposure of their own to stand at.
    let solids: Vec<_> = r
        .patches
        .iter()
        .zip(&wedge.patches)
        .filter(|(_, p)| p.pattern == Pattern::Solid)
        .map(|(p, _)| p)
        .collect();
    let xs: Vec<f64> = solids.iter().map(|p| x_of(p.dose_j_mm2, p.speed_mm_s)).collect();
    let low = xs.iter().copied().fold(f64::INFINITY, f64::min);
    let high = xs.iter().copied().fold(0.0, f64::max);
    if !(low > 0.0 && high >= low) {
        return String::new();
    }
    let ticks = [0.1, 0.2, 0.5, 1.0, 1.5, 2.0, 3.0, 4.0, 5.0, 7.0, 10.0, 15.0, 20.0, 30.0, 50.0, 100.0];
    let exposure =
        text!("wedge.curves.exposure", speed = short(c.v0.0, 2), s = format_args!("{:.3}", c.schwarzschild));
    let lightness = if r.scale.absolute {
        text!("wedge.curves.lightness")
    } else {
        text!("wedge.curves.lightness.relative")
    };
    let plot = Plot {
        field: FIELD,
        x: PlotAxis::log(&exposure, low * 0.85, high * 1.18).with_ticks(&ticks),
        y: PlotAxis::linear(lightness, 0.0, 100.0).with_ticks(&[0.0, 20.0, 40.0, 60.0, 80.0, 100.0]),
    };
    let mut out = title(&text!(
        "wedge.curves.response",
        coating = spoken(&r.coating),
        machine = spoken(&r.machine),
        wedge = r.wedge
    )) + &plot.axes();
    out += &plot.level(lstar(r.scale.y_unmarked), text!("wedge.curves.bare"));
    if !fit.fitted.is_empty() {
        let line: Vec<(f64, f64)> = (0..=200)
            .map(|i| {
                let x = plot.x.from * (plot.x.to / plot.x.from).powf(f64::from(i) / 200.0);
                (x, fit.lightness(x))
            })
            .collect();
        out += &plot.line(&line, FITTED, "");
    }
    for (k, name) in
        [(&fit.x_half, text!("wedge.curves.half-mark")), (&fit.x_char, text!("wedge.curves.half-char"))]
    {
        if let Measurement::Measured { value, uncertainty } = k {
            let digits = if *uncertainty < 0.01 { 3 } else { 2 };
            out += &plot.upright(*value, &format!("{name} {value:.digits$} ± {uncertainty:.digits$}"));
        }
    }
    let mut speeds: Vec<f64> = solids.iter().map(|p| p.speed_mm_s).collect();
    speeds.sort_by(f64::total_cmp);
    speeds.dedup();
    for (p, &x) in solids.iter().zip(&xs) {
        let Some(l) = p.lightness.get() else { continue };
        let (px, py) = plot.at(x, l);
        let i = speeds.iter().position(|s| *s == p.speed_mm_s).unwrap_or(0);
        out += &sign(i, px, py);
        if r.pick.as_ref().is_some_and(|k| k.patch == p.name) {
            out += &format!(
                r##"<circle cx="{px:.1}" cy="{py:.1}" r="12" fill="none" stroke="{VERMILION}" stroke-width="3"/><text x="{px:.1}" y="{:.1}" text-anchor="middle" font-weight="bold">{}</text>"##,
                py - 18.0,
                escape(&text!("wedge.curves.pick", patch = p.name))
            );
        }
    }
    let names: Vec<String> = speeds.iter().map(|s| format!("{} mm/s", short(*s, 2))).collect();
    out + &legend(&names, text!("wedge.curves.speeds"), LEGEND, FIELD.top)
}

fn gain(r: &Reading) -> String {
    let tens: Vec<f64> = (0..=11).map(|i| 10.0 * f64::from(i)).collect();
    let plot = Plot {
        field: FIELD,
        x: PlotAxis::linear(text!("wedge.curves.coverage"), 0.0, 100.0).with_ticks(&tens),
        y: PlotAxis::linear(text!("wedge.curves.mark"), 0.0, 110.0).with_ticks(&tens),
    };
    let mut out = title(&text!(
        "wedge.curves.gain",
        coating = spoken(&r.coating),
        machine = spoken(&r.machine),
        wedge = r.wedge
    )) + &plot.axes();
    out += &plot.line(&[(0.0, 0.0), (100.0, 100.0)], "#999", "6 5");
    for (i, g) in r.dot_gain.iter().enumerate() {
        let points: Vec<(f64, f64)> = std::iter::once((0.0, 0.0))
            .chain(g.steps.iter().map(|s| (100.0 * s.coverage, 100.0 * s.mark)))
            .collect();
        out += &plot.line(&points, COLOURS[i % COLOURS.len()], "");
        for p in points.iter().skip(1) {
            let (x, y) = plot.at(p.0, p.1);
            out += &sign(i, x, y);
        }
    }
    let names: Vec<String> = r.dot_gain.iter().map(|g| g.screen.clone()).collect();
    out + &legend(&names, text!("wedge.curves.screens"), LEGEND, FIELD.top)
}

fn lags(r: &Reading) -> String {
    let points: Vec<(f64, f64)> =
        r.lags.iter().filter_map(|l| l.offset_mm.get().map(|o| (l.speed_mm_s, o))).collect();
    let top = points.iter().map(|p| p.0).fold(1.0, f64::max) * 1.1;
    let low = points.iter().map(|p| p.1).fold(0.0, f64::min) * 1.2 - 0.02;
    let high = points.iter().map(|p| p.1).fold(0.0, f64::max) * 1.2 + 0.02;
    let plot = Plot {
        field: FIELD,
        x: PlotAxis::linear(text!("wedge.curves.speed"), 0.0, top),
        y: PlotAxis::linear(text!("wedge.curves.offset"), low, high),
    };
    let mut out = title(&text!("wedge.curves.lags", machine = r.machine, wedge = r.wedge)) + &plot.axes();
    // One delay for all speeds: the offset grows by twice the delay with each mm/s.
    if let Some((lag, error)) = mean_lag(r) {
        let end = 2.0 * lag / 1000.0 * top;
        out += &plot.line(&[(0.0, 0.0), (top, end.clamp(low, high))], FITTED, "");
        out += &format!(
            r#"<text x="{}" y="{}" font-weight="bold">{}</text>"#,
            FIELD.left + 14.0,
            FIELD.top + 24.0,
            escape(&text!(
                "wedge.curves.lag",
                lag = format_args!("{lag:.2}"),
                uncertainty = format_args!("{error:.2}")
            ))
        );
    }
    for p in points {
        let (x, y) = plot.at(p.0, p.1);
        out += &sign(0, x, y);
    }
    out
}
