//! Versions, trays and wedges, as a page asks for them.

use std::fs;
use std::path::Path;
use std::process::Command;
use std::time::{Duration, Instant};

use serde_json::{Value, json};

use crate::browser::Desk;

fn home() -> tempfile::TempDir {
    tempfile::tempdir().expect("a folder")
}

/// The sheet of a job once all its versions are there.
fn sheet(desk: &Desk, name: &str) -> Value {
    assert_eq!(desk.json("POST", &format!("/api/jobs/{name}/sheet"), &json!({})).status, 202);
    let begun = Instant::now();
    loop {
        let sheet = desk.get(&format!("/api/jobs/{name}/sheet")).json();
        if sheet["done"] == true {
            return sheet;
        }
        assert!(begun.elapsed() < Duration::from_secs(60), "{sheet}");
        std::thread::sleep(Duration::from_millis(20));
    }
}

/// A version of a sheet.
fn version_of(sheet: &Value, id: usize) -> &Value {
    sheet["versions"].as_array().expect("versions").iter().find(|v| v["id"] == id).expect("it")
}

#[test]
fn a_sheet_shows_versions_that_differ_the_best_first() {
    let home = home();
    let desk = Desk::open(home.path());
    let small = json!({ "blank": { "shape": "rect:30x24mm", "margin": "2mm" } });
    for file in ["samples/harbour.jpg", "samples/emblem.svg"] {
        let job = desk.job(file, small.clone());
        let name = job["name"].as_str().expect("a name");
        let first = sheet(&desk, name);
        let versions = first["versions"].as_array().expect("versions");
        assert!((4..=8).contains(&versions.len()), "{first}");
        let mut pictures = Vec::new();
        for v in versions {
            let picture = desk.get(v["picture"].as_str().expect("a path"));
            assert!(picture.status == 200 && picture.body.starts_with(b"\x89PNG"));
            assert!(!pictures.contains(&picture.body), "{v} looks like another");
            pictures.push(picture.body);
            assert!(
                v["seconds"].as_f64().is_some_and(|s| s > 1.0)
                    && (v["likeness_db"].is_null() || v["likeness_db"].as_f64().is_some_and(|d| d > 0.0))
            );
        }
        let chosen: Vec<&Value> = versions.iter().filter(|v| v["chosen"] == true).collect();
        assert!(chosen.len() == 1 && chosen[0]["line"] == "As it is", "{first}");
        let of = |v: &Value| v["likeness_db"].as_f64();
        let sure: Vec<f64> = versions.iter().filter(|v| v["over_burn_mm2"] == 0.0).filter_map(of).collect();
        // Within half a decibel the piece as it is goes first.
        assert!(sure[0] + 0.5 >= sure[1], "{sure:?}");
        // One is taken: the sheet stays, and says which.
        let taken = versions.iter().find(|v| v["chosen"] == false).expect("another");
        let put = desk.json(
            "PUT",
            &format!("/api/jobs/{name}"),
            &json!({ "revision": job["revision"], "asked": taken["asked"] }),
        );
        assert_eq!(put.status, 200, "{put:?}");
        let after = desk.get(&format!("/api/jobs/{name}/sheet")).json();
        let now: Vec<&Value> =
            after["versions"].as_array().expect("versions").iter().filter(|v| v["chosen"] == true).collect();
        assert!(now.len() == 1 && now[0]["id"] == taken["id"], "{after}");
        let tile = format!("/api/jobs/{name}/tile?what=forecast&x=5&y=5&w=5&h=5&px=100");
        let (as_it_is, other) = (desk.get(&tile), desk.get(&format!("{tile}&version={}", taken["id"])));
        assert!(as_it_is.status == 200 && other.status == 200);
        // The one that is taken is what the job asks for now, and the first is still the job as it was.
        assert!(as_it_is.body == other.body, "a version of the sheet is put on top of the one that is taken");
        let back = version_of(&after, 0);
        assert!(back["asked"] == job["asked"] && back["line"] == "As it is", "{after}");
    }
}

