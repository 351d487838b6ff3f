//! Shelf: the jobs that are kept, pieces and trays, each a folder with its file.

use std::fs;
use std::path::{Path, PathBuf};
use std::time::UNIX_EPOCH;

use serde::Deserialize;
use serde_json::{Value, json};

use super::home::{Home, Name, revision};
use super::says::Says;
use super::texts::{filled, say};
use super::{files, written};
use crate::job::{Job, file_name};
use crate::order::Order;

/// What a job is of.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Kind {
    /// One piece.
    Piece,
    /// Many pieces on trays.
    Tray,
}

impl Kind {
    const ALL: [Kind; 2] = [Kind::Piece, Kind::Tray];

    /// The folder of all of them, and the file of each.
    fn place(self) -> (&'static str, &'static str) {
        match self {
            Kind::Piece => ("jobs", "job.toml"),
            Kind::Tray => ("orders", "order.toml"),
        }
    }

    /// Its word.
    pub fn word(self) -> &'static str {
        match self {
            Kind::Piece => "piece",
            Kind::Tray => "tray",
        }
    }
}

/// A job as it is kept.
#[derive(Debug, Clone)]
pub(super) struct Kept {
    /// Its name.
    pub name: Name,
    /// What it is of.
    pub kind: Kind,
    /// Its file.
    pub path: PathBuf,
    /// Its text.
    pub text: String,
    /// What tells this state of it from others.
    pub revision: String,
}

/// What a new job is made from.
#[derive(Debug, Default, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub(super) struct New {
    /// Kept art.
    art: Option<String>,
    /// A job to be copied.
    copy_of: Option<String>,
    /// A tray.
    tray: bool,
    /// The piece that all of the tray begin as.
    piece: Option<String>,
    /// A piece with a text and no art.
    text: bool,
    /// What else is asked for from the start: blank, machine, process as they were last.
    asked: Option<Value>,
    /// What tells this request from others: a page whose answer was lost asks once more, and is answered with the same job.
    #[serde(skip)]
    pub once: Option<Name>,
}

/// The file beside a job that tells which request it was made for: a desk that was killed before it answered knows it again.
fn made_for(once: &Name) -> String {
    format!(".made-for-{once}")
}

/// The job that was made for a request.
fn made(home: &Home, once: &Name) -> Result<Option<Kept>, Says> {
    let file = made_for(once);
    for kind in Kind::ALL {
        for entry in fs::read_dir(home.at(&[kind.place().0])?)?.flatten() {
            if entry.path().join(&file).is_file() {
                return read(home, &Name::new(&entry.file_name().to_string_lossy())?).map(Some);
            }
        }
    }
    Ok(None)
}

fn find(home: &Home, name: &Name) -> Result<Option<(Kind, PathBuf)>, Says> {
    for kind in Kind::ALL {
        let (place, file) = kind.place();
        let path = home.at(&[place, name.text(), file])?;
        if path.is_file() {
            return Ok(Some((kind, path)));
        }
    }
    Ok(None)
}

/// A job by its name.
///
/// # Errors
/// Where there is none.
pub(super) fn read(home: &Home, name: &Name) -> Result<Kept, Says> {
    let missing = || Says::missing(filled("says.job.missing", &[("name", name)]));
    let (kind, path) = find(home, name)?.ok_or_else(missing)?;
    let text = fs::read_to_string(&path).map_err(|_| missing())?;
    Ok(Kept { name: name.clone(), kind, revision: state(home, kind, &path, &text), path, text })
}

/// What tells this state of a job from others: of a tray its table counts too.
fn state(home: &Home, kind: Kind, path: &Path, text: &str) -> String {
    let own = revision(text.as_bytes());
    let order = if kind == Kind::Tray { toml::from_str::<Order>(text).ok() } else { None };
    let table = order.and_then(|o| Some(Order::beside(path, &o.table?)));
    let content = table.and_then(|t| home.within(&t).ok()).and_then(|t| fs::read(t).ok());
    content.map_or(own.clone(), |content| own + &revision(&content))
}

