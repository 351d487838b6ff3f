//! What is kept and what is written: the bytes of the command line, and whole files whatever happens.

use std::fs;
use std::io::{BufRead, BufReader, Write};
use std::path::Path;
use std::process::Command;
use std::time::{Duration, Instant};

use serde_json::{Value, json};

use crate::browser::Desk;

fn prepare(job: &Path, out: &Path) {
    let done = Command::new(env!("CARGO_BIN_EXE_dotwright"))
        .args(["prepare", "--quiet", "--job"])
        .arg(job)
        .arg("--out")
        .arg(out)
        .output()
        .expect("it starts");
    assert!(done.status.success(), "{}", String::from_utf8_lossy(&done.stderr));
}

fn names(folder: &Path) -> Vec<String> {
    let all = fs::read_dir(folder).expect("readable").map(|e| e.expect("readable").file_name());
    let mut all: Vec<String> = all.map(|n| n.to_string_lossy().into_owned()).collect();
    all.sort();
    all
}

#[test]
fn its_files_are_those_of_prepare_with_the_kept_job() {
    let home = tempfile::tempdir().expect("a folder");
    let desk = Desk::open(home.path());
    let small = json!({ "blank": { "shape": "rect:30x24mm", "margin": "2mm", "surface": "slate" } });
    let photo = desk.job("samples/harbour.jpg", small.clone());
    let name = photo["name"].as_str().expect("a name").to_string();
    // Changed as the page changes it: tones, and a text as a layer.
    let mut asked = photo["asked"].clone();
    asked["tone"]["brighten"] = "20%".into();
    asked["layer"] = json!([{ "text": "Anna", "place": "20x5mm", "anchor": "bottom", "clear": "0.4mm" }]);
    let put = desk.json(
        "PUT",
        &format!("/api/jobs/{name}"),
        &json!({ "revision": photo["revision"], "asked": asked }),
    );
    assert_eq!(put.status, 200, "{put:?}");
    let drawing = desk.job("samples/emblem.svg", small);
    for name in [name.as_str(), drawing["name"].as_str().expect("a name")] {
        let saved = desk.json("POST", &format!("/api/jobs/{name}/save"), &json!({}));
        assert_eq!(saved.status, 200, "{saved:?}");
        let job = home.path().join(format!("jobs/{name}/job.toml"));
        let (own, again) =
            (home.path().join(format!("out/{name}")), home.path().join(format!("out/{name}-again")));
        prepare(&job, &again);
        assert_eq!(names(&own), names(&again));
        for file in names(&own) {
            assert!(fs::read(own.join(&file)).ok() == fs::read(again.join(&file)).ok(), "{name}: {file}");
        }
        // The job that was written gives them once more.
        let (written, third) = (own.join("job.toml"), home.path().join(format!("out/{name}-third")));
        prepare(&written, &third);
        assert!(fs::read(own.join("program.nc")).ok() == fs::read(third.join("program.nc")).ok());
        let zip = desk.get(&format!("/api/jobs/{name}/files.zip"));
        // Its art lies beside its job, and the program is the same.
        let holds = |what: &[u8]| zip.body.windows(what.len()).any(|bytes| bytes == what);
        let art = if name == "harbour" { "art/harbour.jpg" } else { "art/emblem.svg" };
        assert!(zip.status == 200 && holds(art.as_bytes()) && holds(b"program.nc"), "{name}");
    }
}

