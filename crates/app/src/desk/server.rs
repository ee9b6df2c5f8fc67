//! Addresses in, answers out.

use std::sync::Arc;

use axum::Json;
use axum::Router;
use axum::extract::{DefaultBodyLimit, Path, Query, State};
use axum::http::header::{CONTENT_SECURITY_POLICY, CONTENT_TYPE, HeaderName};
use axum::http::{HeaderValue, StatusCode};
use axum::middleware::from_fn_with_state;
use axum::response::{Html, IntoResponse, Response};
use axum::routing::{get, post};
use engine::Kind;
use engine::view::{Asked, How, Played, Seen, Two};
use serde::Deserialize;
use serde_json::json;

use super::guard::{Guard, guard};
use super::look::Look;
use super::state::Desk;
use super::{actions, assets, pages};

/// Bytes of a form.
const LARGEST_FORM: usize = 64 << 10;
/// Columns of a picture.
const MOST_COLUMNS: usize = 8192;
/// What reports of the folder may do: show themselves.
const REPORT_POLICY: &str = "default-src 'none'; style-src 'unsafe-inline'; img-src data:; frame-ancestors 'none'; \
                             base-uri 'none'; form-action 'none'";

/// All addresses of a desk.
pub fn router(desk: Arc<Desk>, port: u16) -> Router {
    let own = Guard::new(desk.keys.clone(), port);
    Router::new()
        .route("/", get(pages::cards::page))
        .route("/settings", get(pages::settings::page))
        .route("/day", get(pages::day::page))
        .route("/take/{take}", get(pages::take::page))
        .route("/build", get(pages::build::page))
        .route("/prep", get(pages::prep::page))
        .route("/first-roll", get(pages::first_roll::page))
        .route("/sums", get(pages::sums::page))
        .route("/out/{file}", get(report))
        .route("/assets/{name}", get(asset))
        .route("/pulse", get(pulse))
        .route("/wave", get(wave))
        .route("/instant", get(instant))
        .route("/listen", get(listen))
        .route("/do/cards", post(actions::cards))
        .route("/do/measure", post(actions::measure))
        .route("/do/again", post(actions::again))
        .route("/do/tie", post(actions::tie))
        .route("/do/decide", post(actions::decide))
        .route("/do/build", post(actions::build))
        .route("/do/prep", post(pages::prep::keep))
        .route("/do/first-roll", post(actions::roll))
        .route("/do/stop", post(actions::stop))
        .fallback(pages::not_found)
        .layer(DefaultBodyLimit::max(LARGEST_FORM))
        .layer(from_fn_with_state(own, guard))
        .with_state(desk)
}

/// Runs what reads files apart from what answers.
async fn apart<T: Send + 'static>(
    work: impl FnOnce() -> engine::Result<T> + Send + 'static,
) -> Result<T, Response> {
    match tokio::task::spawn_blocking(work).await {
        Ok(Ok(value)) => Ok(value),
        Ok(Err(error)) => {
            let status = match error.kind() {
                Kind::Usage | Kind::Unsupported => StatusCode::BAD_REQUEST,
                _ => StatusCode::INTERNAL_SERVER_ERROR,
            };
            Err((status, error.to_string()).into_response())
        }
        Err(_) => Err((
            StatusCode::INTERNAL_SERVER_ERROR,
            "it broke off; this is a fault of the program",
        )
            .into_response()),
    }
}

async fn asset(Path(name): Path<String>) -> Response {
    match assets::asset(&name) {
        Some((kind, text)) => ([(CONTENT_TYPE, kind)], text).into_response(),
        None => StatusCode::NOT_FOUND.into_response(),
    }
}

/// What changed since: pages ask every now and then.
async fn pulse(State(desk): State<Arc<Desk>>) -> Response {
    // what cannot be read is told by the page itself
    let _ = desk.refresh();
    let job = desk.job().map(|job| job.how_far());
    let words = job.as_ref().map(super::job::HowFar::words);
    Json(json!({ "revision": desk.revision(), "job": job, "words": words })).into_response()
}

