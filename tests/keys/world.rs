//! Running the program in a folder of its own and looking at what it made.

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;
use std::process::{Command, Stdio};

/// What a run said and made.
#[derive(Debug, Clone, PartialEq)]
pub struct Made {
    /// Exit code.
    pub code: i32,
    /// Standard output.
    pub out: String,
    /// Standard error.
    pub err: String,
    /// The files of the output folder.
    pub files: BTreeMap<String, Vec<u8>>,
}

/// Runs the program in `folder`; what it writes into `out` there is taken and removed.
pub fn run(args: &[String], folder: &Path) -> Made {
    let done = Command::new(env!("CARGO_BIN_EXE_dotwright"))
        .args(args)
        .current_dir(folder)
        .stdin(Stdio::null())
        .output()
        .expect("the program starts");
    let mut files = BTreeMap::new();
    for entry in fs::read_dir(folder.join("out")).into_iter().flatten() {
        let path = entry.expect("readable").path();
        let name = path.file_name().expect("a name").to_string_lossy().into_owned();
        files.insert(name, fs::read(&path).expect("readable"));
    }
    let _ = fs::remove_dir_all(folder.join("out"));
    let text = |b: &[u8]| String::from_utf8_lossy(b).into_owned();
    Made {
        code: done.status.code().expect("it ends by itself"),
        out: text(&done.stdout),
        err: text(&done.stderr),
        files,
    }
}

impl Made {
    /// One side of what a run made: a file's name; `program`: the words of the scan program without its comments;
    /// `report:/pointer`: a value of the report; `job:/pointer`: of the job that is written back; `said`; `told`
    /// (standard error); `exit`.
    pub fn side(&self, what: &str) -> Option<Vec<u8>> {
        let file = |name: &str| self.files.get(name).cloned();
        match what.split_once(':') {
            Some(("report", pointer)) => {
                let all: serde_json::Value = serde_json::from_slice(&file("report.json")?).expect("JSON");
                all.pointer(pointer).map(|v| v.to_string().into_bytes())
            }
            Some(("job", pointer)) => {
                let text = String::from_utf8(file("job.toml")?).expect("text");
                let all: toml::Table = text.parse().expect("TOML");
                let all = serde_json::to_value(all).expect("a tree");
                all.pointer(pointer).map(|v| v.to_string().into_bytes())
            }
            _ => match what {
                "program" => Some(words(&file("program.nc")?)),
                "outline" => Some(words(&file("outline.nc")?)),
                "wedge" => Some(words(&file("wedge.nc")?)),
                "said" => Some(self.out.clone().into_bytes()),
                "told" => Some(self.err.clone().into_bytes()),
                "exit" => Some(self.code.to_string().into_bytes()),
                name => file(name),
            },
        }
    }
}

/// A program's lines without those that only say something.
fn words(program: &[u8]) -> Vec<u8> {
    let text = String::from_utf8_lossy(program);
    text.lines().filter(|l| !l.starts_with('(')).collect::<Vec<_>>().join("\n").into_bytes()
}
