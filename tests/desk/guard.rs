//! Who is heard, and how far a request reaches.

use std::net::{TcpStream, UdpSocket};

use serde_json::json;

use crate::browser::Desk;

fn home() -> tempfile::TempDir {
    tempfile::tempdir().expect("a folder")
}

#[test]
fn only_its_own_page_is_heard() {
    let home = home();
    let mut desk = Desk::open(home.path());
    let port = desk.port;
    let ask =
        |head: &str| desk.say(format!("{head}\r\nConnection: close\r\nContent-Length: 0\r\n\r\n").as_bytes());
    let cookie = format!("Cookie: {}", desk.cookie);
    let own = format!("Host: 127.0.0.1:{port}");
    for (want, head) in [
        (200, format!("GET / HTTP/1.1\r\n{own}")),
        (200, format!("GET /page/desk.js HTTP/1.1\r\nHost: localhost:{port}")),
        (403, "GET / HTTP/1.1\r\nHost: harbour.example".to_string()),
        (403, format!("GET / HTTP/1.1\r\nHost: 127.0.0.1.harbour.example:{port}")),
        (403, format!("GET /api/shelf HTTP/1.1\r\nHost: harbour.example:{port}\r\n{cookie}")),
        (401, format!("GET /api/shelf HTTP/1.1\r\n{own}")),
        (401, format!("GET /api/shelf HTTP/1.1\r\n{own}\r\nCookie: dotwright-desk-{port}=0000")),
        (200, format!("GET /api/shelf HTTP/1.1\r\n{own}\r\n{cookie}")),
        (403, format!("GET /api/shelf HTTP/1.1\r\n{own}\r\n{cookie}\r\nOrigin: http://harbour.example")),
        (403, format!("GET /api/shelf HTTP/1.1\r\n{own}\r\n{cookie}\r\nSec-Fetch-Site: cross-site")),
        (403, format!("POST /api/jobs HTTP/1.1\r\n{own}\r\n{cookie}\r\nOrigin: http://harbour.example")),
        (403, format!("POST /api/jobs HTTP/1.1\r\n{own}\r\n{cookie}\r\nOrigin: null")),
        (403, format!("POST /api/jobs HTTP/1.1\r\n{own}\r\n{cookie}")),
        (
            403,
            format!(
                "DELETE /api/jobs/a HTTP/1.1\r\n{own}\r\n{cookie}\r\nOrigin: http://localhost:{}",
                port ^ 1
            ),
        ),
        (404, format!("DELETE /api/jobs/a HTTP/1.1\r\n{own}\r\n{cookie}\r\nOrigin: http://127.0.0.1:{port}")),
        (405, format!("OPTIONS /api/jobs HTTP/1.1\r\n{own}\r\n{cookie}\r\nOrigin: http://127.0.0.1:{port}")),
        (405, format!("TRACE / HTTP/1.1\r\n{own}\r\nOrigin: http://127.0.0.1:{port}")),
    ] {
        let got = ask(&head);
        assert_eq!(got.status, want, "{head}: {got:?}");
        if want > 400 {
            got.says();
        }
        let policy = &got.headers["content-security-policy"];
        assert!(policy.starts_with("default-src 'self'") && !policy.contains("unsafe"), "{policy}");
        assert_eq!(got.headers["referrer-policy"], "no-referrer");
        assert_eq!(got.headers["x-content-type-options"], "nosniff");
        assert!(
            !got.headers.contains_key("server") && !got.headers.contains_key("access-control-allow-origin")
        );
    }
    let wrong = desk.json("POST", "/api/enter", &json!({ "token": "0".repeat(64) }));
    assert_eq!((wrong.status, wrong.headers.get("set-cookie")), (401, None));
    let right = desk.json("POST", "/api/enter", &json!({ "token": desk.token }));
    let cookie = &right.headers["set-cookie"];
    assert!(
        cookie.contains("HttpOnly") && cookie.contains("SameSite=Strict") && !cookie.contains(&desk.token)
    );
    desk.lives();
}

#[test]
fn it_listens_on_loopback_only() {
    let home = home();
    let desk = Desk::open(home.path());
    // The address by which this machine would go out; nothing is sent.
    let out =
        UdpSocket::bind("0.0.0.0:0").and_then(|s| s.connect("192.0.2.1:9").and_then(|()| s.local_addr()));
    if let Ok(address) = out.map(|a| a.ip())
        && !address.is_loopback()
        && !address.is_unspecified()
    {
        assert!(TcpStream::connect((address, desk.port)).is_err(), "{address}");
    }
}

