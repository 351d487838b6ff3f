//! `other-axis`: lines along the other axis would take clearly less time.

use super::{Finding, Remedy, Severity};
use crate::placement::Along;
use crate::said::Said;
use crate::texts::text;
use crate::units::{duration, short};

/// A saving of less than this share of the time, or of fewer seconds, is not worth another axis (own judgement).
const WORTH: f64 = 0.1;
const LEAST_S: f64 = 60.0;
/// A saving of this share is told with the option that gets it, as remedies of a note are not on the command line.
const MUCH: f64 = 0.25;

/// `other-axis`: with lines along `other` the burn would take `there` of the time that it takes `here`, s, as the same dots in
/// squares of the line pitch tell; `whole` is how long it takes as it is, s.
pub fn other_axis(other: Along, (here, there): (f64, f64), whole: f64) -> Option<Finding> {
    let saved = 1.0 - there / here;
    (here > 0.0 && saved >= WORTH && whole * saved >= LEAST_S).then(|| {
        let message = text!(
            "findings.other-axis",
            axis = other,
            then = duration(whole * (1.0 - saved)),
            now = duration(whole)
        );
        let share = short(100.0 * saved, 0);
        let take = |option: &str| text!("findings.other-axis.take", axis = other, option, share);
        let text = Said::two(take(&format!(" (--axis {other})")), take(""));
        let typed = if saved >= MUCH { format!(" (--axis {other})") } else { String::new() };
        Finding::new("other-axis", Severity::Note, Said::from(message).line(typed))
            .with(Remedy::new("lines along", 100.0 * saved, "%", text).set("scan.axis", other.to_string()))
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_a_clear_saving_is_named() {
        assert_eq!(other_axis(Along::Y, (100.0, 95.0), 6000.0), None);
        assert_eq!(other_axis(Along::Y, (100.0, 85.0), 80.0), None);
        let f = other_axis(Along::Y, (100.0, 75.0), 600.0).unwrap();
        assert!(f.message.contains("7 min 30 s instead of 10 min"), "{}", f.message);
        assert!(f.message.ends_with(" (--axis y)") && !f.message.on_page().contains("--"), "{f:?}");
        let little = other_axis(Along::Y, (100.0, 85.0), 600.0).unwrap();
        assert!(!little.message.contains("--axis"), "{little:?}");
        assert!(f.remedies[0].text.contains("(--axis y), about 25%"), "{f:?}");
        assert_eq!(f.remedies[0].text.on_page(), "lines along y, about 25% less time");
        assert_eq!(f.remedies[0].sets, [("scan.axis".to_string(), "y".to_string())]);
    }
}
