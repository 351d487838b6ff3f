//! Plot: curves and readings over two axes, as SVG elements.
//!
//! All plots of the program are drawn here: the page decides on the field, its paper and the size of its letters, the
//! plot on ticks, lines and signs. Series differ by shape or dash and by colours that stay apart for colour-blind
//! eyes; nothing is told by colour alone.

mod axis;
mod series;

pub use axis::PlotAxis;
pub use series::{COLOURS, ORANGE, SKY_BLUE, VERMILION, legend, sign};

use super::canvas::escape;

/// Where a plot lies on its page, in the page's units.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Field {
    /// Left edge; figures and the axis's title stand left of it.
    pub left: f64,
    /// Upper edge.
    pub top: f64,
    /// Width.
    pub width: f64,
    /// Height; figures and the axis's title stand below.
    pub height: f64,
    /// Size of the figures.
    pub text: f64,
}

/// A plot's frame: maps values to the page.
#[derive(Debug, Clone, PartialEq)]
pub struct Plot {
    /// Where it lies.
    pub field: Field,
    /// Rightwards.
    pub x: PlotAxis,
    /// Upwards.
    pub y: PlotAxis,
}

impl Plot {
    /// Where a pair of values lies on the page.
    pub fn at(&self, x: f64, y: f64) -> (f64, f64) {
        let f = &self.field;
        (f.left + f.width * self.x.share(x), f.top + f.height * (1.0 - self.y.share(y)))
    }

    /// The frame, a line and a figure at each tick, and the axes' titles.
    pub fn axes(&self) -> String {
        let Field { left, top, width, height, text } = self.field;
        // Distances that suit letters of 14 units, in proportion for others.
        let away = |units: f64| (units * text / 14.0).round();
        let mut out = format!(
            r##"<rect x="{left}" y="{top}" width="{width}" height="{height}" fill="none" stroke="#444"/>"##
        );
        for (value, label) in self.x.shown_ticks() {
            let (x, _) = self.at(value, self.y.from);
            out += &format!(
                r##"<path d="M{x:.1} {top}v{height}" stroke="#ddd"/><text x="{x:.1}" y="{}" text-anchor="middle">{}</text>"##,
                top + height + away(20.0),
                escape(label)
            );
        }
        for (value, label) in self.y.shown_ticks() {
            let (_, y) = self.at(self.x.from, value);
            out += &format!(
                r##"<path d="M{left} {y:.1}h{width}" stroke="#ddd"/><text x="{}" y="{:.1}" text-anchor="end">{}</text>"##,
                left - away(8.0),
                y + away(5.0),
                escape(label)
            );
        }
        out + &format!(
            r#"<text x="{}" y="{}" text-anchor="middle">{}</text><text transform="translate({} {}) rotate(-90)" text-anchor="middle">{}</text>"#,
            left + width / 2.0,
            top + height + away(46.0),
            escape(&self.x.title),
            left - away(62.0),
            top + height / 2.0,
            escape(&self.y.title)
        )
    }

    /// A line through pairs of values; `dash` is SVG's dash pattern, empty for a whole line. What is not a number is
    /// left out.
    pub fn line(&self, points: &[(f64, f64)], colour: &str, dash: &str) -> String {
        let list: Vec<String> = points
            .iter()
            .map(|p| self.at(p.0, p.1))
            .filter(|p| p.0.is_finite() && p.1.is_finite())
            .map(|p| format!("{:.1},{:.1}", p.0, p.1))
            .collect();
        let line = format!(
            r#"<polyline points="{}" fill="none" stroke="{colour}" stroke-width="2.5"/>"#,
            list.join(" ")
        );
        if dash.is_empty() { line } else { format!(r#"<g stroke-dasharray="{dash}">{line}</g>"#) }
    }

    /// A broken line across the field at a value of y, with its name at the right end.
    pub fn level(&self, value: f64, name: &str) -> String {
        let Field { left, width, .. } = self.field;
        let (_, y) = self.at(self.x.from, value);
        format!(
            r##"<path d="M{left} {y:.1}h{width}" stroke="#888" stroke-dasharray="6 5"/><text x="{}" y="{:.1}" text-anchor="end" fill="#555">{}</text>"##,
            left + width - 6.0,
            y - 6.0,
            escape(name)
        )
    }

    /// A dotted line up the field at a value of x, with its name at the top; nothing where it lies outside.
    pub fn upright(&self, value: f64, name: &str) -> String {
        let Field { left, width, height, .. } = self.field;
        let (x, y) = self.at(value, self.y.to);
        if !(left..=left + width).contains(&x) {
            return String::new();
        }
        let (anchor, at) = if x > left + 0.75 * width { ("end", x - 4.0) } else { ("start", x + 4.0) };
        format!(
            r##"<path d="M{x:.1} {y:.1}v{height}" stroke="#999" stroke-dasharray="2 4"/><text x="{at:.1}" y="{:.1}" fill="#444" text-anchor="{anchor}">{}</text>"##,
            y + 16.0,
            escape(name)
        )
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn plot() -> Plot {
        Plot {
            field: Field { left: 60.0, top: 10.0, width: 200.0, height: 100.0, text: 14.0 },
            x: PlotAxis::log("dose & <speed>", 0.1, 10.0).with_ticks(&[0.1, 1.0, 10.0, 50.0]),
            y: PlotAxis::linear("mark", 0.0, 1.0),
        }
    }

    #[test]
    fn the_corners_and_the_middle_are_where_they_belong() {
        let p = plot();
        assert_eq!((p.at(0.1, 0.0), p.at(10.0, 1.0)), ((60.0, 110.0), (260.0, 10.0)));
        let (x, y) = p.at(1.0, 0.25);
        assert!((x - 160.0).abs() < 1e-9 && (y - 85.0).abs() < 1e-9);
        assert_eq!(
            p.line(&[(0.1, 0.0), (1.0, f64::NAN), (10.0, 1.0)], "#555", ""),
            r##"<polyline points="60.0,110.0 260.0,10.0" fill="none" stroke="#555" stroke-width="2.5"/>"##
        );
        assert_eq!(p.upright(50.0, "outside"), "");
        assert!(p.upright(9.0, "late").contains(r#"text-anchor="end""#));
    }

    #[test]
    fn its_elements_are_well_formed_and_words_are_escaped() {
        let p = plot();
        let signs: String = (0..9).map(|i| sign(i, 70.0, 20.0)).collect();
        let body = p.axes()
            + &p.line(&[(0.1, 0.0), (10.0, 1.0)], COLOURS[0], "3 4")
            + &p.level(0.5, "bare <coating>")
            + &p.upright(1.0, "half & half")
            + &signs
            + &legend(&["a".into(), "<b>".into()], "Speed", 300.0, 20.0);
        assert!(body.contains("dose &amp; &lt;speed&gt;") && !body.contains(">50<"), "{body}");
        let svg = format!(r#"<svg xmlns="http://www.w3.org/2000/svg" width="400" height="200">{body}</svg>"#);
        assert!(resvg::usvg::Tree::from_str(&svg, &resvg::usvg::Options::default()).is_ok(), "{svg}");
    }

    #[test]
    fn neighbouring_series_have_signs_of_their_own_shape() {
        let shape = |i: usize| sign(i, 0.0, 0.0).replace(COLOURS[i % COLOURS.len()], "");
        for i in 0..8 {
            assert_ne!(shape(i), shape(i + 1));
            assert_ne!(COLOURS[i % COLOURS.len()], COLOURS[(i + 1) % COLOURS.len()]);
        }
    }
}
