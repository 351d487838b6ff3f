//! Server: connections on loopback, until the person ends it.

use std::io;
use std::net::{Ipv4Addr, TcpListener};
use std::path::PathBuf;
use std::sync::Arc;
use std::time::Duration;

use hyper::server::conn::http1;
use hyper_util::rt::{TokioIo, TokioTimer};
use hyper_util::service::TowerToHyperService;
use tokio::sync::Semaphore;
use tokio::time::timeout;

use super::guard::Guard;
use super::home::Home;
use super::page::Page;
use super::{Desk, Shared, routes};
use crate::cause;
use crate::cli::failure::Failure;
use crate::cli::signals;

/// The port that is tried where none was asked for, so that the address of the page stays the same.
const USUAL_PORT: u16 = 4810;
/// Connections at once; a browser opens six.
const CONNECTIONS: usize = 400;
/// How long a request may take until its head is there.
const HEAD: Duration = Duration::from_secs(10);
/// How often it is asked whether the person wants to end.
const GLANCE: Duration = Duration::from_millis(100);
/// How long work that is under way may take to its end.
const LAST_WORK: Duration = Duration::from_millis(800);
/// Threads that wait for files and computations.
const THREADS: usize = 24;

/// What a desk is opened with.
pub(crate) struct Asked {
    /// The port; 0 for any that is free.
    pub port: Option<u16>,
    /// The folder of its files.
    pub home: Option<PathBuf>,
    /// Where the page's files are read from instead of the program.
    pub page: Option<PathBuf>,
}

/// Opens a desk, tells its address, and answers until the person ends the program.
///
/// # Errors
/// Where its folder or its port cannot be had.
pub(crate) fn run(
    asked: Asked,
    tell: impl FnOnce(&str, &std::path::Path) -> Result<(), Failure>,
) -> Result<(), Failure> {
    let home = Home::open(asked.home.as_deref())?;
    let listener = listen(asked.port)?;
    let guard = Guard::new(listener.local_addr()?.port())
        .map_err(|e| Failure::input(format!("the system gives no random numbers ({e}); try again")))?;
    let desk: Shared = Arc::new(Desk {
        page: Page::new(asked.page),
        guard,
        home,
        events: Default::default(),
        work: Default::default(),
        room: Default::default(),
        arts: Default::default(),
        pieces: Default::default(),
        exacts: Default::default(),
        sheets: Default::default(),
    });
    let runtime =
        tokio::runtime::Builder::new_current_thread().enable_all().max_blocking_threads(THREADS).build()?;
    signals::at_work(true);
    let served = runtime.block_on(async {
        listener.set_nonblocking(true)?;
        let listener = tokio::net::TcpListener::from_std(listener)?;
        tell(&desk.guard.address(), desk.home.root())?;
        serve(&listener, &desk).await;
        Ok(())
    });
    desk.exacts.end();
    desk.sheets.end();
    runtime.shutdown_timeout(LAST_WORK);
    served
}

/// A port on loopback: the one that is asked for, or the usual one, or any.
fn listen(port: Option<u16>) -> Result<TcpListener, Failure> {
    let bind = |port| TcpListener::bind((Ipv4Addr::LOCALHOST, port));
    match port {
        Some(port) => bind(port).map_err(|e| {
            let why = match e.kind() {
                io::ErrorKind::AddrInUse => "something else has it".to_string(),
                _ => cause::of(&e),
            };
            Failure::input(format!("port {port} cannot be had: {why}; leave --port out, or name another one"))
        }),
        None => bind(USUAL_PORT).or_else(|_| bind(0)).map_err(|e| {
            Failure::input(format!(
                "no port can be had on this machine: {}; name one with --port",
                cause::of(&e)
            ))
        }),
    }
}

/// Answers until a signal asks for the end.
async fn serve(listener: &tokio::net::TcpListener, desk: &Shared) {
    let places = Arc::new(Semaphore::new(CONNECTIONS));
    let service = TowerToHyperService::new(routes::all(desk));
    while signals::asked().is_none() {
        let Ok(accepted) = timeout(GLANCE, listener.accept()).await else { continue };
        let Ok((stream, _)) = accepted else {
            // No more files can be opened for now.
            tokio::time::sleep(GLANCE).await;
            continue;
        };
        let Ok(place) = Arc::clone(&places).try_acquire_owned() else { continue };
        // Small answers are not held back to be sent together.
        let _ = stream.set_nodelay(true);
        let service = service.clone();
        tokio::spawn(async move {
            let _place = place;
            let mut http = http1::Builder::new();
            http.timer(TokioTimer::new()).header_read_timeout(HEAD).max_headers(64).max_buf_size(64 << 10);
            // Whoever breaks off needs no answer.
            let _ = http.serve_connection(TokioIo::new(stream), service).await;
        });
    }
}
