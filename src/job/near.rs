//! Names that were nearly right.

/// ` (did you mean poster-paint?)`, or nothing where no candidate is near `name`.
pub fn did_you_mean(name: &str, candidates: &[&'static str]) -> String {
    nearest(name, candidates).map(|n| format!(" (did you mean {n}?)")).unwrap_or_default()
}

/// The least share of letter pairs in common, of both names' pairs together, at which a name counts as near.
const NEAR: f64 = 0.35;

/// The candidate that shares most of its letter pairs with `name`, where any is near.
fn nearest(name: &str, candidates: &[&'static str]) -> Option<&'static str> {
    let pairs = |s: &str| -> Vec<(char, char)> {
        let l: Vec<char> = s.to_lowercase().chars().filter(|c| c.is_alphanumeric()).collect();
        l.windows(2).map(|w| (w[0], w[1])).collect()
    };
    let wanted = pairs(name);
    let score = |c: &str| {
        let have = pairs(c);
        let shared = wanted.iter().filter(|p| have.contains(p)).count();
        2.0 * shared as f64 / (wanted.len() + have.len()).max(1) as f64
    };
    candidates
        .iter()
        .map(|&c| (score(c), c))
        .filter(|(s, _)| *s > NEAR)
        .max_by(|a, b| a.0.total_cmp(&b.0))
        .map(|(_, c)| c)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_slip_of_the_fingers_is_seen_through_and_another_word_is_not() {
        let names = ["poster-paint", "zinc-spray", "bare-slate"];
        assert_eq!(did_you_mean("Posterpant", &names), " (did you mean poster-paint?)");
        assert_eq!(did_you_mean("zink-spray", &names), " (did you mean zinc-spray?)");
        assert_eq!(did_you_mean("lacquer", &names), "");
    }
}
