//! Curves: lightness against exposure with the fit, dot gain, and lag, as one SVG page.

use crate::colour::lstar;
use crate::proof::canvas::escape;
use crate::units::short;
use crate::wedge::estimate::Estimate;
use crate::wedge::evidence::Evidence;
use crate::wedge::fit::{ResponseFit, ripple};
use crate::wedge::target::Wedge;

/// Seven colours that stay apart for colour-blind eyes (Okabe and Ito, 2008), used together with shapes.
const COLOURS: [&str; 7] = ["#0072B2", "#E69F00", "#009E73", "#CC79A7", "#56B4E9", "#D55E00", "#000000"];
const LEFT: f64 = 90.0;
const TOP: f64 = 70.0;
const WIDTH: f64 = 760.0;
const HEIGHT: f64 = 420.0;

/// A plot's frame: maps values to the page.
struct Frame {
    x: (f64, f64),
    y: (f64, f64),
    log: bool,
}

impl Frame {
    fn at(&self, x: f64, y: f64) -> (f64, f64) {
        let t = if self.log {
            (x.max(1e-9) / self.x.0).ln() / (self.x.1 / self.x.0).ln()
        } else {
            (x - self.x.0) / (self.x.1 - self.x.0)
        };
        let u = (y - self.y.0) / (self.y.1 - self.y.0);
        (LEFT + WIDTH * t, TOP + HEIGHT * (1.0 - u))
    }

    fn axes(&self, title: &str, x_title: &str, y_title: &str, x_ticks: &[f64], y_ticks: &[f64]) -> String {
        let mut out = format!(
            r##"<text x="{LEFT}" y="36" font-size="20" font-weight="bold">{}</text><rect x="{LEFT}" y="{TOP}" width="{WIDTH}" height="{HEIGHT}" fill="none" stroke="#444"/>"##,
            escape(title)
        );
        for &x in x_ticks.iter().filter(|x| (self.x.0..=self.x.1 * 1.0001).contains(*x)) {
            let (px, _) = self.at(x, self.y.0);
            out.push_str(&format!(
                r##"<path d="M{px:.1} {TOP}v{HEIGHT}" stroke="#ddd"/><text x="{px:.1}" y="{}" text-anchor="middle">{}</text>"##,
                TOP + HEIGHT + 20.0,
                short(x, 3)
            ));
        }
        for &y in y_ticks.iter().filter(|y| (self.y.0 - 1e-9..=self.y.1 + 1e-9).contains(*y)) {
            let (_, py) = self.at(self.x.0, y);
            out.push_str(&format!(
                r##"<path d="M{LEFT} {py:.1}h{WIDTH}" stroke="#ddd"/><text x="{}" y="{:.1}" text-anchor="end">{}</text>"##,
                LEFT - 8.0,
                py + 5.0,
                short(y, 3)
            ));
        }
        out.push_str(&format!(
            r#"<text x="{}" y="{}" text-anchor="middle">{}</text><text transform="translate(28 {}) rotate(-90)" text-anchor="middle">{}</text>"#,
            LEFT + WIDTH / 2.0,
            TOP + HEIGHT + 46.0,
            escape(x_title),
            TOP + HEIGHT / 2.0,
            escape(y_title)
        ));
        out
    }
}

