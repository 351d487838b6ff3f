//! A small plot as inline SVG: curves over 0 to 100 % either way.

/// A curve of a plot.
pub struct Curve<'a> {
    /// Points, both 0 to 1.
    pub points: &'a [(f64, f64)],
    /// What it is, written at its end.
    pub label: &'a str,
    /// Dash pattern of SVG (`none` for a whole line): curves differ by dash, not by colour alone.
    pub dash: &'a str,
}

/// Pixels of the plot's field each way.
const FIELD: f64 = 260.0;
/// Room at the left and below for figures and words.
const LEFT: f64 = 58.0;
const BELOW: f64 = 48.0;
const ABOVE: f64 = 12.0;

/// The plot as an SVG element that scales with the page. Texts are escaped.
pub fn percent(x_label: &str, y_label: &str, curves: &[Curve]) -> String {
    let escape = super::canvas::escape;
    let (wide, high) = (LEFT + FIELD + 20.0, ABOVE + FIELD + BELOW);
    let x = |v: f64| LEFT + FIELD * v.clamp(0.0, 1.0);
    let y = |v: f64| ABOVE + FIELD * (1.0 - v.clamp(0.0, 1.0));
    let mut svg = format!(
        r#"<svg class="plot" viewBox="0 0 {wide} {high}" role="img" aria-label="{} against {}" font-size="12" fill="currentColor">"#,
        escape(y_label),
        escape(x_label)
    );
    for tick in 0..=4 {
        let v = f64::from(tick) / 4.0;
        svg += &format!(
            r#"<path d="M{0:.1} {1:.1}V{2:.1}M{3:.1} {4:.1}H{5:.1}" stroke="currentColor" stroke-opacity="0.22" fill="none"/>"#,
            x(v),
            y(0.0),
            y(1.0),
            x(0.0),
            y(v),
            x(1.0)
        );
        let percent = 25 * tick;
        svg += &format!(
            r#"<text x="{:.1}" y="{:.1}" text-anchor="middle">{percent}</text><text x="{:.1}" y="{:.1}" text-anchor="end">{percent}</text>"#,
            x(v),
            y(0.0) + 17.0,
            x(0.0) - 7.0,
            y(v) + 4.0
        );
    }
    svg += &format!(
        r#"<text x="{:.1}" y="{:.1}" text-anchor="middle">{}</text>"#,
        x(0.5),
        high - 8.0,
        escape(x_label)
    );
    svg += &format!(
        r#"<text x="0" y="0" text-anchor="middle" transform="translate(14 {:.1}) rotate(-90)">{}</text>"#,
        y(0.5),
        escape(y_label)
    );
    for curve in curves {
        let path: String = curve
            .points
            .iter()
            .filter(|p| p.0.is_finite() && p.1.is_finite())
            .enumerate()
            .map(|(i, &(u, v))| format!("{}{:.2} {:.2}", if i == 0 { "M" } else { "L" }, x(u), y(v)))
            .collect();
        svg += &format!(
            r#"<path d="{path}" stroke="currentColor" stroke-width="2.2" stroke-dasharray="{}" fill="none"/>"#,
            escape(curve.dash)
        );
        // The label sits beside the middle of its curve, on paper so that lines do not cross it.
        if let Some(&(u, v)) = curve.points.get(curve.points.len() / 2) {
            svg += &format!(
                r#"<text x="{:.1}" y="{:.1}" paint-order="stroke" stroke="white" stroke-width="4">{}</text>"#,
                x(u) + 9.0,
                y(v) + 14.0,
                escape(curve.label)
            );
        }
    }
    svg + "</svg>"
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_plot_is_well_formed_and_its_corners_are_where_they_belong() {
        let points = [(0.0, 0.0), (0.5, 0.7), (1.0, 1.0), (f64::NAN, 0.0)];
        let svg = percent("dots & gaps", "mark", &[Curve { points: &points, label: "<g>", dash: "none" }]);
        assert!(svg.contains("M58.00 272.00L188.00 90.00L318.00 12.00\""), "{svg}");
        assert!(svg.contains("dots &amp; gaps") && svg.contains("&lt;g&gt;"));
        let standalone = svg.replacen("<svg", r#"<svg xmlns="http://www.w3.org/2000/svg""#, 1);
        assert!(resvg::usvg::Tree::from_str(&standalone, &resvg::usvg::Options::default()).is_ok());
    }
}