#[test]
fn burn_times_to_pick_from_come_out_as_they_were_told() {
    let home = home();
    let desk = Desk::open(home.path());
    let job =
        desk.job("samples/harbour.jpg", json!({ "blank": { "shape": "rect:40x40mm", "place": "cover" } }));
    let name = job["name"].as_str().expect("a name");
    let seconds = || {
        let ticket = desk.get(&format!("/api/jobs/{name}/ticket")).json();
        ticket["burn"]["seconds"].as_f64().expect("a time")
    };
    let as_it_is = seconds();
    let told = desk.get(&format!("/api/jobs/{name}/times")).json();
    let points = told.as_array().expect("points");
    let of = |p: &Value, key: &str| p[key].as_f64().expect("a number");
    assert!(points.len() >= 3 && points.windows(2).all(|p| of(&p[0], "seconds") > of(&p[1], "seconds")));
    let chosen: Vec<&Value> = points.iter().filter(|p| p["chosen"] == true).collect();
    assert!(chosen.len() == 1 && (of(chosen[0], "seconds") - as_it_is).abs() < 1e-6, "{told}");
    // Its sheet was told the same by a quick look.
    let versions = sheet(&desk, name);
    let first = versions["versions"].as_array().expect("versions").iter().find(|v| v["id"] == 0).expect("it");
    assert!((of(first, "seconds") / as_it_is - 1.0).abs() < 0.05, "{} s, {as_it_is} s", first["seconds"]);
    // Each is taken, and takes about as long as was told.
    let mut revision = job["revision"].clone();
    for point in points.iter().filter(|p| p["chosen"] == false) {
        let mut asked = job["asked"].clone();
        asked["burn"]["time"] = point["change"]["burn.time"].clone();
        let body = json!({ "revision": revision, "asked": asked });
        let put = desk.json("PUT", &format!("/api/jobs/{name}"), &body);
        assert_eq!(put.status, 200, "{put:?}");
        revision = put.json()["revision"].clone();
        let (took, told) = (seconds(), of(point, "seconds"));
        assert!((took / told - 1.0).abs() < 0.05, "{point}: took {took} s");
    }
    // A drawing has none to pick from.
    let drawing = desk.job("samples/emblem.svg", json!({ "blank": { "shape": "rect:30x24mm" } }));
    let name = drawing["name"].as_str().expect("a name");
    assert_eq!(desk.get(&format!("/api/jobs/{name}/times")).json(), json!([]));
}