#[test]
fn a_page_hears_of_what_becomes_of_a_change() {
    let home = tempfile::tempdir().expect("a folder");
    let desk = Desk::open(home.path());
    let mut stream = desk.connect();
    let head = format!(
        "GET /api/events HTTP/1.1\r\nHost: 127.0.0.1:{}\r\nCookie: {}\r\n\r\n",
        desk.port, desk.cookie
    );
    stream.write_all(head.as_bytes()).expect("sent");
    let mut lines = BufReader::new(stream).lines();
    assert!(lines.any(|l| l.expect("read").contains("text/event-stream")));
    assert!(lines.any(|l| l.expect("read").starts_with("retry:")));
    let job = desk.job("samples/emblem.svg", json!({ "blank": { "shape": "rect:30x20mm" } }));
    let revision = job["revision"].as_str().expect("text").to_string();
    // A run begins when somebody asks for what comes out of it.
    let ticket = format!("/api/jobs/emblem/ticket?revision={revision}");
    assert_eq!(desk.get(&ticket).status, 200);
    let mut heard = Vec::new();
    for line in lines.map(|l| l.expect("read")) {
        if let Some(event) = line.strip_prefix("event: ") {
            heard.push(event.to_string());
        }
        if let Some(data) = line.strip_prefix("data: ").filter(|_| heard.last().is_some_and(|e| e == "exact"))
        {
            let data: Value = serde_json::from_str(data).expect("JSON");
            assert_eq!(data["revision"], job["revision"]);
            break;
        }
    }
    assert!(heard.iter().any(|e| e == "shelf") && heard.iter().any(|e| e == "progress"), "{heard:?}");
    let ticket =
        desk.get(&format!("/api/jobs/emblem/ticket?revision={}", job["revision"].as_str().expect("text")));
    assert!(ticket.json()["burn"]["seconds"].as_f64().is_some_and(|s| s > 10.0), "{ticket:?}");
    assert_eq!(desk.get("/api/jobs/emblem/ticket?revision=old").status, 204);
    assert_eq!(desk.get("/api/jobs/emblem/coarse?revision=old").status, 204);
    let coarse = desk.get("/api/jobs/emblem/coarse");
    assert!(coarse.body.starts_with(b"\x89PNG") && coarse.headers["x-revision"] == job["revision"]);
    for what in ["original", "wanted", "forecast", "dots", "density", "overburn"] {
        for window in
            ["x=0&y=0&w=30&h=20", "x=12.5&y=7&w=2&h=2", "x=-50&y=-50&w=10&h=10", "x=29&y=19&w=40&h=3"]
        {
            let got = desk.get(&format!("/api/jobs/emblem/tile?what={what}&{window}&px=120"));
            assert!(got.status == 200 && got.body.starts_with(b"\x89PNG"), "{what} {window}: {got:?}");
        }
    }
    for bad in ["w=0&h=5&px=10", "w=5&h=NaN&px=10", "w=1&h=100000&px=2000", "w=5&h=5&px=0", "w=inf&h=5&px=10"]
    {
        let got = desk.get(&format!("/api/jobs/emblem/tile?what=dots&x=0&y=0&{bad}"));
        assert!((400..500).contains(&got.status), "{bad}: {got:?}");
    }
}

#[test]
fn a_change_that_is_overtaken_is_given_up() {
    let home = tempfile::tempdir().expect("a folder");
    let desk = Desk::open(home.path());
    let slow =
        json!({ "blank": { "shape": "rect:200x200mm" }, "dots": { "screen": "fitted", "effort": 64 } });
    let job = desk.job("samples/harbour.jpg", slow);
    let mut asked = job["asked"].clone();
    asked["blank"]["shape"] = "rect:20x20mm".into();
    asked["dots"]["screen"] = "bayer".into();
    let begun = Instant::now();
    let put = desk.json("PUT", "/api/jobs/harbour", &json!({ "revision": job["revision"], "asked": asked }));
    let revision = put.json()["revision"].as_str().expect("text").to_string();
    assert_eq!(desk.get(&format!("/api/jobs/harbour/ticket?revision={revision}")).status, 200);
    assert!(begun.elapsed() < Duration::from_secs(20), "the long run stood in the way");
}

#[cfg(unix)]
#[test]
fn it_ends_when_it_is_told_to() {
    let home = tempfile::tempdir().expect("a folder");
    let mut desk = Desk::open(home.path());
    desk.job(
        "samples/harbour.jpg",
        json!({ "blank": { "shape": "rect:200x200mm" }, "dots": { "screen": "fitted", "effort": 64 } }),
    );
    let sent = Command::new("kill").args(["-INT", &desk.child.id().to_string()]).status();
    assert!(sent.expect("kill starts").success());
    let begun = Instant::now();
    let code = loop {
        if let Some(code) = desk.child.try_wait().expect("asked") {
            break code.code();
        }
        assert!(begun.elapsed() < Duration::from_secs(5), "it does not end");
        std::thread::sleep(Duration::from_millis(10));
    };
    assert_eq!(code, Some(0));
    Desk::open(home.path()).lives();
}