impl Kept {
    /// As the page has it.
    ///
    /// # Errors
    /// Where the file was changed by hand and is no job any more.
    pub fn told(&self) -> Result<Value, Says> {
        let asked = self.asked()?;
        Ok(
            json!({ "name": self.name.text(), "kind": self.kind.word(), "revision": self.revision, "asked": asked }),
        )
    }

    /// Why a change meant for an older state of it is not taken.
    ///
    /// # Errors
    /// As [`Kept::told`].
    pub fn newer(&self) -> Result<Says, Says> {
        Ok(Says::overtaken(say("says.job.newer")).with("job", self.told()?))
    }

    fn asked(&self) -> Result<Value, Says> {
        let broken = |e: toml::de::Error| {
            let (why, file) = (e.message().replace('\n', " "), self.path.display());
            Says::unusable(filled("says.job.broken", &[("name", &self.name), ("why", &why), ("file", &file)]))
        };
        match self.kind {
            Kind::Piece => written::asked(&toml::from_str::<Job>(&self.text).map_err(broken)?),
            Kind::Tray => written::asked(&toml::from_str::<Order>(&self.text).map_err(broken)?),
        }
    }

    /// What it is, in a line.
    fn line(&self) -> String {
        let Ok(asked) = self.asked() else { return say("job.broken") };
        let (piece, of_tray) = match self.kind {
            Kind::Piece => (&asked, None),
            Kind::Tray => (&asked["piece"], asked["table"].as_str()),
        };
        let art = piece["art"]["file"].as_str().map(file_name::path);
        let art = art.as_ref().and_then(|p| p.file_name()).map(|n| n.to_string_lossy().into_owned());
        let words = || piece["layer"].as_array()?.iter().find_map(|l| l["text"].as_str());
        let quoted = || Some(filled("job.text", &[("text", &words()?)]));
        let what = art.or_else(quoted).unwrap_or_else(|| say("job.empty"));
        match (piece["blank"]["shape"].as_str(), of_tray) {
            (None, None) => what,
            (Some(shape), None) => filled("job.on", &[("what", &what), ("shape", &shape)]),
            (None, Some(table)) => filled("job.by", &[("what", &what), ("table", &table)]),
            (Some(shape), Some(table)) => {
                filled("job.on.by", &[("what", &what), ("shape", &shape), ("table", &table)])
            }
        }
    }
}

/// All jobs, that changed last first.
///
/// # Errors
/// Where the folder cannot be read.
pub(super) fn list(home: &Home) -> Result<Value, Says> {
    let mut all = Vec::new();
    for kind in Kind::ALL {
        for entry in fs::read_dir(home.at(&[kind.place().0])?)?.flatten() {
            let Some(name) = entry.file_name().to_str().and_then(|n| Name::new(n).ok()) else { continue };
            let Ok(kept) = read(home, &name) else { continue };
            let changed = fs::metadata(&kept.path).and_then(|m| m.modified()).ok();
            let changed =
                changed.and_then(|t| t.duration_since(UNIX_EPOCH).ok()).map_or(0, |d| d.as_millis() as u64);
            all.push((changed, kept));
        }
    }
    all.sort_by(|a, b| b.0.cmp(&a.0).then_with(|| a.1.name.text().cmp(b.1.name.text())));
    let told = all.iter().map(|(changed, kept)| {
        json!({
            "name": kept.name.text(),
            "kind": kept.kind.word(),
            "revision": kept.revision,
            "changed": changed,
            "line": kept.line(),
        })
    });
    Ok(json!({ "jobs": told.collect::<Vec<_>>() }))
}

