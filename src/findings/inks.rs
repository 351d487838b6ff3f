//! A finding about the inks of a drawing: inks-alike.

use super::{Finding, Remedy, Severity};
use crate::art::reading::AlikeInks;
use crate::job::settle::Of;
use crate::said::Said;
use crate::texts::{self, text};

/// `inks-alike`: inks of different colours touch and get nearly the same mark; `of` is the drawing.
pub fn inks_alike(inks: &AlikeInks, of: Of) -> Finding {
    let (larger, smaller) = (words(inks.larger), words(inks.smaller));
    let message = if larger == smaller {
        text!("findings.inks-alike.same", colour = larger)
    } else {
        text!("findings.inks-alike.two", smaller, larger)
    };
    let photo = format!(": {}", of.typed("read_as", "photo"));
    let shades = Said::from(text!("findings.inks-alike.shades")).line(photo);
    Finding::new("inks-alike", Severity::Caution, message)
        .with(Remedy::new("picture", 0.0, "", text!("findings.inks-alike.lighter", smaller)))
        .with(Remedy::new("read-as", 0.0, "", shades).set(of.key("read_as"), "photo"))
}

/// A colour as a maker calls it: `dark blue`.
fn words([r, g, b]: [u8; 3]) -> String {
    let named = |name: &str| texts::say(&format!("findings.colour.{name}")).to_string();
    let (low, high) = (r.min(g).min(b), r.max(g).max(b));
    let chroma = f64::from(high - low);
    let luma = (0.2126 * f64::from(r) + 0.7152 * f64::from(g) + 0.0722 * f64::from(b)) / 255.0;
    if chroma < 28.0 {
        let grey = match luma {
            l if l < 0.12 => "black",
            l if l < 0.4 => "dark-grey",
            l if l < 0.7 => "grey",
            l if l < 0.95 => "light-grey",
            _ => "white",
        };
        return named(grey);
    }
    let of = |a: u8, b: u8| (f64::from(a) - f64::from(b)) / chroma;
    // Degrees about the circle of hues, red at 0.
    let hue = match high {
        h if h == r => 60.0 * of(g, b).rem_euclid(6.0),
        h if h == g => 60.0 * (of(b, r) + 2.0),
        _ => 60.0 * (of(r, g) + 4.0),
    };
    let name = match hue {
        h if h < 16.0 => "red",
        h if h < 40.0 => "orange",
        h if h < 68.0 => "yellow",
        h if h < 160.0 => "green",
        h if h < 195.0 => "turquoise",
        h if h < 258.0 => "blue",
        h if h < 290.0 => "violet",
        h if h < 340.0 => "pink",
        _ => "red",
    };
    match luma {
        l if l < 0.3 && high < 150 => text!("findings.colour.dark", colour = named(name)),
        l if l > 0.72 && low > 110 => text!("findings.colour.light", colour = named(name)),
        _ => named(name),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn colours_have_the_names_that_a_maker_gives_them() {
        for (code, name) in [
            ([10, 61, 98], "dark blue"),
            ([230, 30, 30], "red"),
            ([255, 209, 102], "yellow"),
            ([27, 94, 32], "dark green"),
            ([0, 0, 0], "black"),
            ([128, 128, 128], "grey"),
        ] {
            assert_eq!(words(code), name, "{code:?}");
        }
    }

    #[test]
    fn inks_that_look_the_same_are_named_with_what_to_do() {
        let f = inks_alike(&AlikeInks { larger: [10, 61, 98], smaller: [230, 30, 30] }, Of::Art);
        assert_eq!(f.severity, Severity::Caution);
        assert!(f.message.starts_with("red and dark blue touch in the drawing"), "{}", f.message);
        assert!(f.remedies[0].text.contains("draw what is red in the colour of the ground"), "{f:?}");
        assert_eq!(f.remedies[1].text, "or keep its shades of light and dark: --read-as photo");
        assert_eq!(f.remedies[1].text.on_page(), "or keep its shades of light and dark");
        assert_eq!(f.remedies[1].sets, [("art.read_as".to_string(), "photo".to_string())]);
    }
}
