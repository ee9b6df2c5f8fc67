//! Form bodies in, checked values out: every form carries the token of the desk.

use std::sync::Arc;

use axum::extract::{Form, FromRequest, Request};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use serde::Deserialize;
use serde::de::DeserializeOwned;

use super::guard::same;
use super::state::Desk;

/// The fields of a form whose token was right.
pub struct Checked<T>(pub T);

#[derive(Deserialize)]
struct WithToken<T> {
    #[serde(default)]
    token: String,
    #[serde(flatten)]
    fields: T,
}

impl<T: DeserializeOwned> FromRequest<Arc<Desk>> for Checked<T> {
    type Rejection = Response;

    async fn from_request(request: Request, desk: &Arc<Desk>) -> Result<Self, Response> {
        let form = Form::<WithToken<T>>::from_request(request, desk).await;
        let Form(form) = form.map_err(IntoResponse::into_response)?;
        match same(&form.token, &desk.keys.token) {
            true => Ok(Self(form.fields)),
            false => Err((
                StatusCode::FORBIDDEN,
                "this form is of an earlier desk: load the page again",
            )
                .into_response()),
        }
    }
}

/// A number a person typed; a comma may stand for the point.
pub fn number(text: &str) -> Option<f64> {
    let number: f64 = text.trim().replace(',', ".").parse().ok()?;
    number.is_finite().then_some(number)
}

/// A text that a person left empty is none.
pub fn given(text: &str) -> Option<&str> {
    Some(text.trim()).filter(|text| !text.is_empty())
}
