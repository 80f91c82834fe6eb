//! What can be asked for, all of it below the secret.

use std::sync::Arc;

use axum::extract::{DefaultBodyLimit, Path, Query, State};
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use axum::routing::{get, post};
use axum::{Json, Router, middleware};
use serde::Deserialize;
use serde_json::json;

use super::desk::Desk;
use super::door::{Door, guard};
use super::pictures::Ask;
use super::recipes::{Change, edit, named};
use super::{results, work};
use crate::pipeline::{PipelineError, RecipeStep, thumb};

const PAGE: &str = include_str!("page.html");
const STYLE: &str = include_str!("page.css");
const SCRIPT: &str = include_str!("page.js");
const ICON: &str = include_str!("icon.svg");

/// Longest request, in bytes.
const MOST_BYTES: usize = 64 << 10;

/// Most changes in one request.
const MOST_CHANGES: usize = 500;

/// Narrowest and widest small strip, in pixels.
const WIDTHS_PX: (u32, u32) = (200, 2_400);

/// How long a browser may keep a picture: addresses last no longer than the server, whose secret is in them.
const KEEP: &str = "private, max-age=86400";

type Held = State<Arc<Desk>>;

/// The routes behind a door.
pub(super) fn routes(secret: &str, door: Door, desk: Arc<Desk>) -> Router {
    let at = |path: &str| format!("/{secret}/{path}");
    Router::new()
        .route(
            &at(""),
            get(async || text("text/html; charset=utf-8", PAGE)),
        )
        .route(
            &at("page.css"),
            get(async || text("text/css; charset=utf-8", STYLE)),
        )
        .route(
            &at("page.js"),
            get(async || text("text/javascript; charset=utf-8", SCRIPT)),
        )
        .route(&at("icon.svg"), get(async || text("image/svg+xml", ICON)))
        .route(&at("card"), get(card))
        .route(&at("thumb/{number}"), get(small))
        .route(&at("picture/{number}"), get(picture))
        .route(&at("recipe/{name}"), get(read))
        .route(&at("recipe/{name}/edit"), post(change))
        .route(&at("recipe/{name}/undo"), post(undo))
        .route(&at("recipe/{name}/redo"), post(redo))
        .route(&at("strip/{name}"), get(strip))
        .route(&at("sheet/{sheet}"), get(sheet))
        .route(&at("work/{name}"), post(begin))
        .route(&at("stop"), post(stop))
        .route(&at("pulse/{name}"), get(pulse))
        .route(&at("result/{name}/{number}"), get(result))
        .route(&at("result/{name}/{number}/small"), get(small_result))
        .layer(DefaultBodyLimit::max(MOST_BYTES))
        .layer(middleware::from_fn_with_state(door, guard))
        .with_state(desk)
}

fn text(kind: &'static str, text: &'static str) -> Response {
    ([(header::CONTENT_TYPE, kind)], text).into_response()
}

fn jpeg(bytes: Vec<u8>) -> Response {
    let headers = [
        (header::CONTENT_TYPE, "image/jpeg"),
        (header::CACHE_CONTROL, KEEP),
    ];
    (headers, bytes).into_response()
}

/// Something asked for that is not there, or cannot be done.
struct Refused(StatusCode, String);

impl IntoResponse for Refused {
    fn into_response(self) -> Response {
        (self.0, Json(json!({ "error": self.1 }))).into_response()
    }
}

impl From<PipelineError> for Refused {
    fn from(error: PipelineError) -> Self {
        let status = match &error {
            PipelineError::Edit(_) | PipelineError::Recipe { .. } | PipelineError::Strip(_) => {
                StatusCode::UNPROCESSABLE_ENTITY
            }
            _ => StatusCode::INTERNAL_SERVER_ERROR,
        };
        Self(status, error.to_string())
    }
}

fn nothing() -> Refused {
    Refused(StatusCode::NOT_FOUND, "there is no such thing".to_owned())
}

/// Runs what reads files or computes away from the threads that answer.
async fn aside<T: Send + 'static>(
    work: impl FnOnce() -> Result<T, Refused> + Send + 'static,
) -> Result<T, Refused> {
    let ended = tokio::task::spawn_blocking(work).await;
    ended.unwrap_or_else(|_| {
        let words = "a fault of the program; nothing was left half-written";
        Err(Refused(StatusCode::INTERNAL_SERVER_ERROR, words.to_owned()))
    })
}

async fn card(State(desk): Held) -> Result<Response, Refused> {
    aside(move || Ok(Json(desk.card_json()).into_response())).await
}

