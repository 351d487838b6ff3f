//! The keys of a machine file in words, so that a starter machine shows all that can be said of one.

use crate::texts;

/// A key: its table, its name, and a value as in TOML.
struct Key(&'static str, &'static str, &'static str);

impl Key {
    /// What it means, with unit, range and what holds where it is left out; without a full stop.
    fn words(&self) -> Option<&'static str> {
        texts::known(&format!("job.machine-key.{}", self.1))
    }

    /// The same as a comment, on one line whatever the language.
    fn comment(&self) -> String {
        let words = self.words().unwrap_or_default();
        format!("# {}.\n", words.split_whitespace().collect::<Vec<_>>().join(" "))
    }
}

/// The keys, table by table.
const KEYS: &[Key] = &[
    Key("", "name", "\"my laser\""),
    Key("", "standing", "\"given\""),
    Key("", "source", "\"\""),
    Key("laser", "power", "\"5W\""),
    Key("laser", "wavelength_nm", "450"),
    Key("laser", "beam_along", "\"0.12mm\""),
    Key("laser", "beam_across", "\"0.12mm\""),
    Key("laser", "switch_ms", "0.1"),
    Key("motion", "bed", "\"400x400mm\""),
    Key("motion", "steps_per_mm_x", "80"),
    Key("motion", "steps_per_mm_y", "80"),
    Key("motion", "acceleration_mm_per_s2", "500"),
    Key("motion", "top_speed", "\"100mm/s\""),
    Key("motion", "rapid_speed", "\"100mm/s\""),
    Key("motion", "acceleration_y_mm_per_s2", "500"),
    Key("motion", "top_speed_y", "\"100mm/s\""),
    Key("motion", "rapid_speed_y", "\"100mm/s\""),
    Key("motion", "settle", "\"0.1mm\""),
    Key("motion", "gap_settle", "\"0mm\""),
    Key("motion", "lag_ms", "0"),
    Key("motion", "placement_tolerance", "\"0.5mm\""),
    Key("motion", "zero", "\"0x0mm\""),
    Key("motion", "x_to_the_left", "false"),
    Key("motion", "y_downwards", "false"),
    Key("motion", "blank_on_bed", "\"150x150mm\""),
    Key("program", "full_scale_s", "1000"),
    Key("program", "power_mode", "\"constant\""),
    Key("program", "s_inside_moves", "true"),
    Key("program", "link_bytes_per_s", "0"),
    Key("program", "link_buffer_bytes", "128"),
    Key("program", "plans_ahead", "0"),
    Key("program", "moves_per_s", "0"),
    Key("program", "header", "[]"),
    Key("program", "footer", "[]"),
    Key("program", "pointer_power", "\"0.2%\""),
    Key("rotary", "letter", "\"A\""),
    Key("rotary", "degrees_per_unit", "1"),
    Key("rotary", "steps_per_turn", "6400"),
    Key("rotary", "mm_per_unit", "1"),
    Key("rotary", "steps_per_mm", "80"),
    Key("rotary", "units_per_s", "180"),
    Key("rotary", "units_per_s2", "1200"),
    Key("rotary", "along", "\"x\""),
    Key("rotary", "to_the_left", "false"),
];

/// A value of a key as in TOML, and what it means.
pub(super) fn example(table: &str, key: &str) -> Option<(&'static str, &'static str)> {
    let known = KEYS.iter().find(|k| k.0 == table && k.1 == key)?;
    Some((known.2, known.words()?))
}

/// The tables of a machine file, in their order.
const TABLES: &[&str] = &["", "laser", "motion", "program", "rotary"];

/// The text of a machine file, with a line about each key, and with those that it leaves out behind a #.
pub fn described(text: &str) -> String {
    let mut out = String::from(
        "# To say more of a machine, take the # away before a key, and put in its own number.\n",
    );
    for table in TABLES {
        let own = lines(text, table);
        let left_out = if own.is_none() { "#" } else { "" };
        if !table.is_empty() {
            let about = if own.is_none() { "# What turns round pieces, where there is one.\n" } else { "" };
            out += &format!("\n{about}{left_out}[{table}]\n");
        }
        let own = own.unwrap_or_default();
        let of_table = || KEYS.iter().filter(|k| k.0 == *table);
        for line in &own {
            if let Some(known) = of_table().find(|k| k.1 == key(line)) {
                out += &known.comment();
            }
            out += &format!("{line}\n");
        }
        for known @ Key(_, name, value) in of_table().filter(|k| own.iter().all(|line| key(line) != k.1)) {
            out += &format!("{}#{name} = {value}\n", known.comment());
        }
    }
    out
}

/// The lines of a table, those that are empty left out; none where the file has no such table.
fn lines<'a>(text: &'a str, table: &str) -> Option<Vec<&'a str>> {
    let head = format!("[{table}]");
    let mut all = text.lines().map(str::trim_end);
    if !table.is_empty() {
        all.find(|line| *line == head)?;
    }
    Some(all.take_while(|line| !line.starts_with('[')).filter(|line| !line.is_empty()).collect())
}

