//! Guard: who may ask. Only the page itself, on this machine, in the browser that was shown the address.
//!
//! A foreign site that a browser has open can send requests to loopback, and a foreign name can be made to point there:
//! so the names of host and origin are checked (both per RFC 9110 and RFC 6454), and all that is of the person needs a
//! cookie that only the page gets, against a token that only the printed address has.

use axum::body::Body;
use axum::extract::{Request, State};
use axum::http::{HeaderMap, HeaderName, HeaderValue, Method, Response, StatusCode, header};
use axum::middleware::Next;
use axum::response::IntoResponse;

use super::Shared;
use super::says::{Answer, Says, nothing};
use super::texts::say;

/// Sent with every answer.
const HEADERS: &[(&str, &str)] = &[
    (
        "content-security-policy",
        "default-src 'self'; img-src 'self' blob: data:; connect-src 'self'; object-src 'none'; \
         frame-ancestors 'none'; base-uri 'none'; form-action 'none'",
    ),
    ("x-content-type-options", "nosniff"),
    ("referrer-policy", "no-referrer"),
    ("x-frame-options", "DENY"),
    ("cross-origin-opener-policy", "same-origin"),
    ("cross-origin-resource-policy", "same-origin"),
    ("permissions-policy", "camera=(), geolocation=(), microphone=()"),
    ("cache-control", "no-store"),
];

/// Secrets of this start, and the names under which it may be asked.
pub(super) struct Guard {
    token: String,
    session: String,
    cookie: String,
    hosts: [String; 2],
    origins: [String; 2],
}

impl Guard {
    /// For a start on `port`, with fresh secrets.
    ///
    /// # Errors
    /// Where the system gives no random numbers.
    pub fn new(port: u16) -> Result<Guard, getrandom::Error> {
        let hosts = ["127.0.0.1", "localhost"].map(|name| format!("{name}:{port}"));
        Ok(Guard {
            token: secret()?,
            session: secret()?,
            cookie: format!("dotwright-desk-{port}"),
            origins: hosts.clone().map(|host| format!("http://{host}")),
            hosts,
        })
    }

    /// The address to open.
    pub fn address(&self) -> String {
        format!("{}/#{}", self.origins[0], self.token)
    }

    /// Lets the page in that knows the token of this start.
    pub fn enter(&self, token: &str) -> Answer {
        if !same(token, &self.token) {
            return Err(Says::strange(StatusCode::UNAUTHORIZED, say("says.enter")));
        }
        let cookie = format!("{}={}; Path=/; HttpOnly; SameSite=Strict", self.cookie, self.session);
        let mut answer = nothing()?;
        if let Ok(value) = HeaderValue::from_str(&cookie) {
            answer.headers_mut().insert(header::SET_COOKIE, value);
        }
        Ok(answer)
    }

    /// Refuses what does not come from the page.
    fn check(&self, method: &Method, path: &str, headers: &HeaderMap) -> Result<(), Says> {
        let text = |name: HeaderName| headers.get(name).and_then(|v| v.to_str().ok());
        let foreign = |key: &str| Err(Says::strange(StatusCode::FORBIDDEN, say(key)));
        let host = text(header::HOST).unwrap_or_default();
        if headers.get_all(header::HOST).iter().count() != 1 || !self.hosts.iter().any(|h| h == host) {
            return foreign("says.host");
        }
        let safe = matches!(*method, Method::GET | Method::HEAD);
        let origin = headers.get(header::ORIGIN).map(HeaderValue::as_bytes);
        let ours = origin.is_some_and(|o| self.origins.iter().any(|own| own.as_bytes() == o));
        let site = text(HeaderName::from_static("sec-fetch-site"));
        let api = path.starts_with("/api/");
        // A person may follow a link to the page from anywhere; its data are for the page alone.
        let strange_site = site.is_some_and(|s| s != "same-origin") && (api && site != Some("none") || !safe);
        if (origin.is_some() && !ours) || strange_site || (!safe && !ours && site != Some("same-origin")) {
            return foreign("says.origin");
        }
        if api && path != "/api/enter" && !self.knows(headers) {
            return Err(Says::strange(StatusCode::UNAUTHORIZED, say("says.anew")));
        }
        Ok(())
    }

    fn knows(&self, headers: &HeaderMap) -> bool {
        let all = headers.get_all(header::COOKIE).iter().filter_map(|v| v.to_str().ok());
        all.flat_map(|v| v.split(';'))
            .filter_map(|pair| pair.trim().split_once('='))
            .any(|(name, value)| name == self.cookie && same(value, &self.session))
    }
}

