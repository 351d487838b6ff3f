//! Findings about the blank's margin and what is bare of it: bare-strip, past-margin.

use super::{Finding, Remedy, Severity};
use crate::texts::text;
use crate::units::{Mm, short};

/// `past-margin` of what is named, each with how far it reaches past the margin, or `None` where all of it lies there; `None`
/// where nothing is. Remedies are added by who has tried them.
pub fn past_margin(each: &[(String, Option<Mm>)]) -> Option<Finding> {
    let wholly = each.iter().filter(|(_, past)| past.is_none());
    let wholly = wholly.map(|(what, _)| text!("findings.past-margin.wholly", what));
    let reaching: Vec<String> = each
        .iter()
        .filter_map(|(what, past)| {
            Some(text!("findings.past-margin.reaches", what, past = short(past.as_ref()?.0, 2)))
        })
        .collect();
    let partly =
        (!reaching.is_empty()).then(|| text!("findings.past-margin.reaching", each = reaching.join(", ")));
    let all: Vec<String> = wholly.chain(partly).collect();
    (!all.is_empty()).then(|| Finding::new("past-margin", Severity::Caution, all.join("; ")))
}

/// `bare-strip`: a picture that would fill its blank in the middle leaves these strips of it bare: where, and how wide at most.
pub fn bare_strip(strips: &[(&str, Mm)]) -> Option<Finding> {
    let strip =
        |(side, wide): &(&str, Mm)| text!("findings.bare-strip.strip", width = short(wide.0, 1), side);
    let each: Vec<String> = strips.iter().map(strip).collect();
    (!each.is_empty()).then(|| {
        let message = text!("findings.bare-strip", strips = each.join(text!("findings.bare-strip.and")));
        Finding::new("bare-strip", Severity::Caution, message)
    })
}

/// `past-margin`: the margin is less than what the placement tolerance and the beam's radius need.
pub fn narrow_margin(margin: Mm, tolerance: Mm, beam_radius: Mm) -> Option<Finding> {
    let need = tolerance.0 + beam_radius.0;
    (margin.0 < need - 1e-9).then(|| {
        let message = text!("findings.past-margin.narrow", margin, tolerance, beam_radius);
        let least = short((need * 100.0).ceil() / 100.0, 2);
        let text = text!("findings.past-margin.keep", least);
        let remedy = Remedy::new("margin", need, "mm", text).set("blank.margin", format!("{least}mm"));
        Finding::new("past-margin", Severity::Caution, message).with(remedy.verified(true))
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_margin_must_hold_the_tolerance_and_the_beam() {
        assert!(narrow_margin(Mm(2.5), Mm(0.5), Mm(0.06)).is_none());
        let f = narrow_margin(Mm(0.5), Mm(0.5), Mm(0.06)).unwrap();
        assert!((f.remedies[0].value - 0.56).abs() < 1e-12);
        let said = |each: &[(&str, Option<Mm>)]| {
            let each: Vec<_> = each.iter().map(|(what, past)| (what.to_string(), *past)).collect();
            past_margin(&each).map(|f| f.message)
        };
        assert_eq!(said(&[]), None);
        assert_eq!(
            said(&[("the art", Some(Mm(1.0)))]).unwrap(),
            "the art reaches 1 mm past the margin; what lies beyond it is left out"
        );
        assert_eq!(
            said(&[("'Anna'", Some(Mm(1.0))), ("'Bo'", None)]).unwrap(),
            "'Bo' lies wholly past the margin of the blank: nothing of it is marked; 'Anna' reaches 1 mm past the margin; what lies beyond it is left out"
        );
    }
}
