//! Files: those of `prepare`, into a folder of the home or into an archive.

use serde_json::{Value, json};

use super::Desk;
use super::exact::Exact;
use super::home::Name;
use super::says::Says;
use crate::encode::sink::{Folder, Zip};
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

/// The same files as an archive.
///
/// # Errors
/// As [`outputs::write`].
pub(super) fn zip(exact: &Exact) -> Result<Vec<u8>, Says> {
    let mut output = Zip::new(Vec::new());
    outputs::write(&exact.piece.plan, &exact.outcome, None, &mut output, &Silent)?;
    Ok(output.finish()?)
}