#[test]
fn the_files_of_a_tray_are_those_of_the_command_line() {
    let home = home();
    let desk = Desk::open(home.path());
    let piece = desk.job(
        "samples/emblem.svg",
        json!({ "blank": { "shape": "rect:30x20mm", "margin": "1.5mm" }, "dots": { "screen": "bayer" } }),
    );
    let tray = desk.json("POST", "/api/jobs", &json!({ "tray": true, "piece": piece["name"] })).json();
    let name = tray["name"].as_str().expect("a name").replace(' ', "%20");
    for bad in ["", "name,name\na,b\n", "\u{0}\u{1}", "name\n\"open\n"] {
        let got = desk.ask("PUT", &format!("/api/jobs/{name}/table"), bad.as_bytes());
        assert!(got.status == 422 || got.status == 200, "{bad:?}: {got:?}");
        if got.status == 422 {
            got.says();
        }
    }
    let got = desk.ask(
        "PUT",
        &format!("/api/jobs/{name}/table?name=pasted.tsv"),
        b"member\tyear\nAda\t1\nFog\t2\nAda\t3\nRain\t4\n",
    );
    assert_eq!(got.status, 200, "{got:?}");
    let told = got.json();
    assert_eq!(
        (&told["columns"], &told["rows"][1]["cells"]),
        (&json!(["member", "year"]), &json!(["Fog", "2"]))
    );
    // The first column is lettered.
    assert!(told["job"]["asked"]["piece"]["layer"].to_string().contains("{member}"), "{told}");
    assert_eq!(desk.get(&format!("/api/jobs/{name}/table")).json()["columns"], told["columns"]);
    let seen =
        desk.get(&format!("/api/jobs/{name}/tray?revision={}", told["revision"].as_str().expect("text")));
    assert_eq!(seen.status, 200, "{seen:?}");
    let seen = seen.json();
    let pieces = seen["trays"][0]["pieces"].as_array().expect("pieces");
    assert_eq!(pieces.len(), 4);
    assert!(seen["trays"][0]["seconds"].as_f64().is_some_and(|s| s > 1.0), "{seen}");
    assert_eq!(seen["burns"], true);
    let unmarked = |f: &&Value| f["id"] == "unmarked";
    let note = seen["findings"].as_array().expect("findings").iter().find(unmarked).expect("a note");
    assert!(note["says"].as_str().expect("text").contains("{year}"), "{note}");
    let picture =
        |name: &str| pieces.iter().find(|p| p["name"] == name).expect("it is there")["picture"].clone();
    // Copies are computed once.
    assert_ne!(picture("Ada"), picture("Fog"));
    assert!(desk.get(picture("Fog").as_str().expect("a path")).body.starts_with(b"\x89PNG"));
    let saved = desk.json("POST", &format!("/api/jobs/{name}/save"), &json!({}));
    assert_eq!(saved.status, 200, "{saved:?}");
    let plain = tray["name"].as_str().expect("a name");
    let (own, again) = (home.path().join("out").join(plain), home.path().join("out/again"));
    let done = Command::new(env!("CARGO_BIN_EXE_dotwright"))
        .args(["tray", "--quiet"])
        .arg(home.path().join("orders").join(plain).join("order.toml"))
        .arg("--out")
        .arg(&again)
        .output()
        .expect("it starts");
    assert!(done.status.success(), "{}", String::from_utf8_lossy(&done.stderr));
    let mut count = 0;
    for entry in fs::read_dir(&again).expect("readable") {
        let file = entry.expect("readable").file_name();
        assert!(fs::read(own.join(&file)).ok() == fs::read(again.join(&file)).ok(), "{file:?}");
        count += 1;
    }
    assert_eq!(count, fs::read_dir(&own).expect("readable").count());
    let zip = desk.get(&format!("/api/jobs/{name}/files.zip"));
    assert!(zip.status == 200 && zip.body.starts_with(b"PK"));
    // A table's cells lead nowhere.
    let put = desk.ask("PUT", &format!("/api/jobs/{name}/table"), b"member\n/etc/passwd\n").json();
    let mut asked = put["job"]["asked"].clone();
    asked["piece"]["art"]["file"] = "{member}".into();
    let job = desk.json(
        "PUT",
        &format!("/api/jobs/{name}"),
        &json!({ "revision": put["revision"], "asked": asked }),
    );
    let revision = job.json()["revision"].as_str().expect("text").to_string();
    let got = desk.get(&format!("/api/jobs/{name}/tray?revision={revision}"));
    assert_eq!(got.status, 403, "{got:?}");
}

#[test]
fn two_pages_do_not_overwrite_each_others_table() {
    let home = home();
    let desk = Desk::open(home.path());
    let tray = desk.json("POST", "/api/jobs", &json!({ "tray": true })).json();
    let path = format!("/api/jobs/{}", tray["name"].as_str().expect("a name"));
    let put = |at: &Value, table: &str| {
        let at = at.as_str().expect("text");
        desk.ask("PUT", &format!("{path}/table?name=table.csv&typed=true&revision={at}"), table.as_bytes())
    };
    let first = put(&tray["revision"], "name\nAda\nFog\n");
    assert_eq!(first.status, 200, "{first:?}");
    let both = first.json()["revision"].clone();
    let newer = put(&both, "name\nAda Gull\nFog\n").json();
    // Another page has not seen that.
    let late = put(&both, "name\nAda\nFog Horn\n");
    assert_eq!(late.status, 409, "{late:?}");
    assert_eq!(late.json()["job"]["revision"], newer["revision"]);
    let cells = |told: &Value| {
        told["rows"].as_array().expect("rows").iter().map(|r| r["cells"][0].clone()).collect::<Vec<_>>()
    };
    assert_eq!(cells(&desk.get(&format!("{path}/table")).json()), ["Ada Gull", "Fog"]);
    // Once it has, its own takes the place.
    let chosen = put(&newer["revision"], "name\nAda\nFog Horn\n");
    assert_eq!((chosen.status, cells(&chosen.json())), (200, vec![json!("Ada"), json!("Fog Horn")]));
}