/// Makes a new job.
///
/// # Errors
/// Where what it is made from is not there or does not do.
pub(super) fn create(home: &Home, new: New) -> Result<Kept, Says> {
    let once = new.once.as_ref();
    let mut asked = new.asked.filter(Value::is_object).unwrap_or_else(|| json!({}));
    if let Some(of) = new.copy_of {
        let old = read(home, &Name::new(&of)?)?;
        return begin(home, old.kind, &old.name, &old.asked()?, once);
    }
    if new.tray {
        let (name, piece) = match new.piece {
            Some(piece) => {
                let piece = read(home, &Name::new(&piece)?)?;
                let called = filled("job.name.tray.of", &[("piece", &piece.name)]);
                (Name::near(&called, "tray"), piece.asked()?)
            }
            None => (Name::near(&say("job.name.tray"), "tray"), asked),
        };
        let title = name.text().to_string();
        return begin(home, Kind::Tray, &name, &json!({ "title": title, "piece": piece }), once);
    }
    let name = match new.art {
        Some(art) => {
            let art = Name::new(&art)?;
            if !home.at(&["art", art.text()])?.is_file() {
                return Err(Says::missing(filled("says.art.missing", &[("name", &art)])));
            }
            asked["art"] = json!({ "file": format!("../../art/{art}") });
            Name::near(art.text().rsplit_once('.').map_or(art.text(), |(stem, _)| stem), "piece")
        }
        None if new.text => {
            asked["layer"] = json!([{ "text": say("job.sample") }]);
            Name::near(&say("job.name.text"), "text")
        }
        None => {
            return Err(Says::unusable(say("says.job.of-nothing")));
        }
    };
    begin(home, Kind::Piece, &name, &asked, once)
}

fn begin(home: &Home, kind: Kind, name: &Name, asked: &Value, once: Option<&Name>) -> Result<Kept, Says> {
    let _held = home.writing();
    if let Some(once) = once
        && let Some(kept) = made(home, once)?
    {
        return Ok(kept);
    }
    let mut free = name.clone();
    // A name stands for one job, whatever its kind.
    for number in 1.. {
        free = name.numbered(number);
        if Kind::ALL
            .iter()
            .all(|k| home.at(&[k.place().0, free.text()]).is_ok_and(|p| p.symlink_metadata().is_err()))
        {
            break;
        }
    }
    let (place, file) = kind.place();
    let folder = home.at(&[place, free.text()])?;
    // What the job names is seen from its folder, so that has to be there.
    fs::create_dir_all(&folder)?;
    let text = match kind {
        Kind::Piece => written::piece(home, &folder, asked, None),
        Kind::Tray => written::tray(home, &folder, asked),
    };
    let kept = text.and_then(|text| {
        let own = (folder.join(file), text.as_bytes());
        let told = once.map(|once| (folder.join(made_for(once)), &b""[..]));
        home.write_all(
            &[Some(own), told].iter().flatten().map(|(p, c)| (p.as_path(), *c)).collect::<Vec<_>>(),
        )
    });
    if let Err(says) = kept {
        let _ = fs::remove_dir(&folder);
        return Err(says);
    }
    read(home, &free)
}

/// Keeps what is asked for now, where the file is still at `at`, or holds it already: a page whose answer was lost asks once
/// more.
///
/// # Errors
/// Where it is not, or what is asked for does not do; then nothing is changed.
pub(super) fn put(home: &Home, name: &Name, at: &str, asked: &Value) -> Result<Kept, Says> {
    let _held = home.writing();
    let old = read(home, name)?;
    if old.revision != at {
        let table = old.revision.strip_prefix(&revision(old.text.as_bytes())).unwrap_or_default();
        let is_there = text_of(home, &old, asked).is_ok_and(|text| text == old.text) && at.ends_with(table);
        return if is_there { Ok(old) } else { Err(old.newer()?) };
    }
    renew(home, old, asked, None)
}

