//! Hairlines: lines of no width, which a PDF's device draws as thin as it can.

/// Their width, as a share of the page's longer side: 0.09 mm on a page that becomes 90 mm long, which is about the width of
/// a beam. How large a page becomes is not known where it is read.
const SHARE: f32 = 1.0 / 1000.0;
/// How the library writes a stroke of no width, which a drawing does not show.
const NONE: &str = " stroke-width=\"0\"";

/// The drawing with a width for its hairlines, as PDF has them (ISO 32000-1, 8.4.3.2: "the thinnest line that can be rendered
/// at device resolution"), and that width in the units of its page; `None` where it has no hairlines. `side` is the page's
/// longer side.
pub(super) fn drawn(text: &str, side: f32) -> Option<(String, f32)> {
    let width = side * SHARE;
    let mut out = String::new();
    let mut rest = text;
    while let Some(at) = rest.find(NONE) {
        let (before, behind) = (&rest[..at], &rest[at + NONE.len()..]);
        let tag = [
            before.rfind('<').map_or(before, |i| &before[i..]),
            behind.find('>').map_or(behind, |i| &behind[..i]),
        ];
        out.push_str(before);
        // A line is as wide as the page has it, whatever the line's own units are.
        let scale = tag.iter().find_map(|part| scale(part)).unwrap_or(1.0);
        let own = if scale > 0.0 { width / scale } else { 0.0 };
        out.push_str(&format!(" stroke-width=\"{own}\""));
        rest = behind;
    }
    (!out.is_empty()).then(|| (out + rest, width))
}

/// How much an element's own units are enlarged on the page, by its part with the transform; `None` where it has none.
fn scale(part: &str) -> Option<f32> {
    let (_, behind) = part.split_once(" transform=\"")?;
    let (transform, _) = behind.split_once('"')?;
    let (name, numbers) = transform.split_once('(')?;
    let numbers: Vec<f32> = numbers.trim_end_matches(')').split(' ').filter_map(|n| n.parse().ok()).collect();
    let area = match (name, &numbers[..]) {
        ("scale", &[x, y]) => x * y,
        ("matrix", &[a, b, c, d, ..]) => a * d - b * c,
        _ => return None,
    };
    Some(libm::sqrtf(area.abs()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_line_of_no_width_gets_one_in_its_own_units() {
        let line = |before: &str, width: &str, behind: &str| {
            format!("<path{before} d=\"M0,0 L9,9\" stroke-width=\"{width}\" fill=\"none\"{behind}/>")
        };
        for (before, behind, own) in [
            ("", "", "0.1"),
            ("", " transform=\"scale(2 -2)\"", "0.05"),
            ("", " transform=\"matrix(0 4 -4 0 7 9)\"", "0.025"),
            (" transform=\"scale(0.5 0.5)\"", "", "0.2"),
            ("", " transform=\"translate(3 4)\"", "0.1"),
        ] {
            let wide = line("", "0.5", " transform=\"scale(3 3)\"");
            let text = format!("<svg>{wide}{}{wide}</svg>", line(before, "0", behind));
            let wanted = format!("<svg>{wide}{}{wide}</svg>", line(before, own, behind));
            assert_eq!(drawn(&text, 100.0), Some((wanted, 0.1)), "{before} {behind}");
        }
    }

    #[test]
    fn a_drawing_without_hairlines_is_left_alone() {
        assert_eq!(drawn("<svg><path d=\"M0,0 L9,9\" stroke-width=\"0.01\"/></svg>", 100.0), None);
    }
}