#[test]
fn a_value_whose_look_is_unknown_is_not_marked_when_another_cell_is_typed() {
    let home = home();
    let desk = Desk::open(home.path());
    let tray = desk.json("POST", "/api/jobs", &json!({ "tray": true })).json();
    let path = format!("/api/jobs/{}", tray["name"].as_str().expect("a name"));
    let put = |table: &str| {
        let got = desk.ask("PUT", &format!("{path}/table?name=table.csv&typed=true"), table.as_bytes());
        assert_eq!(got.status, 200, "{got:?}");
        got.json()
    };
    let told = put("name,since\nAda,#DATE? 2015-05-03\nBo,1042.5\n");
    let row = |told: &Value, at: usize| told["rows"][at].clone();
    assert_eq!(row(&told, 0)["cells"], json!(["Ada", "2015-05-03"]));
    let unsure = row(&told, 0)["unsure"]["1"].clone();
    assert_eq!((&unsure["sign"], row(&told, 1)["unsure"].clone()), (&json!("#DATE?"), json!({})));
    assert!(unsure["says"].as_str().expect("text").starts_with("It holds a date,"), "{unsure}");
    // It is said of its row where it is asked for, and nothing is marked.
    let mut asked = told["job"]["asked"].clone();
    asked["piece"]["layer"] = json!([{ "text": "{name} {since}" }]);
    let asking = json!({ "revision": told["revision"], "asked": asked });
    assert_eq!(desk.json("PUT", &path, &asking).status, 200);
    let told = desk.get(&format!("{path}/table")).json();
    assert!(row(&told, 0)["says"].as_str().expect("text").contains("'since' holds a date"), "{told}");
    assert!(row(&told, 1)["says"].is_null());
    assert_eq!(desk.get(&format!("{path}/tray")).status, 422);
    // Once it is typed it is what it is.
    let told = put("name,since\nAda,2015-05-03\nBo,1042.5\n");
    assert!(row(&told, 0)["says"].is_null() && row(&told, 0)["unsure"] == json!({}), "{told}");
    assert_eq!(desk.get(&format!("{path}/tray")).status, 200);
}

#[test]
fn a_refusal_of_all_rows_names_one_that_the_page_can_mark() {
    let home = home();
    let desk = Desk::open(home.path());
    let tray = desk.json("POST", "/api/jobs", &json!({ "tray": true })).json();
    let path = format!("/api/jobs/{}", tray["name"].as_str().expect("a name"));
    let mut told = desk.ask("PUT", &format!("{path}/table"), b"name\nAda\nFog\n").json();
    let mut at = told["revision"].take();
    let mut asked = told["job"]["asked"].take();
    // A column that is not there; a file that is not there.
    for (key, value) in [("layer", json!([{ "text": "{role}" }])), ("art", json!({ "file": "{name}.png" }))] {
        asked["piece"] = json!({ key: value });
        let put = desk.json("PUT", &path, &json!({ "revision": at, "asked": asked }));
        assert_eq!(put.status, 200, "{put:?}");
        at = put.json()["revision"].take();
        let got = desk.get(&format!("{path}/tray"));
        assert_eq!((got.status, &got.json()["row"]), (422, &json!(2)), "{got:?}");
    }
}

#[test]
fn names_do_not_wait_behind_versions() {
    let home = home();
    let desk = Desk::open(home.path());
    // Each of them takes a place for a second or more, and there are two.
    let photos: Vec<String> = (0..2)
        .map(|_| {
            let photo = desk.job("samples/harbour.jpg", json!({ "blank": { "shape": "rect:100x100mm" } }));
            format!("/api/jobs/{}/sheet", photo["name"].as_str().expect("a name").replace(' ', "%20"))
        })
        .collect();
    let tray = desk.json("POST", "/api/jobs", &json!({ "tray": true })).json();
    let path = format!("/api/jobs/{}/table", tray["name"].as_str().expect("a name"));
    for photo in &photos {
        let begun = desk.json("POST", photo, &json!({}));
        assert!((200..300).contains(&begun.status), "{begun:?}");
    }
    assert_eq!(desk.ask("PUT", &path, b"name\nAda\nFog\n").status, 200);
    for photo in &photos {
        assert_eq!(desk.get(photo).json()["done"], false);
    }
}

