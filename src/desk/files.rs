//! Files: those of `prepare`, into a folder of the home or into an archive.

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;

use serde_json::{Value, json};

use super::exact::Exact;
use super::home::{Home, Name};
use super::says::Says;
use super::texts::filled;
use super::{Desk, art};
use crate::encode::sink::{Folder, Sink, Zip};
use crate::job::file_name;
use crate::outputs;
use crate::progress::Silent;

/// In the home: whose files each folder of `out` holds, by the folder's name.
const SAVED: &str = ".saved.json";

/// All of them; where that is not known a folder is that of the job of its name.
fn saved(home: &Home) -> BTreeMap<String, String> {
    let text = home.at(&[SAVED]).ok().and_then(|path| fs::read(path).ok());
    text.and_then(|text| serde_json::from_slice(&text).ok()).unwrap_or_default()
}

/// A folder's name as the disk has it, where capitals may count for nothing.
fn called(place: &Path) -> String {
    let there = place.canonicalize();
    let name = there.as_deref().unwrap_or(place).file_name().unwrap_or_default();
    name.to_string_lossy().into_owned()
}

/// Makes sure that no other job's files lie where those of `job` are to be saved: they may not have been burnt yet, and a
/// folder of one's own name is easily taken twice.
///
/// # Errors
/// Where they do, or the name is none.
pub(super) fn free(home: &Home, job: &Name, folder: Option<&str>) -> Result<(), Says> {
    let folder = folder.map(Name::new).transpose()?.unwrap_or_else(|| job.clone());
    let place = home.at(&["out", folder.text()])?;
    if !fs::read_dir(&place).is_ok_and(|mut all| all.next().is_some()) {
        return Ok(());
    }
    let folder = called(&place);
    let of = saved(home).remove(&folder);
    if of.as_ref().unwrap_or(&folder) == job.text() {
        return Ok(());
    }
    let says = match of {
        Some(of) => filled("says.folder.of", &[("folder", &folder), ("name", &of)]),
        None => filled("says.folder.other", &[("folder", &folder)]),
    };
    Err(Says::overtaken(says).with("there", folder))
}

/// Remembers whose files lie in a folder now.
///
/// # Errors
/// Where that cannot be written.
pub(super) fn remember(home: &Home, job: &Name, place: &Path) -> Result<(), Says> {
    let _held = home.writing();
    let mut all = saved(home);
    if all.insert(called(place), job.text().to_string()).as_deref() != Some(job.text()) {
        home.write(&home.at(&[SAVED])?, &serde_json::to_vec(&all)?)?;
    }
    Ok(())
}

/// Remembers that a job is called `to` now; nothing else may be written meanwhile.
///
/// # Errors
/// Where that cannot be written.
pub(super) fn renamed(home: &Home, job: &Name, to: &Name) -> Result<(), Says> {
    let mut all = saved(home);
    let mut own = all.values_mut().filter(|of| *of == job.text()).peekable();
    if own.peek().is_none() {
        return Ok(());
    }
    own.for_each(|of| *of = to.text().to_string());
    home.write(&home.at(&[SAVED])?, &serde_json::to_vec(&all)?)
}

/// Writes the files of a run into a folder of `out`; what lies there of an earlier run is replaced.
///
/// # Errors
/// As [`outputs::write`].
pub(super) fn save(desk: &Desk, exact: &Exact, folder: Option<&str>) -> Result<Value, Says> {
    let name = folder.map(Name::new).transpose()?.unwrap_or_else(|| exact.piece.name.clone());
    let place = desk.home.at(&["out", name.text()])?;
    let _held = desk.home.saving();
    let mut output = Folder::begin(&place, &outputs::JOB, true, &[])?;
    let report = outputs::write(&exact.piece.plan, &exact.outcome, None, &mut output, &Silent)?;
    output.commit()?;
    let files: Vec<Value> =
        report.files.iter().map(|f| json!({ "name": f.name, "bytes": f.bytes })).collect();
    desk.events.tell("saved", &json!({ "job": exact.piece.name.text(), "folder": place }));
    Ok(json!({ "folder": place, "files": files }))
}

