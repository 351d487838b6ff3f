//! The preset: what a maker's own header and footer lines may do.
//!
//! They are copied into every program, so they may set modes and dwell; they may not move the head, switch
//! the beam or end the program. What a word does that RS-274 does not know cannot be told, so it is refused
//! too. Read by the reader's own words ([`Block`]), which the writer knows nothing of.

use super::block::{self, Block};
use super::limits::LimitsError;
use crate::texts::text;

/// Refuses a header or footer line that does more than set modes and dwell.
///
/// # Errors
/// What the line does, and what to do.
pub fn check(key: &'static str, line: &str) -> Result<(), LimitsError> {
    match refusal(line) {
        None => Ok(()),
        Some(why) => Err(LimitsError::Line { key, line: line.chars().take(40).collect(), why }),
    }
}

/// How long a header or footer line dwells, s.
pub(super) fn dwell_s(line: &str) -> f64 {
    let mut words = Block::default();
    let read = words.parse(line.as_bytes(), |_| {}, |_| {}).is_ok();
    words.get(b'P').filter(|_| read && words.dwell()).unwrap_or(0.0)
}

fn refusal(line: &str) -> Option<String> {
    // 256 characters are the standard's limit (check value G01); one is kept for the line's end.
    if line.len() > 255 {
        return Some(text!("scan.preset.long").into());
    }
    if !line.bytes().all(|b| (0x20..0x7F).contains(&b) || b == b'\t') {
        return Some(text!("scan.preset.no-text").into());
    }
    let mut unknown = None;
    let mut words = Block::default();
    let parsed = words.parse(
        line.as_bytes(),
        |_| {},
        |word| {
            // A semicolon opens a comment in many controllers: it does nothing.
            if !word.starts_with(b";") && unknown.is_none() {
                unknown = Some(String::from_utf8_lossy(word).into_owned());
            }
        },
    );
    if let Err(fault) = parsed {
        return Some(text!("scan.preset.fault", fault));
    }
    if let Some(word) = unknown {
        return Some(text!("scan.preset.unknown", word));
    }
    let does = if words.has_axis() || words.g(block::MOTION).is_some_and(|g| g <= 10) {
        text!("scan.preset.does.head")
    } else if words.m(block::SPINDLE).is_some_and(|m| m != 5) {
        text!("scan.preset.does.beam")
    } else if words.get(b'S').is_some_and(|s| s != 0.0) {
        text!("scan.preset.does.power")
    } else if words.m(block::STOPPING).is_some_and(|m| m == 2 || m == 30) {
        text!("scan.preset.does.end")
    } else if words.m(block::STOPPING).is_some_and(|m| m == 60) {
        text!("scan.preset.does.pallet")
    } else if words.m(block::TOOL).is_some() {
        text!("scan.preset.does.tool")
    } else if words.g(block::JOINTS).is_some_and(|g| g != 640) {
        return Some(text!("scan.preset.stops").into());
    } else if words.dwell() && words.get(b'P').is_none() {
        return Some(text!("scan.preset.dwell").into());
    } else if words.dwell() && words.get(b'P').is_some_and(|p| !(0.0..=1e6).contains(&p)) {
        return Some(text!("scan.preset.dwell-range").into());
    } else {
        return None;
    };
    Some(text!("scan.preset.take-out", does))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn modes_dwell_and_comments_may_stand() {
        for line in [
            "G54",
            "G21 G90",
            "G64",
            "G4 P0.5",
            "M8",
            "M9 (air off)",
            "(air on)",
            "; air",
            "",
            "M5 S0",
            "N1 G17",
            "M0",
        ] {
            assert_eq!(refusal(line), None, "{line}");
        }
    }

    #[test]
    fn a_dwell_takes_the_seconds_of_its_p_word() {
        for (line, seconds) in
            [("G4 P0.5", 0.5), ("N1 g4p600 (air)", 600.0), ("G54", 0.0), ("(G4 P2)", 0.0), ("G4", 0.0)]
        {
            assert_eq!(dwell_s(line), seconds, "{line}");
        }
    }

    #[test]
    fn what_moves_burns_or_ends_is_refused() {
        for (line, said) in [
            ("M3S1000", "switches the beam on"),
            ("m4", "switches the beam on"),
            ("/M3", "switches the beam on"),
            ("G0X100Y100", "moves the head"),
            ("G1X0F100", "moves the head"),
            ("G1", "moves the head"),
            ("Z5", "moves the head"),
            ("G90 Y2", "moves the head"),
            ("S1", "sets the beam's power"),
            ("M2", "ends the program"),
            ("M30", "ends the program"),
            ("M6 T1", "changes the tool"),
            ("G4", "how long to dwell"),
            ("G4 P-3", "from 0 s up"),
            ("G4 P9999999", "from 0 s up"),
            ("G61", "stop where two moves meet"),
            ("G21 G61.1", "write G64"),
            ("M60", "changes the pallet"),
            ("G28", "changes of the coordinates"),
            ("G92X0", "changes of the coordinates"),
            ("G2X1I1", "arcs"),
            ("A90", "rotary axes"),
            ("$H", "cannot be told"),
            ("M106 S255", "cannot be told"),
            ("#1=5", "parameters and expressions"),
            ("%", "starts no word"),
            ("(a (b))", "nested or unpaired"),
            ("(a", "not closed"),
            ("a)", "A has no number"),
            ("G21\nM3", "not plain ASCII"),
            ("M3 M5", "modal group"),
        ] {
            let why = refusal(line).unwrap_or_default();
            assert!(why.contains(said), "{line}: '{why}'");
        }
        assert!(refusal(&"G".repeat(256)).is_some_and(|why| why.contains("longer than 255")));
        let e = check("footer", "G1X0F100").unwrap_err().to_string();
        assert!(e.starts_with("footer line 'G1X0F100' moves the head;"), "{e}");
    }
}