#[test]
fn a_table_that_is_not_taken_leaves_the_one_before() {
    let home = home();
    let desk = Desk::open(home.path());
    let tray = desk.json("POST", "/api/jobs", &json!({ "tray": true })).json();
    let name = tray["name"].as_str().expect("a name");
    let path = format!("/api/jobs/{name}/table?name=pasted.tsv");
    assert_eq!(desk.ask("PUT", &path, b"name\nAda\nFog\n").status, 200);
    let folder = home.path().join("orders").join(name);
    let kept =
        || ["order.toml", "table.csv"].map(|file| fs::read_to_string(folder.join(file)).expect("there"));
    // A comma belongs to the name, here and when it is read once more.
    assert_eq!(desk.ask("PUT", &path, b"name\nAda\nGull, Fog\n").status, 200);
    let told = desk.get(&format!("/api/jobs/{name}/table")).json();
    assert_eq!((&told["columns"], &told["rows"][1]["cells"]), (&json!(["name"]), &json!(["Gull, Fog"])));
    // By hand, it gets a blank that lies where the page reaches nothing.
    let [order, _] = kept();
    fs::write(folder.join("order.toml"), format!("blank = \"/etc/blank.toml\"\n{order}")).expect("writable");
    let before = kept();
    let got = desk.ask("PUT", &path, b"name\nRain\n");
    assert_eq!((got.status, kept()), (403, before), "{got:?}");
}

#[test]
fn a_tray_has_room_for_the_blank_that_it_names_as_long_as_nobody_says_how_much() {
    let home = home();
    let desk = Desk::open(home.path());
    let tray = desk.json("POST", "/api/jobs", &json!({ "tray": true })).json();
    let path = format!("/api/jobs/{}", tray["name"].as_str().expect("a name"));
    let rows: String = (1..=40).map(|n| format!("Ada {n}\n")).collect();
    let told =
        desk.ask("PUT", &format!("{path}/table?name=pasted.tsv"), format!("name\n{rows}").as_bytes()).json();
    let mut job = told["job"].clone();
    job["revision"] = told["revision"].clone();
    let mut put = |change: &dyn Fn(&mut Value)| {
        change(&mut job["asked"]);
        let got = desk.json("PUT", &path, &json!({ "revision": job["revision"], "asked": job["asked"] }));
        assert_eq!(got.status, 200, "{got:?}");
        job = got.json();
        job["asked"]["tray"]["grid"].as_str().expect("a grid").to_string()
    };
    let tiles = put(&|_| {});
    let tags = put(&|asked| asked["blank"] = "metal-tag-60".into());
    assert_ne!(tiles, tags);
    assert_eq!(put(&|asked| asked["blank"] = "glass-tile-100".into()), tiles);
    // What a person said stays, until it is left to the bed again.
    assert_eq!(put(&|asked| asked["tray"]["grid"] = "2x2".into()), "2x2");
    assert_eq!(put(&|asked| asked["blank"] = "metal-tag-60".into()), "2x2");
    assert_eq!(put(&|asked| asked["tray"]["grid"] = Value::Null), tags);
}

#[test]
fn the_size_of_the_art_is_its_own_with_a_border_round_it() {
    let home = home();
    let desk = Desk::open(home.path());
    let place = |more: Option<Value>| {
        let blank = json!({ "shape": "rect:24x24mm", "margin": "1mm", "place": "8x8mm" });
        let mut asked = json!({ "blank": blank });
        if let Some(more) = more {
            asked["layer"] = more;
        }
        let job = desk.job("samples/emblem.svg", asked);
        let ticket = desk.get(&format!("/api/jobs/{}/ticket", job["name"].as_str().expect("a name")));
        assert_eq!(ticket.status, 200, "{ticket:?}");
        ticket.json()["place"].clone()
    };
    let (alone, bordered) = (place(None), place(Some(json!([{ "border": "0.8mm" }]))));
    for side in ["width_mm", "height_mm"] {
        let mm = |place: &Value| place[side].as_f64().expect("a number");
        assert!((mm(&alone) - mm(&bordered)).abs() < 0.3 && mm(&alone) < 8.2, "{alone} {bordered}");
    }
}

