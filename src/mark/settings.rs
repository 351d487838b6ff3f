//! Settings: which power, speed and pitch mark a size in the least time that nothing speaks against.
//!
//! The exposure of a solid is held: more power is a higher speed. A solid takes no less than area × dose ÷ power, which is
//! area ÷ (speed × pitch); what a burn takes above that are run-ups, turns and lines that do not fill the size.

use super::advise::{self, Advice, Question};
use super::response::Setting;
use crate::units::{Mm, Watts};

/// The quickest way to mark a size at a power.
#[derive(Debug, Clone, PartialEq)]
pub struct Quickest {
    /// The power, as a share of the laser's.
    pub share: f64,
    /// The pitch with its speed, dose and time.
    pub advice: Advice,
    /// What no program is quicker than, s.
    pub bound_s: f64,
    /// What speaks against it, where nothing at this power is free of objections; then the one nearest to 0.7 of the beam.
    pub against: Option<String>,
}

/// For each share of `rated` power the quickest pitch that nothing speaks against. `start` gives the setting at a power and
/// a pitch, `objects` what speaks against one besides the lines and the char of a solid.
pub fn quickest(
    question: &Question,
    rated: Watts,
    shares: &[f64],
    start: &dyn Fn(Watts, Mm) -> Setting,
    objects: &dyn Fn(&Setting) -> Option<String>,
) -> Vec<Quickest> {
    let mut all = Vec::new();
    for &share in shares {
        let power = Watts(rated.0 * share);
        let list = advise::pitches(question, &|pitch| start(power, pitch));
        let against =
            |a: &Advice| a.is_spoilt().then(|| a.words.clone()).or_else(|| objects(&start(power, a.pitch)));
        let free = list.iter().filter(|a| against(a).is_none());
        let best = free.min_by(|a, b| a.seconds.total_cmp(&b.seconds));
        let nearest = || advise::nearest(question, &list, &|_| true).map(|i| &list[i]);
        let advised = list.iter().find(|a| a.recommended);
        let Some(advice) = best.or(advised).or_else(nearest) else { continue };
        let area = question.size.0.0 * question.size.1.0;
        let passes = f64::from(start(power, advice.pitch).passes);
        all.push(Quickest {
            share,
            bound_s: area * passes / (advice.speed.0 * advice.pitch.0),
            against: against(advice),
            advice: advice.clone(),
        });
    }
    all
}

/// The quickest of all that nothing speaks against.
pub fn best(all: &[Quickest]) -> Option<usize> {
    let free = (0..all.len()).filter(|&i| all[i].against.is_none());
    free.min_by(|&a, &b| all[a].advice.seconds.total_cmp(&all[b].advice.seconds))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::mark::beam::Beam;
    use crate::mark::response::tests::{POSTER_PAINT, setting};
    use crate::placement::Along;
    use crate::scan::limits::Limits;
    use crate::units::MmPerS;

    fn question() -> Question {
        Question {
            beam: Beam { along: Mm(0.12), across: Mm(0.12) },
            response: POSTER_PAINT,
            steps_per_mm: 80.0,
            range: (Mm(0.03), Mm(0.18)),
            size: (Mm(85.0), Mm(85.0)),
            head: Some((Limits::default(), Along::X)),
        }
    }

    /// The same dose at any power and pitch.
    fn start(power: Watts, pitch: Mm) -> Setting {
        Setting { power, speed: MmPerS(power.0 / (4.1 * pitch.0)), ..setting(4.5, 304.0) }
    }

    #[test]
    fn the_most_power_is_the_quickest_until_something_speaks_against_it() {
        let all = quickest(&question(), Watts(5.0), &[1.0, 0.8, 0.6], &start, &|_| None);
        assert_eq!(all.len(), 3);
        assert_eq!(best(&all), Some(0));
        for one in &all {
            assert_eq!(one.against, None);
            // 7225 mm² at 4.1 J/mm² by the power.
            let bound = 7225.0 * 4.1 / (5.0 * one.share);
            assert!((one.bound_s / bound - 1.0).abs() < 1e-9, "{one:?}");
            assert!(one.advice.seconds > one.bound_s && one.advice.seconds < 1.2 * one.bound_s);
        }
        // Of pitches at one dose the coarse ones are the quickest: fewer lines to turn at. It is even still.
        assert!(!all[0].advice.lines_apart);
        let slow = |s: &Setting| (s.power.0 > 4.5).then(|| "too much for the link".to_string());
        let all = quickest(&question(), Watts(5.0), &[1.0, 0.8, 0.6], &start, &slow);
        assert_eq!(all[0].against.as_deref(), Some("too much for the link"));
        assert_eq!(best(&all), Some(1));
        // Eight times the exposure chars at every pitch: each power is listed, with what speaks against it alone.
        let hot = |power, pitch| Setting { passes: 8, ..start(power, pitch) };
        let all = quickest(&question(), Watts(5.0), &[1.0, 0.8], &hot, &|_| None);
        assert_eq!((all.len(), best(&all)), (2, None));
        let why = |q: &Quickest| {
            q.against.as_ref().is_some_and(|w| w.contains("over-burn") && !w.contains("ripples"))
        };
        assert!(all.iter().all(why), "{all:?}");
    }
}