async fn small(State(desk): Held, Path(number): Path<usize>) -> Result<Response, Refused> {
    let _turn = desk.decoding.acquire().await;
    let held = Arc::clone(&desk);
    aside(move || {
        let card = held.card();
        let record = card.catalogue.shots.get(number).ok_or_else(nothing)?;
        thumb(&held.target.out, &card.catalogue, record)
            .map(jpeg)
            .ok_or_else(nothing)
    })
    .await
}

async fn picture(
    State(desk): Held,
    Path(number): Path<usize>,
    Query(ask): Query<Ask>,
) -> Result<Response, Refused> {
    let _turn = desk.decoding.acquire().await;
    let held = Arc::clone(&desk);
    aside(move || {
        let card = held.card();
        let record = card.catalogue.shots.get(number).ok_or_else(nothing)?;
        let made = card.pictures.picture(number, record, ask);
        let bytes = made.map_err(|why| Refused(StatusCode::NOT_FOUND, why))?;
        Ok(jpeg(bytes.as_ref().clone()))
    })
    .await
}

async fn step(desk: Arc<Desk>, name: String, step: RecipeStep) -> Result<Response, Refused> {
    let name = named(&name).ok_or_else(nothing)?;
    aside(move || Ok(Json(desk.recipe_json(&name, &step)?).into_response())).await
}

async fn read(State(desk): Held, Path(name): Path<String>) -> Result<Response, Refused> {
    step(desk, name, RecipeStep::Read).await
}

async fn undo(State(desk): Held, Path(name): Path<String>) -> Result<Response, Refused> {
    step(desk, name, RecipeStep::Undo).await
}

async fn redo(State(desk): Held, Path(name): Path<String>) -> Result<Response, Refused> {
    step(desk, name, RecipeStep::Redo).await
}

async fn change(
    State(desk): Held,
    Path(name): Path<String>,
    Json(changes): Json<Vec<Change>>,
) -> Result<Response, Refused> {
    if changes.len() > MOST_CHANGES {
        let words = format!("no more than {MOST_CHANGES} changes at once");
        return Err(Refused(StatusCode::UNPROCESSABLE_ENTITY, words));
    }
    let card = desk.card();
    let edits = changes
        .into_iter()
        .map(|change| edit(&card.catalogue, change));
    let edits = edits.collect::<Option<Vec<_>>>().ok_or_else(nothing)?;
    step(desk, name, RecipeStep::Edit(edits)).await
}

#[derive(Deserialize)]
struct Width {
    width: u32,
}

async fn strip(
    State(desk): Held,
    Path(name): Path<String>,
    Query(Width { width }): Query<Width>,
) -> Result<Response, Refused> {
    let name = named(&name).ok_or_else(nothing)?;
    let width_px = width.clamp(WIDTHS_PX.0, WIDTHS_PX.1);
    aside(move || Ok(Json(desk.small_strip(&name, width_px)?).into_response())).await
}

async fn sheet(State(desk): Held, Path(sheet): Path<String>) -> Result<Response, Refused> {
    let bytes = desk.sheet(&sheet).ok_or_else(nothing)?;
    Ok(jpeg(bytes.as_ref().clone()))
}

async fn begin(
    State(desk): Held,
    Path(name): Path<String>,
    Json(ask): Json<work::Ask>,
) -> Result<Response, Refused> {
    let name = named(&name).ok_or_else(nothing)?;
    if desk.begin(name, ask) {
        Ok((StatusCode::ACCEPTED, Json(desk.work.state())).into_response())
    } else {
        let words = "something else is being made; again when it is done";
        Err(Refused(StatusCode::CONFLICT, words.to_owned()))
    }
}

async fn stop(State(desk): Held) -> Response {
    desk.work.stop();
    Json(desk.work.state()).into_response()
}

async fn pulse(State(desk): Held, Path(name): Path<String>) -> Result<Response, Refused> {
    let name = named(&name).ok_or_else(nothing)?;
    aside(move || Ok(Json(desk.pulse(&name)).into_response())).await
}

async fn small_result(
    State(desk): Held,
    Path((name, number)): Path<(String, usize)>,
) -> Result<Response, Refused> {
    let name = named(&name).ok_or_else(nothing)?;
    let _turn = desk.decoding.acquire().await;
    let out = desk.target.out.clone();
    aside(move || {
        results::small(&out, &name, number)
            .map(jpeg)
            .ok_or_else(nothing)
    })
    .await
}

async fn result(
    State(desk): Held,
    Path((name, number)): Path<(String, usize)>,
) -> Result<Response, Refused> {
    let name = named(&name).ok_or_else(nothing)?;
    let (path, kind) = results::file(&desk.target.out, &name, number).ok_or_else(nothing)?;
    aside(move || {
        let bytes = std::fs::read(path).map_err(|_| nothing())?;
        Ok(([(header::CONTENT_TYPE, kind)], bytes).into_response())
    })
    .await
}