/// The same files as an archive, with the art beside its job, which names it there: it runs wherever it is unpacked.
///
/// # Errors
/// As [`outputs::write`]; where the art cannot be read any more.
pub(super) fn zip(desk: &Desk, exact: &Exact) -> Result<Vec<u8>, Says> {
    let piece = &exact.piece;
    let folder = desk.home.at(&["out", piece.name.text()])?;
    let job = &piece.plan.job;
    // As the job names it, as the archive does, and its bytes.
    let mut along: Vec<(&str, String, Vec<u8>)> = Vec::new();
    for file in job.art.file.iter().chain(job.layers.iter().filter_map(|l| l.file.as_ref())) {
        if along.iter().any(|(known, ..)| *known == file.as_str()) {
            continue;
        }
        let path = desk.home.within(&folder.join(file_name::path(file)))?;
        let called = path.file_name().unwrap_or_default().to_string_lossy().into_owned();
        let names = (1..).map(|n| if n == 1 { format!("art/{called}") } else { format!("art/{n}-{called}") });
        let Some(name) = names.take(100).find(|name| along.iter().all(|(_, taken, _)| taken != name)) else {
            continue;
        };
        along.push((file.as_str(), name, art::source(&path)?.bytes));
    }
    let named = |file: &str| {
        along
            .iter()
            .find(|(known, ..)| *known == file)
            .map_or_else(|| file.to_string(), |(_, name, _)| name.clone())
    };
    let mut output = Zip::new(Vec::new());
    outputs::write(&piece.plan.taken_along(&named), &exact.outcome, None, &mut output, &Silent)?;
    for (_, name, bytes) in &along {
        output.put(name, bytes)?;
    }
    Ok(output.finish()?)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::desk::home::tests::home;

    #[test]
    fn the_files_of_another_job_are_not_replaced_unasked() {
        let (_dir, home) = home();
        let (rose, gull) = (Name::new("rose").unwrap(), Name::new("gull").unwrap());
        let put = |job: &Name, folder: &str| {
            let place = home.at(&["out", folder]).unwrap();
            home.write(&place.join("program.nc"), b"M5").unwrap();
            remember(&home, job, &place).unwrap();
        };
        for folder in [None, Some("gifts")] {
            assert!(free(&home, &rose, folder).is_ok());
            put(&rose, folder.unwrap_or("rose"));
            assert!(free(&home, &rose, folder).is_ok(), "its own are replaced");
        }
        for folder in ["rose", "gifts"] {
            let says = free(&home, &gull, Some(folder)).unwrap_err();
            assert!(says.sentence().contains("another folder"), "{says:?}");
        }
        // Whoever replaced them has them from then on.
        put(&gull, "gifts");
        assert!(free(&home, &gull, Some("gifts")).is_ok());
        assert!(free(&home, &rose, Some("gifts")).unwrap_err().sentence().contains("of 'gull'"));
        let lark = Name::new("lark").unwrap();
        renamed(&home, &gull, &lark).unwrap();
        assert!(free(&home, &lark, Some("gifts")).is_ok() && free(&home, &gull, Some("gifts")).is_err());
        // A folder of which nothing is known is its namesake's, and an empty one is nobody's.
        home.write(&home.at(&["out", "fog", "old.nc"]).unwrap(), b"").unwrap();
        fs::create_dir_all(home.at(&["out", "empty"]).unwrap()).unwrap();
        assert!(free(&home, &Name::new("fog").unwrap(), None).is_ok());
        assert!(free(&home, &rose, Some("fog")).is_err() && free(&home, &rose, Some("empty")).is_ok());
        assert!(free(&home, &rose, Some("../fog")).is_err());
    }
}
