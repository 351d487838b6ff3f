//! Says: why a request was not done, as one sentence with the next step.

use axum::body::Body;
use axum::http::{Response, StatusCode, header};
use axum::response::IntoResponse;
use serde_json::{Map, Value};

use super::texts::filled;
use crate::cause;
use crate::cli::failure::Failure;
use crate::said::Said;

/// A refusal: a status, a sentence, and what else the page is told with it.
#[derive(Debug, Clone)]
pub(super) struct Says {
    status: StatusCode,
    sentence: String,
    more: Map<String, Value>,
}

impl Says {
    fn new(status: StatusCode, sentence: impl Into<String>) -> Says {
        let sentence = cause::numberless(&sentence.into()).into_owned();
        Says { status, sentence, more: Map::new() }
    }

    /// What was asked for makes no sense or cannot be done.
    pub fn unusable(sentence: impl Into<String>) -> Says {
        Says::new(StatusCode::UNPROCESSABLE_ENTITY, sentence)
    }

    /// There is no such thing.
    pub fn missing(sentence: impl Into<String>) -> Says {
        Says::new(StatusCode::NOT_FOUND, sentence)
    }

    /// Somebody else was faster.
    pub fn overtaken(sentence: impl Into<String>) -> Says {
        Says::new(StatusCode::CONFLICT, sentence)
    }

    /// A request that the desk's own page never makes.
    pub fn strange(status: StatusCode, sentence: impl Into<String>) -> Says {
        Says::new(status, sentence)
    }

    /// A fault of the program.
    pub fn fault(what: &str) -> Says {
        Says::new(StatusCode::INTERNAL_SERVER_ERROR, filled("fault", &[("what", &what)]))
    }

    /// The same, with one thing more for the page.
    pub fn with(mut self, key: &str, value: impl Into<Value>) -> Says {
        self.more.insert(key.to_string(), value.into());
        self
    }

    /// The sentence.
    pub fn sentence(&self) -> &str {
        &self.sentence
    }
}

impl<E: std::error::Error + 'static> From<E> for Says {
    fn from(e: E) -> Says {
        Says::unusable(Said::of_error(&e).on_page())
    }
}

impl From<Failure> for Says {
    fn from(f: Failure) -> Says {
        let says = Says::unusable(f.sentence.on_page());
        match f.row {
            Some(row) => says.with("row", row),
            None => says,
        }
    }
}

impl IntoResponse for Says {
    fn into_response(self) -> Response<Body> {
        let mut all = self.more;
        all.insert("says".into(), Value::String(self.sentence));
        answer(self.status, &Value::Object(all))
    }
}

/// An answer in JSON.
pub(super) fn answer(status: StatusCode, value: &Value) -> Response<Body> {
    let mut response = Response::new(Body::from(value.to_string()));
    *response.status_mut() = status;
    response
        .headers_mut()
        .insert(header::CONTENT_TYPE, header::HeaderValue::from_static("application/json; charset=utf-8"));
    response
}

/// What a request answers.
pub(super) type Answer = Result<Response<Body>, Says>;

/// An answer in JSON to what was done.
pub(super) fn done(value: Value) -> Answer {
    Ok(answer(StatusCode::OK, &value))
}

/// An answer in JSON to what was made.
pub(super) fn made(value: Value) -> Answer {
    Ok(answer(StatusCode::CREATED, &value))
}

/// An answer without content.
pub(super) fn nothing() -> Answer {
    let mut response = Response::new(Body::empty());
    *response.status_mut() = StatusCode::NO_CONTENT;
    Ok(response)
}

/// An answer of bytes.
pub(super) fn bytes(kind: &'static str, content: Vec<u8>) -> Answer {
    let mut response = Response::new(Body::from(content));
    response.headers_mut().insert(header::CONTENT_TYPE, header::HeaderValue::from_static(kind));
    Ok(response)
}

/// An answer in JSON to what was begun.
pub(super) fn begun(value: Value) -> Answer {
    Ok(answer(StatusCode::ACCEPTED, &value))
}
