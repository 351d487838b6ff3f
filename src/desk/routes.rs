//! Routes: each request and what answers it.

use std::sync::Arc;

use axum::Router;
use axum::body::Body;
use axum::extract::{Path, Query, State};
use axum::http::{HeaderMap, HeaderValue, StatusCode, header};
use axum::middleware;
use axum::response::IntoResponse;
use axum::routing::{get, post};
use serde::Deserialize;
use serde_json::{Value, json};

use super::exact::{Done, Exact, Of};
use super::home::Name;
use super::places::{MOST_PIXELS, Seen};
use super::says::{Answer, Says, begun, bytes, done, made, nothing};
use super::texts::{filled, say};
use super::tiles::{self, What};
use super::{Shared, art, files, guard, jig, kit, shelf, ticket, times, tray, wedge};
use crate::parallel;
use crate::progress::Silent;

/// Longest side of a coarse look, pixels.
const COARSE: usize = 480;
/// Threads of a small piece of work: it does not wait behind a run in the threads that all share.
const LOOK_THREADS: usize = 2;

/// All of them, behind the guard.
pub(super) fn all(desk: &Shared) -> Router {
    Router::new()
        .route("/", get(async |State(desk): State<Shared>| desk.page.file("index.html")))
        .route(
            "/page/{name}",
            get(async |State(desk): State<Shared>, Path(name): Path<String>| desk.page.file(&name)),
        )
        .route("/api/enter", post(enter))
        .route("/api/kit", get(kit_told))
        .route("/api/kit/{sort}", post(bring))
        .route("/api/kit/{sort}/{name}", get(kit_text))
        .route("/api/shelf", get(shelf_told))
        .route("/api/events", get(async |State(desk): State<Shared>| Ok::<_, Says>(desk.events.listen())))
        .route("/api/art", post(drop_art))
        .route("/api/art/{name}/picture", get(art_picture))
        .route("/api/jobs", post(new_job))
        .route("/api/jobs/{name}", get(job).put(put_job).delete(discard))
        .route("/api/jobs/{name}/back", post(back))
        .route("/api/jobs/{name}/name", post(rename))
        .route("/api/jobs/{name}/coarse", get(coarse))
        .route("/api/jobs/{name}/ticket", get(ticket_told))
        .route("/api/jobs/{name}/likeness", get(likeness_told))
        .route("/api/jobs/{name}/times", get(times_told))
        .route("/api/jobs/{name}/tile", get(tile))
        .route("/api/jobs/{name}/sheet", get(sheet_told).post(begin_sheet))
        .route("/api/jobs/{name}/sheet/{version}", get(version_picture))
        .route("/api/jobs/{name}/save", post(save))
        .route("/api/jobs/{name}/files.zip", get(zip))
        .route("/api/jobs/{name}/table", get(table).put(put_table))
        .route("/api/jobs/{name}/tray", get(tray_told))
        .route("/api/jobs/{name}/tray/{kind}", get(tray_picture))
        .route("/api/wedges", get(wedges).post(draw_wedge))
        .route("/api/wedges/{name}", get(wedge_told))
        .route("/api/wedges/{name}/file/{file}", get(wedge_file))
        .route("/api/wedges/{name}/files.zip", get(wedge_zip))
        .route("/api/wedges/{name}/photo", post(wedge_photo))
        .route("/api/wedges/{name}/keep", post(keep_process))
        .fallback(async || Says::strange(StatusCode::NOT_FOUND, say("says.nothing")).into_response())
        .method_not_allowed_fallback(async || {
            Says::strange(StatusCode::METHOD_NOT_ALLOWED, say("says.method")).into_response()
        })
        .layer(middleware::from_fn_with_state(Arc::clone(desk), guard::pass))
        .with_state(Arc::clone(desk))
}

/// A state of a job.
#[derive(Deserialize)]
struct At {
    revision: Option<String>,
    px: Option<usize>,
}

async fn enter(State(desk): State<Shared>, body: Body) -> Answer {
    #[derive(Deserialize)]
    struct Token {
        token: String,
    }
    let Token { token } = desk.room.json(body).await?;
    desk.guard.enter(&token)
}

async fn kit_told(State(desk): State<Shared>) -> Answer {
    let all = Arc::clone(&desk);
    done(desk.work.files(move || kit::kit(&all.home)).await?)
}

async fn bring(
    State(desk): State<Shared>,
    Path(sort): Path<String>,
    Query(named): Query<Brings>,
    body: Body,
) -> Answer {
    let own = kit::Own::of(&sort)?;
    let brought = desk.room.file(body).await?;
    let all = Arc::clone(&desk);
    let Brings { name, replace, by } = named;
    let keep = move || kit::keep(&all.home, own, &name, &brought.bytes, replace);
    replaced(&desk, desk.work.files(keep).await?, by)
}