/// The key of a line.
fn key(line: &str) -> &str {
    line.split('=').next().unwrap_or_default().trim()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::job::kit::{self, ENTRIES, Sort};
    use crate::job::{Machine, file};
    use crate::units::{MmPerS, Share};

    /// A machine of which everything is said.
    fn whole() -> Machine {
        let mut m = kit::machine("diode-5w").unwrap();
        m.laser.switch_ms = 0.2;
        m.motion.acceleration_y_mm_per_s2 = Some(400.0);
        m.motion.top_speed_y = Some(MmPerS(90.0));
        m.motion.rapid_speed_y = Some(MmPerS(90.0));
        m.motion.gap_settle = crate::units::Mm(0.1);
        m.motion.blank_on_bed = Some("20x35mm".into());
        m.program.moves_per_s = 900.0;
        m.program.pointer_power = Some(Share(0.002));
        let rotary = toml::from_str(
            "letter = 'A'\ndegrees_per_unit = 1\nmm_per_unit = 1\nsteps_per_turn = 10\nsteps_per_mm = 1\n\
             units_per_s = 1\nunits_per_s2 = 1",
        )
        .unwrap();
        m.rotary = Some(rotary);
        m
    }

    #[test]
    fn every_key_of_a_machine_is_described_and_no_other() {
        let toml::Value::Table(all) = toml::Value::try_from(whole()).unwrap() else { panic!("a table") };
        let mut there: Vec<(String, String)> = Vec::new();
        for (name, value) in &all {
            match value {
                toml::Value::Table(inner) => there.extend(inner.keys().map(|k| (name.clone(), k.clone()))),
                _ => there.push((String::new(), name.clone())),
            }
        }
        let mut described: Vec<_> = KEYS.iter().map(|k| (k.0.to_string(), k.1.to_string())).collect();
        there.sort();
        described.sort();
        assert_eq!(described, there);
    }

    #[test]
    fn every_key_has_its_words() {
        assert!(KEYS.iter().all(|k| k.words().is_some_and(|words| !words.ends_with('.'))));
    }

    #[test]
    fn what_is_described_is_the_same_machine_and_says_the_values_that_hold() {
        for e in ENTRIES.iter().filter(|e| e.sort == Sort::Machine) {
            let plain = kit::machine(e.id).unwrap();
            let text = described(e.text);
            assert_eq!(
                file::parse::<Machine>("machine", "m.toml".as_ref(), &text).unwrap(),
                plain,
                "{}",
                e.id
            );
            for Key(_, name, ..) in KEYS {
                let lines = |l: &&str| key(l).trim_start_matches('#') == *name && l.contains('=');
                assert_eq!(text.lines().filter(lines).count(), 1, "{name} of {}", e.id);
            }
        }
        // With every # taken away, but those that change where the blank lies, show the beam, or mean another rotary.
        let others = ["blank_on_bed", "pointer_power", "mm_per_unit", "steps_per_mm"];
        let said: String = described(kit::entry(Sort::Machine, "diode-5w").unwrap().text)
            .lines()
            .map(|l| match l.strip_prefix('#') {
                Some(said) if !said.starts_with(' ') && !others.contains(&key(said)) => format!("{said}\n"),
                _ => format!("{l}\n"),
            })
            .collect();
        let said: Machine = file::parse("machine", "m.toml".as_ref(), &said).unwrap();
        said.check().unwrap();
        assert!(said.rotary.is_some());
        let plain = kit::machine("diode-5w").unwrap();
        assert_eq!(said.limits(), plain.limits());
        assert_eq!(said.laser, plain.laser);
        assert_eq!(said.motion.placement_tolerance, plain.motion.placement_tolerance);
    }

    #[test]
    fn a_value_that_is_left_out_is_what_its_line_says() {
        let named = |name: &str| KEYS.iter().find(|k| k.1 == name).unwrap();
        let bare = "name = 'x'\n[laser]\npower = '5W'\nwavelength_nm = 450\nbeam_along = '0.1mm'\nbeam_across = '0.1mm'\n\
                    [motion]\nbed = '400x400mm'\nsteps_per_mm_x = 80\nsteps_per_mm_y = 80\nacceleration_mm_per_s2 = 500\n\
                    top_speed = '100mm/s'\nrapid_speed = '100mm/s'\n[program]\nfull_scale_s = 1000\npower_mode = 'constant'\n";
        let bare: Machine = toml::from_str(bare).unwrap();
        let (m, c) = (&bare.motion, &bare.program);
        for (name, holds) in [
            ("switch_ms", bare.laser.switch_ms.to_string()),
            ("settle", format!("\"{}\"", m.settle)),
            ("gap_settle", format!("\"{}\"", m.gap_settle)),
            ("lag_ms", m.lag_ms.to_string()),
            ("placement_tolerance", format!("\"{}\"", m.placement_tolerance)),
            ("zero", format!("\"{}\"", m.zero)),
            ("x_to_the_left", m.x_to_the_left.to_string()),
            ("y_downwards", m.y_downwards.to_string()),
            ("s_inside_moves", c.s_inside_moves.to_string()),
            ("link_bytes_per_s", c.link_bytes_per_s.to_string()),
            ("link_buffer_bytes", c.link_buffer_bytes.to_string()),
            ("plans_ahead", c.plans_ahead.to_string()),
            ("moves_per_s", c.moves_per_s.to_string()),
        ] {
            let known @ Key(_, _, value) = named(name);
            assert_eq!(*value, holds, "{name}");
            let words = known.words().unwrap();
            let said = holds.trim_matches('"');
            assert!(
                words.contains(&format!("eft out: {said}")) || words.contains("eft out or 0:"),
                "{name}: {words}"
            );
        }
    }
}