/// Passes on what may be asked, and puts the headers on every answer.
pub(super) async fn pass(State(desk): State<Shared>, request: Request, next: Next) -> Response<Body> {
    let path = request.uri().path();
    let mut response = match desk.guard.check(request.method(), path, request.headers()) {
        Ok(()) => next.run(request).await,
        Err(says) => says.into_response(),
    };
    for (name, value) in HEADERS {
        response.headers_mut().entry(*name).or_insert(HeaderValue::from_static(value));
    }
    response
}

/// 256 random bits in hexadecimal digits.
fn secret() -> Result<String, getrandom::Error> {
    let mut bytes = [0u8; 32];
    getrandom::fill(&mut bytes)?;
    Ok(bytes.iter().map(|b| format!("{b:02x}")).collect())
}

/// Whether two secrets are the same, in a time that does not tell where they differ.
fn same(a: &str, b: &str) -> bool {
    a.len() == b.len() && a.bytes().zip(b.bytes()).fold(0, |all, (a, b)| all | (a ^ b)) == 0
}

#[cfg(test)]
mod tests {
    use super::*;

    fn asks(guard: &Guard, method: Method, path: &str, headers: &[(&'static str, String)]) -> u16 {
        let mut all = HeaderMap::new();
        for (name, value) in headers {
            all.append(*name, value.parse().unwrap());
        }
        match guard.check(&method, path, &all) {
            Ok(()) => 200,
            Err(says) => says.into_response().status().as_u16(),
        }
    }

    #[test]
    fn only_the_page_itself_is_heard() {
        let guard = Guard::new(4810).unwrap();
        let host = ("host", "127.0.0.1:4810".to_string());
        let cookie = ("cookie", format!("other=1; {}={}", guard.cookie, guard.session));
        let own = ("origin", "http://127.0.0.1:4810".to_string());
        let one = |name, value: &str| (name, value.to_string());
        type Case = (u16, Method, &'static str, Vec<(&'static str, String)>);
        let cases: &[Case] = &[
            (200, Method::GET, "/", vec![host.clone()]),
            (200, Method::GET, "/", vec![one("host", "localhost:4810")]),
            (200, Method::GET, "/", vec![host.clone(), one("sec-fetch-site", "cross-site")]),
            (403, Method::GET, "/", vec![]),
            (403, Method::GET, "/", vec![one("host", "127.0.0.1:4811")]),
            (403, Method::GET, "/", vec![one("host", "127.0.0.1")]),
            (403, Method::GET, "/", vec![one("host", "evil.example:4810")]),
            (403, Method::GET, "/", vec![host.clone(), one("host", "evil.example")]),
            (401, Method::GET, "/api/shelf", vec![host.clone()]),
            (401, Method::GET, "/api/shelf", vec![host.clone(), one("cookie", "dotwright-desk-4810=x")]),
            (200, Method::GET, "/api/shelf", vec![host.clone(), cookie.clone()]),
            (
                403,
                Method::GET,
                "/api/shelf",
                vec![host.clone(), cookie.clone(), one("origin", "http://evil.example")],
            ),
            (
                403,
                Method::GET,
                "/api/shelf",
                vec![host.clone(), cookie.clone(), one("sec-fetch-site", "cross-site")],
            ),
            (403, Method::PUT, "/api/jobs/a", vec![host.clone(), cookie.clone()]),
            (403, Method::PUT, "/api/jobs/a", vec![host.clone(), cookie.clone(), one("origin", "null")]),
            (
                403,
                Method::PUT,
                "/api/jobs/a",
                vec![host.clone(), cookie.clone(), one("sec-fetch-site", "none")],
            ),
            (200, Method::PUT, "/api/jobs/a", vec![host.clone(), cookie.clone(), own.clone()]),
            (
                200,
                Method::PUT,
                "/api/jobs/a",
                vec![host.clone(), cookie, one("sec-fetch-site", "same-origin")],
            ),
            (200, Method::POST, "/api/enter", vec![host.clone(), own]),
            (403, Method::POST, "/api/enter", vec![host, one("origin", "http://127.0.0.1:4811")]),
        ];
        for (want, method, path, headers) in cases {
            assert_eq!(asks(&guard, method.clone(), path, headers), *want, "{method} {path} {headers:?}");
        }
    }

    #[test]
    fn secrets_are_new_at_every_start() {
        let (a, b) = (Guard::new(1).unwrap(), Guard::new(1).unwrap());
        assert!(a.token != b.token && a.session != b.session && a.token.len() == 64);
        assert!(a.enter(&a.token).is_ok() && a.enter(&b.token).is_err() && a.enter("").is_err());
    }
}