#[test]
fn a_wedge_is_drawn_read_and_kept() {
    let home = home();
    let desk = Desk::open(home.path());
    for (asked, key) in [
        (json!({ "kind": "exposure", "asked": { "blank": "/etc/hostname" } }), "blank"),
        (json!({ "kind": "exposure", "asked": { "machine": "../../../machine.toml" } }), "machine"),
        (json!({ "kind": "exposure", "asked": { "out": "/tmp/elsewhere" } }), "out"),
        (json!({ "kind": "nonsense", "asked": {} }), "nonsense"),
        (json!({ "kind": "exposure", "asked": { "speed": "fast" } }), "fast"),
    ] {
        let got = desk.json("POST", "/api/wedges", &asked);
        assert!((400..500).contains(&got.status), "{asked}: {got:?}");
        got.says();
        assert!(got.json().to_string().contains(key), "{got:?}");
    }
    let made = desk.json(
        "POST",
        "/api/wedges",
        &json!({ "kind": "exposure", "asked": { "blank": "rect:31x31mm", "steps": "3x3" } }),
    );
    assert_eq!(made.status, 201, "{made:?}");
    let wedge = made.json();
    let path = format!("/api/wedges/{}", wedge["name"].as_str().expect("a name").replace(' ', "%20"));
    let listed = desk.get("/api/wedges").json()["wedges"][0].clone();
    assert!(listed["name"] == wedge["name"] && listed["drawn"].as_u64().is_some_and(|ms| ms > 0), "{listed}");
    let picture = desk.get(&wedge["picture"].as_str().expect("a path").replace(' ', "%20"));
    assert!(picture.body.starts_with(b"\x89PNG"), "{picture:?}");
    assert!(desk.get(&format!("{path}/files.zip")).body.starts_with(b"PK"));
    assert_eq!(desk.get(&format!("{path}/file/..%2fabout.json")).status, 404);
    // Something else than a wedge, then nothing that is a picture, then its own picture for a photo.
    let other = fs::read(concat!(env!("CARGO_MANIFEST_DIR"), "/samples/harbour.jpg")).expect("there");
    let got = desk.ask("POST", &format!("{path}/photo"), &other);
    assert!(got.status == 422 && got.json()["corners_needed"] == true, "{got:?}");
    assert!(
        desk.get(&got.json()["photo_picture"].as_str().expect("a path").replace(' ', "%20"))
            .body
            .starts_with(b"\x89PNG")
    );
    let got = desk.ask("POST", &format!("{path}/photo?corners=1,2,3"), &other);
    assert!(got.status == 422 && got.says().contains("eight numbers"));
    assert_eq!(desk.ask("POST", &format!("{path}/photo"), b"no picture").status, 422);
    assert_eq!(desk.json("POST", &format!("{path}/keep"), &json!({ "name": "shed" })).status, 422);
    let got = desk.ask("POST", &format!("{path}/photo"), &picture.body);
    assert_eq!(got.status, 200, "{got:?}");
    let reading = got.json();
    // A photo that is refused leaves the one that was read in its place.
    let photo =
        |told: &Value| desk.get(&told["photo_picture"].as_str().expect("a path").replace(' ', "%20")).body;
    let read = photo(&reading);
    let refused = desk.ask("POST", &format!("{path}/photo"), &other);
    assert!(refused.status == 422 && photo(&refused.json()) != read, "{refused:?}");
    assert!(photo(&desk.get(&path).json()["reading"]) == read);
    assert!(reading["pick"]["line"].as_str().is_some_and(|l| l.contains("mm/s")), "{reading}");
    assert!(
        reading["values"].as_array().is_some_and(|v| v.iter().any(|v| v["measured"] == true)),
        "{reading}"
    );
    assert_eq!(desk.json("POST", &format!("{path}/keep"), &json!({ "name": "../shed" })).status, 400);
    let kept = desk.json("POST", &format!("{path}/keep"), &json!({ "name": "shed" }));
    assert_eq!(kept.status, 201, "{kept:?}");
    // The photo of another wedge says which it is of.
    let second = json!({ "kind": "exposure", "asked": { "blank": "rect:31x31mm", "steps": "3x2" } });
    let second =
        desk.json("POST", "/api/wedges", &second).json()["name"].as_str().expect("a name").to_string();
    let got = desk.ask("POST", &format!("/api/wedges/{}/photo", second.replace(' ', "%20")), &picture.body);
    let first = wedge["name"].as_str().expect("a name");
    assert!(got.status == 422 && got.says().contains(&format!("'{first}'. Open that one")), "{got:?}");
    // What was kept is read together with a photo only where that is chosen, and then it is said.
    let alone = desk.ask("POST", &format!("{path}/photo"), &picture.body).json();
    assert!(alone["together"].is_null() && alone["with"] == "", "{alone}");
    let with = desk.ask("POST", &format!("{path}/photo?with=..%2F..%2Fprocesses%2Fshed.toml"), b"").json();
    assert!(with["together"].as_str().is_some_and(|s| s.contains("'shed'")), "{with}");
    assert_eq!(desk.get(&path).json()["reading"]["together"], with["together"]);
    let gone = desk.ask("POST", &format!("{path}/photo?with=..%2F..%2Fprocesses%2Fold.toml"), b"").json();
    assert!(gone["apart"] == true && gone["together"].to_string().contains("'old' is not here"), "{gone}");
    // A reading is replaced whole or not at all: nothing of it lies elsewhere, and one file that cannot be replaced keeps all.
    let folder = home.path().join("wedges").join(first);
    let names = |folder: &Path| {
        let all = fs::read_dir(folder).expect("readable").map(|e| e.expect("readable").file_name());
        let mut all: Vec<String> = all.map(|name| name.to_string_lossy().into_owned()).collect();
        all.sort();
        all
    };
    assert_eq!(names(&folder), ["about.json", "drawn", "read"]);
    let of_reading = names(&folder.join("read"));
    assert!(["photo", "process.toml", "told.json"].iter().all(|n| of_reading.iter().any(|m| m == n)));
    let process = || fs::read(folder.join("read/process.toml")).expect("there");
    let before = process();
    fs::remove_file(folder.join("read/told.json")).expect("it goes");
    fs::create_dir(folder.join("read/told.json")).expect("it is made");
    let got = desk.ask("POST", &format!("{path}/photo?with=..%2F..%2Fprocesses%2Fshed.toml"), b"");
    assert!(got.status >= 400 && process() == before, "{got:?}");
    assert_eq!(names(&folder.join("read")), of_reading);
    fs::remove_dir(folder.join("read/told.json")).expect("it goes");
    let kit = desk.get("/api/kit").json();
    assert_eq!(
        (&kit["processes"][0]["name"], &kit["processes"][0]["measured"], &kit["processes"][0]["partly"]),
        (&json!("shed"), &json!(false), &json!(true))
    );
    // A job takes it, and says that it was measured; the command line reads the same.
    let job = desk.job(
        "samples/emblem.svg",
        json!({ "blank": { "shape": "rect:30x20mm", "margin": "1mm" }, "process": kept.json()["asked"] }),
    );
    let ticket = desk.get(&format!("/api/jobs/{}/ticket", job["name"].as_str().expect("a name")));
    assert_eq!(ticket.status, 200, "{ticket:?}");
    let process = ticket.json()["process"].clone();
    assert!(process["measured"] == false && process["partly"] == true, "{process}");
    // On another machine nothing of it is used, so nothing is measured.
    let mut asked = job["asked"].clone();
    asked["machine"] = "diode-10w".into();
    let put = desk.json("PUT", "/api/jobs/emblem", &json!({ "revision": job["revision"], "asked": asked }));
    assert_eq!(put.status, 200, "{put:?}");
    let process = desk.get("/api/jobs/emblem/ticket").json()["process"].clone();
    assert!(process["measured"] == false && process["partly"] == false, "{process}");
    let done = Command::new(env!("CARGO_BIN_EXE_dotwright"))
        .args(["prepare", "--quiet", "--job"])
        .arg(home.path().join("jobs/emblem/job.toml"))
        .arg("--out")
        .arg(home.path().join("out/again"))
        .current_dir("/")
        .output()
        .expect("it starts");
    assert!(done.status.code() == Some(0), "{}", String::from_utf8_lossy(&done.stderr));
}