/// The papers of the folder, by their names alone.
async fn report(State(desk): State<Arc<Desk>>, Path(file): Path<String>) -> Response {
    let kind = match file.rsplit('.').next() {
        Some("html") => "text/html; charset=utf-8",
        Some("pdf") => "application/pdf",
        Some("csv") => "text/csv; charset=utf-8",
        Some("txt") => "text/plain; charset=utf-8",
        Some("json" | "otio") => "application/json",
        _ => return StatusCode::NOT_FOUND.into_response(),
    };
    let plain = !file.contains(['/', '\\']) && !file.starts_with('.');
    let path = desk.out.join(&file);
    // a link could lead out of the folder
    let own = std::fs::symlink_metadata(&path).is_ok_and(|data| data.is_file());
    if !plain || !own {
        return pages::not_found(State(desk)).await;
    }
    match std::fs::read(&path) {
        Ok(bytes) => (
            [
                (CONTENT_TYPE, HeaderValue::from_static(kind)),
                (
                    CONTENT_SECURITY_POLICY,
                    HeaderValue::from_static(REPORT_POLICY),
                ),
            ],
            bytes,
        )
            .into_response(),
        Err(error) => (StatusCode::INTERNAL_SERVER_ERROR, error.to_string()).into_response(),
    }
}

fn how_of(text: &str) -> How {
    match text {
        "before" => How::Before,
        _ => How::After,
    }
}

/// A joint take by its name, looked at.
fn look_at(desk: &Desk, take: &str) -> engine::Result<Arc<Look>> {
    desk.looks.at(&desk.alignment()?, take, desk.kept())
}

#[derive(Deserialize)]
struct WaveQuery {
    take: String,
    unit: String,
    channel: u32,
    from: i64,
    to: i64,
    columns: usize,
    #[serde(default)]
    how: String,
}

/// A stretch of a channel as numbers, see `assets/seams.js`.
async fn wave(State(desk): State<Arc<Desk>>, Query(query): Query<WaveQuery>) -> Response {
    let seen = apart(move || {
        let look = look_at(&desk, &query.take)?;
        let asked = Asked {
            unit: &query.unit,
            channel: query.channel,
            span: [query.from, query.to],
            columns: query.columns.clamp(1, MOST_COLUMNS),
            how: how_of(&query.how),
        };
        look.view.seen(asked, look.peaks(&query.unit))
    })
    .await;
    let (kind, values): (&str, Vec<f32>) = match seen {
        Ok(Seen::Samples(values)) => ("samples", values),
        Ok(Seen::Extremes(values)) => ("extremes", values.into_iter().flatten().collect()),
        Ok(Seen::Sketch(values)) => ("sketch", values.into_iter().flatten().collect()),
        Err(response) => return response,
    };
    let bytes: Vec<u8> = values.into_iter().flat_map(f32::to_le_bytes).collect();
    (
        [
            (CONTENT_TYPE, "application/octet-stream"),
            (HeaderName::from_static("x-kind"), kind),
        ],
        bytes,
    )
        .into_response()
}

#[derive(Deserialize)]
struct InstantQuery {
    take: String,
    unit: String,
    at: f64,
    #[serde(default)]
    how: String,
}

async fn instant(State(desk): State<Arc<Desk>>, Query(query): Query<InstantQuery>) -> Response {
    let found = apart(move || {
        let look = look_at(&desk, &query.take)?;
        look.view.instant(&query.unit, query.at, how_of(&query.how))
    });
    match found.await {
        Ok(position) => Json(json!({ "position": position })).into_response(),
        Err(response) => response,
    }
}

#[derive(Deserialize)]
struct ListenQuery {
    take: String,
    lead: u32,
    unit: String,
    channel: u32,
    from: f64,
    seconds: f64,
    #[serde(default)]
    played: String,
    #[serde(default)]
    how: String,
}

async fn listen(State(desk): State<Arc<Desk>>, Query(query): Query<ListenQuery>) -> Response {
    let played = match query.played.as_str() {
        "sum" => Played::Sum,
        "difference" => Played::Difference,
        _ => Played::Sides,
    };
    let sound = apart(move || {
        let look = look_at(&desk, &query.take)?;
        let two = Two {
            lead: (&look.view.take().lead, query.lead),
            follower: (&query.unit, query.channel),
        };
        let stretch = (query.from.round() as i64, query.seconds);
        look.view.listen(two, stretch, played, how_of(&query.how))
    });
    match sound.await {
        Ok(bytes) => ([(CONTENT_TYPE, "audio/wav")], bytes).into_response(),
        Err(response) => response,
    }
}

/// A page, or why there is none.
pub fn answer(page: engine::Result<String>) -> Response {
    match page {
        Ok(page) => Html(page).into_response(),
        Err(error) => {
            let status = StatusCode::INTERNAL_SERVER_ERROR;
            (status, Html(pages::broken(&error.to_string()))).into_response()
        }
    }
}
