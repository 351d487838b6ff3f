//! Upload: what a request brings, within bounds of size, of memory in all, and of time.

use std::future::poll_fn;
use std::pin::Pin;
use std::sync::Arc;
use std::time::Duration;

use axum::body::{Body, HttpBody};
use axum::http::StatusCode;
use serde::de::DeserializeOwned;
use tokio::sync::{OwnedSemaphorePermit, Semaphore};
use tokio::time::timeout;

use super::says::Says;
use super::texts::{filled, say};

/// The most bytes of a file.
const LARGEST: usize = 64 << 20;
/// The most bytes of what is said in JSON.
const LONGEST: usize = 2 << 20;
/// What all requests together may hold, in blocks.
const BLOCKS: usize = 512;
/// Bytes of a block.
const BLOCK: usize = 512 << 10;
/// The longest pause between two pieces.
const PATIENCE: Duration = Duration::from_secs(20);

/// The memory that all requests together may hold.
pub(super) struct Room(Arc<Semaphore>);

/// What a request brought, and its share of the room.
pub(super) struct Brought {
    /// Its bytes.
    pub bytes: Vec<u8>,
    _share: Option<OwnedSemaphorePermit>,
}

impl Default for Room {
    fn default() -> Self {
        Room(Arc::new(Semaphore::new(BLOCKS)))
    }
}

impl Room {
    /// A file.
    ///
    /// # Errors
    /// Longer than 64 MiB, broken off, or slower than a piece in twenty seconds.
    pub async fn file(&self, body: Body) -> Result<Brought, Says> {
        self.read(body, LARGEST).await
    }

    /// What is said in JSON.
    ///
    /// # Errors
    /// As [`Room::file`]; what is no JSON.
    pub async fn json<T: DeserializeOwned>(&self, body: Body) -> Result<T, Says> {
        let brought = self.read(body, LONGEST).await?;
        serde_json::from_slice(&brought.bytes)
            .map_err(|e| Says::strange(StatusCode::BAD_REQUEST, filled("says.request", &[("why", &e)])))
    }

    async fn read(&self, mut body: Body, most: usize) -> Result<Brought, Says> {
        let too_long = || {
            let says = filled("says.upload.long", &[("most", &(most >> 20))]);
            Says::strange(StatusCode::PAYLOAD_TOO_LARGE, says)
        };
        if body.size_hint().lower() > most as u64 {
            return Err(too_long());
        }
        let broken = || Says::strange(StatusCode::BAD_REQUEST, say("says.upload.broken"));
        let slow = |_| Says::strange(StatusCode::REQUEST_TIMEOUT, say("says.upload.slow"));
        let mut bytes = Vec::new();
        let mut share: Option<OwnedSemaphorePermit> = None;
        while let Some(frame) = {
            let next = poll_fn(|cx| Pin::new(&mut body).poll_frame(cx));
            timeout(PATIENCE, next).await.map_err(slow)?
        } {
            let Ok(data) = frame.map_err(|_| broken())?.into_data() else { continue };
            if bytes.len() + data.len() > most {
                return Err(too_long());
            }
            let blocks = (bytes.len() + data.len()).div_ceil(BLOCK) - bytes.len().div_ceil(BLOCK);
            if let Some(more) = u32::try_from(blocks).ok().filter(|n| *n > 0) {
                let room = Arc::clone(&self.0).acquire_many_owned(more);
                let more = timeout(PATIENCE, room).await.map_err(slow)?.map_err(|_| broken())?;
                match &mut share {
                    Some(share) => share.merge(more),
                    None => share = Some(more),
                }
            }
            bytes.extend_from_slice(&data);
        }
        Ok(Brought { bytes, _share: share })
    }
}