/// Keeps what is asked for now in place of `old`, together with a file that it names where one was brought; nothing else may
/// be written meanwhile.
///
/// # Errors
/// Where what is asked for does not do, or cannot be kept; then nothing is changed.
pub(super) fn renew(
    home: &Home,
    old: Kept,
    asked: &Value,
    brought: Option<(&Path, &[u8])>,
) -> Result<Kept, Says> {
    let text = text_of(home, &old, asked)?;
    let own = (text != old.text).then_some((old.path.as_path(), text.as_bytes()));
    home.write_all(&brought.into_iter().chain(own).collect::<Vec<_>>())?;
    Ok(Kept { revision: state(home, old.kind, &old.path, &text), text, ..old })
}

/// What is asked for now, as the file of `old` has it.
fn text_of(home: &Home, old: &Kept, asked: &Value) -> Result<String, Says> {
    let folder = old.path.parent().unwrap_or(home.root());
    match old.kind {
        Kind::Piece => written::piece(home, folder, asked, old.asked().ok().as_ref()),
        Kind::Tray => written::tray(home, folder, asked),
    }
}

/// Calls a job by another name; a tray that bears the old one as its title bears the new one then. Answers how it was kept
/// before and how it is now.
///
/// # Errors
/// Where there is none, or another of the new name.
pub(super) fn rename(home: &Home, name: &Name, to: &Name) -> Result<(Kept, Kept), Says> {
    let _held = home.writing();
    let old = read(home, name)?;
    if name != to {
        if find(home, to)?.is_some() {
            return Err(Says::overtaken(filled("says.job.there", &[("name", to)])));
        }
        fs::rename(old.path.parent().unwrap_or(&old.path), home.at(&[old.kind.place().0, to.text()])?)?;
        files::renamed(home, name, to)?;
    }
    let mut now = read(home, to)?;
    if let (Kind::Tray, Ok(mut asked)) = (now.kind, now.asked())
        && asked["title"] == name.text()
    {
        asked["title"] = to.text().into();
        let folder = now.path.parent().unwrap_or(home.root());
        home.write(&now.path, written::tray(home, folder, &asked)?.as_bytes())?;
        now = read(home, to)?;
    }
    Ok((old, now))
}

/// Moves a job to the bin; one of the same name that lies there is gone.
///
/// # Errors
/// Where it cannot be moved.
pub(super) fn discard(home: &Home, name: &Name) -> Result<(), Says> {
    let _held = home.writing();
    let old = read(home, name)?;
    let to = home.at(&["bin", name.text()])?;
    if to.symlink_metadata().is_ok() {
        fs::remove_dir_all(&to)?;
    }
    Ok(fs::rename(old.path.parent().unwrap_or(&old.path), to)?)
}