/// Forgets what was computed with a file of that name before, and tells all pages, which show it still, and `by` which of them
/// it was kept.
fn replaced(desk: &Shared, kept: Value, by: Option<String>) -> Answer {
    desk.exacts.end();
    desk.pieces.clear();
    desk.sheets.clear();
    desk.events.tell("kit", &json!({ "asked": kept["asked"], "by": by }));
    made(kept)
}

/// A file that is brought.
#[derive(Deserialize)]
struct Brings {
    name: String,
    #[serde(default)]
    replace: bool,
    /// What tells the page that brings it from others.
    by: Option<String>,
}

async fn kit_text(State(desk): State<Shared>, Path((sort, name)): Path<(String, String)>) -> Answer {
    let (own, name, all) = (kit::Own::of(&sort)?, Name::new(&name)?, Arc::clone(&desk));
    let of = name.clone();
    let text = desk.work.files(move || kit::text(&all.home, own, &of)).await?;
    attached((&name, "toml"), "text/plain; charset=utf-8", text)
}

async fn shelf_told(State(desk): State<Shared>) -> Answer {
    let all = Arc::clone(&desk);
    done(desk.work.files(move || shelf::list(&all.home)).await?)
}

async fn drop_art(State(desk): State<Shared>, Query(named): Query<Named>, body: Body) -> Answer {
    let brought = desk.room.file(body).await?;
    let all = Arc::clone(&desk);
    let name = named.name.unwrap_or_default();
    let (told, held) = desk.work.run(move || art::keep(&all.home, &all.arts, &name, brought.bytes)).await?;
    // While the page takes the answer in, what it will ask for next is begun.
    let next = Arc::clone(&desk);
    tokio::spawn(async move {
        next.work
            .look(move || {
                parallel::with_threads(LOOK_THREADS, || held.ready());
                Ok(())
            })
            .await
    });
    made(told)
}

#[derive(Deserialize)]
struct Named {
    name: Option<String>,
}

async fn art_picture(State(desk): State<Shared>, Path(name): Path<String>) -> Answer {
    let name = Name::new(&name)?;
    let all = Arc::clone(&desk);
    bytes("image/png", desk.work.look(move || art::picture(&all.home, &all.arts, &name)).await?)
}

async fn new_job(State(desk): State<Shared>, headers: HeaderMap, body: Body) -> Answer {
    let mut new: shelf::New = desk.room.json(body).await?;
    let once = headers.get("idempotency-key").and_then(|v| v.to_str().ok());
    new.once = once.map(Name::new).transpose()?;
    let all = Arc::clone(&desk);
    let kept = desk.work.files(move || shelf::create(&all.home, new)).await?;
    // Its run begins when somebody asks for it: a page looks at its versions first.
    told(&desk, &kept);
    made(kept.told()?)
}

async fn job(State(desk): State<Shared>, Path(name): Path<String>) -> Answer {
    let name = Name::new(&name)?;
    let all = Arc::clone(&desk);
    let kept = desk.work.files(move || shelf::read(&all.home, &name)).await?;
    done(kept.told()?)
}

async fn put_job(State(desk): State<Shared>, Path(name): Path<String>, body: Body) -> Answer {
    #[derive(Deserialize)]
    struct Put {
        revision: String,
        asked: Value,
    }
    let name = Name::new(&name)?;
    let Put { revision, asked } = desk.room.json(body).await?;
    let all = Arc::clone(&desk);
    let put = move || {
        let asked = jig::refitted(&all.home, &name, asked);
        shelf::put(&all.home, &name, &revision, &asked)
    };
    let kept = desk.work.files(put).await?;
    changed(&desk, &kept);
    done(kept.told()?)
}

/// Tells all pages of a job that was made or changed.
fn told(desk: &Shared, kept: &shelf::Kept) {
    desk.events.tell("shelf", &json!({ "job": kept.name.text(), "revision": kept.revision }));
}

/// The same, and begins its run.
fn changed(desk: &Shared, kept: &shelf::Kept) {
    told(desk, kept);
    if kept.kind == shelf::Kind::Piece {
        desk.exacts
            .begin(desk, &Of { name: kept.name.clone(), revision: kept.revision.clone(), version: None });
    }
}

async fn discard(State(desk): State<Shared>, Path(name): Path<String>) -> Answer {
    let name = Name::new(&name)?;
    let all = Arc::clone(&desk);
    let told = json!({ "job": name.text() });
    desk.work.files(move || shelf::discard(&all.home, &name)).await?;
    desk.events.tell("shelf", &told);
    nothing()
}

