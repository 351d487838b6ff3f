//! Findings about the art and its place: coarse-art, past-margin.

use super::{Finding, Remedy, Severity};
use crate::units::{MM_PER_INCH, Mm, short};

/// `coarse-art`: fewer source pixels than dots. `source` are the pixels of the part that is shown, `dots`
/// the dots that show it (columns, rows); `width` is its true width.
pub fn coarse_art(source: (f64, f64), dots: (usize, usize), width: Mm) -> Option<Finding> {
    let ratio = (source.0 / dots.0 as f64).min(source.1 / dots.1 as f64);
    if ratio >= 0.98 {
        return None;
    }
    let severity = if ratio < 0.5 { Severity::Caution } else { Severity::Note };
    let message = format!(
        "the picture has {} x {} pixels for {} x {} dots: it is enlarged {} times and will look soft",
        source.0.round(),
        source.1.round(),
        dots.0,
        dots.1,
        short(1.0 / ratio, 2)
    );
    let fitting = width.0 * ratio;
    let mut finding = Finding::new("coarse-art", severity, message).with(Remedy {
        change: "size",
        value: fitting,
        unit: "mm",
        text: format!("use a larger picture, or make it at most {} mm wide", short(fitting, 1)),
        verified: true,
    });
    let dpi = dots.0 as f64 * ratio / width.0 * MM_PER_INCH;
    if dpi >= 150.0 {
        finding = finding.with(Remedy {
            change: "density",
            value: dpi,
            unit: "dpi",
            text: format!("or lower the density to {} dpi: a dot for each pixel", short(dpi, 0)),
            verified: true,
        });
    }
    Some(finding)
}

/// `past-margin`: the art reaches past the margin by `past`, or the margin is less than what the placement
/// tolerance and the beam's radius need.
pub fn past_margin(
    past: Mm,
    margin: Mm,
    tolerance: Mm,
    beam_radius: Mm,
    fitting_width: Mm,
) -> Option<Finding> {
    if past.0 > 1e-6 {
        let message = format!(
            "the art reaches {} mm past the margin; what lies beyond it is left out",
            short(past.0, 2)
        );
        return Some(Finding::new("past-margin", Severity::Caution, message).with(Remedy {
            change: "size",
            value: fitting_width.0,
            unit: "mm",
            text: format!("place it {} mm wide or smaller, or use --place inside", short(fitting_width.0, 1)),
            verified: true,
        }));
    }
    let need = tolerance.0 + beam_radius.0;
    (margin.0 < need - 1e-9).then(|| {
        let message = format!(
            "the margin of {margin} is less than what can go wrong in laying the blank ({tolerance}) and the beam's radius ({beam_radius}): the beam may run off the edge"
        );
        Finding::new("past-margin", Severity::Caution, message).with(Remedy {
            change: "margin",
            value: need,
            unit: "mm",
            text: format!("keep a margin of at least {} mm", short((need * 100.0).ceil() / 100.0, 2)),
            verified: true,
        })
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_picture_with_enough_pixels_is_not_coarse() {
        assert!(coarse_art((1017.0, 1017.0), (1017, 1017), Mm(85.0)).is_none());
        let f = coarse_art((400.0, 500.0), (1017, 1017), Mm(85.0)).unwrap();
        assert_eq!(f.severity, Severity::Caution);
        assert!(f.message.contains("2.54 times"), "{}", f.message);
        assert!((f.remedies[0].value - 85.0 * 400.0 / 1017.0).abs() < 1e-9);
    }

    #[test]
    fn a_margin_must_hold_the_tolerance_and_the_beam() {
        assert!(past_margin(Mm(0.0), Mm(2.5), Mm(0.5), Mm(0.06), Mm(85.0)).is_none());
        let f = past_margin(Mm(0.0), Mm(0.5), Mm(0.5), Mm(0.06), Mm(85.0)).unwrap();
        assert!((f.remedies[0].value - 0.56).abs() < 1e-12);
        assert!(
            past_margin(Mm(1.0), Mm(2.5), Mm(0.5), Mm(0.06), Mm(85.0)).unwrap().message.contains("1 mm past")
        );
    }
}