#[test]
fn a_machine_of_ones_own_is_brought_changed_and_used() {
    let home = home();
    let desk = Desk::open(home.path());
    let file = fs::read(concat!(env!("CARGO_MANIFEST_DIR"), "/samples/turner.toml")).expect("there");
    let post = |path: &str, body: &[u8]| desk.ask("POST", path, body);
    // What is no machine, or cannot be one, is refused by its line and key, and nothing is kept.
    let slow = String::from_utf8(file.clone()).expect("text").replace("power = \"10W\"", "power = \"900W\"");
    for (body, said) in [(&b"\xff\xfe"[..], "no text"), (b"name = 3", "line 1"), (slow.as_bytes(), "power")] {
        let got = post("/api/kit/machines?name=mine.toml", body);
        assert!(got.status == 422 && got.says().contains(said), "{got:?}");
    }
    let long = vec![b'#'; (1 << 20) + 1];
    assert!(post("/api/kit/machines?name=mine.toml", &long).says().contains("longer than 1 MB"));
    assert_eq!(post("/api/kit/coatings?name=turner.toml", &file).status, 422);
    assert_eq!(post("/api/kit/blanks?name=turner.toml", &file).status, 404);
    assert_eq!(fs::read_dir(home.path().join("machines")).expect("there").count(), 0);
    // No name leads out of the folder.
    let brought = post("/api/kit/machines?name=../../turner.toml", &file);
    assert_eq!(brought.status, 201, "{brought:?}");
    assert!(fs::read_dir(home.path().join("machines")).expect("there").count() == 1, "{brought:?}");
    let mine = &desk.get("/api/kit").json()["machines"][0];
    assert!(mine["mine"] == true && mine["asked"] == brought.json()["asked"], "{mine}");
    assert!(mine["line"].as_str().is_some_and(|line| line.contains("with a rotary")), "{mine}");
    // Another of that name replaces it only when told to, and a piece made with it is then another.
    let job = desk.job(
        "samples/emblem.svg",
        json!({ "blank": { "shape": "cone:40x50x40mm" }, "machine": brought.json()["asked"] }),
    );
    let ticket = || {
        let name = job["name"].as_str().expect("a name");
        desk.get(&format!("/api/jobs/{name}/ticket")).json()["burn"]["seconds"].as_f64().expect("seconds")
    };
    let before = ticket();
    let name = mine["name"].as_str().expect("a name").replace(' ', "%20");
    let quick = String::from_utf8(file).expect("text").replace("units_per_s2 = 1200", "units_per_s2 = 200");
    let got = post(&format!("/api/kit/machines?name={name}.toml"), quick.as_bytes());
    assert!(got.status == 409 && got.json()["there"] == mine["name"], "{got:?}");
    assert_eq!(ticket(), before);
    assert_eq!(
        post(&format!("/api/kit/machines?name={name}.toml&replace=true"), quick.as_bytes()).status,
        201
    );
    assert!(ticket() > before, "a rotary that is slower to start takes longer");
    // Its file and those of the kit are there to be changed.
    let text = desk.get(&format!("/api/kit/machines/{name}"));
    assert!(text.status == 200 && text.body == quick.as_bytes(), "{text:?}");
    let text = desk.get("/api/kit/coatings/poster-paint");
    assert!(text.status == 200 && text.body.starts_with(b"name = \"poster paint\""), "{text:?}");
    assert_eq!(desk.get("/api/kit/machines/nobody").status, 404);
}

