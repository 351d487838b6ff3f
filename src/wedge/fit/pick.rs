//! Pick: the patch that a practitioner would take.

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
    /// The fitted char, 0 to 1; 0 where none showed.
    pub char: f64,
}

/// How far from the best lightness a patch may be, L*: a difference of 2 is seen only side by side.
pub const WITHIN: f64 = 2.0;

/// Among those within 2 L* of the lightest (`lighter`) or darkest that are neither grainy nor over-burnt (their
/// char reaches `over_burn`): the fastest, then the one with the least power. Index into `choices`; `None` when
/// none qualifies.
pub fn pick(choices: &[Option<Choice>], lighter: bool, grain_limit: f64, over_burn: f64) -> Option<usize> {
    let good = |c: &Choice| c.char < over_burn && c.grain <= grain_limit;
    let value = |c: &Choice| if lighter { c.lightness } else { -c.lightness };
    let best = choices.iter().flatten().filter(|c| good(c)).map(value).fold(f64::NEG_INFINITY, f64::max);
    choices
        .iter()
        .enumerate()
        .filter_map(|(i, c)| c.map(|c| (i, c)))
        .filter(|(_, c)| good(c) && value(c) >= best - WITHIN)
        .min_by(|(i, a), (j, b)| b.pace.total_cmp(&a.pace).then(a.power.total_cmp(&b.power)).then(i.cmp(j)))
        .map(|(i, _)| i)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn c(lightness: f64, grain: f64, pace: f64, power: f64) -> Option<Choice> {
        Some(Choice { lightness, grain, pace, power, char: 0.0 })
    }

    #[test]
    fn the_fastest_of_the_light_ones_wins_then_the_weakest() {
        let all = [
            c(84.0, 1.0, 6.0, 0.5),
            c(82.5, 1.0, 12.0, 1.0),
            c(82.4, 1.0, 12.0, 0.9),
            c(81.0, 1.0, 20.0, 1.0),
        ];
        assert_eq!(pick(&all, true, 3.0, 0.05), Some(2));
    }

    #[test]
    fn grainy_and_over_burnt_patches_are_left_out_even_as_the_reference() {
        let mut all = vec![c(90.0, 9.0, 30.0, 1.0), c(84.0, 1.0, 12.0, 1.0), None];
        assert_eq!(pick(&all, true, 3.0, 0.05), Some(1));
        if let Some(c) = &mut all[1] {
            c.char = 0.05;
        }
        assert_eq!(pick(&all, true, 3.0, 0.05), None);
    }

    #[test]
    fn a_coating_that_marks_darker_looks_for_the_darkest() {
        let all = [c(30.0, 1.0, 20.0, 1.0), c(21.0, 1.0, 12.0, 1.0), c(20.0, 1.0, 6.0, 1.0)];
        assert_eq!(pick(&all, false, 3.0, 0.05), Some(1));
    }
}
