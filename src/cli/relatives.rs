//! Relatives: options by the names they have elsewhere, and the one that does it here.

use clap::error::{ContextKind, ContextValue, ErrorKind};
use clap::{Command, CommandFactory};

use super::line::Line;

/// Names that options have elsewhere.
struct Relative {
    names: &'static [&'static str],
    /// Options that do the same here, each with how to say it; the first that the command has counts.
    leads: &'static [(&'static str, &'static str)],
}

const fn relative(
    names: &'static [&'static str],
    leads: &'static [(&'static str, &'static str)],
) -> Relative {
    Relative { names, leads }
}

const RELATIVES: &[Relative] = &[
    relative(
        &["brightness", "bright", "lighten", "lighter", "lightness", "exposure"],
        &[
            (
                "brighten",
                "make the tones lighter with --brighten 20, or darker with --brighten -20 (from -100 to 100)",
            ),
            ("curve", "lighten the middle tones with --curve 0%:0%,50%:65%,100%:100%"),
        ],
    ),
    relative(
        &["darken", "darker", "dark"],
        &[("brighten", "make the tones darker with --brighten -20 (from -100 to 100)")],
    ),
    relative(
        &["gamma", "curves", "midtones"],
        &[(
            "curve",
            "make the middle tones lighter or darker with --brighten 20 or -20, or bend them with --curve 0%:0%,50%:60%,100%:100%",
        )],
    ),
    relative(
        &["inverted", "inverse", "negative", "negate", "invert-colors", "invert-colours"],
        &[
            ("invert", "exchange light and dark with --invert"),
            ("curve", "exchange light and dark with --curve 0%:100%,100%:0%"),
        ],
    ),
    relative(&["rotate", "rotation", "orientation"], &[("turn", "turn the art clockwise with --turn 90")]),
    relative(
        &["flip", "flop", "reflect", "mirrored", "reverse", "flip-horizontal"],
        &[("mirror", "mirror it left to right with --mirror, or exchange light and dark with --invert")],
    ),
    relative(
        &["dpi", "ppi", "lpi", "resolution", "lines", "spacing"],
        &[(
            "density",
            "set the density of dots, for example with --density 290dpi; without it a fitting one is advised",
        )],
    ),
    relative(
        &["size", "width", "height", "scale", "resize", "fit"],
        &[(
            "place",
            "say how large the art becomes with --place 60x40mm; the blank's own size is said with --blank, as in --blank round:90mm",
        )],
    ),
    relative(
        &["shape", "diameter", "round", "object", "workpiece"],
        &[("blank", "describe the blank with --blank round:90mm or --blank rect:100x60mm")],
    ),
    relative(
        &["material", "substrate", "paint", "finish"],
        &[(
            "coating",
            "name the blank, as in --blank slate-coaster-100, or the coating, as in --coating poster-paint; 'dotwright kit list' shows all",
        )],
    ),
    relative(&["laser", "device", "printer"], &[("machine", "name the machine with --machine diode-5w")]),
    relative(
        &["dither", "halftone", "dithering", "mode"],
        &[("screen", "choose the screen with --screen; 'dotwright screens' lists them")],
    ),
    relative(
        &["feed", "feedrate", "feed-rate", "velocity"],
        &[("speed", "set the speed with --speed 12.5mm/s")],
    ),
    relative(&["intensity", "strength"], &[("power", "set the power with --power 90%")]),
    relative(&["padding", "offset", "inset"], &[("margin", "keep the edge free with --margin 2.5mm")]),
    relative(
        &["output", "destination", "folder", "dir"],
        &[("out", "name the folder for the results with --out")],
    ),
    relative(&["sharpness", "unsharp"], &[("sharpen", "sharpen with --sharpen 0.2mm")]),
];

/// The sentence that leads from an option by another name to the right one; nothing where none is known.
pub fn lead(e: &clap::Error) -> Option<String> {
    if e.kind() != ErrorKind::UnknownArgument {
        return None;
    }
    let Some(ContextValue::String(written)) = e.get(ContextKind::InvalidArg) else { return None };
    let line = Line::command();
    let command = asked(&line);
    let name = written.trim_start_matches('-').split('=').next().unwrap_or_default().to_lowercase();
    let has = |option: &str| command.get_arguments().any(|a| a.get_long() == Some(option));
    let here = RELATIVES.iter().find(|r| r.names.contains(&name.as_str()))?;
    let words = here.leads.iter().find(|(option, _)| has(option))?.1;
    Some(format!("there is no option '{written}'; {words}"))
}

/// The command that the words of the line name, as deep as they go.
fn asked(line: &Command) -> &Command {
    let mut command = line;
    for word in std::env::args_os().skip(1) {
        match command.find_subcommand(&word) {
            Some(deeper) => command = deeper,
            None => break,
        }
    }
    command
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_a_relative_leads_to_is_an_option_that_prepare_has() {
        let line = Line::command();
        let prepare = line.find_subcommand("prepare").unwrap();
        let has = |option: &str| prepare.get_arguments().any(|a| a.get_long() == Some(option));
        for Relative { names, leads } in RELATIVES {
            assert!(leads.iter().any(|(option, _)| has(option)), "{names:?} lead nowhere");
            for name in *names {
                let shown = leads.iter().any(|(option, _)| option == name);
                assert!(shown || !has(name), "--{name} is an option of its own");
            }
        }
    }
}
