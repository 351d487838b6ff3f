//! Events: what the server tells the page without being asked, as server-sent events (HTML, 9.2).

use std::convert::Infallible;
use std::pin::Pin;
use std::sync::atomic::{AtomicU64, Ordering};
use std::task::{Context, Poll};
use std::time::Duration;

use axum::body::{Body, Bytes, HttpBody};
use axum::http::{HeaderValue, Response, header};
use hyper::body::Frame;
use serde_json::Value;
use tokio::sync::{broadcast, mpsc};
use tokio::time::timeout;

/// Events on their way to a page; one that falls further behind is told so.
const BEHIND: usize = 256;
/// The longest silence.
const HEART_BEAT: Duration = Duration::from_secs(15);

/// Tells all pages.
pub(super) struct Events {
    to_all: broadcast::Sender<Bytes>,
    count: AtomicU64,
}

impl Default for Events {
    fn default() -> Self {
        Events { to_all: broadcast::channel(BEHIND).0, count: AtomicU64::new(0) }
    }
}

impl Events {
    /// Tells all pages of an event; `data` is what there is to know of it.
    pub fn tell(&self, event: &str, data: &Value) {
        let id = self.count.fetch_add(1, Ordering::Relaxed);
        // Nobody need listen.
        let _ = self.to_all.send(Bytes::from(format!("id: {id}\nevent: {event}\ndata: {data}\n\n")));
    }

    /// An answer that never ends: every event from now on.
    pub fn listen(&self) -> Response<Body> {
        let mut heard = self.to_all.subscribe();
        let (give, take) = mpsc::channel(16);
        tokio::spawn(async move {
            let mut next = Bytes::from_static(b"retry: 1000\n\n");
            // The page that goes closes its end.
            while give.send(next).await.is_ok() {
                next = match timeout(HEART_BEAT, heard.recv()).await {
                    Ok(Ok(event)) => event,
                    Ok(Err(broadcast::error::RecvError::Lagged(_))) => {
                        Bytes::from_static(b"event: shelf\ndata: {}\n\n")
                    }
                    Ok(Err(broadcast::error::RecvError::Closed)) => return,
                    Err(_) => Bytes::from_static(b": here\n\n"),
                };
            }
        });
        let mut response = Response::new(Body::new(Stream(take)));
        response
            .headers_mut()
            .insert(header::CONTENT_TYPE, HeaderValue::from_static("text/event-stream; charset=utf-8"));
        response
    }
}

/// Events as the body of an answer.
struct Stream(mpsc::Receiver<Bytes>);

impl HttpBody for Stream {
    type Data = Bytes;
    type Error = Infallible;

    fn poll_frame(
        mut self: Pin<&mut Self>,
        cx: &mut Context<'_>,
    ) -> Poll<Option<Result<Frame<Bytes>, Infallible>>> {
        self.0.poll_recv(cx).map(|next| next.map(|bytes| Ok(Frame::data(bytes))))
    }
}