#[test]
fn what_is_refused_is_said_in_the_words_of_the_page() {
    let home = home();
    let desk = Desk::open(home.path());
    let file = fs::read(concat!(env!("CARGO_MANIFEST_DIR"), "/samples/turner.toml")).expect("there");
    let mine = desk.ask("POST", "/api/kit/machines?name=turner.toml", &file).json()["asked"].clone();
    let asked = |shape: &str, machine: &Value| json!({ "blank": { "shape": shape }, "machine": machine });
    let job = desk.job("samples/emblem.svg", asked("cylinder:73x100mm", &mine));
    let path = format!("/api/jobs/{}", job["name"].as_str().expect("a name"));
    let refused = |asked: Value| {
        let mut whole = job["asked"].clone();
        whole.as_object_mut().expect("a job").extend(asked.as_object().expect("keys").clone());
        let got = desk.json("PUT", &path, &json!({ "revision": job["revision"], "asked": whole }));
        assert_eq!(got.status, 422, "{got:?}");
        got.says()
    };
    let still = refused(asked("cylinder:73x100mm", &json!("diode-5w")));
    assert!(
        still.contains("has no rotary") && still.ends_with("take a flat blank, or another machine"),
        "{still}"
    );
    let mut cone = asked("cone:50x60x55mm", &mine);
    cone["scan"] = json!({ "axis": "y" });
    assert!(refused(cone).ends_with("undo the change to lines along y, or take another blank"));
    // What was asked before is there still.
    assert_eq!(desk.get(&path).json()["revision"], job["revision"]);
}
