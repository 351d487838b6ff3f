//! Comments: what a program says of itself, plain, short, never nested.

pub mod said;

use super::axis::Axis;
use super::limits::{BeamLag, Limits};
use super::number::thousandths;
use super::raster::RasterPath;
use crate::blank::{Blank, Mantle};
use crate::placement::{Along, DotRect};
use crate::units::{Mm, short};

/// What the program says about itself, besides what it knows.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Notes {
    /// Name of the job.
    pub job: String,
    /// Settings worth keeping with the program, one a comment: time, coating, power in watts, …
    pub settings: Vec<String>,
    /// What to beware of, one a comment.
    pub cautions: Vec<String>,
}

impl Notes {
    /// The comments of a program that marks one raster.
    pub fn of_raster(&self, path: &RasterPath) -> Vec<String> {
        let mut lines = self.of_place(&path.rect, &path.blank);
        lines.extend(of_rotary(&path.limits));
        let mut say = |text: String| comments(&text, &mut lines);
        say(said::speed(path));
        if let Some(hurry) = &path.gaps.hurry {
            say(format!("gaps between marks are crossed at up to {} mm/s, beam off", short(hurry.top(), 2)));
        }
        let lag = if path.grows() { path.lag } else { -path.lag };
        said::lag(BeamLag::Mm(f64::from(lag) / 1000.0)).into_iter().for_each(&mut say);
        if path.trim != 0 {
            say(format!("each run is shortened by {} mm at either end", thousandths(path.trim.into())));
        }
        lines.extend(self.remarks());
        lines
    }

    /// The comments that say where dots lie: whoever replays the program reads them.
    pub fn of_place(&self, rect: &DotRect, blank: &Blank) -> Vec<String> {
        let mut lines = Vec::new();
        let mut say = |text: String| comments(&text, &mut lines);
        say(format!("job: {}", self.job));
        say(said::blank(blank));
        say(format!("true size: {} x {} mm", short(rect.width(), 4), short(rect.height(), 4)));
        say(said::grid(rect));
        lines
    }

    /// The comments of settings and cautions.
    pub fn remarks(&self) -> Vec<String> {
        let mut lines = Vec::new();
        self.settings.iter().for_each(|s| comments(s, &mut lines));
        self.cautions.iter().for_each(|c| comments(&format!("caution: {c}"), &mut lines));
        lines
    }
}

/// The comment that says what a rotary turns: whoever replays the program reads it.
pub fn of_rotary(limits: &Limits) -> Option<String> {
    let said = |axis: &Axis, name: char| {
        axis.turns.map(|mantle| {
            let letter = char::from(axis.letter);
            let Mantle { foot, top, height } = mantle;
            if mantle.is_cone() {
                format!(
                    "(rotary: {letter} turns {name}, a cone {} mm across its foot, {} mm across its top, {} mm high)",
                    foot.0, top.0, height.0
                )
            } else {
                format!("(rotary: {letter} turns {name}, a piece {} mm across)", foot.0)
            }
        })
    };
    said(&limits.x, 'x').or_else(|| said(&limits.y, 'y'))
}

/// The axis that a program's rotary stands for and the piece that it turns, from the comment of [`of_rotary`]; `None`
/// where the text, the beginning of a program, says nothing of one. How high a cylinder is, it does not say: 1 mm.
pub fn read_rotary(text: &str) -> Option<(Along, Mantle)> {
    let rest = text.lines().find_map(|line| line.trim().strip_prefix("(rotary: "))?;
    let along = match rest.split([' ', ',']).nth(2)? {
        "x" => Along::X,
        "y" => Along::Y,
        _ => return None,
    };
    let sizes: Vec<f64> = rest.split(' ').filter_map(|word| word.parse().ok()).collect();
    let (foot, top, height) = match sizes[..] {
        [across] => (across, across, 1.0),
        [foot, top, height] => (foot, top, height),
        _ => return None,
    };
    let mantle = Mantle { foot: Mm(foot), top: Mm(top), height: Mm(height) };
    let real = [foot, top, height].iter().all(|v| (0.1..=2000.0).contains(v));
    real.then_some((along, mantle))
}

/// Letters of Latin scripts and how they are spelt without their marks; of German and the northern languages as they are there.
const LATIN: &[(&str, &str)] = &[
    ("àáâãāăą", "a"),
    ("ÀÁÂÃĀĂĄ", "A"),
    ("äæ", "ae"),
    ("ÄÆ", "Ae"),
    ("å", "aa"),
    ("Å", "Aa"),
    ("çćčĉċ", "c"),
    ("ÇĆČĈĊ", "C"),
    ("ďđð", "d"),
    ("ĎĐÐ", "D"),
    ("èéêëēėęě", "e"),
    ("ÈÉÊËĒĖĘĚ", "E"),
    ("ĝğġģ", "g"),
    ("ĜĞĠĢ", "G"),
    ("ĥħ", "h"),
    ("ĤĦ", "H"),
    ("ìíîïĩīįı", "i"),
    ("ÌÍÎÏĨĪĮİ", "I"),
    ("ĵ", "j"),
    ("Ĵ", "J"),
    ("ķ", "k"),
    ("Ķ", "K"),
    ("łĺļľ", "l"),
    ("ŁĹĻĽ", "L"),
    ("ñńņň", "n"),
    ("ÑŃŅŇ", "N"),
    ("òóôõōő", "o"),
    // The sign of a diameter, as often.
    ("ÒÓÔÕŌŐØ", "O"),
    ("öøœ", "oe"),
    ("ÖŒ", "Oe"),
    ("ŕřŗ", "r"),
    ("ŔŘŖ", "R"),
    ("śşšŝș", "s"),
    ("ŚŞŠŜȘ", "S"),
    ("ß", "ss"),
    ("ťţțŧ", "t"),
    ("ŤŢȚŦ", "T"),
    ("þ", "th"),
    ("Þ", "Th"),
    ("ùúûũūŭůűų", "u"),
    ("ÙÚÛŨŪŬŮŰŲ", "U"),
    ("ü", "ue"),
    ("Ü", "Ue"),
    ("ŵ", "w"),
    ("Ŵ", "W"),
    ("ýÿŷ", "y"),
    ("ÝŸŶ", "Y"),
    ("źżž", "z"),
    ("ŹŻŽ", "Z"),
];