#[test]
fn no_path_of_a_request_leads_out_of_its_folder() {
    let home = home();
    let elsewhere = tempfile::tempdir().expect("a folder");
    std::fs::write(elsewhere.path().join("job.toml"), "[art]\nfile = 'secret.png'\n").expect("written");
    let mut desk = Desk::open(home.path());
    for path in [
        "/page/..%2fmod.rs",
        "/page/%2e%2e/mod.rs",
        "/page/../mod.rs",
        "/../../etc/passwd",
        "/api/jobs/..%2f..%2fetc",
        "/api/jobs/%2e%2e",
        "/api/jobs/..%5c..%5cetc",
        "/api/jobs/a%00b",
        "/api/jobs/.desk-open",
        "/api/jobs/%ff%fe",
        "/api/art/..%2f.desk-open/picture",
        "/api/art/%2e%2e%2f%2e%2e%2fetc%2fpasswd/picture",
        "/api/jobs/a/../../b/ticket",
    ] {
        let got = desk.get(path);
        assert!((400..500).contains(&got.status), "{path}: {got:?}");
    }
    let job = desk.job("samples/emblem.svg", json!({ "blank": { "shape": "rect:30x20mm" } }));
    let put =
        |asked| desk.json("PUT", "/api/jobs/emblem", &json!({ "revision": job["revision"], "asked": asked }));
    let out = elsewhere.path().join("x.png").to_string_lossy().into_owned();
    for asked in [
        json!({ "art": { "file": "/etc/passwd" } }),
        json!({ "art": { "file": "../../../secret.png" } }),
        json!({ "art": { "file": out } }),
        json!({ "art": { "file": "file:%2Fetc%2Fpasswd" } }),
        json!({ "art": { "file": "../../art/emblem.svg", "fonts": "/usr/share/fonts" } }),
        json!({ "layer": [{ "file": "/etc/passwd" }] }),
        json!({ "art": { "file": "../../art/emblem.svg" }, "process": "/etc/hostname.toml" }),
        json!({ "art": { "file": "../../art/emblem.svg" }, "machine": "../../../machine.toml" }),
        json!({ "art": { "file": "../../art/emblem.svg" }, "tone": { "dot_gain": "/etc/passwd" } }),
    ] {
        let got = put(asked.clone());
        assert!((400..500).contains(&got.status), "{asked}: {got:?}");
        got.says();
    }
    assert_eq!(desk.get("/api/jobs/emblem").json()["revision"], job["revision"]);
    let got = desk.json("POST", "/api/jobs/emblem/save", &json!({ "folder": "../../../elsewhere" }));
    assert_eq!(got.status, 400, "{got:?}");
    #[cfg(unix)]
    {
        std::os::unix::fs::symlink(elsewhere.path(), home.path().join("jobs/linked")).expect("linked");
        std::os::unix::fs::symlink("/etc/hostname", home.path().join("art/host.png")).expect("linked");
        std::os::unix::fs::symlink(elsewhere.path(), home.path().join("out/linked")).expect("linked");
        assert_eq!(desk.get("/api/jobs/linked").status, 403);
        assert_eq!(desk.get("/api/art/host.png/picture").status, 403);
        let got = desk.json("POST", "/api/jobs/emblem/save", &json!({ "folder": "linked" }));
        assert_eq!(got.status, 403, "{got:?}");
        let names = |p: &std::path::Path| p.read_dir().expect("readable").count();
        assert_eq!(names(elsewhere.path()), 1);
    }
    desk.lives();
}

#[test]
fn what_is_too_long_is_refused_before_it_is_read() {
    let home = home();
    let mut desk = Desk::open(home.path());
    let head = |more: &str| {
        format!(
            "POST /api/art?name=x.jpg HTTP/1.1\r\nHost: 127.0.0.1:{0}\r\nOrigin: http://127.0.0.1:{0}\r\nCookie: {1}\r\nConnection: close\r\n{more}\r\n\r\n",
            desk.port, desk.cookie
        )
    };
    let told = desk.say(head(&format!("Content-Length: {}", (64 << 20) + 1)).as_bytes());
    assert_eq!(told.status, 413);
    assert!(told.says().contains("64 MiB"));
    // In pieces, without saying how many.
    let mut stream = desk.connect();
    use std::io::Write;
    stream.write_all(head("Transfer-Encoding: chunked").as_bytes()).expect("sent");
    let piece = [format!("{:x}\r\n", 1 << 20).into_bytes(), vec![7; 1 << 20], b"\r\n".to_vec()].concat();
    for _ in 0..66 {
        if stream.write_all(&piece).is_err() {
            break;
        }
    }
    let got = crate::browser::read(stream);
    // The end of the connection may be faster than the answer.
    assert!(got.status == 413 || got.status == 0, "{got:?}");
    assert_eq!(home.path().join("art").read_dir().expect("readable").count(), 0);
    desk.lives();
}
