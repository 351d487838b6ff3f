//! The fields of `report.json`, one line each, checked against the report itself.

/// Path of a field and what it holds. `[]` stands for each entry of a list. Where a field is a
/// known value, its `value`, `standing` (`assumed`, `measured` or `given`) and `source` lie below the path.
pub const FIELDS: &[(&str, &str)] = &[
    (
        "schema_version",
        "version of this layout; rises when a field is renamed, removed or changes its meaning",
    ),
    ("written_by", "name and version of the program"),
    ("art.name", "file name of the picture or drawing, or `standard input`"),
    ("art.format", "its format in words"),
    ("art.read_as", "`photo`, `drawing` or `paper`"),
    ("art.read_as_sure_share", "how sure that is; null where it was asked for or cannot be otherwise"),
    ("art.read_as_why", "why it was read so"),
    ("art.width_px", "columns of the source as it stands upright; null for drawings without pixels"),
    ("art.height_px", "rows of the source as it stands upright; null for drawings without pixels"),
    ("blank.shape", "outline as on the command line"),
    ("blank.width_mm", "width of the outline"),
    ("blank.height_mm", "height of the outline"),
    ("blank.margin_mm", "kept free inside the outline"),
    ("blank.surface", "surface in words"),
    ("placement.wished_width_mm", "width as a whole, before the margin cuts it and it is made of whole dots"),
    (
        "placement.wished_height_mm",
        "height as a whole, before the margin cuts it and it is made of whole dots",
    ),
    ("placement.true_width_mm", "width after rounding to whole dots"),
    ("placement.true_height_mm", "height after rounding to whole dots"),
    ("placement.left_mm", "left edge, from the blank's left"),
    ("placement.top_mm", "top edge, from the blank's top downwards"),
    ("placement.turn_deg", "turn, clockwise"),
    ("placement.mirror", "whether it is mirrored for the back of glass"),
    ("placement.shown", "from which side it is seen, where it is mirrored; else null"),
    ("dots.columns", "dots a row"),
    ("dots.rows", "rows"),
    ("dots.pitch_along_mm", "distance between dots of a line"),
    ("dots.pitch_across_mm", "distance between lines"),
    (
        "dots.unsure_beam_share",
        "how far off the beam may be, one standard deviation: what the searching screens make their dots for and the likeness to expect allows for; 0 for ready-made dots",
    ),
    ("dots.unsure_exposure_share", "the same of the exposure"),
    ("dots.density_dpi", "lines an inch, 25.4 / pitch_across_mm"),
    ("dots.pitch_why", "why this pitch"),
    ("dots.on_count", "dots on which the beam is on"),
    (
        "dots.coverage_share",
        "their share of the places where dots may be (on the blank less its margin), 0 to 1",
    ),
    ("dots.screen", "name of the screen"),
    ("dots.dot_gain", "dot-gain curve in words"),
    ("dots.beam_on", "what stands for beam on in the picture files, `black` or `white`"),
    ("process.machine", "name of the machine"),
    ("process.coating", "name of the coating"),
    ("process.marks", "`lighter` or `darker` than the unmarked piece"),
    ("process.standing", "`measured` when every value that shapes the forecast was, else `assumed`"),
    ("process.wavelength_nm", "wavelength of the laser; null where not known"),
    ("process.rated_power_w", "rated optical power"),
    ("process.beam_along_mm", "1/e² diameter along the scan"),
    ("process.beam_across_mm", "1/e² diameter across the scan"),
    ("process.power_share", "power setting as a share of the rated power, 0 to 1"),
    ("process.speed_mm_per_s", "scan speed"),
    ("process.passes", "times each line is marked"),
    ("process.dose_j_per_mm2", "mean dose of a solid fill, power x passes / (speed x pitch_across)"),
    ("process.effective_exposure_j_per_mm2", "the same after reciprocity"),
    ("process.y_unmarked", "relative luminance of the unmarked piece after cleaning, 0 to 1"),
    ("process.y_marked", "relative luminance of a full mark, 0 to 1"),
    ("process.y_char", "relative luminance of a charred place, 0 to 1"),
    ("process.x_half_j_per_mm2", "effective exposure at half the rise"),
    ("process.rise", "steepness of the rise"),
    ("process.x_char_j_per_mm2", "effective exposure at half the char; null where the coating never chars"),
    ("process.char_rise", "steepness of the char"),
    ("process.schwarzschild", "Schwarzschild's exponent, 0.5 to 1"),
    ("process.reference_speed_mm_per_s", "reference speed of the reciprocity law"),
    ("forecast", "null where no forecast was made"),
    ("forecast.mean_mark_share", "mean forecast mark fraction over the dot rectangle, 0 to 1"),
    ("forecast.mean_wanted_share", "mean wanted mark fraction over the dot rectangle, 0 to 1"),
    ("forecast.marked_mm2", "area where the mark fraction is at least one half"),
    ("forecast.over_burn_mm2", "area where the char fraction is at least 5 %"),
    (
        "forecast.likeness_planned_db",
        "likeness as planned: PSNR as the eye sees it from 300 mm; null where there is no wanted mark to hold dots against, or nothing differs",
    ),
    (
        "forecast.likeness_expected_db",
        "likeness to expect: the same over what is not known of beam and exposure",
    ),
    ("round", "absent unless the piece is round"),
    ("round.diameter_mm", "diameter; of a cone, where it is widest"),
    ("round.cone", "absent unless the piece is a cone"),
    ("round.cone.foot_mm", "diameter at its foot"),
    ("round.cone.top_mm", "diameter at its top"),
    ("round.cone.slant_mm", "way up along its mantle, the height of the unrolled picture"),
    ("round.cone.tilt_deg", "how far the rotary is tilted so that the mantle's highest line lies level"),
    ("round.girth_mm", "all round it where it is widest, the width of the unrolled picture"),
    ("round.seam", "`margin` or `closed`"),
    ("round.letter", "letter of the rotary's words"),
    ("round.units_per_mm", "units of its words a mm of surface, where the piece is widest"),
    ("round.steps_a_line", "motor steps from line to line; null where lines run round the piece"),
    ("round.degrees_a_line", "turn from line to line; null where lines run round the piece"),
    (
        "round.falls_mm",
        "how much lower the surface lies where the head stands beside the rotary's middle by the machine's placement_tolerance",
    ),
    ("round.focus", "what the curve does to the focus, in sentences"),
    ("times", "null where not known"),
    ("times.total_s", "of the whole program, from its first line to its last"),
    ("times.beam_on_s", "with the beam on"),
    ("times.gaps_s", "in gaps between marks, rapids over long ones among them"),
    ("times.run_up_s", "in run-ups and turns"),
    ("times.turn_s", "of these, in turns from line to line"),
    ("times.approach_s", "from the program's zero to the first line and back from the last"),
    ("times.dwell_s", "in dwells of the machine's header and footer; absent where there are none"),
    (
        "times.bound_s",
        "what no program can be quicker than: length of all marks / speed, which is their area × dose / power",
    ),
    ("program", "null where no scan program was written"),
    ("program.lines", "lines of text"),
    ("program.bytes", "size"),
    ("program.travel_mm", "way of the head, beam on or off"),
    ("program.run_up_mm", "run-up before and after each line"),
    ("program.link", "what is said of the controller and its link; null where nothing is known of them"),
    ("gain_curve[].coverage_share", "dot coverage, 0 to 1, rising"),
    ("gain_curve[].mark_share", "mark fraction that it gives on a flat patch, 0 to 1"),
    ("findings[].name", "stable name"),
    ("findings[].severity", "`note`, `caution` or `stop`"),
    ("findings[].message", "the fact in one sentence"),
    ("findings[].area_mm2", "affected area; null where it has none"),
    (
        "findings[].at_mm",
        "worst spot, [x to the right, y up] from the blank's lower left corner; null where it has none",
    ),
    ("findings[].remedies[].change", "what to change"),
    ("findings[].remedies[].value", "the value that clears the finding"),
    ("findings[].remedies[].unit", "its unit"),
    ("findings[].remedies[].text", "the remedy in words"),
    (
        "findings[].remedies[].verified",
        "whether it is known to clear the finding: tried where it is a power, a speed, a pitch or a ceiling, else worked out",
    ),
    ("files[].name", "name in the folder"),
    ("files[].bytes", "size; null for the report and the ticket themselves"),
    ("files[].about", "what it is for"),
    ("notes[]", "what the program decided on its own"),
    ("cautions[]", "safety"),
    ("steps[].title", "what to do, in a few words"),
    ("steps[].text", "what to do, in sentences"),
];

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;

    use serde_json::Value;

    use super::*;
    use crate::proof::made::{keep, report};

    /// Every path below `value`; a known value counts as one.
    fn paths(value: &Value, at: &str, out: &mut BTreeSet<String>) {
        match value {
            Value::Object(o) if o.contains_key("standing") && o.contains_key("source") => {
                out.insert(at.to_string());
            }
            Value::Object(o) => {
                for (key, v) in o {
                    let below = if at.is_empty() { key.clone() } else { format!("{at}.{key}") };
                    paths(v, &below, out);
                }
            }
            Value::Array(list) if !at.ends_with("at_mm") => {
                list.iter().for_each(|v| paths(v, &format!("{at}[]"), out));
            }
            _ => {
                out.insert(at.to_string());
            }
        }
    }

    #[test]
    fn the_table_names_exactly_the_fields_of_a_full_report() {
        let json: Value = serde_json::from_str(&report().to_json().unwrap()).unwrap();
        let mut have = BTreeSet::new();
        paths(&json, "", &mut have);
        // The parts that may be absent are listed on their own as well.
        have.extend(["forecast", "round", "round.cone", "times", "program"].map(String::from));
        let listed: BTreeSet<String> = FIELDS.iter().map(|f| f.0.to_string()).collect();
        assert_eq!(listed.len(), FIELDS.len(), "a field is listed twice");
        assert_eq!(have.difference(&listed).collect::<Vec<_>>(), Vec::<&String>::new(), "not in the table");
        assert_eq!(listed.difference(&have).collect::<Vec<_>>(), Vec::<&String>::new(), "not in the report");
    }

    #[test]
    fn a_value_says_how_it_is_known() {
        let json: Value = serde_json::from_str(&report().to_json().unwrap()).unwrap();
        keep("report.json", report().to_json().unwrap().as_bytes());
        assert_eq!(json["process"]["beam_along_mm"]["value"], 0.12);
        assert_eq!(json["process"]["beam_along_mm"]["standing"], "assumed");
        assert_eq!(json["process"]["power_share"]["standing"], "given");
    }
}
