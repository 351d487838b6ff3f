//! Pick: the patch that a practitioner would take.

use super::judged::Judged;

/// A patch as the choice sees it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Choice {
    /// Lightness L*.
    pub lightness: f64,
    /// Grain, L*.
    pub grain: f64,
    /// Speed over passes, mm/s: what counts for time.
    pub pace: f64,
    /// Power share.
    pub power: f64,
    /// What `prepare` would say of its setting; none where no response was fitted.
    pub judged: Option<Judged>,
}

/// How far from the best lightness a patch may be, L*: a difference of 2 is seen only side by side.
pub const WITHIN: f64 = 2.0;

/// Among the patches that are not grainy, those of whose setting `prepare` has least to say: of them the fastest, then the
/// one with the least power. Where lines show on all, only of those within 2 L* of the lightest (`lighter`) or darkest of them:
/// the fastest shows its lines most. Where `prepare` has worse to say of all, or nothing was fitted: among those within 2 L* of the
/// best that do not char. Index into `choices`; `None` when none
/// qualifies.
pub fn pick(choices: &[Option<Choice>], lighter: bool, grain_limit: f64) -> Option<usize> {
    let good = |c: &Choice| c.grain <= grain_limit && c.judged != Some(Judged::OverBurnt);
    let least = choices.iter().flatten().filter(|c| good(c)).filter_map(|c| c.judged).min();
    let value = |c: &Choice| if lighter { c.lightness } else { -c.lightness };
    let told = |c: &Choice| least.is_none_or(|l| l > Judged::LinesApart || c.judged == Some(l));
    let best =
        choices.iter().flatten().filter(|c| good(c) && told(c)).map(value).fold(f64::NEG_INFINITY, f64::max);
    let near = |c: &Choice| least == Some(Judged::Clear) || value(c) >= best - WITHIN;
    let fits = |c: &Choice| told(c) && near(c);
    choices
        .iter()
        .enumerate()
        .filter_map(|(i, c)| c.map(|c| (i, c)))
        .filter(|(_, c)| good(c) && fits(c))
        .min_by(|(i, a), (j, b)| b.pace.total_cmp(&a.pace).then(a.power.total_cmp(&b.power)).then(i.cmp(j)))
        .map(|(i, _)| i)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn c(lightness: f64, grain: f64, pace: f64, power: f64) -> Option<Choice> {
        Some(Choice { lightness, grain, pace, power, judged: None })
    }

    fn said(of: Option<Choice>, judged: Judged) -> Option<Choice> {
        of.map(|c| Choice { judged: Some(judged), ..c })
    }

    #[test]
    fn the_fastest_of_the_light_ones_wins_then_the_weakest() {
        let all = [
            c(84.0, 1.0, 6.0, 0.5),
            c(82.5, 1.0, 12.0, 1.0),
            c(82.4, 1.0, 12.0, 0.9),
            c(81.0, 1.0, 20.0, 1.0),
        ];
        assert_eq!(pick(&all, true, 3.0), Some(2));
    }

    #[test]
    fn grainy_and_over_burnt_patches_are_left_out_even_as_the_reference() {
        let mut all = vec![c(90.0, 9.0, 30.0, 1.0), c(84.0, 1.0, 12.0, 1.0), None];
        assert_eq!(pick(&all, true, 3.0), Some(1));
        all[1] = said(all[1], Judged::OverBurnt);
        assert_eq!(pick(&all, true, 3.0), None);
    }

    #[test]
    fn a_coating_that_marks_darker_looks_for_the_darkest() {
        let all = [c(30.0, 1.0, 20.0, 1.0), c(21.0, 1.0, 12.0, 1.0), c(20.0, 1.0, 6.0, 1.0)];
        assert_eq!(pick(&all, false, 3.0), Some(1));
    }

    #[test]
    fn the_setting_of_which_nothing_would_be_said_wins_over_a_faster_one() {
        let all = [
            said(c(84.0, 1.0, 6.0, 1.0), Judged::Clear),
            said(c(83.0, 1.0, 9.0, 1.0), Judged::LinesApart),
            said(c(82.9, 1.0, 12.0, 1.0), Judged::UnderBurnt),
        ];
        assert_eq!(pick(&all, true, 3.0), Some(0));
        assert_eq!(pick(&all[1..], true, 3.0), Some(0));
        // Where lines show on all, not the one that shows them most.
        let lines = [
            said(c(84.5, 1.0, 9.0, 1.0), Judged::LinesApart),
            said(c(83.0, 1.0, 12.0, 1.0), Judged::LinesApart),
            said(c(78.2, 1.0, 20.0, 1.0), Judged::LinesApart),
        ];
        assert_eq!(pick(&lines, true, 3.0), Some(1));
        // Where no mark is full, the lightest are near enough.
        assert_eq!(pick(&all[2..], true, 3.0), Some(0));
    }
}
