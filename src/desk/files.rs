//! Files: those of `prepare`, into a folder of the home or into an archive.

use serde_json::{Value, json};

use super::exact::Exact;
use super::home::Name;
use super::says::Says;
use super::{Desk, art};
use crate::encode::sink::{Folder, Sink, Zip};
use crate::job::file_name;
use crate::outputs;
use crate::progress::Silent;

/// Writes the files of a run into a folder of `out`; an earlier run's are replaced.
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