/// Characters of a comment between its parentheses.
const LONGEST: usize = 197;

/// Whether a comment can say it: each of its letters has a plain form.
pub fn can_say(text: &str) -> bool {
    let mut said = Vec::new();
    comments(text, &mut said);
    let marks = |text: &str| text.matches('?').count();
    said.iter().map(|line| marks(line)).sum::<usize>() == marks(text)
}

/// `text` as comment lines of at most 200 characters. Parentheses become brackets, so that none is ever
/// nested; % and ; are spelt otherwise; letters beyond ASCII become their nearest plain form, those of other scripts a question mark.
pub(crate) fn comments(text: &str, out: &mut Vec<String>) {
    let mut plain = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '(' => plain.push('['),
            ')' => plain.push(']'),
            // Some readers take % and ; for the end of the text even inside a comment.
            '%' => plain.push_str(if plain.ends_with(' ') { "percent" } else { " percent" }),
            ';' => plain.push(','),
            ' '..='~' => plain.push(c),
            'µ' | 'μ' => plain.push('u'),
            '²' => plain.push('2'),
            '×' => plain.push('x'),
            '−' | '–' | '—' => plain.push('-'),
            c if c.is_whitespace() || c.is_control() => plain.push(' '),
            c => match LATIN.iter().find(|(letters, _)| letters.contains(c)) {
                Some((_, spelt)) => plain.push_str(spelt),
                None => plain.push('?'),
            },
        }
    }
    // Lines of about the same length: the last is not left with a single word.
    let count = plain.len().div_ceil(LONGEST).max(1);
    let full = (plain.len().div_ceil(count) + 8).min(LONGEST);
    let mut line = String::new();
    for word in plain.split(' ').filter(|w| !w.is_empty()) {
        let mut word = word;
        if !line.is_empty() && line.len() + 1 + word.len() > full {
            out.push(format!("({line})"));
            line.clear();
        }
        while word.len() > LONGEST {
            out.push(format!("({})", &word[..LONGEST]));
            word = &word[LONGEST..];
        }
        if !line.is_empty() {
            line.push(' ');
        }
        line.push_str(word);
    }
    if !line.is_empty() {
        out.push(format!("({line})"));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_a_rotary_turns_is_read_back() {
        let turning = |mantle| Limits {
            x: Axis { turns: Some(mantle), units_per_mm: 2.0, ..Axis::new(b'A') },
            y: Axis::new(b'X'),
            ..Limits::default()
        };
        for (foot, top, height, words) in [
            (73.5, 73.5, 1.0, "a piece 73.5 mm across"),
            (60.0, 78.25, 120.0, "a cone 60 mm across its foot, 78.25 mm across its top, 120 mm high"),
        ] {
            let mantle = Mantle { foot: Mm(foot), top: Mm(top), height: Mm(height) };
            let said = of_rotary(&turning(mantle)).unwrap();
            assert_eq!(said, format!("(rotary: A turns x, {words})"));
            assert_eq!(read_rotary(&format!("(job: a)\n{said}\nG21")), Some((Along::X, mantle)));
        }
        assert_eq!((of_rotary(&Limits::default()), read_rotary("(job: a)\nG21")), (None, None));
        for wrong in [
            "A turns z, a piece 1 mm across",
            "A turns x, a piece 0 mm across",
            "A turns x",
            "A turns x, 1 by 2 mm",
        ] {
            assert_eq!(read_rotary(&format!("(rotary: {wrong})")), None, "{wrong}");
        }
    }

    #[test]
    fn what_a_comment_cannot_spell_is_known() {
        assert!(can_say("Zinkrauch: nie ohne Absaugung (Metallfieber), 5 µm?"));
        assert!(can_say("żółty, Zoë Çelik") && !can_say("Осторожно"));
        let mut lines = Vec::new();
        comments("Łukasz Wójcik, Per-Åke Sjöström, Ødegård, Zoë Çelik", &mut lines);
        assert_eq!(lines, ["(Lukasz Wojcik, Per-Aake Sjoestroem, Odegaard, Zoe Celik)"]);
    }

    #[test]
    fn comments_are_plain_short_and_never_nested() {
        let mut lines = Vec::new();
        for text in [
            "Lighthouse (large) – Ø 90 mm, 5 µm²; 90%",
            &"long ".repeat(80),
            &"y".repeat(500),
            "two\nlines\r\nof text",
            "",
        ] {
            comments(text, &mut lines);
        }
        assert_eq!(lines[0], "(Lighthouse [large] - O 90 mm, 5 um2, 90 percent)");
        assert_eq!(lines.last().map(String::as_str), Some("(two lines of text)"));
        assert_eq!(lines.iter().map(|l| l.matches("long").count()).sum::<usize>(), 80);
        assert!(lines[1..4].iter().all(|l| l.len() > 120), "three lines of about one length: {lines:?}");
        assert_eq!(lines.iter().map(|l| l.matches('y').count()).sum::<usize>(), 500);
        for line in &lines {
            assert!(line.len() <= 200 && line.is_ascii(), "{line}");
            assert_eq!((line.matches('(').count(), line.matches(')').count()), (1, 1), "{line}");
        }
    }
}
