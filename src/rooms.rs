//! Rooms use those beside them and above them in the list of `DEVELOPERS.md`, and none further down.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

/// Files that belong to no room: the roots, and tests of the whole source.
const NO_ROOM: &[&str] = &["kernels", "lib", "main", "rooms", "same_bits"];
/// The command that opens the desk.
const EXCEPTION: &str = "cli/desk.rs";

/// How far down the list each room stands.
fn levels(listed: &str) -> BTreeMap<&str, usize> {
    let block = listed.split("## Layout").nth(1).and_then(|after| after.split("```").nth(1)).unwrap();
    let lines = block.lines().filter(|line| !line.trim().is_empty());
    lines
        .enumerate()
        .flat_map(|(level, line)| line.split_whitespace().map(move |room| (room, level)))
        .collect()
}

/// All files of Rust under a folder, but those of tests.
fn files(folder: &Path, found: &mut Vec<PathBuf>) {
    for path in fs::read_dir(folder).unwrap().map(|e| e.unwrap().path()) {
        if path.is_dir() {
            files(&path, found);
        } else if path.extension().is_some_and(|e| e == "rs") && !path.ends_with("tests.rs") {
            found.push(path);
        }
    }
}

/// The rooms that code names; tests and comments left out.
fn named(text: &str) -> Vec<&str> {
    let code = text.split("#[cfg(test)]").next().unwrap_or_default();
    let lines = code.lines().map(|line| line.split("//").next().unwrap_or_default());
    let mut rooms = Vec::new();
    for after in lines.flat_map(|line| line.split("crate::").skip(1)) {
        let names: Vec<&str> = match after.strip_prefix('{') {
            Some(several) => several.split('}').next().unwrap_or_default().split(',').collect(),
            None => vec![after],
        };
        let room =
            |name: &'_ str| name.find(|c: char| !c.is_alphanumeric() && c != '_').unwrap_or(name.len());
        rooms.extend(names.into_iter().map(str::trim).map(|name| &name[..room(name)]));
    }
    rooms
}

#[test]
fn no_room_uses_one_further_down() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let listed = fs::read_to_string(root.join("DEVELOPERS.md")).unwrap();
    let levels = levels(&listed);
    let (mut all, mut found) = (Vec::new(), Vec::new());
    files(&root.join("src"), &mut all);
    for file in all {
        let name = file.strip_prefix(root.join("src")).unwrap().display().to_string();
        let own = name.split(['/', '.']).next().unwrap_or_default();
        if NO_ROOM.contains(&own) || name == EXCEPTION {
            continue;
        }
        let Some(level) = levels.get(own) else {
            found.push(format!("src/{name}: {own} is not in the list"));
            continue;
        };
        let text = fs::read_to_string(&file).unwrap();
        let down = named(&text).into_iter().filter(|room| levels.get(room).is_none_or(|l| l > level));
        found.extend(down.map(|room| format!("src/{name} uses {room}")));
    }
    assert!(found.is_empty() && levels.len() > 20, "{}", found.join("\n"));
}

#[test]
fn rooms_are_seen_where_they_are_named() {
    let text = "use crate::{outputs, pipeline::run};\nlet a = crate::art::open(crate::units::Mm(1.0)); // crate::desk\n\
                pub(crate) fn b() {}\n#[cfg(test)]\nuse crate::cli;\n";
    assert_eq!(named(text), ["outputs", "pipeline", "art", "units"]);
    assert_eq!(levels("## Layout\n```\na b\n  c\n```\n"), [("a", 0), ("b", 0), ("c", 1)].into());
}
