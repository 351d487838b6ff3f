//! Relatives: options that are not there under the name that was tried, and where to find what they would do.

/// The option that does it, in words; `None` where the name is not known.
pub fn of(option: &str) -> Option<String> {
    let name = option.trim_start_matches('-').split('=').next().unwrap_or_default().to_lowercase();
    let there = match name.as_str() {
        "brightness" | "bright" | "lighten" | "lighter" | "exposure" => {
            "to make the tones lighter, write --brighten 20, and darker --brighten -20 (from -100 to 100)"
        }
        "darken" | "darker" | "dark" => "to make the tones darker, write --brighten -20 (from -100 to 100)",
        "gamma" => {
            "to make the middle tones lighter or darker, write --brighten 20 or -20; any curve with --curve 0%:0%,50%:60%,100%:100%"
        }
        "rotate" | "rotation" => "to turn the art clockwise, write --turn 90 (0, 90, 180 or 270)",
        "flip" | "mirrored" | "reverse" => {
            "to mirror left to right, write --mirror; to exchange light and dark, --invert"
        }
        "negative" | "inverted" | "invert-colors" | "invert-colours" => {
            "to exchange light and dark, write --invert"
        }
        "dpi" | "resolution" => {
            "the density of dots is set by --density, for example --density 290dpi; without it a fitting one is advised"
        }
        "size" | "width" | "height" | "scale" => {
            "the size of the art is set by --place, for example --place 60x40mm; the blank's by --blank, for example --blank round:90mm"
        }
        "material" | "substrate" => {
            "name the blank, for example --blank slate-coaster-100, or the coating, --coating bare-slate; 'dotwright kit list' shows all"
        }
        "dither" | "dithering" | "halftone" => "dots are made by --screen; 'dotwright screens' lists them",
        _ => return None,
    };
    Some(format!("there is no --{name}; {there}"))
}

#[cfg(test)]
mod tests {
    #[test]
    fn names_from_elsewhere_lead_to_the_option_that_does_it() {
        for (tried, option) in [
            ("--brightness", "--brighten 20"),
            ("--rotate=90", "--turn 90"),
            ("--gamma", "--curve"),
            ("--Negative", "--invert"),
        ] {
            let said = super::of(tried).unwrap();
            assert!(said.contains(option), "{said}");
        }
        assert_eq!(super::of("--frobnicate"), None);
    }
}
