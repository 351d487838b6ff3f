//! Broken files, many at once, slow ones: it answers, and its memory comes back.

use std::io::Write;
use std::path::Path;
use std::time::{Duration, Instant};

use serde_json::json;

use crate::browser::{Desk, read};

/// A file of the repository, broken in a way of its own: cut off, or some bytes changed.
fn broken(file: &str, seed: u64) -> Vec<u8> {
    let mut bytes =
        std::fs::read(Path::new(env!("CARGO_MANIFEST_DIR")).join(file)).expect("the art is there");
    let mut state = seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1;
    let mut next = |below: usize| {
        state ^= state << 13;
        state ^= state >> 7;
        state ^= state << 17;
        (state % below.max(1) as u64) as usize
    };
    if seed.is_multiple_of(3) {
        let at = next(bytes.len());
        bytes.truncate(at);
    } else {
        for _ in 0..1 + next(40) {
            let at = next(bytes.len().min(4000));
            bytes[at] = next(256) as u8;
        }
    }
    bytes
}

#[test]
fn five_hundred_broken_files_are_answered_with_a_sentence_each() {
    const FILES: [&str; 5] = [
        "samples/emblem.svg",
        "tests/data/art/whole.jpg",
        "tests/data/art/two.pdf",
        "samples/name-tag.svg",
        "tests/data/art/turned-3.jpg",
    ];
    let home = tempfile::tempdir().expect("a folder");
    let mut desk = Desk::open(home.path());
    desk.job(
        "samples/harbour.jpg",
        json!({ "blank": { "shape": "rect:30x20mm" }, "dots": { "screen": "bayer" } }),
    );
    assert_eq!(desk.get("/api/jobs/harbour/ticket").status, 200);
    let mut refused = 0;
    let mut before = 0;
    for i in 0..500u64 {
        if i == 100 {
            before = desk.memory();
        }
        let file = FILES[i as usize % FILES.len()];
        let got = desk.ask("POST", &format!("/api/art?name=broken-{i}"), &broken(file, i + 1));
        match got.status {
            201 => {}
            422 => {
                got.says();
                refused += 1;
            }
            _ => panic!("{file} {i}: {got:?}"),
        }
    }
    assert!(refused > 100, "{refused}");
    assert_eq!(desk.get("/api/jobs/harbour/ticket").status, 200);
    let after = desk.memory();
    assert!(after as f64 <= 1.1 * before as f64 + 2048.0, "{before} kB grew to {after} kB");
    desk.lives();
}

#[test]
fn two_hundred_at_once_are_all_answered() {
    let home = tempfile::tempdir().expect("a folder");
    let mut desk = Desk::open(home.path());
    let job = desk.job("samples/harbour.jpg", json!({ "blank": { "shape": "rect:30x20mm" } }));
    assert_eq!(desk.get("/api/jobs/harbour/ticket").status, 200);
    let round = |desk: &Desk| {
        std::thread::scope(|scope| {
            let asks: Vec<_> = (0..200)
                .map(|i| {
                    scope.spawn(move || match i % 5 {
                        0 => desk.get("/api/jobs/harbour/coarse"),
                        1 => desk.get(&format!(
                            "/api/jobs/harbour/tile?what=forecast&x={}&y=3&w=4&h=4&px=256",
                            i % 20
                        )),
                        2 => desk.get("/api/jobs/harbour/ticket"),
                        3 => desk.get("/api/shelf"),
                        _ => desk.get("/page/desk.js"),
                    })
                })
                .collect();
            asks.into_iter().for_each(|ask| assert_eq!(ask.join().expect("answered").status, 200));
        });
    };
    round(&desk);
    let before = desk.memory();
    (0..3).for_each(|_| round(&desk));
    let after = desk.memory();
    assert!(after as f64 <= 1.1 * before as f64 + 2048.0, "{before} kB grew to {after} kB");
    assert_eq!(desk.get("/api/jobs/harbour").json()["revision"], job["revision"]);
    desk.lives();
}

#[test]
fn who_is_slow_holds_nobody_up_and_is_let_go() {
    let home = tempfile::tempdir().expect("a folder");
    let mut desk = Desk::open(home.path());
    // A head that does not end, a body that does not come, and answers that nobody reads.
    let mut slow: Vec<_> = (0..100)
        .map(|i| {
            let mut stream = desk.connect();
            let head = match i % 2 {
                0 => "GET / HTTP/1.1\r\nHost: ".to_string(),
                _ => format!(
                    "POST /api/art?name=x HTTP/1.1\r\nHost: 127.0.0.1:{0}\r\nOrigin: http://127.0.0.1:{0}\r\nCookie: {1}\r\nContent-Length: 5000000\r\n\r\nsome",
                    desk.port, desk.cookie
                ),
            };
            stream.write_all(head.as_bytes()).expect("sent");
            stream
        })
        .collect();
    let begun = Instant::now();
    for _ in 0..20 {
        assert_eq!(desk.get("/api/shelf").status, 200);
    }
    assert!(begun.elapsed() < Duration::from_secs(5), "{:?}", begun.elapsed());
    let second = slow.remove(1);
    let first = slow.remove(0);
    read(first);
    assert!(begun.elapsed() < Duration::from_secs(30), "a head may take ten seconds");
    let told = read(second);
    assert_eq!(told.status, 408, "{told:?}");
    drop(slow);
    desk.lives();
}

#[test]
fn what_is_no_request_is_refused() {
    let home = tempfile::tempdir().expect("a folder");
    let mut desk = Desk::open(home.path());
    for bytes in [
        &b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03"[..],
        b"GET\r\n\r\n",
        b"GET / HTTP/9.9\r\n\r\n",
        b"\x00\x00\x00\x00\r\n\r\n",
        b"POST /api/jobs HTTP/1.1\r\nContent-Length: -5\r\n\r\n",
    ] {
        let got = desk.say(bytes);
        assert!(got.status == 0 || (400..500).contains(&got.status), "{got:?}");
    }
    for body in ["", "{", "[]", "null", r#"{"art": 5}"#, r#"{"art": "x", "unknown": 1}"#, "\u{0}"] {
        let got = desk.ask("POST", "/api/jobs", body.as_bytes());
        assert!((400..500).contains(&got.status), "{body:?}: {got:?}");
        got.says();
    }
    let long = format!("/api/jobs/{}", "a".repeat(5000));
    assert!((400..500).contains(&desk.get(&long).status));
    desk.lives();
}