async fn back(State(desk): State<Shared>, Path(name): Path<String>) -> Answer {
    let name = Name::new(&name)?;
    let all = Arc::clone(&desk);
    let kept = desk.work.files(move || shelf::back(&all.home, &name)).await?;
    changed(&desk, &kept);
    done(kept.told()?)
}

async fn rename(State(desk): State<Shared>, Path(name): Path<String>, body: Body) -> Answer {
    let (name, all) = (Name::new(&name)?, Arc::clone(&desk));
    let Renamed { name: to } = desk.room.json(body).await?;
    let to = Name::new(to.trim())?;
    let (old, kept) = desk.work.files(move || shelf::rename(&all.home, &name, &to)).await?;
    // A page that has it open goes on under the new name.
    let (from, now) = (old.name.text(), kept.name.text());
    let news = json!({ "job": now, "from": from, "was": old.revision, "revision": kept.revision });
    desk.events.tell("shelf", &news);
    done(news)
}

#[derive(Deserialize)]
struct Renamed {
    name: String,
}

async fn coarse(State(desk): State<Shared>, Path(name): Path<String>, Query(at): Query<At>) -> Answer {
    let name = Name::new(&name)?;
    let px = at.px.unwrap_or(COARSE).clamp(16, MOST_PIXELS / 2);
    let all = Arc::clone(&desk);
    let look = move || {
        let Some(piece) = all.pieces.get(&all, &name, at.revision.as_deref())? else { return Ok(None) };
        let png = parallel::with_threads(LOOK_THREADS, || tiles::coarse(&piece, px))?;
        Ok(Some((png, piece.revision.clone())))
    };
    let Some((png, revision)) = desk.work.look(look).await? else { return nothing() };
    let mut answer = bytes("image/png", png)?;
    if let Ok(revision) = HeaderValue::from_str(&revision) {
        answer.headers_mut().insert("x-revision", revision);
    }
    Ok(answer)
}

async fn begin_sheet(State(desk): State<Shared>, Path(name): Path<String>) -> Answer {
    let name = Name::new(&name)?;
    let all = Arc::clone(&desk);
    let kept = desk.work.files(move || shelf::read(&all.home, &name)).await?;
    if kept.kind == shelf::Kind::Tray {
        return Err(Says::unusable(say("says.tray.sheet")));
    }
    begun(json!({ "sheet": desk.sheets.begin(&desk, kept) }))
}

async fn sheet_told(State(desk): State<Shared>, Path(name): Path<String>) -> Answer {
    let name = Name::new(&name)?;
    let all = Arc::clone(&desk);
    let kept = desk.work.files(move || shelf::read(&all.home, &name)).await?;
    let told = kept.told()?;
    done(desk.sheets.told(&kept.name, &kept.revision, &told["asked"]))
}

async fn version_picture(State(desk): State<Shared>, Path((name, version)): Path<(String, usize)>) -> Answer {
    desk.sheets.picture(&Name::new(&name)?, version)
}

/// The run of a job or of a version of its sheet, at the state that was asked for or as it is now; `None` where it was
/// overtaken.
async fn run(
    desk: &Shared,
    name: &str,
    revision: Option<String>,
    version: Option<usize>,
) -> Result<Option<Done>, Says> {
    let name = Name::new(name)?;
    let (all, of) = (Arc::clone(desk), name.clone());
    let kept = desk.work.files(move || shelf::read(&all.home, &of)).await?;
    if revision.is_some_and(|r| r != kept.revision) {
        return Ok(None);
    }
    let version = version.map(|version| Ok::<_, Says>((desk.sheets.now(&name)?, version))).transpose()?;
    desk.exacts.wait(desk, &Of { name, revision: kept.revision, version }).await
}

/// The same of one piece.
async fn exact(
    desk: &Shared,
    name: &str,
    revision: Option<String>,
    version: Option<usize>,
) -> Result<Option<Arc<Exact>>, Says> {
    match run(desk, name, revision, version).await? {
        Some(Done::Piece(exact)) => Ok(Some(exact)),
        Some(Done::Tray(_)) => Err(Says::unusable(say("says.tray.look"))),
        None => Ok(None),
    }
}

/// The same of a tray.
async fn tray_run(
    desk: &Shared,
    name: &str,
    revision: Option<String>,
) -> Result<Option<Arc<tray::Run>>, Says> {
    match run(desk, name, revision, None).await? {
        Some(Done::Tray(tray)) => Ok(Some(tray)),
        Some(Done::Piece(_)) => Err(Says::unusable(say("says.piece.no-tray"))),
        None => Ok(None),
    }
}