/// Two hundred times the program is killed while a page saves as fast as it can: what is there is what was there before
/// or what was sent, and whole.
#[cfg(unix)]
#[test]
fn a_kill_while_saving_leaves_the_old_file_or_the_new_one() {
    let home = tempfile::tempdir().expect("a folder");
    let path = home.path().join("jobs/text/job.toml");
    let asked = |n: usize| {
        let layer = json!([{ "text": format!("piece {n} {}", "of a long row of tags ".repeat(20)) }]);
        json!({ "blank": { "shape": "rect:12x9mm", "margin": "1mm" }, "layer": layer, "dots": { "screen": "bayer" } })
    };
    {
        let desk = Desk::open(home.path());
        assert_eq!(desk.json("POST", "/api/jobs", &json!({ "text": true })).status, 201);
    }
    let mut saved = 0;
    for round in 0..200usize {
        let mut desk = Desk::open(home.path());
        let mut revision = desk.get("/api/jobs/text").json()["revision"].clone();
        let before = fs::read_to_string(&path).expect("there");
        assert!(before.starts_with("# A job") && toml::from_str::<toml::Table>(&before).is_ok(), "{before}");
        let pid = desk.child.id().to_string();
        let mut killer = None;
        for n in 0.. {
            if n == round % 4 {
                // While this one is on its way, sooner or later.
                let (pid, wait) = (pid.clone(), Duration::from_micros(61 * (round as u64 % 67)));
                killer = Some(std::thread::spawn(move || {
                    std::thread::sleep(wait);
                    Command::new("kill").args(["-9", &pid]).status()
                }));
            }
            let body = json!({ "revision": revision, "asked": asked(1000 * round + n) }).to_string();
            let head = format!(
                "PUT /api/jobs/text HTTP/1.1\r\nHost: 127.0.0.1:{0}\r\nOrigin: http://127.0.0.1:{0}\r\nCookie: {1}\r\nContent-Length: {2}\r\nConnection: close\r\n\r\n{body}",
                desk.port,
                desk.cookie,
                body.len()
            );
            let Ok(mut stream) = std::net::TcpStream::connect(("127.0.0.1", desk.port)) else { break };
            if stream.write_all(head.as_bytes()).is_err() {
                break;
            }
            let got = crate::browser::read(stream);
            if got.status != 200 {
                break;
            }
            // What was answered is on the disk.
            revision = got.json()["revision"].clone();
            saved += 1;
        }
        let killer = killer.expect("it was sent");
        killer.join().expect("joined").expect("kill starts");
        desk.child.wait().expect("ended");
        let text = fs::read_to_string(&path).expect("there");
        let there: toml::Table = toml::from_str(&text).unwrap_or_else(|e| panic!("{e}: {text}"));
        assert!(there["layer"].as_array().is_some_and(|l| l.len() == 1), "{text}");
    }
    assert!(saved >= 300, "{saved} were saved");
    drop(Desk::open(home.path()));
    assert_eq!(names(&home.path().join("jobs/text")), ["job.toml"]);
}

#[test]
fn one_desk_keeps_a_folder() {
    let home = tempfile::tempdir().expect("a folder");
    let _desk = Desk::open(home.path());
    let second = Command::new(env!("CARGO_BIN_EXE_dotwright"))
        .args(["desk", "--no-open", "--home"])
        .arg(home.path())
        .output()
        .expect("it starts");
    let said = String::from_utf8_lossy(&second.stderr);
    assert!(second.status.code() == Some(1) && said.contains("a desk is open already"), "{said}");
    let taken = Command::new(env!("CARGO_BIN_EXE_dotwright"))
        .args(["desk", "--no-open", "--port", &_desk.port.to_string(), "--home"])
        .arg(tempfile::tempdir().expect("a folder").path())
        .output()
        .expect("it starts");
    let said = String::from_utf8_lossy(&taken.stderr);
    assert!(taken.status.code() == Some(1) && said.contains("something else has it"), "{said}");
}