/// Takes a job back from the bin.
///
/// # Errors
/// Where it does not lie there, or there is a new one of its name.
pub(super) fn back(home: &Home, name: &Name) -> Result<Kept, Says> {
    let _held = home.writing();
    if find(home, name)?.is_some() {
        return Err(Says::overtaken(filled("says.job.there.new", &[("name", name)])));
    }
    for kind in Kind::ALL {
        let (place, file) = kind.place();
        let from = home.at(&["bin", name.text()])?;
        if from.join(file).is_file() {
            fs::rename(from, home.at(&[place, name.text()])?)?;
            return read(home, name);
        }
    }
    Err(Says::missing(filled("says.job.not-binned", &[("name", name)])))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::desk::home::tests::home;

    fn new(text: &str) -> New {
        serde_json::from_str(text).unwrap()
    }

    #[test]
    fn two_pages_do_not_overwrite_each_other() {
        let (_dir, home) = home();
        let made = create(&home, new(r#"{"text": true}"#)).unwrap();
        let ask = |power: &str| json!({ "layer": [{ "text": "Anna" }], "burn": { "power": power } });
        let first = put(&home, &made.name, &made.revision, &ask("70%")).unwrap();
        let late = put(&home, &made.name, &made.revision, &ask("60%")).unwrap_err();
        assert!(format!("{late:?}").contains("newer") && format!("{late:?}").contains("70%"), "{late:?}");
        let same = put(&home, &made.name, &first.revision, &ask("70%")).unwrap();
        assert_eq!(same.revision, first.revision);
        // One whose answer was lost asks for the same of the state of before.
        let again = put(&home, &made.name, &made.revision, &ask("70%")).unwrap();
        assert_eq!(again.revision, first.revision);
        assert!(put(&home, &made.name, &first.revision, &ask("170%")).is_err());
        assert_eq!(read(&home, &made.name).unwrap().text, first.text);
    }

    #[test]
    fn a_request_that_comes_once_more_makes_no_second_job() {
        let (_dir, home) = home();
        let once = |id: &str| New { once: Some(Name::new(id).unwrap()), ..new(r#"{"text": true}"#) };
        let first = create(&home, once("a-1")).unwrap();
        let other = create(&home, once("a-2")).unwrap();
        assert_eq!((first.name.text(), other.name.text()), ("text", "text-2"));
        let tags = Name::new("tags").unwrap();
        rename(&home, &first.name, &tags).unwrap();
        assert_eq!(create(&home, once("a-1")).unwrap().name, tags, "it may be called otherwise since");
        let again = create(&home, New { tray: true, ..once("a-2") }).unwrap();
        assert_eq!((again.name, again.kind), (other.name, Kind::Piece));
        assert_eq!(list(&home).unwrap()["jobs"].as_array().unwrap().len(), 2);
        // One that was put into the bin is made anew.
        discard(&home, &tags).unwrap();
        assert_eq!(create(&home, once("a-1")).unwrap().name.text(), "text");
    }

    #[test]
    fn a_job_goes_to_the_bin_and_comes_back() {
        let (_dir, home) = home();
        let a = create(&home, new(r#"{"text": true}"#)).unwrap();
        let b = create(&home, new(&format!(r#"{{"copy_of": "{}"}}"#, a.name))).unwrap();
        let tray = create(&home, new(&format!(r#"{{"tray": true, "piece": "{}"}}"#, a.name))).unwrap();
        assert_eq!((b.name.text(), tray.name.text(), tray.kind), ("text-2", "text tray", Kind::Tray));
        assert_eq!(list(&home).unwrap()["jobs"].as_array().unwrap().len(), 3);
        discard(&home, &a.name).unwrap();
        assert!(read(&home, &a.name).is_err() && back(&home, &b.name).is_err());
        assert_eq!(back(&home, &a.name).unwrap().revision, a.revision);
        assert!(back(&home, &a.name).is_err());
        let shed = Name::new("shed").unwrap();
        assert!(rename(&home, &a.name, &b.name).is_err());
        let (old, now) = rename(&home, &b.name, &shed).unwrap();
        assert_eq!((old.revision, now.text), (b.revision, b.text));
        assert!(read(&home, &b.name).is_err() && read(&home, &shed).is_ok());
        // A tray's title goes with its name, as long as it is its name.
        let tags = Name::new("tags").unwrap();
        let (old, tray) = rename(&home, &tray.name, &tags).unwrap();
        assert_eq!((old.revision == tray.revision, &tray.asked().unwrap()["title"]), (false, &json!("tags")));
        let own = put(&home, &tags, &tray.revision, &json!({ "title": "Gifts" })).unwrap();
        let (_, tray) = rename(&home, &own.name, &old.name).unwrap();
        assert_eq!((tray.revision, tray.text), (own.revision, own.text));
        discard(&home, &tray.name).unwrap();
        assert_eq!(back(&home, &tray.name).unwrap().kind, Kind::Tray);
        assert!(create(&home, new("{}")).is_err());
        assert!(create(&home, new(r#"{"art": "nowhere.jpg"}"#)).is_err());
    }
}