async fn ticket_told(State(desk): State<Shared>, Path(name): Path<String>, Query(at): Query<At>) -> Answer {
    match exact(&desk, &name, at.revision, None).await? {
        Some(exact) => done(ticket::ticket(&exact)?),
        None => nothing(),
    }
}

async fn likeness_told(State(desk): State<Shared>, Path(name): Path<String>, Query(at): Query<At>) -> Answer {
    match exact(&desk, &name, at.revision, None).await? {
        Some(exact) => done(desk.work.run(move || Ok(ticket::likeness_told(&exact))).await?),
        None => nothing(),
    }
}

async fn times_told(State(desk): State<Shared>, Path(name): Path<String>, Query(at): Query<At>) -> Answer {
    match exact(&desk, &name, at.revision, None).await? {
        Some(exact) => done(desk.work.run(move || times::times(&exact)).await?),
        None => nothing(),
    }
}

/// What is looked at, and where: mm from the upper left corner of the blank.
#[derive(Deserialize)]
struct Tile {
    revision: Option<String>,
    version: Option<usize>,
    what: What,
    x: f64,
    y: f64,
    w: f64,
    h: f64,
    px: usize,
}

async fn tile(State(desk): State<Shared>, Path(name): Path<String>, Query(t): Query<Tile>) -> Answer {
    let seen = Seen { x: t.x, y: t.y, w: t.w, h: t.h, px: t.px };
    if !seen.is_sound() {
        return Err(Says::unusable(filled("says.piece.window", &[("most", &MOST_PIXELS)])));
    }
    let Some(exact) = exact(&desk, &name, t.revision, t.version).await? else { return nothing() };
    let look = move || parallel::with_threads(LOOK_THREADS, || tiles::tile(&exact, t.what, &seen));
    bytes("image/png", desk.work.look(look).await?)
}

async fn save(
    State(desk): State<Shared>,
    Path(name): Path<String>,
    Query(at): Query<At>,
    body: Body,
) -> Answer {
    #[derive(Default, Deserialize)]
    #[serde(default)]
    struct Save {
        folder: Option<String>,
        replace: bool,
    }
    let brought = desk.room.file(body).await?;
    let Save { folder, replace } =
        if brought.bytes.is_empty() { Save::default() } else { serde_json::from_slice(&brought.bytes)? };
    let Some(run) = run(&desk, &name, at.revision, None).await? else { return overtaken() };
    let (all, job) = (Arc::clone(&desk), Name::new(&name)?);
    let write = move || {
        let folder = folder.as_deref();
        if !replace {
            files::free(&all.home, &job, folder)?;
        }
        let saved = match run {
            Done::Piece(exact) => files::save(&all, &exact, folder),
            Done::Tray(tray) => tray.save(&all, folder),
        }?;
        let place = all.home.at(&["out", folder.unwrap_or(job.text())])?;
        files::remember(&all.home, &job, &place)?;
        Ok(saved)
    };
    done(desk.work.run(write).await?)
}

fn overtaken() -> Answer {
    Err(Says::overtaken(say("says.job.changed")))
}

async fn zip(State(desk): State<Shared>, Path(name): Path<String>, Query(at): Query<At>) -> Answer {
    let Some(run) = run(&desk, &name, at.revision, None).await? else { return overtaken() };
    let all = Arc::clone(&desk);
    let pack = move || match run {
        Done::Piece(exact) => files::zip(&all, &exact),
        Done::Tray(tray) => tray.zip(),
    };
    archive(&Name::new(&name)?, desk.work.run(pack).await?)
}

/// An archive, to be kept under the name of what it is of.
fn archive(name: &Name, content: Vec<u8>) -> Answer {
    attached((name, "zip"), "application/zip", content)
}

/// A file to be kept under a name.
fn attached((name, ending): (&Name, &str), kind: &'static str, content: Vec<u8>) -> Answer {
    let mut answer = bytes(kind, content)?;
    let plain: String =
        name.text().chars().map(|c| if c.is_ascii_alphanumeric() || c == '-' { c } else { '_' }).collect();
    // The name as it is, for letters beyond ASCII (RFC 6266, RFC 8187); the plain one for whoever does not know that.
    let whole =
        format!("attachment; filename=\"{plain}.{ending}\"; filename*=UTF-8''{}.{ending}", name.in_path());
    if let Ok(value) = HeaderValue::from_str(&whole) {
        answer.headers_mut().insert(header::CONTENT_DISPOSITION, value);
    }
    Ok(answer)
}

