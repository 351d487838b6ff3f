//! A desk in the making of a test, and a browser that says exactly what it is told to.

use std::collections::HashMap;
use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::Duration;

use serde_json::Value;

const PROGRAM: &str = env!("CARGO_BIN_EXE_dotwright");

/// A desk that is open, and the cookie of its page.
pub struct Desk {
    pub child: Child,
    pub port: u16,
    pub token: String,
    pub cookie: String,
}

/// An answer.
#[derive(Debug)]
pub struct Got {
    pub status: u16,
    pub headers: HashMap<String, String>,
    pub body: Vec<u8>,
}

impl Got {
    pub fn json(&self) -> Value {
        serde_json::from_slice(&self.body)
            .unwrap_or_else(|e| panic!("{e}: {:?}", String::from_utf8_lossy(&self.body)))
    }

    /// The sentence of a refusal: one, plain, with an end, and without options, which the page has not.
    pub fn says(&self) -> String {
        let says = self.json()["says"].as_str().unwrap_or_default().to_string();
        assert!(says.len() > 20 && says.len() < 600 && !says.contains('\n'), "{says:?}");
        assert!(!says.contains(" --"), "{says:?}");
        says
    }
}

impl Desk {
    pub fn open(home: &Path) -> Desk {
        let mut child = Command::new(PROGRAM)
            .args(["desk", "--port", "0", "--no-open", "--home"])
            .arg(home)
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .expect("it starts");
        let mut line = String::new();
        BufReader::new(child.stdout.take().expect("piped"))
            .read_line(&mut line)
            .expect("it tells its address");
        let (_, address) = line.trim().split_once("http://127.0.0.1:").unwrap_or_else(|| panic!("{line:?}"));
        let (port, token) = address.split_once("/#").expect("a token");
        let (port, token) = (port.parse().expect("a port"), token.to_string());
        let mut desk = Desk { child, port, token, cookie: String::new() };
        let got = desk.ask("POST", "/api/enter", format!(r#"{{"token":"{}"}}"#, desk.token).as_bytes());
        assert_eq!(got.status, 204, "{got:?}");
        desk.cookie = got.headers["set-cookie"].split(';').next().expect("a cookie").to_string();
        desk
    }

    /// As its page asks.
    pub fn ask(&self, method: &str, path: &str, body: &[u8]) -> Got {
        let head = format!(
            "{method} {path} HTTP/1.1\r\nHost: 127.0.0.1:{0}\r\nOrigin: http://127.0.0.1:{0}\r\nCookie: {1}\r\nContent-Length: {2}\r\nConnection: close\r\n\r\n",
            self.port,
            self.cookie,
            body.len()
        );
        self.say(&[head.as_bytes(), body].concat())
    }

    /// Exactly these bytes.
    pub fn say(&self, bytes: &[u8]) -> Got {
        let mut stream = self.connect();
        // The desk may answer and close before it has heard all.
        let _ = stream.write_all(bytes);
        read(stream)
    }

    pub fn connect(&self) -> TcpStream {
        let stream = TcpStream::connect(("127.0.0.1", self.port)).expect("it listens");
        stream.set_read_timeout(Some(Duration::from_secs(60))).expect("set");
        stream
    }

    pub fn json(&self, method: &str, path: &str, body: &Value) -> Got {
        self.ask(method, path, body.to_string().as_bytes())
    }

    pub fn get(&self, path: &str) -> Got {
        self.ask("GET", path, b"")
    }

    /// Drops a file of the repository and begins a job with it.
    pub fn job(&self, file: &str, asked: Value) -> Value {
        let bytes =
            std::fs::read(Path::new(env!("CARGO_MANIFEST_DIR")).join(file)).expect("the art is there");
        let name = Path::new(file).file_name().expect("a name").to_string_lossy();
        let art = self.ask("POST", &format!("/api/art?name={name}"), &bytes);
        assert_eq!(art.status, 201, "{art:?}");
        let made =
            self.json("POST", "/api/jobs", &serde_json::json!({ "art": art.json()["art"], "asked": asked }));
        assert_eq!(made.status, 201, "{made:?}");
        made.json()
    }

    /// Kilobytes of memory that it holds.
    pub fn memory(&self) -> u64 {
        let status = std::fs::read_to_string(format!("/proc/{}/status", self.child.id())).unwrap_or_default();
        let line = status.lines().find_map(|l| l.strip_prefix("VmRSS:")).unwrap_or("0");
        line.trim().trim_end_matches("kB").trim().parse().unwrap_or(0)
    }

    /// That it still answers, and never fell over.
    pub fn lives(&mut self) {
        assert_eq!(self.get("/api/shelf").status, 200);
        assert!(self.child.try_wait().expect("asked").is_none(), "it has ended");
    }
}

impl Drop for Desk {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
        let mut said = String::new();
        if let Some(mut err) = self.child.stderr.take() {
            let _ = err.read_to_string(&mut said);
        }
        if !std::thread::panicking() {
            assert!(!said.contains("panicked"), "{said}");
        }
    }
}

/// An answer to its end.
pub fn read(stream: TcpStream) -> Got {
    let mut stream = BufReader::new(stream);
    let mut line = String::new();
    let _ = stream.read_line(&mut line);
    let status = line.split(' ').nth(1).and_then(|s| s.parse().ok()).unwrap_or(0);
    let mut headers = HashMap::new();
    loop {
        line.clear();
        match stream.read_line(&mut line) {
            Ok(n) if n > 2 => {}
            _ => break,
        }
        if let Some((name, value)) = line.trim_end().split_once(':') {
            headers.insert(name.to_ascii_lowercase(), value.trim().to_string());
        }
    }
    let mut body = Vec::new();
    match headers.get("content-length").and_then(|n| n.parse().ok()) {
        Some(length) => {
            let _ = stream.take(length).read_to_end(&mut body);
        }
        None if status != 204 && status != 0 => {
            let _ = stream.read_to_end(&mut body);
        }
        None => {}
    }
    Got { status, headers, body }
}