/// The page for a reading. Empty wedges give a page that says so.
pub fn curves(evidence: &Evidence, wedge: &Wedge) -> String {
    let r = &evidence.reading;
    let body = if let Some(fit) = &evidence.fit {
        response(evidence, fit, wedge)
    } else if !r.dot_gain.is_empty() {
        gain(evidence)
    } else if !r.lags.is_empty() {
        lags(evidence)
    } else {
        format!(r#"<text x="{LEFT}" y="80">Nothing was measured.</text>"#)
    };
    format!(
        r#"<svg xmlns="http://www.w3.org/2000/svg" width="1080" height="580" viewBox="0 0 1080 580" font-family="DejaVu Sans, sans-serif" font-size="14"><rect width="1080" height="580" fill="white"/>{body}</svg>"#
    )
}

/// A sign of its own shape for series `i`.
fn sign(i: usize, x: f64, y: f64) -> String {
    let c = COLOURS[i % COLOURS.len()];
    let r = 5.0;
    match i % 4 {
        0 => format!(r#"<circle cx="{x:.1}" cy="{y:.1}" r="{r}" fill="{c}"/>"#),
        1 => format!(r#"<rect x="{:.1}" y="{:.1}" width="9" height="9" fill="{c}"/>"#, x - 4.5, y - 4.5),
        2 => format!(r#"<path d="M{x:.1} {:.1}l6 10h-12z" fill="{c}"/>"#, y - 6.0),
        _ => format!(r#"<path d="M{x:.1} {:.1}l6 6l-6 6l-6 -6z" fill="{c}"/>"#, y - 6.0),
    }
}

fn legend(names: &[String], title: &str) -> String {
    let x = LEFT + WIDTH + 30.0;
    let mut out = format!(r#"<text x="{x}" y="{}" font-weight="bold">{}</text>"#, TOP + 10.0, escape(title));
    for (i, n) in names.iter().enumerate() {
        let y = TOP + 34.0 + 22.0 * i as f64;
        out.push_str(&sign(i, x + 6.0, y - 5.0));
        out.push_str(&format!(r#"<text x="{}" y="{y}">{}</text>"#, x + 20.0, escape(n)));
    }
    out
}

fn polyline(points: &[(f64, f64)], colour: &str) -> String {
    let list: Vec<String> = points.iter().map(|p| format!("{:.1},{:.1}", p.0, p.1)).collect();
    format!(r#"<polyline points="{}" fill="none" stroke="{colour}" stroke-width="2.5"/>"#, list.join(" "))
}

fn response(evidence: &Evidence, fit: &ResponseFit, wedge: &Wedge) -> String {
    let r = &evidence.reading;
    let c = &fit.curve;
    let x_of = |dose: f64, speed: f64| dose * (speed / c.v0.0).powf(1.0 - c.schwarzschild);
    let xs: Vec<f64> = r.patches.iter().map(|p| x_of(p.dose_j_mm2, p.speed_mm_s)).collect();
    let low = xs.iter().copied().fold(f64::INFINITY, f64::min);
    let high = xs.iter().copied().fold(0.0, f64::max);
    if !(low > 0.0 && high >= low) {
        return String::new();
    }
    let frame = Frame { x: (low * 0.85, high * 1.18), y: (0.0, 100.0), log: true };
    let ticks = [0.1, 0.2, 0.5, 1.0, 1.5, 2.0, 3.0, 4.0, 5.0, 7.0, 10.0, 15.0, 20.0, 30.0, 50.0, 100.0];
    let scale = if r.scale.absolute { "L*" } else { "L* (relative)" };
    let mut out = frame.axes(
        &format!("{} on {}: what exposure does (wedge {})", r.coating, r.machine, r.wedge),
        &format!(
            "effective exposure X, J/mm² (dose × (speed / {} mm/s)^(1 − s), s = {:.3})",
            short(c.v0.0, 2),
            c.schwarzschild
        ),
        &format!("lightness {scale}"),
        &ticks,
        &[0.0, 20.0, 40.0, 60.0, 80.0, 100.0],
    );
    let (_, bare) = frame.at(low, lstar(r.scale.y_unmarked));
    out.push_str(&format!(
        r##"<path d="M{LEFT} {bare:.1}h{WIDTH}" stroke="#888" stroke-dasharray="6 5"/><text x="{}" y="{:.1}" text-anchor="end" fill="#555">bare coating</text>"##,
        LEFT + WIDTH - 6.0,
        bare - 6.0
    ));
    if !fit.fitted.is_empty() {
        let waves = ripple(wedge);
        let line: Vec<(f64, f64)> = (0..=200)
            .map(|i| {
                let x = frame.x.0 * (frame.x.1 / frame.x.0).powf(f64::from(i) / 200.0);
                let y = waves.iter().map(|e| c.look(x * e)).sum::<f64>() / waves.len().max(1) as f64;
                frame.at(x, lstar(y))
            })
            .collect();
        out.push_str(&polyline(&line, "#555"));
    }
    for (k, name) in [(&fit.x_half, "half mark"), (&fit.x_char, "half char")] {
        if let Estimate::Measured { value, uncertainty } = k {
            let (x, y) = frame.at(*value, 100.0);
            let digits = if *uncertainty < 0.01 { 3 } else { 2 };
            let anchor = if x > LEFT + 0.75 * WIDTH { "end" } else { "start" };
            if (LEFT..=LEFT + WIDTH).contains(&x) {
                out.push_str(&format!(
                    r##"<path d="M{x:.1} {y:.1}v{HEIGHT}" stroke="#999" stroke-dasharray="2 4"/><text x="{:.1}" y="{:.1}" fill="#444" text-anchor="{anchor}">{name} {value:.digits$} ± {uncertainty:.digits$}</text>"##,
                    if anchor == "end" { x - 4.0 } else { x + 4.0 },
                    y + 16.0
                ));
            }
        }
    }
    let mut speeds: Vec<f64> = r.patches.iter().map(|p| p.speed_mm_s).collect();
    speeds.sort_by(f64::total_cmp);
    speeds.dedup();
    for (p, &x) in r.patches.iter().zip(&xs) {
        let Some(l) = p.lightness.get() else { continue };
        let (px, py) = frame.at(x, l);
        let i = speeds.iter().position(|s| *s == p.speed_mm_s).unwrap_or(0);
        out.push_str(&sign(i, px, py));
        if r.pick.as_ref().is_some_and(|k| k.patch == p.name) {
            out.push_str(&format!(
                r##"<circle cx="{px:.1}" cy="{py:.1}" r="12" fill="none" stroke="#D55E00" stroke-width="3"/><text x="{px:.1}" y="{:.1}" text-anchor="middle" font-weight="bold">pick {}</text>"##,
                py - 18.0,
                escape(&p.name)
            ));
        }
    }
    let names: Vec<String> = speeds.iter().map(|s| format!("{} mm/s", short(*s, 2))).collect();
    out.push_str(&legend(&names, "Speed"));
    out
}

fn gain(evidence: &Evidence) -> String {
    let r = &evidence.reading;
    let frame = Frame { x: (0.0, 100.0), y: (0.0, 110.0), log: false };
    let tens: Vec<f64> = (0..=11).map(|i| 10.0 * f64::from(i)).collect();
    let mut out = frame.axes(
        &format!("{} on {}: dot gain (wedge {})", r.coating, r.machine, r.wedge),
        "coverage: share of dots that are on, %",
        "mark fraction, %",
        &tens,
        &tens,
    );
    out.push_str(&format!(
        r##"<g stroke-dasharray="6 5">{}</g>"##,
        polyline(&[frame.at(0.0, 0.0), frame.at(100.0, 100.0)], "#999")
    ));
    for (i, g) in r.dot_gain.iter().enumerate() {
        let points: Vec<(f64, f64)> = std::iter::once((0.0, 0.0))
            .chain(g.steps.iter().map(|s| (100.0 * s.coverage, 100.0 * s.mark)))
            .map(|(x, y)| frame.at(x, y))
            .collect();
        out.push_str(&polyline(&points, COLOURS[i % COLOURS.len()]));
        points.iter().skip(1).for_each(|p| out.push_str(&sign(i, p.0, p.1)));
    }
    let names: Vec<String> = r.dot_gain.iter().map(|g| g.screen.clone()).collect();
    out.push_str(&legend(&names, "Screen"));
    out
}

fn lags(evidence: &Evidence) -> String {
    let r = &evidence.reading;
    let points: Vec<(f64, f64)> =
        r.lags.iter().filter_map(|l| l.offset_mm.get().map(|o| (l.speed_mm_s, o))).collect();
    let top = points.iter().map(|p| p.0).fold(1.0, f64::max) * 1.1;
    let low = points.iter().map(|p| p.1).fold(0.0, f64::min) * 1.2 - 0.02;
    let high = points.iter().map(|p| p.1).fold(0.0, f64::max) * 1.2 + 0.02;
    let frame = Frame { x: (0.0, top), y: (low, high), log: false };
    let nice = |span: f64| {
        let p = 10f64.powf((span / 5.0).log10().floor());
        [1.0, 2.0, 5.0, 10.0].iter().map(|m| m * p).find(|s| span / s <= 7.0).unwrap_or(p * 10.0)
    };
    let ticks = |a: f64, b: f64| -> Vec<f64> {
        let s = nice(b - a);
        (0..=20).map(|i| (a / s).ceil() * s + s * f64::from(i)).filter(|v| *v <= b).collect()
    };
    let mut out = frame.axes(
        &format!("{}: lag between directions (wedge {})", r.machine, r.wedge),
        "speed, mm/s",
        "offset between directions, mm",
        &ticks(0.0, top),
        &ticks(low, high),
    );
    // One delay for all speeds: the offset grows by twice the delay with each mm/s.
    if let Some((lag, error)) = super::process::mean_lag(r) {
        let end = 2.0 * lag / 1000.0 * top;
        out.push_str(&polyline(&[frame.at(0.0, 0.0), frame.at(top, end.clamp(low, high))], "#555"));
        out.push_str(&format!(
            r#"<text x="{}" y="{}" font-weight="bold">lag {lag:.2} ± {error:.2} ms</text>"#,
            LEFT + 14.0,
            TOP + 24.0
        ));
    }
    for p in points {
        let (x, y) = frame.at(p.0, p.1);
        out.push_str(&sign(0, x, y));
    }
    out
}