async fn table(State(desk): State<Shared>, Path(name): Path<String>) -> Answer {
    let name = Name::new(&name)?;
    let all = Arc::clone(&desk);
    match desk.work.files(move || tray::table(&all, &name)).await? {
        Some(table) => done(table),
        None => nothing(),
    }
}

#[derive(Deserialize)]
struct Brought {
    name: Option<String>,
    /// The state of the tray that it is meant for.
    revision: Option<String>,
    /// Whether it is the page's own table, with cells that were typed in.
    #[serde(default)]
    typed: bool,
}

async fn put_table(
    State(desk): State<Shared>,
    Path(name): Path<String>,
    Query(Brought { name: called, revision, typed }): Query<Brought>,
    body: Body,
) -> Answer {
    let name = Name::new(&name)?;
    let brought = desk.room.file(body).await?;
    let all = Arc::clone(&desk);
    let of = name.clone();
    let put =
        move || tray::put_table(&all, (&of, revision.as_deref()), (called.as_deref(), typed), &brought.bytes);
    // It makes no piece: names do not wait behind versions that somebody has left.
    let told = desk.work.files(put).await?;
    desk.events.tell("shelf", &json!({ "job": name.text(), "revision": told["revision"] }));
    done(told)
}

async fn tray_told(State(desk): State<Shared>, Path(name): Path<String>, Query(at): Query<At>) -> Answer {
    match tray_run(&desk, &name, at.revision).await? {
        Some(tray) => done(desk.work.run(move || tray.told()).await?),
        None => nothing(),
    }
}

async fn tray_picture(
    State(desk): State<Shared>,
    Path((name, kind)): Path<(String, usize)>,
    Query(at): Query<At>,
) -> Answer {
    match tray_run(&desk, &name, at.revision).await? {
        Some(tray) => bytes("image/png", desk.work.look(move || tray.picture(kind)).await?),
        None => nothing(),
    }
}

async fn wedges(State(desk): State<Shared>) -> Answer {
    let all = Arc::clone(&desk);
    done(desk.work.files(move || wedge::list(&all.home)).await?)
}

async fn draw_wedge(State(desk): State<Shared>, body: Body) -> Answer {
    let new: wedge::New = desk.room.json(body).await?;
    let all = Arc::clone(&desk);
    made(desk.work.run(move || wedge::draw(&all.home, new)).await?)
}

async fn wedge_told(State(desk): State<Shared>, Path(name): Path<String>) -> Answer {
    let name = Name::new(&name)?;
    let all = Arc::clone(&desk);
    done(desk.work.files(move || wedge::about(&all.home, &name)).await?)
}

async fn wedge_file(State(desk): State<Shared>, Path((name, file)): Path<(String, String)>) -> Answer {
    let name = Name::new(&name)?;
    let all = Arc::clone(&desk);
    desk.work.files(move || wedge::file(&all.home, &name, &file)).await
}

async fn wedge_zip(State(desk): State<Shared>, Path(name): Path<String>) -> Answer {
    let name = Name::new(&name)?;
    let (all, of) = (Arc::clone(&desk), name.clone());
    archive(&name, desk.work.files(move || wedge::zip(&all.home, &of)).await?)
}

async fn wedge_photo(
    State(desk): State<Shared>,
    Path(name): Path<String>,
    Query(asked): Query<wedge::Photograph>,
    body: Body,
) -> Answer {
    let name = Name::new(&name)?;
    let brought = desk.room.file(body).await?;
    let all = Arc::clone(&desk);
    let read = move || wedge::read_photo(&all, &name, brought.bytes, &asked, &Silent);
    done(desk.work.run(read).await?)
}

async fn keep_process(State(desk): State<Shared>, Path(name): Path<String>, body: Body) -> Answer {
    #[derive(Deserialize)]
    struct Keep {
        name: String,
        #[serde(default)]
        replace: bool,
        by: Option<String>,
    }
    let wedge = Name::new(&name)?;
    let Keep { name, replace, by } = desk.room.json(body).await?;
    let all = Arc::clone(&desk);
    let kept = desk.work.files(move || wedge::keep(&all.home, &wedge, &name, replace)).await?;
    replaced(&desk, kept, by)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_archive_is_kept_under_the_name_of_its_job_whatever_its_letters() {
        let answer = archive(&Name::near("منارة 2", "piece"), Vec::new()).unwrap();
        let told = answer.headers()[header::CONTENT_DISPOSITION].to_str().unwrap();
        assert!(told.ends_with("filename*=UTF-8''%D9%85%D9%86%D8%A7%D8%B1%D8%A9%202.zip"), "{told}");
    }
}
